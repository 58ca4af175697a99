"""Machine, customer, site, order number and hour meter of a job."""

from __future__ import annotations

from dataclasses import dataclass

from jobnotes.jobs import Amount, Job, Machine
from jobnotes.language.codes import Code
from jobnotes.language.context import Context
from jobnotes.language.decode import Marked
from jobnotes.language.findings import PlacedCode
from jobnotes.language.names import Name, common_words, machine_types
from jobnotes.language.segments import Segment
from jobnotes.register import MachineRow
from jobnotes.register.lookup import code_key, name_words, sound_key

SIZE_UNITS = {"t", "m", "kVA", "kW", "hp", "cfm", "ft", "in", "mm", "L", "kg"}


TAKEN_BACK = {"no", "sorry", "wrong", "scratch", "lie", "rather", "mean", "correction", "beg"}


@dataclass
class Found:
    """A register row found for a machine, the words that led to it, and how sure that is."""

    row: MachineRow | None
    spans: list[tuple[int, int]]
    confidence: float
    why: str | None = None
    code: Code | None = None


def fill_identity(c: Context, segment: Segment, job: Job, base: str) -> MachineRow | None:
    """Writes job.machine, customer, site and order_number, with evidence. Gives the register's row, if one was found."""
    sites = names_of(c, segment, "site")
    customers = names_of(c, segment, "customer")
    kind, kind_span, kind_sure = type_of(c, segment)
    fleet = by_fleet(c, segment, kind)
    if fleet is None or fleet.row is None:
        serial = by_serial(c, segment)
        if serial is not None and (fleet is None or serial.row is not None):
            fleet = serial
    if fleet is None or (fleet.row is None and fleet.code is not None and fleet.confidence < 0.65):
        described = by_description(c, segment, kind, sites, customers)
        fleet = described if described is not None and (fleet is None or described.row is not None) else fleet
    machine = Machine()
    book = c.book
    if fleet is not None and fleet.row is not None:
        row = fleet.row
        machine = Machine(
            type=row.type or kind,
            make=row.make or None,
            model=row.model or None,
            size=row.size,
            fleet_number=row.fleet_number,
            serial_number=row.serial_number or None,
        )
        for field in ("type", "make", "model", "size", "fleet_number", "serial_number"):
            if getattr(machine, field) is not None:
                critical = field in ("fleet_number", "serial_number")
                book.put(
                    f"{base}/machine/{field}",
                    fleet.spans,
                    fleet.confidence,
                    fleet.why is not None and critical,
                    fleet.why,
                )
        if kind and row.type and kind != row.type and kind_sure > 0.6 and not alike(kind, row.type):
            book.doubt(f"{base}/machine/fleet_number", f"the memo says {kind}, the register {row.type}")
    else:
        spoken_machine(c, segment, machine, fleet, kind, kind_span, kind_sure, base)
    job.machine = machine
    fill_hours(c, segment, job, base)
    row_found = fleet.row if fleet else None
    fill_customer_and_site(c, segment, job, base, row_found, fleet, sites, customers)
    fill_order(c, segment, job, base)
    return row_found


def alike(a: str, b: str) -> bool:
    """Whether two machine types share a word (a mini excavator is called an excavator)."""
    return bool(set(a.split()) & set(b.split())) or ({a, b} <= {"boom lift", "telehandler"} and False)


def names_of(c: Context, segment: Segment, kind: str) -> list[Name]:
    """Names of a kind said in the segment, those not denied ("not Canner Street") first said first."""
    out = []
    for n in c.found.names:
        if n.kind == kind and segment.holds(c.piece_of(n.first)):
            before = c.tokens[max(0, n.first - 2) : n.first]
            if "not" in before or before[-1:] == ["never"]:
                continue
            out.append(n)
    return out


