"""Machine, customer, site, order number and hour meter of a job."""

from __future__ import annotations

from jobnotes.jobs import Job, Machine
from jobnotes.language.codes import CodeReader
from jobnotes.language.context import Context
from jobnotes.language.customers import fill_customer, fill_site
from jobnotes.language.lexicon import sayings, word_set
from jobnotes.language.machine_rows import (
    Found,
    alike,
    by_description,
    by_fleet,
    by_serial,
    figures_in,
    names_of,
    size_said,
    type_of,
)
from jobnotes.language.numbers import REPEATS, TEENS, TENS, UNITS
from jobnotes.language.segments import Segment
from jobnotes.register import MachineRow


def fill_identity(c: Context, segment: Segment, job: Job, base: str) -> MachineRow | None:
    """Writes job.machine, customer, site and order_number, with evidence under the pointer `base`. Gives the
    machine's row of the register, None where none was found."""
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
        if kind and row.type and kind != row.type and kind_sure > 0.45 and not alike(kind, row.type):
            book.doubt(f"{base}/machine/fleet_number", f"the memo says {kind}, the register {row.type}")
        makes = {n.value for n in c.found.names if n.kind == "make" and segment.holds(c.piece_of(n.first))}
        if makes and row.make and row.make not in makes:
            book.doubt(f"{base}/machine/fleet_number", f"the memo says {min(makes)}, the register {row.make}")
    else:
        spoken_machine(c, segment, machine, fleet, kind, kind_span, kind_sure, base)
    job.machine = machine
    fill_hours(c, segment, job, base)
    fill_site(c, segment, job, base, fleet, sites, customers)
    fill_customer(c, segment, job, base, fleet, sites, customers)
    fill_order(c, segment, job, base)
    return fleet.row if fleet is not None else None


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
    """Writes the machine that the register does not settle: what the memo itself says of it."""
    book = c.book
    stand = fleet.stand if fleet is not None else None
    if fleet is not None and fleet.code is not None:
        machine.fleet_number = fleet.code.text
        book.put(
            f"{base}/machine/fleet_number",
            fleet.spans,
            fleet.confidence,
            True,
            fleet.why or "not in the register",
        )
    if fleet is not None and stand is not None:
        machine.type, machine.make, machine.model = stand.type or None, stand.make, stand.model
        size = size_said(c, segment)
        if size is not None:
            machine.size = size[0]
        for field in ("type", "make", "model", "size"):
            if getattr(machine, field) is not None:
                book.put(f"{base}/machine/{field}", fleet.spans, 0.7)
        book.put(f"{base}/machine", fleet.spans, 0.5)
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
            if machine.make is None and rows[0].make:
                machine.make = rows[0].make
                book.put(f"{base}/machine/make", [(code.first, code.last)], 0.7)
            break
    size = size_said(c, segment)
    if size is not None:
        machine.size = size[0]
        book.put(f"{base}/machine/size", [size[1]], 0.4 + 0.5 * size[2])


def fill_hours(c: Context, segment: Segment, job: Job, base: str) -> None:
    """Writes the hour meter's reading, h."""
    best: tuple[float, float, tuple[int, int]] | None = None
    for mark in c.marks(segment, "value", "hours", "labour", "travel"):
        first, last = c.token_span(mark)
        if mark.label == "hours" and (told := told_over(c, first, last)) is not None:
            if best is None or mark.confidence > best[1] or told[1][0] - best[2][1] < 8:
                best = (told[0], mark.confidence, told[1])
            continue
        if mark.label != "hours" and not any(
            d.first <= last and d.last >= first and d.minutes >= 60 * 60 for d in c.found.durations
        ):
            continue  # nobody works sixty hours at one job: such a figure is the meter's
        numbers = [n for n in c.numbers_in(first, last) if n.value >= 0 and not (n.plain and n.value < 2)]
        if not numbers or (numbers[-1].value != int(numbers[-1].value) and numbers[-1].value < 100):
            continue
        if numbers[-1].value < 24 and not c.near(first, last, sayings("cues", "hours", "meter"), 3, 4):
            continue  # "I was there two hours"
        # a value taken back earlier in the span is followed by the one that stands
        number = numbers[-1]
        overlapped = [
            k for k in c.codes_in(number.first, number.last) if k.kind in ("part", "fleet", "order")
        ]
        sure = mark.confidence * (0.6 if overlapped else 1.0)
        # said anew at once: "nine thousand and, er, nine thousand and six"
        again = best is not None and number.first - best[2][1] < 8
        if best is None or again or sure > best[1]:
            best = (number.value, max(sure, best[1]) if again and best else sure, (number.first, number.last))
    if best is None:
        for q in c.found.quantities:
            if q.unit != "h" or not segment.holds(c.piece_of(q.first)) or q.value < 50:
                continue
            after = c.tokens[q.last + 1 : q.last + 3]
            if (
                word_set("cues", "service").intersection(after)
                or c.tokens[q.last] == "hour"
                or any(m.group == "value" and m.first <= c.piece_of(q.first) <= m.last for m in c.found.marks)
            ):
                continue
            if c.near(q.first, q.last, sayings("cues", "hours", "no_meter"), 4, 2):
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
        after_fleet_number(c, segment, job, base)
        return
    value, sure, span = best
    job.machine.hours = value
    heard = c.book.heard(*span)
    unsteady = c.book.by_ear and said_unsteadily(c, segment, value, span)
    why = "more than one figure was heard here"
    c.book.put(f"{base}/machine/hours", [span], (0.5 + 0.5 * sure) * (0.5 + 0.5 * heard), unsteady, why)


