"""What is to be ordered, and what is on order and has not come."""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from jobnotes.office.by_machine import (
    Parts,
    exact,
    fitted_after,
    histories,
    key_of,
    machine_name,
    machine_of,
    plain,
    same_part,
    shown,
    words_key,
)
from jobnotes.office.stock import Level
from jobnotes.office.visits import UsedPart, Visit
from jobnotes.register import PartRow, Register
from jobnotes.store.office_values import OrderEntry

NO_SUPPLIER = "no supplier named"
WANTED = frozenset({"to_order"})
COMING = frozenset({"ordered"})
MOST_TOLD = 3
"""So many other sheets are named beside a part; the rest are counted."""


@dataclass(frozen=True)
class Wanted:
    """A part to be ordered, for one reason: a sheet (with `place`, the part's place in its job) or a van that
    is short. `quantity` is in `unit`; `day` that of the sheet."""

    supplier: str
    part_number: str
    supplier_part_number: str
    description: str
    quantity: Decimal
    unit: str
    why: str
    sheet: int | None = None
    place: int | None = None
    machine: str = ""
    customer: str = ""
    day: datetime.date | None = None
    van: str = ""

    @property
    def named_supplier(self) -> str:
        """The supplier, empty where the register names none."""
        return "" if self.supplier == NO_SUPPLIER else self.supplier


@dataclass(frozen=True)
class Chased:
    """A part that is on order and has not been seen since. `quantity` is what is still to come, in `unit`;
    `since` the day of the sheet or of the order, `age_days` how long ago. `order` is the order's id; None
    where only the sheet says that it was ordered."""

    part_number: str
    description: str
    quantity: Decimal
    unit: str
    since: datetime.date
    age_days: int
    sheet: int | None
    place: int | None
    order: int | None
    machine: str
    customer: str
    engineer: str
    supplier: str
    reference: str
    van: str


@dataclass
class _Order:
    """An order and what became of it."""

    entry: OrderEntry
    received: Decimal = Decimal(0)
    cancelled: Decimal = Decimal(0)

    @property
    def outstanding(self) -> Decimal:
        """What is still to come."""
        return max(Decimal(0), self.entry.quantity - self.received - self.cancelled)

    @property
    def covered(self) -> Decimal:
        """What came or will come."""
        return max(self.received, self.entry.quantity - self.cancelled)


def _orders(entries: Iterable[OrderEntry]) -> list[_Order]:
    entries = sorted(entries, key=lambda entry: entry.id)
    orders = {entry.id: _Order(entry) for entry in entries if entry.kind == "ordered"}
    for entry in entries:
        order = orders.get(entry.order)
        if order is None:
            continue
        if entry.kind == "received":
            order.received += entry.quantity
        elif entry.kind == "cancelled":
            order.cancelled += entry.quantity
    return list(orders.values())


class _Rows:
    """The register's parts by number, else by exactly the same description where only one has it."""

    def __init__(self, register: Register) -> None:
        self._numbers = {key_of(row.part_number): row for row in register.parts}
        self._descriptions: dict[str, PartRow | None] = {}
        for row in register.parts:
            text = plain(row.description)
            self._descriptions[text] = None if text in self._descriptions else row

    def row(self, number: str, description: str) -> PartRow | None:
        """The row, None where there is none."""
        if key_of(number):
            return self._numbers.get(key_of(number))
        return self._descriptions.get(plain(description)) if plain(description) else None


def to_order(
    visits: Iterable[Visit], levels: Iterable[Level], entries: Iterable[OrderEntry], register: Register
) -> list[Wanted]:
    """What is to be ordered, by supplier and part, those without a supplier last.

    From sheets: parts `to_order` that no later sheet of the same machine shows fitted, less what was ordered
    for that sheet and not cancelled. From vans: parts below their minimum, filled up to order_quantity (to
    the minimum where there is none, or it is less), less what is on order for that van and no sheet.
    """
    visits = list(visits)
    orders, rows = _orders(entries), _Rows(register)
    for_sheet: dict[int, list[_Order]] = defaultdict(list)
    for order in orders:
        if order.entry.sheet is not None:
            for_sheet[order.entry.sheet].append(order)
    asking = [visit for visit in visits if any(part.status in WANTED for part in visit.parts)]
    history = histories(visits)
    came: set[tuple[int, int]] = set()
    for key in {machine_of(visit) for visit in asking} & history.keys():
        came |= fitted_after(history[key], WANTED | COMING)
    mentions: dict[str, _Mentions] = {}
    found: list[Wanted] = []
    for visit in asking:
        wanted = [part for part in visit.parts if part.status in WANTED]
        left = _left(wanted, for_sheet.get(visit.sheet, ()))
        for part in wanted:
            if (visit.sheet, part.place) not in came and left[part.place] > 0:
                key = machine_of(visit)
                if key not in mentions:
                    mentions[key] = _Mentions(history.get(key, ()), came)
                others = mentions[key].also(visit, part)
                found.append(
                    _of_sheet(
                        visit, part, left[part.place], rows.row(part.part_number, part.description), others
                    )
                )
    found += _of_vans(levels, orders, rows)
    return sorted(
        found,
        key=lambda each: (
            each.supplier == NO_SUPPLIER,
            words_key(each.supplier),
            each.part_number,
            plain(each.description),
            each.sheet is None,
            each.sheet or 0,
            words_key(each.van),
        ),
    )


