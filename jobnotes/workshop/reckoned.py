"""What the office reckons from sheets, invoices, entries and files, each kept as long as those stand.

Whatever is kept names all that it is reckoned from. What tells whether the store has another entry is asked
before the entries are read: one that comes in between makes the next question reckon again, and is never left
out.
"""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Mapping, Sequence
from itertools import chain
from pathlib import Path

from jobnotes.errors import JobnotesError
from jobnotes.jobs.invoice import Invoice
from jobnotes.office.by_machine import histories, machine_of, words_key
from jobnotes.office.documents import Documents
from jobnotes.office.figures import Spend, Spending, Waiting, days_to_invoice
from jobnotes.office.follow_ups import FollowUp, follow_ups, oldest_first
from jobnotes.office.kept import Kept, KeptEach
from jobnotes.office.orders import Chased, Wanted, chase, to_order
from jobnotes.office.rates import Rates, load_rates
from jobnotes.office.returns import Return, latest_first, returns_of
from jobnotes.office.service import Service, service_of, soonest_first
from jobnotes.office.settings import OfficeSettings, load_office_settings
from jobnotes.office.stock import Level, levels
from jobnotes.office.visits import Visit, Visits
from jobnotes.register import Register
from jobnotes.store import Closing, OrderEntry, StockEntry, Workshop
from jobnotes.workshop.settings import Settings