UNSTEADY_REACH = 8  # tokens


def said_unsteadily(c: Context, segment: Segment, value: float, span: tuple[int, int]) -> bool:
    """Whether another figure for the hour meter, or one taken back, is said beside the one that was read:
    "6,000 and, er, 6,000 and, 3 hours"."""
    for mark in c.marks(segment, "value", "hours", "old"):
        first, last = c.token_span(mark)
        apart = max(first - span[1], span[0] - last)
        others = [
            n for n in c.numbers_in(first, last) if n.value != value and not n.first <= span[0] <= n.last
        ]
        if 0 < apart <= UNSTEADY_REACH and others:
            return True
    return False


# Words of a meter read out in groups: no scale among them.
READ_OUT = frozenset({*UNITS, *TEENS, *TENS, *REPEATS, "oh", "o", "-"})


def told_over(c: Context, first: int, last: int) -> tuple[float, tuple[int, int]] | None:
    """(hours, tokens) of a meter read out in groups ("ten four one one", "fifteen two thirty"), or whose
    end alone is put right ("three thousand three hundred and thirty-eight, no, eighty-eight"); None where
    a plain number stands."""
    if READ_OUT.issuperset(c.tokens[first : last + 1]):
        code = CodeReader().figures(c.tokens[: last + 1], first)
        if code is not None and code.last == last and code.key.isdecimal() and 3 <= len(code.key) <= 5:
            return float(code.key), (first, last)
    begun = [n for n in c.found.numbers if n.first <= last and n.last >= first and n.value >= 1000]
    for number in begun[:1]:
        after = c.tokens[number.last + 1 : number.last + 7]
        taken_back = word_set("cues", "road", "taken_back") | {"or"}
        ends = [
            n
            for n in c.found.numbers
            if number.last < n.first <= number.last + 8 and 10 <= n.value < 100
            if not any(q.first <= n.first <= q.last and q.unit != "h" for q in c.found.quantities)
        ]
        if after[:1] == [","] and taken_back & set(after) and ends and number.value % 100:
            end = ends[-1] if "?" in after else ends[0]
            if not any(n.value >= 100 for n in c.found.numbers if number.last < n.first <= end.last + 3):
                return number.value - number.value % 100 + end.value, (number.first, end.last)
    return None


def order_for_the_lot(c: Context, segment: Segment) -> tuple[float, str, tuple[int, int]] | None:
    """(how sure, number, tokens) of a number whose sentence says that it is the order, or the number, for
    several machines; None where there is none."""
    shared, cues = word_set("cues", "jobs", "order_for_all"), {"order", "orders", "covers"}
    held = [(k.code.text, k.first, k.last) for k in c.found.codes if k.kind == "code" and k.row is None]
    held += [
        (n.digits or f"{n.value:.0f}", n.first, n.last)
        for n in c.found.numbers
        if (n.last - n.first >= 3 or n.last == n.first) and n.value == int(n.value) and n.value >= 1000
        if not any(q.first <= n.first <= q.last for q in c.found.quantities)
    ]
    for text, a, b in held:
        first, last = c.sentence(a)
        near = set(c.tokens[first : last + 1])
        told = near & cues or c.near(
            a, b, ("the number for the lot", "number for both", "number for all"), 8, 12
        )
        if segment.holds(c.piece_of(a)) and near & shared and told:
            return 0.5, text, (a, b)
    return None


def after_fleet_number(c: Context, segment: Segment, job: Job, base: str) -> None:
    """A bare figure right after the fleet number, of which nothing else is said, is most likely the hour
    meter: marked for a look."""
    for code in c.each(segment, "fleet"):
        for number in c.found.numbers:
            between = c.tokens[code.last + 1 : number.first]
            if not 0 < len(between) <= 2 or not {",", "."}.issuperset(between) or number.value < 100:
                continue
            piece = c.piece_of(number.first)
            marked = any(
                m.group in ("value", "part", "name") and m.first <= piece <= m.last for m in c.found.marks
            )
            measured = any(q.first <= number.first <= q.last and q.unit != "h" for q in c.found.quantities)
            if number.value == int(number.value) and not marked and not measured:
                job.machine.hours = number.value
                why = "a figure after the fleet number, taken for the hour meter"
                c.book.put(f"{base}/machine/hours", [(number.first, number.last)], 0.5, True, why)
                return


def fill_order(c: Context, segment: Segment, job: Job, base: str) -> None:
    """Writes the customer's order or job number."""
    best: tuple[float, str, tuple[int, int]] | None = None
    for mark in c.marks(segment, "name", "order"):
        first, last = c.token_span(mark)
        codes = [k for k in c.codes_in(first, last) if k.kind not in ("oil", "part") or k.row is None]
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
        best = order_for_the_lot(c, segment)
    if best is None:
        return
    sure, text, span = best
    job.order_number = text
    heard = c.book.heard(*span)
    why = "heard only: there is no list that an order number could be held against"
    c.book.put(f"{base}/order_number", [span], (0.55 + 0.45 * sure) * (0.5 + 0.5 * heard), c.book.by_ear, why)