def type_of(c: Context, segment: Segment) -> tuple[str | None, tuple[int, int] | None, float]:
    """The machine type said, its tokens, and how sure."""
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
            if name.kind == "type" and name.weak and segment.holds(c.piece_of(name.first)) and name.first <= opening:
                before = c.tokens[name.first - 1] if name.first else ""
                after = c.tokens[name.last + 1] if name.last + 1 < len(c.tokens) else ""
                if before in ("the", "a", "their", "this", "that", "little", "big", ".") and after in (",", ".", "at", "in", "on"):
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
    """The machine by the fleet number said."""
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
            if later.first > code.last and later_sure > 0.4 and len(between) < 25 and TAKEN_BACK & set(between):
                sure, code = max(sure, later_sure), later  # "no, I read that off the wrong line, it is ..."
        row = c.lookup.machine(code.row or 0)
        heard = c.book.heard(code.first, code.last)
        # an exact hit in the register confirms what the recogniser was unsure of
        return Found(
            row, [(code.first, code.last)], min(0.99, 0.6 + 0.4 * sure) * (0.6 + 0.4 * heard), code=code.code
        )
    sure, code = max(candidates, key=lambda e: e[0])
    spans = [(code.first, code.last)]
    row, near = nearest_machine(c, segment, code.code.key, kind)
    if row is not None:
        why = f"{code.code.text} was heard; the register's nearest is {row.fleet_number}"
        return Found(row, spans, 0.5, why, code.code)
    if near:
        names = ", ".join(r.fleet_number for r in near[:3])
        why = f"{code.code.text} is not in the register; near it: {names}"
        return Found(None, spans, 0.4, why, code.code)
    return Found(None, spans, 0.6 * sure + 0.2, "not in the register", code.code)


def nearest_machine(
    c: Context, segment: Segment, key: str, kind: str | None
) -> tuple[MachineRow | None, list[MachineRow]]:
    """The register's machine that a misheard number most likely means, and the near ones.

    What is said beside the number decides: kind, make, model, customer and site of the machine. A typed number is
    taken as it stands: a person wrote it.
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
    """A code of figures alone within the tokens."""
    from jobnotes.language.codes import CodeReader

    reader = CodeReader(c.lookup.known_codes)
    for place in range(first, last + 1):
        code = reader.figures(c.tokens[: last + 1], place)
        if code is not None and len(code.key) >= 1:
            rows = c.lookup.fleet.rows(code.key)
            return PlacedCode(code, "fleet" if rows else "code", rows[0] if rows else None)
    return None


def by_serial(c: Context, segment: Segment) -> Found | None:
    """The machine by its serial number."""
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
    """The one row that fits make, model, size and type as said; None where several do."""
    rows = list(c.lookup.register.machines)
    spans: list[tuple[int, int]] = []
    makes = [n for n in c.found.names if n.kind == "make" and segment.holds(c.piece_of(n.first))]
    models = [k for k in c.each(segment, "model")]
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
        stand = MachineRow("", first.type, first.make, first.model, first.size)
        return Found(None, spans, 0.6, why, None) if not first.make else _several(stand, spans, why)
    return None


def _several(stand: MachineRow, spans: list[tuple[int, int]], why: str) -> Found:
    found = Found(None, spans, 0.6, why)
    found.stand = stand  # type: ignore[attr-defined]
    return found


def size_said(c: Context, segment: Segment) -> tuple[Amount, tuple[int, int], float] | None:
    """The machine's class as spoken."""
    for mark in c.marks(segment, "value", "size"):
        first, last = c.token_span(mark)
        q = c.quantity_in(first, last)
        if q is not None and q.unit in SIZE_UNITS:
            return Amount(value=q.value, unit=q.unit), (q.first, q.last), mark.confidence
    for q in c.found.quantities:
        tonner = c.tokens[q.last] in ("tonner", "tonners", "kva", "a") and q.kind == "size"
        if tonner and segment.holds(c.piece_of(q.first)):
            return Amount(value=q.value, unit=q.unit), (q.first, q.last), 0.6
    return None


def spoken_machine(
    c: Context,
    segment: Segment,
    machine: Machine,
    fleet: Found | None,
    kind: str | None,
    kind_span: tuple[int, int] | None,
    kind_sure: float,
    base: str,
) -> None:
    """A machine that the register does not settle: what the memo itself says of it."""
    book = c.book
    stand: MachineRow | None = getattr(fleet, "stand", None)
    if fleet is not None and fleet.code is not None:
        machine.fleet_number = fleet.code.text
        book.put(
            f"{base}/machine/fleet_number",
            fleet.spans,
            fleet.confidence,
            True,
            fleet.why or "not in the register",
        )
    if stand is not None:
        machine.type, machine.make, machine.model = stand.type or None, stand.make, stand.model
        size = size_said(c, segment)
        if size is not None:
            machine.size = size[0]
        for field in ("type", "make", "model", "size"):
            if getattr(machine, field) is not None and fleet is not None:
                book.put(f"{base}/machine/{field}", fleet.spans, 0.7)
        if fleet is not None:
            book.put(f"{base}/machine", fleet.spans, 0.5, False)
        return
    if kind and kind_span:
        machine.type = kind
        book.put(f"{base}/machine/type", [kind_span], 0.5 + 0.5 * kind_sure)
    makes = [n for n in c.found.names if n.kind == "make" and segment.holds(c.piece_of(n.first))]
    if makes:
        machine.make = makes[0].value
        book.put(f"{base}/machine/make", [(makes[0].first, makes[0].last)], 0.8)
    for code in c.each(segment, "model"):
        if code.row is not None:
            machine.model = c.lookup.models[code.row]
            book.put(f"{base}/machine/model", [(code.first, code.last)], 0.75)
            rows = [r for r in c.lookup.register.machines if r.model == machine.model]
            machine.make = machine.make or rows[0].make
            break
    size = size_said(c, segment)
    if size is not None:
        machine.size = size[0]
        book.put(f"{base}/machine/size", [size[1]], 0.4 + 0.5 * size[2])


