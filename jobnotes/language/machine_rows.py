"""Which row of the register a job's machine is: by fleet number, serial number, or what is said of it."""

from __future__ import annotations

from dataclasses import dataclass

from jobnotes.jobs import Amount
from jobnotes.language.codes import Code, CodeReader
from jobnotes.language.context import Context
from jobnotes.language.findings import PlacedCode
from jobnotes.language.lexicon import word_set
from jobnotes.language.names import Name, machine_types
from jobnotes.language.segments import Segment
from jobnotes.register import MachineRow
from jobnotes.register.lookup import code_key, sound_key

# Words by which a speaker takes back what was just said.
TAKEN_BACK = frozenset("no sorry wrong scratch lie rather mean correction beg".split())
# What stands before and after a word such as "boom" where it is the machine.
BEFORE_TYPE = frozenset("the a their this that little big .".split())
AFTER_TYPE = frozenset(", . at in on".split())


@dataclass
class Found:
    """A register row found for a machine, the token spans that led to it, and how sure that is, 0 to 1.

    `why` is what a person should look at. `code` is the number said. Where several rows of one make and model
    fit, `row` is None and `stand` holds what they share.
    """

    row: MachineRow | None
    spans: list[tuple[int, int]]
    confidence: float
    why: str | None = None
    code: Code | None = None
    stand: MachineRow | None = None


def alike(a: str, b: str) -> bool:
    """Whether two machine types share a word (a mini excavator is called an excavator)."""
    return bool(set(a.split()) & set(b.split()))


def names_of(c: Context, segment: Segment, kind: str) -> list[Name]:
    """Names of a kind said in the segment and not denied ("not Canner Street"), the first said first."""
    out: list[Name] = []
    for n in c.found.names:
        if n.kind == kind and segment.holds(c.piece_of(n.first)):
            before = c.tokens[max(0, n.first - 2) : n.first]
            if "not" in before or before[-1:] == ["never"]:
                continue
            out.append(n)
    return out


def type_of(c: Context, segment: Segment) -> tuple[str | None, tuple[int, int] | None, float]:
    """The machine type said, its tokens, and how sure that is, 0 to 1; (None, None, 0.0) where none was."""
    best: tuple[str, tuple[int, int], float] | None = None
    for mark in c.marks(segment, "name", "machine"):
        first, last = c.token_span(mark)
        # a type may run past the marked words at either end
        inner = [
            Name(n.first + max(0, first - 2), n.last + max(0, first - 2), n.kind, n.value, weak=n.weak)
            for n in machine_types(c.tokens[max(0, first - 2) : last + 3])
        ]
        inner = [n for n in inner if n.first <= last and n.last >= first]
        if inner:
            named = inner[-1]
            sure = mark.confidence
            if best is None or sure > best[2] + 0.25 or (best[2] < 0.7 and len(named.value) > len(best[0])):
                best = (named.value, (named.first, named.last), sure)
    if best is not None:
        return best
    for first, last in segment.stretches[:1]:
        opening = c.found.pieces[min(last, first + 14)].last
        for name in c.found.names:
            if not (name.kind == "type" and name.weak and segment.holds(c.piece_of(name.first))):
                continue
            if name.first <= opening:
                before = c.tokens[name.first - 1] if name.first else ""
                after = c.tokens[name.last + 1] if name.last + 1 < len(c.tokens) else ""
                if before in BEFORE_TYPE and after in AFTER_TYPE:
                    return name.value, (name.first, name.last), 0.5
    pieces = segment.pieces()
    early = c.found.pieces[pieces[min(len(pieces) - 1, 60)]].last
    for name in c.found.names:
        if (
            name.kind == "type"
            and not name.weak
            and segment.holds(c.piece_of(name.first))
            and name.first <= early
        ):
            return name.value, (name.first, name.last), 0.5
    return None, None, 0.0