def _left(wanted: Sequence[UsedPart], orders: Sequence[_Order]) -> dict[int, Decimal]:
    """What is not ordered yet of the parts that one sheet asks for. An order counts for the part at its
    place; where an amendment has moved the parts, for another that is the same part."""
    left = {part.place: exact(part.quantity) for part in wanted}
    rest = [(order.entry, order.covered) for order in orders]
    for by_place in (True, False):
        for number, (entry, amount) in enumerate(rest):
            for part in wanted:
                if by_place and part.place != entry.place:
                    continue
                if same_part(part.part_number, part.description, entry.part_number, entry.description):
                    taken = min(amount, left[part.place])
                    left[part.place] -= taken
                    amount -= taken
            rest[number] = (entry, amount)
    return left


class _Mentions:
    """The parts that the sheets of one machine ask for or call ordered, and that did not come since, to be
    asked for the same part."""

    def __init__(self, history: Sequence[Visit], came: set[tuple[int, int]]) -> None:
        self._of: dict[str, list[tuple[Visit, UsedPart]]] = defaultdict(list)
        for visit in history:
            for part in visit.parts:
                if part.status in WANTED | COMING and (visit.sheet, part.place) not in came:
                    for key in _keys(part):
                        self._of[key].append((visit, part))

    def also(self, visit: Visit, part: UsedPart) -> list[str]:
        """What other sheets of the machine say of the same part: whoever orders should not order twice."""
        said: dict[int, str] = {}
        for key in _keys(part):
            for other, each in self._of[key]:
                if other.sheet == visit.sheet or not same_part(
                    part.part_number, part.description, each.part_number, each.description
                ):
                    continue
                told_so = "asks for it too" if each.status in WANTED else "says that it is on order"
                said.setdefault(other.sheet, f"sheet {other.sheet} {told_so}")
        told = [said[sheet] for sheet in sorted(said)]
        return told[:MOST_TOLD] + ([f"{len(told) - MOST_TOLD} more do"] if len(told) > MOST_TOLD else [])


def _keys(part: UsedPart) -> list[str]:
    number, description = key_of(part.part_number), plain(part.description)
    return [key for key in (number and f"number {number}", description and f"text {description}") if key]


def _of_sheet(
    visit: Visit, part: UsedPart, quantity: Decimal, row: PartRow | None, others: Sequence[str]
) -> Wanted:
    machine = machine_name(visit)
    why = f"Sheet {visit.sheet}, {machine}" if machine else f"Sheet {visit.sheet}"
    return Wanted(
        supplier=_supplier(row),
        part_number=row.part_number if row else part.part_number,
        supplier_part_number=row.extra.get("supplier_part_number", "").strip() if row else "",
        description=row.description if row else part.description,
        quantity=quantity,
        unit=part.unit,
        why="; ".join((why, *others)),
        sheet=visit.sheet,
        place=part.place,
        machine=machine,
        customer=visit.customer,
        day=visit.date,
    )