def fill_hours(c: Context, segment: Segment, job: Job, base: str) -> None:
    """The hour meter's reading."""
    best: tuple[float, float, tuple[int, int]] | None = None
    for mark in c.marks(segment, "value", "hours", "labour", "travel"):
        first, last = c.token_span(mark)
        if mark.label != "hours" and not any(
            d.first <= last and d.last >= first and d.minutes >= 60 * 60 for d in c.found.durations
        ):
            continue  # nobody works sixty hours at one job: such a figure is the meter's
        numbers = [n for n in c.numbers_in(first, last) if not (n.plain and n.value < 2)]
        if not numbers or (numbers[-1].value != int(numbers[-1].value) and numbers[-1].value < 100):
            continue
        # a value taken back earlier in the span is followed by the one that stands
        number = numbers[-1]
        overlapped = [
            k for k in c.codes_in(number.first, number.last) if k.kind in ("part", "fleet", "order")
        ]
        sure = mark.confidence * (0.6 if overlapped else 1.0)
        again = (
            best is not None and number.first - best[2][1] < 8
        )  # said anew at once: "nine thousand and, er, nine thousand and six"
        if best is None or again or sure > best[1]:
            best = (number.value, max(sure, best[1]) if again and best else sure, (number.first, number.last))
    if best is None:
        for q in c.found.quantities:
            if q.unit != "h" or not segment.holds(c.piece_of(q.first)) or q.value < 50:
                continue
            after = c.tokens[q.last + 1 : q.last + 3]
            if (
                "service" in after
                or c.tokens[q.last] == "hour"
                or any(m.group == "value" and m.first <= c.piece_of(q.first) <= m.last for m in c.found.marks)
            ):
                continue
            if c.near(q.first, q.last, ("next", "due", "every", "interval", "at"), 4, 2):
                continue
            job.machine.hours = q.value
            c.book.put(
                f"{base}/machine/hours",
                [(q.first, q.last)],
                0.4,
                True,
                "the words do not say plainly that this is the hour meter",
            )
            return
        return
    value, sure, span = best
    job.machine.hours = value
    heard = c.book.heard(*span)
    c.book.put(f"{base}/machine/hours", [span], (0.5 + 0.5 * sure) * (0.5 + 0.5 * heard))


def fill_customer_and_site(
    c: Context,
    segment: Segment,
    job: Job,
    base: str,
    row: MachineRow | None,
    fleet: Found | None,
    sites: list[Name],
    customers: list[Name],
) -> None:
    """The customer by the machine's row, else by name, else by the site's row; the site by name."""
    book = c.book
    owner = row.customer if row else ""
    if sites:
        marked = {
            n: max((m.confidence for m in c.marks(segment, "name", "site") if touches(c, m, n)), default=0.3)
            for n in sites
        }
        site = max(sites, key=lambda n: (marked[n] + 0.5 * n.share - (0.3 if n.rivals else 0), -n.first))
        if site.rivals:
            # of rows that fit alike, the one that belongs to the machine's owner
            options = [site.value, *site.rivals]
            named = {n.value for n in customers} | ({owner} if owner else set())
            owned = [s.site for s in c.lookup.register.sites if s.site in options and s.customer in named]
            if len(owned) == 1:
                site = Name(
                    site.first,
                    site.last,
                    "site",
                    owned[0],
                    next(i for i, s in enumerate(c.lookup.register.sites) if s.site == owned[0]),
                    site.share,
                )
        job.site = site.value
        doubt = bool(site.rivals)
        book.put(
            f"{base}/site",
            [(site.first, site.last)],
            0.95 if site.share > 0.8 else 0.5 + 0.4 * site.share,
            doubt,
            "also fits: " + ", ".join(site.rivals[:3]),
        )
    else:
        spoken_site(c, segment, job, base)
    if owner:
        job.customer = owner
        book.put(
            f"{base}/customer",
            fleet.spans if fleet else [],
            fleet.confidence if fleet else 0.5,
            bool(fleet and fleet.why),
            fleet.why if fleet else None,
        )
        return
    if customers:
        marked_customers = {
            n: max(
                (m.confidence for m in c.marks(segment, "name", "customer") if touches(c, m, n)), default=0.2
            )
            for n in customers
        }
        best = max(customers, key=lambda n: (marked_customers[n] + n.share, -n.first))
        job.customer = best.value
        book.put(
            f"{base}/customer",
            [(best.first, best.last)],
            0.6 + 0.35 * best.share,
            bool(best.rivals),
            "also fits: " + ", ".join(best.rivals[:3]),
        )
        return
    spoken_customer(c, segment, job, base)
    for site in sites:
        if job.customer is None and site.value == job.site and site.row is not None:
            customer = c.lookup.register.sites[site.row].customer
            if customer:
                job.customer = customer
                book.put(
                    f"{base}/customer",
                    [(site.first, site.last)],
                    0.8,
                    bool(site.rivals),
                    "taken from the site",
                )