def by_fleet(c: Context, segment: Segment, kind: str | None) -> Found | None:
    """The machine by the fleet number said; None where none was said."""
    candidates: list[tuple[float, PlacedCode]] = []
    for mark in c.marks(segment, "name", "fleet"):
        first, last = c.token_span(mark)
        codes = [
            k
            for k in c.codes_in(first, last)
            if k.kind in ("fleet", "code", "serial", "model", "part", "order", "fault")
        ]
        codes = [k for k in codes if not (k.kind == "model" and k.row is not None)]
        if not codes and not c.codes_in(first, last):
            read = figures_in(c, first, last)
            codes = [read] if read else []
        candidates.extend((mark.confidence, code) for code in codes)
    for code in c.each(segment, "fleet"):
        if code.row is not None and not any(code is k for _, k in candidates):
            denied = "not" in c.tokens[max(0, code.first - 3) : code.first]
            candidates.append((0.1 if denied else 0.45, code))
    if not candidates:
        return None
    exact = [(s, k) for s, k in candidates if k.kind == "fleet" and k.row is not None]
    if exact:
        sure, code = max(exact, key=lambda e: e[0])
        for later_sure, later in exact:
            between = c.tokens[code.last + 1 : later.first]
            taken_back = bool(TAKEN_BACK & set(between)) and len(between) < 25
            if later.first > code.last and later_sure > 0.4 and taken_back:
                sure, code = max(sure, later_sure), later  # "no, I read that off the wrong line, it is ..."
        row = c.lookup.machine(code.row or 0)
        heard = c.book.heard(code.first, code.last)
        # an exact hit in the register confirms what the recogniser was unsure of, the more where no number
        # beside it is of a machine that would fit as well
        share = 0.15 if alone_of_its_kind(c, row, code.code.key, kind) else 0.4
        confidence = min(0.99, 0.6 + 0.4 * sure) * (1 - share + share * heard)
        return Found(row, [(code.first, code.last)], confidence, code=code.code)
    sure, code = max(candidates, key=lambda e: e[0])
    spans = [(code.first, code.last)]
    ending = ends_so(c, code.code.key, kind)
    if ending is not None:
        why = f"{code.code.text} was said; {ending.fleet_number} is the register's one that ends so"
        return Found(ending, spans, 0.7, why, code.code)
    nearest, near = nearest_machine(c, segment, code.code.key, kind)
    if nearest is not None:
        why = f"{code.code.text} was heard; the register's nearest is {nearest.fleet_number}"
        return Found(nearest, spans, 0.5, why, code.code)
    if near:
        names = ", ".join(r.fleet_number for r in near[:3])
        why = f"{code.code.text} is not in the register; near it: {names}"
        return Found(None, spans, 0.4, why, code.code)
    return Found(None, spans, 0.6 * sure + 0.2, "not in the register", code.code)


def alone_of_its_kind(c: Context, row: MachineRow, key: str, kind: str | None) -> bool:
    """Whether the machine is of the kind said, and no machine of that kind has a number one edit away."""
    if kind is None or not (row.type == kind or alike(kind, row.type)):
        return False
    near = [c.lookup.machine(r) for _, r in c.lookup.fleet.near(key, 1)]
    return not any(
        m.fleet_number != row.fleet_number and (m.type == kind or alike(kind, m.type)) for m in near
    )


def ends_so(c: Context, key: str, kind: str | None) -> MachineRow | None:
    """The one machine whose fleet number ends with what was said, as people leave out what all their
    numbers begin with: of the kind said, where several do."""
    if len(key) < 3:
        return None
    rows = [m for m in c.lookup.register.machines if code_key(m.fleet_number).endswith(key)]
    if len(rows) > 1 and kind is not None:
        rows = [m for m in rows if m.type == kind or alike(m.type, kind)]
    return rows[0] if len(rows) == 1 else None


def nearest_machine(
    c: Context, segment: Segment, key: str, kind: str | None
) -> tuple[MachineRow | None, list[MachineRow]]:
    """The register's machine that a misheard number most likely means (None where none stands out), and the
    near ones, at most two edits away, the likeliest first.

    What is said beside the number decides: kind, make, model, customer and site of the machine. A typed
    number is taken as it stands: a person wrote it.
    """
    if len(key) < 2:
        return None, []
    near = [(d, c.lookup.machine(r)) for d, r in c.lookup.fleet.near(key, 2 if len(key) >= 4 else 1)]
    if all(w.probability is None for w in c.book.transcript.words):
        return None, [r for d, r in near if d <= 1]
    makes = {n.value for n in c.found.names if n.kind == "make" and segment.holds(c.piece_of(n.first))}
    models = {c.lookup.models[k.row] for k in c.each(segment, "model") if k.row is not None}
    owners = {n.value for n in names_of(c, segment, "customer")}
    owners |= {
        c.lookup.register.sites[n.row].customer for n in names_of(c, segment, "site") if n.row is not None
    }
    scored = []
    for distance, row in near:
        score = -float(distance)
        if kind is not None:
            score += 1.0 if row.type == kind else 0.4 if alike(kind, row.type) else -1.5
        if makes:
            score += 0.8 if row.make in makes else -0.8
        if models:
            score += 0.8 if row.model in models else -0.5
        if owners:
            score += 0.6 if row.customer in owners else -0.6
        scored.append((score, row))
    scored.sort(key=lambda e: -e[0])
    rows = [r for _, r in scored]
    if not scored or scored[0][0] < -0.45:
        return None, rows
    if len(scored) > 1 and scored[1][0] > scored[0][0] - 0.5:
        return None, rows
    return scored[0][1], rows