class Reckoned:
    """The office's figures as they stand now; any number of threads may ask. What is given out is not to be
    changed.

    `before` is that of other settings: sheets and documents that it has read are not read again.
    """

    def __init__(self, workshop: Workshop, settings: Settings, *, before: Reckoned | None = None) -> None:
        self.workshop = workshop
        self.settings = settings
        same_days = before is not None and before.settings.zone == settings.zone
        self.visits: Visits = before.visits if before and same_days else Visits(workshop, settings.zone)
        self._documents: Documents = before._documents if before else Documents(workshop)
        self._rates: tuple[tuple[int, int] | None, Rates] | None = None
        self._rules: tuple[tuple[int, int] | None, OfficeSettings] | None = None
        self._histories: Kept[dict[str, list[Visit]]] = Kept()
        self._stock: Kept[list[StockEntry]] = Kept()
        self._orders: Kept[list[OrderEntry]] = Kept()
        self._vans: KeptEach[str, tuple[list[Visit], list[StockEntry]], list[Level]] = KeptEach()
        self._levels: Kept[list[Level]] = Kept()
        self._wanted: Kept[list[Wanted]] = Kept()
        self._chased: Kept[list[Chased]] = Kept()
        self._closings: Kept[list[Closing]] = Kept()
        self._advised: KeptEach[str, tuple[list[Visit], list[Closing]], list[FollowUp]] = KeptEach()
        self._follow_ups: Kept[list[FollowUp]] = Kept()
        self._services: KeptEach[str, list[Visit], Service | None] = KeptEach()
        self._returns: KeptEach[str, list[Visit], list[Return]] = KeptEach()
        self._spending = Spending()
        self._spend: Kept[list[Spend]] = Kept()
        self._waits: Kept[Waiting] = Kept()

    @property
    def register(self) -> Register:
        """The workshop's register."""
        return self.workshop.registers.current()

    @property
    def rules(self) -> OfficeSettings:
        """What office.toml says. Raises JobnotesError where it can't be read so."""
        mark = _mark(self.workshop.folder.office_settings)
        held = self._rules
        if held is None or held[0] != mark:
            self._rules = held = (mark, load_office_settings(self.workshop.folder, self.settings.firm))
        return held[1]

    @property
    def rates(self) -> Rates:
        """What rates.csv says."""
        mark = _mark(self.workshop.folder.rates)
        held = self._rates
        if held is None or held[0] != mark:
            self._rates = held = (mark, load_rates(self.workshop.folder.rates))
        return held[1]

    def today(self) -> datetime.date:
        """The date in the workshop's time zone."""
        return datetime.datetime.now(self.settings.zone).date()

    def warm_up(self) -> None:
        """Reads and reckons all that pages show, so that the first of them need not. What can't be reckoned,
        as with an office.toml that can't be read, is left to the page that says so."""
        for reckon in (self.wanted, self.chased, self.returns, self.services, self.spend, self.waits):
            try:
                reckon()
            except JobnotesError:
                continue
        for follow_up in self.follow_ups():
            _ = follow_up.proposed

    def documents(self) -> Sequence[Invoice]:
        """All invoices and credit notes, the oldest first."""
        return self._documents.all()

    def issued_between(self, first: datetime.date | None, last: datetime.date | None) -> list[Invoice]:
        """The documents of those days and between, the oldest first; None lets it open."""
        return [
            each
            for each in self.documents()
            if (first is None or each.issued >= first) and (last is None or each.issued <= last)
        ]

    def machines(self) -> Mapping[str, list[Visit]]:
        """The visits of each machine by its key, the earliest first; see `histories`."""
        visits = self.visits.all()
        return self._histories.of((visits,), lambda: histories(visits))

    def stock_entries(self) -> Sequence[StockEntry]:
        """All stock entries, the oldest first."""
        return self._stock.of((), self.workshop.stock.entries, marks=(self.workshop.stock.newest(),))

    def order_entries(self) -> Sequence[OrderEntry]:
        """All that was ordered and what became of it, the oldest first."""
        return self._orders.of((), self.workshop.orders.entries, marks=(self.workshop.orders.newest(),))

    def levels(self) -> list[Level]:
        """What the vans carry."""
        sources = visits, register, entries = self.visits.all(), self.register, self.stock_entries()

        def of_all_vans() -> list[Level]:
            vans: dict[str, tuple[list[Visit], list[StockEntry]]] = defaultdict(lambda: ([], []))
            for visit in visits:
                vans[words_key(visit.engineer)][0].append(visit)
            for entry in entries:
                vans[words_key(entry.van)][1].append(entry)
            found = self._vans.of(
                {van: vans[van] for van in sorted(vans)},
                lambda van: levels(van[0], register, van[1]),
                sources=(register,),
            )
            return list(chain.from_iterable(found))

        return self._levels.of(sources, of_all_vans)

    def wanted(self) -> list[Wanted]:
        """What is to be ordered, by supplier."""
        sources = (self.visits.all(), self.levels(), self.order_entries(), self.register)
        return self._wanted.of(sources, lambda: to_order(*sources))

    def chased(self) -> list[Chased]:
        """What is on order and has not come, the oldest first."""
        sources, today = (self.visits.all(), self.order_entries()), self.today()
        return self._chased.of(
            sources, lambda: chase(*sources, today, self.settings.zone), marks=(today, self.settings.zone)
        )

    def follow_ups(self) -> list[FollowUp]:
        """What sheets left to do."""
        sources, today = (self.visits.all(), self._closed()), self.today()

        def of_all_machines() -> list[FollowUp]:
            visits, closings = sources
            closed: dict[int, list[Closing]] = defaultdict(list)
            for closing in closings:
                closed[closing.sheet].append(closing)
            machines: dict[str, tuple[list[Visit], list[Closing]]] = defaultdict(lambda: ([], []))
            for visit in visits:
                own = machines[machine_of(visit)]
                own[0].append(visit)
                own[1].extend(closed.get(visit.sheet, ()))
            found = self._advised.of(machines, lambda own: follow_ups(*own, today), marks=(today,))
            return oldest_first(chain.from_iterable(found))

        return self._follow_ups.of(sources, of_all_machines, marks=(today,))

    def _closed(self) -> list[Closing]:
        store = self.workshop.follow_ups
        return self._closings.of((), store.closings, marks=store.state())

    def services(self) -> list[Service]:
        """The machines whose type has an interval, the next that is due first."""
        rules, today = self.rules, self.today()
        found = self._services.of(
            self.machines(),
            lambda history: service_of(history, rules.service_interval, today),
            marks=(rules.service, today),
        )
        return soonest_first(found, today)

    def returns(self) -> list[Return]:
        """The faults that came back, the latest first."""
        days = self.rules.returns.days
        found = self._returns.of(self.machines(), lambda history: returns_of(history, days), marks=(days,))
        return latest_first(found)

    def spend(self) -> list[Spend]:
        """What each machine cost, the dearest first."""
        documents = self.documents()
        return self._spend.of((documents,), lambda: self._spending.up_to(documents))

    def waits(self) -> Waiting:
        """How many days passed from visits to their invoices."""
        documents = self.documents()
        return self._waits.of((documents,), lambda: days_to_invoice(documents))

    # Of one machine, by its key: what its own visits tell, and no others are looked at.

    def machine_follow_ups(self, machine: str) -> list[FollowUp]:
        """What the machine's sheets left to do."""
        return follow_ups(self.machines().get(machine, ()), self._closed(), self.today())

    def machine_service(self, machine: str) -> Service | None:
        """Its next service; None where its type has no interval."""
        history = self.machines().get(machine)
        return service_of(history, self.rules.service_interval, self.today()) if history else None

    def machine_returns(self, machine: str) -> list[Return]:
        """Its faults that came back, the latest first."""
        return latest_first([returns_of(self.machines().get(machine, ()), self.rules.returns.days)])

    def machine_spend(self, machine: str) -> Spend | None:
        """What it cost; None where nothing was invoiced for it."""
        return next((each for each in self.spend() if each.machine_key == machine), None)


def _mark(file: Path) -> tuple[int, int] | None:
    if not file.exists():
        return None
    info = file.stat()
    return info.st_mtime_ns, info.st_size
