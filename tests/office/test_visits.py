"""Signed sheets as the office reads them: the newest revision of each, however often it is asked."""

from __future__ import annotations

import datetime
import sys
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

# How sheets are made for tests stands with those of the store.
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "store"))

import office_rows
import store_work

from jobnotes.office.visits import UsedPart, Visits
from jobnotes.store import Person, SignedSheet, Workshop, forget


@dataclass
class Shop:
    """A workshop with one engineer."""

    workshop: Workshop
    engineer: Person
    folder: Path

    @property
    def visits(self) -> Visits:
        return Visits(self.workshop, store_work.LONDON)

    def sheet(self, number: int, **values: Any) -> SignedSheet:
        return office_rows.sheet_with(self.workshop, self.engineer, self.folder, number, **values)

    def amend(self, number: int, **values: Any) -> SignedSheet:
        draft = self.workshop.sheets.amend(number, self.engineer)
        return office_rows.filled(self.workshop, self.engineer, draft, **values)


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    workshop, engineer = store_work.workshop_with_engineer(tmp_path / "workshop")
    with workshop:
        yield Shop(workshop, engineer, tmp_path)


def test_a_sheet_as_the_office_reads_it(shop: Shop) -> None:
    parts = [
        {"description": "lift ram hose", "part_number": "HR-3062", "quantity": 2, "status": "fitted"},
        {"description": "hydraulic oil", "quantity": 4.5, "unit": "L", "status": "to_order"},
    ]
    sheet = shop.sheet(
        1,
        follow_up=["check the level"],
        parts=parts,
        site="Quillfen Quarry",
        order_number="QR4712",
        machine={"type": "wheel loader", "make": "Torrax", "model": "L90", "fleet_number": "WL-31"}
        | {"size": None, "serial_number": "T7", "hours": 6218.5},
        complaint="loses oil",
        cause="chafed hose",
        times={"arrived": "08:10", "left": "10:45", "labour_min": None, "travel_min": 40},
        outcome="complete",
        machine_state="in_service",
    )
    (visit,) = shop.visits.all()
    assert (visit.sheet, visit.revision, visit.engineer, visit.engineer_id) == (1, 1, "Tamsin Quill", 1)
    assert visit.signed_at == visit.first_signed_at == sheet.signed_at
    assert (visit.memo, visit.customer, visit.site, visit.order_number) == (
        *("with1", "Oddmarsh Hire"),
        *("Quillfen Quarry", "QR4712"),
    )
    assert (visit.date, visit.dated, visit.day_text) == (datetime.date(2026, 5, 12), True, "2026-05-12")
    assert (visit.fleet_number, visit.machine_key, visit.machine_type) == ("WL-31", "WL31", "wheel loader")
    assert (visit.machine, visit.serial_number, visit.hours) == ("Wheel loader Torrax L90", "T7", 6218.5)
    assert (visit.complaint, visit.cause, visit.follow_up) == (
        *("loses oil", "chafed hose"),
        ("check the level",),
    )
    assert (visit.arrived, visit.left, visit.labour_min, visit.travel_min) == ("08:10", "10:45", None, 40)
    assert (visit.outcome, visit.machine_state) == ("complete", "in_service")
    assert visit.parts == (
        UsedPart(0, "lift ram hose", "HR-3062", 2, "each", "fitted"),
        UsedPart(1, "hydraulic oil", "", 4.5, "L", "to_order"),
    )


def test_what_a_sheet_does_not_say_is_empty(shop: Shop) -> None:
    shop.sheet(1, customer=None, machine__fleet_number=None, machine__hours=None)
    (visit,) = shop.visits.all()
    assert (visit.customer, visit.site, visit.order_number, visit.fleet_number) == ("", "", "", "")
    assert (visit.machine_key, visit.machine, visit.hours, visit.miles) == ("", "", None, None)
    assert (visit.arrived, visit.labour_min, visit.parts, visit.outcome) == (None, None, (), "")