def touches(c: Context, mark: object, name: Name) -> bool:
    """Whether a mark lies on the words of a name."""
    first, last = c.token_span(mark)  # type: ignore[arg-type]
    return first <= name.last and last >= name.first


def spoken_site(c: Context, segment: Segment, job: Job, base: str) -> None:
    """A site that no row fits, as the words say it."""
    marks = [m for m in c.marks(segment, "name", "site") if m.confidence > 0.5]
    marks = [m for m in marks if c.tokens[max(0, c.token_span(m)[0] - 1)] != "for" or len(marks) == 1]
    if not marks:
        return
    mark = max(marks, key=lambda m: m.confidence)
    text = spoken_name(c, mark)
    if text is None:
        return
    job.site = text
    c.book.put(f"{base}/site", [c.token_span(mark)], 0.5, True, "not in the register")


def spoken_customer(c: Context, segment: Segment, job: Job, base: str) -> None:
    """A customer that no row fits, as the words say it: marked so, or a name after "for"."""
    marks = [m for m in c.marks(segment, "name", "customer") if m.confidence > 0.5]
    marks += [
        m
        for m in c.marks(segment, "name", "site")
        if m.confidence > 0.4 and c.tokens[max(0, c.token_span(m)[0] - 1)] == "for"
    ]
    for mark in marks:
        text = spoken_name(c, mark)
        if text is not None and text != job.site:
            job.customer = text
            c.book.put(f"{base}/customer", [c.token_span(mark)], 0.5, True, "not in the register")
            return


def spoken_name(c: Context, mark: Marked) -> str | None:
    """A name as said, its words with capitals; None where it is no name ("the yard")."""
    first, last = c.token_span(mark)
    words = [w for w in c.words[first : last + 1] if w.isalnum()]
    while words and words[0].lower() in ("the", "a", "an", "at", "over", "in", "on", "their", "for", "our"):
        words.pop(0)
    if not words or len(words) > 5 or all(w.lower() in common_words() for w in words):
        return None
    return " ".join(w if w[:1].isupper() else w.capitalize() for w in words)


def fill_order(c: Context, segment: Segment, job: Job, base: str) -> None:
    """The customer's order or job number."""
    best: tuple[float, str, tuple[int, int]] | None = None
    for mark in c.marks(segment, "name", "order"):
        first, last = c.token_span(mark)
        codes = [k for k in c.codes_in(first, last) if k.kind != "oil"]
        if codes:
            code = codes[-1]
            text, span = code.code.text, (code.first, code.last)
        else:
            read = figures_in(c, first, last)
            if read is None:
                continue
            text, span = read.code.text, (read.first, read.last)
        if best is None or mark.confidence > best[0]:
            best = (mark.confidence, text, span)
    if best is None:
        for code in c.each(segment, "order"):
            best = (0.5, code.code.text, (code.first, code.last))
            break
    if best is None:
        return
    sure, text, span = best
    job.order_number = text
    heard = c.book.heard(*span)
    c.book.put(f"{base}/order_number", [span], (0.55 + 0.45 * sure) * (0.5 + 0.5 * heard))


__all__ = ["code_key", "fill_identity", "name_words"]