def _of_vans(levels: Iterable[Level], orders: Iterable[_Order], rows: _Rows) -> list[Wanted]:
    coming: dict[tuple[str, str], Decimal] = defaultdict(Decimal)
    for order in orders:
        if order.entry.sheet is None:
            coming[words_key(order.entry.van), key_of(order.entry.part_number)] += order.outstanding
    found = []
    for level in levels:
        if not level.below_minimum or level.quantity is None or level.minimum is None:
            continue
        target = max(level.minimum, level.order_quantity or Decimal(0))
        on_order = coming.get((words_key(level.van), key_of(level.part_number)), Decimal(0))
        # Fresh orders wait until what is coming would leave the van short.
        if level.quantity + on_order >= level.minimum:
            continue
        row = rows.row(level.part_number, level.description)
        why = f"{level.van}'s van has {shown(level.quantity)}, the minimum is {shown(level.minimum)}"
        if on_order:
            why += f", {shown(on_order)} on order"
        found.append(
            Wanted(
                supplier=_supplier(row),
                part_number=level.part_number,
                supplier_part_number=row.extra.get("supplier_part_number", "").strip() if row else "",
                description=level.description,
                quantity=target - level.quantity - on_order,
                unit=level.unit,
                why=why,
                van=level.van,
            )
        )
    return found


def _supplier(row: PartRow | None) -> str:
    return " ".join(row.extra.get("supplier", "").split()) or NO_SUPPLIER if row else NO_SUPPLIER


def chase(
    visits: Iterable[Visit],
    entries: Iterable[OrderEntry],
    today: datetime.date,
    zone: datetime.tzinfo = datetime.UTC,
) -> list[Chased]:
    """What is on order and was neither fitted on a later sheet of the same machine, received nor cancelled,
    the oldest first. `zone` gives the day of an order.

    A part that its sheet calls ordered and that an order of the office names as well stands here once, as the
    order; once that has come or was cancelled, it stands here no more.
    """
    visits = list(visits)
    orders = _orders(entries)
    history = histories(visits)
    by_sheet = {visit.sheet: visit for visit in visits}
    named: dict[int, list[OrderEntry]] = defaultdict(list)
    for order in orders:
        if order.entry.sheet is not None:
            named[order.entry.sheet].append(order.entry)
    came: set[tuple[int, int]] = set()
    waiting = [visit for visit in visits if any(part.status in COMING for part in visit.parts)]
    for key in {machine_of(visit) for visit in waiting} & history.keys():
        came |= fitted_after(history[key], COMING)
    found: list[Chased] = []
    for visit in waiting:
        for part in visit.parts:
            if part.status not in COMING or (visit.sheet, part.place) in came:
                continue
            if any(
                same_part(part.part_number, part.description, entry.part_number, entry.description)
                for entry in named.get(visit.sheet, ())
            ):
                continue
            found.append(_of_part(visit, part, today))
    later: dict[str, dict[int, Parts]] = {}
    for order in orders:
        if order.outstanding <= 0:
            continue
        asked = by_sheet.get(order.entry.sheet) if order.entry.sheet is not None else None
        if asked is not None:
            key = machine_of(asked)
            if key in history:
                if key not in later:
                    later[key] = _fitted_later(history[key], named)
                if later[key][asked.sheet].holds(order.entry.part_number, order.entry.description):
                    continue
        found.append(_of_order(order, asked, today, zone))
    return sorted(found, key=lambda each: (each.since, each.sheet or 0, each.place or 0, each.order or 0))


def _fitted_later(history: Sequence[Visit], asked: dict[int, list[OrderEntry]]) -> dict[int, Parts]:
    """For each sheet of a machine that has orders: the parts that sheets after it show fitted."""
    found: dict[int, Parts] = {}
    seen = Parts()
    for visit in reversed(history):
        if visit.sheet in asked:
            found[visit.sheet] = seen.copy()
        for part in visit.parts:
            if part.status == "fitted":
                seen.add(part)
    return found


def _of_part(visit: Visit, part: UsedPart, today: datetime.date) -> Chased:
    return Chased(
        part_number=part.part_number,
        description=part.description,
        quantity=exact(part.quantity),
        unit=part.unit,
        since=visit.date,
        age_days=(today - visit.date).days,
        sheet=visit.sheet,
        place=part.place,
        order=None,
        machine=machine_name(visit),
        customer=visit.customer,
        engineer=visit.engineer,
        supplier="",
        reference="",
        van="",
    )


def _of_order(order: _Order, asked: Visit | None, today: datetime.date, zone: datetime.tzinfo) -> Chased:
    entry = order.entry
    since = entry.at.astimezone(zone).date()
    return Chased(
        part_number=entry.part_number,
        description=entry.description,
        quantity=order.outstanding,
        unit=entry.unit,
        since=since,
        age_days=(today - since).days,
        sheet=entry.sheet,
        place=entry.place,
        order=entry.id,
        machine=machine_name(asked) if asked else "",
        customer=asked.customer if asked else "",
        engineer=asked.engineer if asked else "",
        supplier=entry.supplier,
        reference=entry.reference,
        van=entry.van,
    )