def test_an_undated_sheet_has_the_day_of_its_signature_where_the_workshop_is(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Half an hour before midnight in UTC is past midnight in a London summer.
    at = datetime.datetime(2026, 6, 30, 23, 30, tzinfo=datetime.UTC)
    monkeypatch.setattr("jobnotes.store.signer.now", lambda: at)
    shop.sheet(1, date=None)
    shop.sheet(2, date="2026-06-29")
    told = [(visit.date, visit.dated) for visit in shop.visits.all()]
    assert told == [(datetime.date(2026, 7, 1), False), (datetime.date(2026, 6, 29), True)]


@pytest.mark.parametrize("date", ["0001-01-01", "1969-12-31", "2200-01-01", "9999-12-31"])
def test_a_date_that_can_not_be_right_is_none(shop: Shop, date: str) -> None:
    """At the ends of the calendar no day before or after could be reckoned with."""
    sheet = shop.sheet(1, date=date)
    (visit,) = shop.visits.all()
    assert not visit.dated and visit.date == sheet.signed_at.astimezone(store_work.LONDON).date()


@pytest.mark.parametrize(
    ("distance", "miles"),
    [
        ({"value": 38.0, "unit": "mi"}, 38.0),
        # 1 mi is 1.609344 km: NIST SP 811, appendix B.8, and the Units of Measurement Regulations 1995.
        ({"value": 1.609344, "unit": "km"}, 1.0),
        ({"value": 80.4672, "unit": "km"}, 50.0),
        ({"value": 300.0, "unit": "m"}, None),
        (None, None),
    ],
)
def test_distances_are_in_miles(shop: Shop, distance: dict[str, Any] | None, miles: float | None) -> None:
    shop.sheet(1, distance=distance)
    (visit,) = shop.visits.all()
    assert visit.miles == (None if miles is None else pytest.approx(miles, rel=1e-12))


def test_of_an_amended_sheet_the_newest_revision_holds(shop: Shop) -> None:
    visits = shop.visits
    first = shop.sheet(1, site="Quarry")
    shop.sheet(2)
    assert [(each.sheet, each.revision, each.site) for each in visits.all()] == [(1, 1, "Quarry"), (2, 1, "")]
    second = shop.amend(1, site="Yard")
    again = shop.visits  # one that has seen nothing yet
    for each in (visits, again):
        (amended, other) = each.all()
        assert (amended.sheet, amended.revision, amended.site, other.sheet) == (1, 2, "Yard", 2)
        assert (amended.first_signed_at, amended.signed_at) == (first.signed_at, second.signed_at)
    shop.amend(1, site="Depot")
    shop.amend(1, site="Ferry")
    assert [(each.revision, each.site) for each in visits.all()] == [(4, "Ferry"), (1, "")]
    assert visits.all()[0].first_signed_at == first.signed_at


def test_a_withdrawn_sheet_is_gone(shop: Shop) -> None:
    visits = shop.visits
    for number in (1, 2, 3):
        shop.sheet(number)
    assert len(visits.all()) == 3
    shop.workshop.sheets.withdraw(1, shop.engineer, "wrong machine")
    assert [each.sheet for each in visits.all()] == [2, 3] == [each.sheet for each in shop.visits.all()]
    shop.amend(2)
    visits.all()
    shop.workshop.sheets.withdraw(2, shop.engineer, "wrong machine")
    assert [each.sheet for each in visits.all()] == [3] == [each.sheet for each in shop.visits.all()]


def test_a_sheet_amended_and_then_withdrawn_since_it_was_read_is_gone(shop: Shop) -> None:
    visits = shop.visits
    shop.sheet(1)
    assert len(visits.all()) == 1
    shop.amend(1)
    shop.workshop.sheets.withdraw(1, shop.engineer, "wrong machine")
    assert list(shop.visits.all()) == []
    assert list(visits.all()) == []


def test_each_sheet_is_read_once(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    read: list[int] = []
    since = shop.workshop.sheets.since

    def counted(entry: int) -> Iterator[SignedSheet]:
        for sheet in since(entry):
            read.append(sheet.number)
            yield sheet

    monkeypatch.setattr(shop.workshop.sheets, "since", counted)
    visits = shop.visits
    assert list(visits.all()) == [] and read == []
    shop.sheet(1)
    held = visits.all()
    assert visits.all() is held and read == [1]
    shop.sheet(2)
    assert len(visits.all()) == 2 and read == [1, 2]
    # Entries that are of no sheet: a forgotten recording, an invoice.
    forget(shop.workshop, shop.workshop.memos.all()[0], store_work.terminal(), "asked for")
    draft = shop.workshop.invoices.new_draft("Oddmarsh Hire", [2], store_work.terminal())
    make = office_rows.making(shop.workshop, draft)
    shop.workshop.invoices.approve(draft.id, 1, store_work.terminal(), make)
    assert shop.workshop.sheets.newest_entry() == 4
    assert [each.sheet for each in visits.all()] == [1, 2] and read == [1, 2]


def test_several_threads_ask_while_sheets_are_signed_and_withdrawn(shop: Shop) -> None:
    visits, stop, failures = shop.visits, threading.Event(), []
    seen: list[int] = []

    def ask() -> None:
        try:
            newest = 0
            while not stop.is_set():
                numbers = [each.sheet for each in visits.all()]
                assert numbers == sorted(set(numbers)) and max(numbers, default=0) >= newest
                newest = max(numbers, default=0)
            seen.append(newest)
        except BaseException as error:
            failures.append(error)

    threads = [threading.Thread(target=ask) for _ in range(4)]
    for thread in threads:
        thread.start()
    for number in range(1, 9):
        shop.sheet(number)
        if number % 3 == 0:
            shop.workshop.sheets.withdraw(number - 1, shop.engineer, "wrong machine")
        elif number % 4 == 0:
            shop.amend(1)
    stop.set()
    for thread in threads:
        thread.join()
    assert failures == [] and len(seen) == 4
    told = [(each.sheet, each.revision) for each in visits.all()]
    assert told == [(1, 3), (3, 1), (4, 1), (6, 1), (7, 1), (8, 1)]
    assert told == [(each.sheet, each.revision) for each in shop.visits.all()]