def figures_in(c: Context, first: int, last: int) -> PlacedCode | None:
    """The first code of figures alone within the tokens."""
    reader = CodeReader(c.lookup.known_codes)
    for place in range(first, last + 1):
        code = reader.figures(c.tokens[: last + 1], place)
        if code is not None and code.key:
            rows = c.lookup.fleet.rows(code.key)
            return PlacedCode(code, "fleet" if rows else "code", rows[0] if rows else None)
    return None


def by_serial(c: Context, segment: Segment) -> Found | None:
    """The machine by its serial number; None where none was said."""
    for code in c.each(segment, "serial"):
        span = [(code.first, code.last)]
        if code.row is not None:
            return Found(c.lookup.machine(code.row), span, 0.9, code=code.code)
    for mark in c.marks(segment, "name", "serial"):
        first, last = c.token_span(mark)
        for code in c.codes_in(first, last):
            rows = c.lookup.serial.rows(code.code.key)
            row = c.lookup.machine(rows[0]) if rows else None
            why = None if rows else "not in the register"
            return Found(row, [(code.first, code.last)], 0.9 if rows else 0.6, why, code.code)
    return None


def by_description(
    c: Context, segment: Segment, kind: str | None, sites: list[Name], customers: list[Name]
) -> Found | None:
    """The one row that fits make, model, size and type as said. Where several of one make and model do, a
    Found with what they share; None where no make or model was said, or nothing fits."""
    rows = list(c.lookup.register.machines)
    spans: list[tuple[int, int]] = []
    makes = [n for n in c.found.names if n.kind == "make" and segment.holds(c.piece_of(n.first))]
    models = list(c.each(segment, "model"))
    named = False
    if models:
        code = models[0]
        wanted = sound_key(c.lookup.models[code.row]) if code.row is not None else code.code.key
        rows = [r for r in rows if sound_key(r.model) == wanted]
        spans.append((code.first, code.last))
        named = bool(rows)
    if makes:
        rows = [r for r in rows if r.make == makes[0].value]
        spans.append((makes[0].first, makes[0].last))
        named = named or bool(rows)
    if not named:
        return None
    if kind:
        typed = [r for r in rows if r.type == kind] or [r for r in rows if alike(kind, r.type)]
        rows = typed or rows
    size = size_said(c, segment)
    if size is not None and len(rows) > 1:
        rows = [r for r in rows if r.size is not None and abs(r.size.value - size[0].value) < 1e-6] or rows
    owner = {n.value for n in customers} | {
        c.lookup.register.sites[n.row].customer for n in sites if n.row is not None
    }
    if owner and len(rows) > 1:
        rows = [r for r in rows if r.customer in owner] or rows
    if len(rows) == 1:
        return Found(rows[0], spans, 0.75)
    if rows and len({(r.make, r.model) for r in rows}) == 1:
        first = rows[0]
        alikes = ", ".join(r.fleet_number for r in rows[:4])
        why = f"several machines fit: {alikes}"
        stand = MachineRow("", first.type, first.make, first.model, first.size) if first.make else None
        return Found(None, spans, 0.6, why, stand=stand)
    return None


def size_said(c: Context, segment: Segment) -> tuple[Amount, tuple[int, int], float] | None:
    """The machine's class as spoken ("fourteen tonner"): value with unit, its tokens, how sure (0 to 1)."""
    for mark in c.marks(segment, "value", "size"):
        first, last = c.token_span(mark)
        q = c.quantity_in(first, last)
        if q is not None and q.unit in word_set("units", "machine_sizes", "units"):
            return Amount(value=q.value, unit=q.unit), (q.first, q.last), mark.confidence
    for q in c.found.quantities:
        tonner = c.tokens[q.last] in word_set("units", "machine_sizes", "say") and q.kind == "size"
        if tonner and segment.holds(c.piece_of(q.first)):
            return Amount(value=q.value, unit=q.unit), (q.first, q.last), 0.6
    return None
