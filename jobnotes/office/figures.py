"""Figures for the office's charts: what machines cost, how long invoices take, how hard machines work."""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from statistics import median

from jobnotes.jobs.invoice import ChargedSheet, Invoice, Line
from jobnotes.jobs.money import NOUGHT, PENNY
from jobnotes.office.by_machine import histories, key_of, machine_name
from jobnotes.office.meter import Rate, meter
from jobnotes.office.visits import Visit


@dataclass(frozen=True)
class Spend:
    """What was charged for a machine, net in the invoices' currency, what was credited taken off. The machine
    is empty for what no sheet with a machine stands behind. `sheets` were charged."""

    machine: str
    machine_key: str
    net: Decimal
    sheets: tuple[int, ...]


def spend_by_machine(documents: Iterable[Invoice]) -> list[Spend]:
    """What each machine cost by documents in the order of their numbers, the dearest first. The sums add up
    to the documents' to the penny: a line of several machines is shared equally, odd pence to the first."""
    return Spending().up_to(list(documents))


class Spending:
    """The same for documents that become more: each is counted once."""

    def __init__(self) -> None:
        self._count = 0
        self._sheets: dict[int, ChargedSheet] = {}
        self._net: dict[str, Decimal] = defaultdict(lambda: NOUGHT)
        self._charged: dict[str, set[int]] = defaultdict(set)
        self._names: dict[str, str] = {}

    def up_to(self, documents: Sequence[Invoice]) -> list[Spend]:
        """What each machine cost, the dearest first; `documents` begin with those of the time before."""
        for document in documents[self._count :]:
            self._add(document)
        self._count = len(documents)
        return sorted(
            (
                Spend(self._names[key], key, self._net[key], tuple(sorted(self._charged[key])))
                for key in self._net
            ),
            key=lambda each: (-each.net, each.machine),
        )

    def _add(self, document: Invoice) -> None:
        own = {sheet.sheet: sheet for sheet in document.sheets}
        for number, sheet in own.items():
            self._sheets.setdefault(number, sheet)
        sign = -1 if document.kind == "credit_note" else 1
        for line in document.lines:
            machines = _machines(line, own, self._sheets)
            for place, (key, (name, numbers)) in enumerate(machines.items()):
                self._names[key] = name
                self._charged[key] |= numbers
                self._net[key] += sign * _share(line.net, place, len(machines))


def _machines(
    line: Line, own: Mapping[int, ChargedSheet], sheets: Mapping[int, ChargedSheet]
) -> dict[str, tuple[str, set[int]]]:
    """The machines of a line by key, in the order of its sources: a name, and the sheets. A sheet is looked
    for among the document's own first."""
    found: dict[str, tuple[str, set[int]]] = {}
    for number in dict.fromkeys(source.sheet for source in line.sources):
        sheet = own.get(number) or sheets.get(number)
        key, name = _called(sheet.fleet_number, sheet.machine) if sheet else ("", "")
        found.setdefault(key, (name, set()))[1].add(number)
    return found or {"": ("", set())}


@lru_cache(maxsize=4096)
def _called(fleet: str, machine: str) -> tuple[str, str]:
    """A machine's key and name."""
    name = ", ".join(each for each in (machine, f"fleet {fleet}" if fleet else "") if each)
    return key_of(fleet) or machine.casefold(), name


def _share(amount: Decimal, place: int, count: int) -> Decimal:
    """One of `count` shares of an amount that is in whole pence."""
    if count == 1:
        return amount
    pence, odd = divmod(abs(int(amount / PENNY)), count)
    share = (pence + (1 if place < odd else 0)) * PENNY
    return share if amount >= 0 else -share


@dataclass(frozen=True)
class Month:
    """The median of the days from visit to invoice, over the `count` sheets invoiced in the month."""

    first_day: datetime.date
    days: float
    count: int


@dataclass(frozen=True)
class Waiting:
    """How long sheets waited for their invoice, d. `days` is the median of all, None without any."""

    days: float | None
    count: int
    months: tuple[Month, ...]


def days_to_invoice(documents: Iterable[Invoice]) -> Waiting:
    """The days from each visit to the first invoice that charges it, by the month of that invoice. Credit
    notes, and invoices that charge a sheet anew, do not count."""
    first: dict[int, tuple[datetime.date, datetime.date]] = {}
    for document in documents:
        if document.kind == "invoice":
            for sheet in document.sheets:
                held = first.get(sheet.sheet)
                if held is None or document.issued < held[0]:
                    first[sheet.sheet] = (document.issued, sheet.day)
    months: dict[datetime.date, list[int]] = defaultdict(list)
    for issued, day in first.values():
        months[issued.replace(day=1)].append((issued - day).days)
    everything = [days for each in months.values() for days in each]
    return Waiting(
        float(median(everything)) if everything else None,
        len(everything),
        tuple(Month(month, float(median(days)), len(days)) for month, days in sorted(months.items())),
    )


@dataclass(frozen=True)
class Pace:
    """How many hours a day a machine works by its meter. `since` and `until` are the first and last of the
    `days` with readings that it is taken from."""

    machine: str
    machine_key: str
    customer: str
    rate: Rate
    since: datetime.date
    until: datetime.date
    days: int


def hours_a_day(visits: Iterable[Visit]) -> list[Pace]:
    """The pace of each machine with readings of two days or more, the hardest worked first."""
    found: list[Pace] = []
    for key, history in histories(visits).items():
        told = meter(history)
        if told.rate is not None:
            newest = history[-1]
            found.append(
                Pace(
                    machine_name(newest),
                    key,
                    newest.customer,
                    told.rate,
                    told.kept[0].day,
                    told.kept[-1].day,
                    len(told.kept),
                )
            )
    return sorted(found, key=lambda each: (-each.rate.per_day, each.machine))
