"""What is to be ordered, and what is on order."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from visited import at, became, on, ordered, part, stock_entry, visited

from jobnotes.office.order_list import order_list
from jobnotes.office.orders import NO_SUPPLIER, Wanted, chase, to_order
from jobnotes.office.stock import levels
from jobnotes.office.visits import Visit
from jobnotes.register import PartRow, Register
from jobnotes.store.office_values import OrderEntry

REGISTER = Register(
    parts=[
        PartRow(
            "SM-9", "Slew motor", extra={"supplier": "Ormsby Hydraulics", "supplier_part_number": "O/SM9"}
        ),
        PartRow("SS-2", "Seat switch", extra={"supplier": "Arden Electrics"}),
        PartRow("HF-310", "Return filter", van_stock=4, extra={"van_minimum": "3", "order_quantity": "6"}),
        PartRow("BE-7", "Beacon", van_stock=1, extra={"van_minimum": "2", "supplier": "Arden Electrics"}),
    ]
)
NO_VANS = Register(parts=REGISTER.parts[:2])


def wanted(visits: list[Visit], entries: list[OrderEntry] | None = None) -> list[Wanted]:
    return to_order(visits, [], entries or [], NO_VANS)


SLEW = part("slew motor", "sm9", 1, "to_order")


def test_a_part_to_be_ordered_is_wanted_with_its_reason() -> None:
    (one,) = wanted([visited(3, parts=[SLEW])])
    assert (one.supplier, one.part_number, one.supplier_part_number) == ("Ormsby Hydraulics", "SM-9", "O/SM9")
    assert one.why == "Sheet 3, Excavator Kelbrack K14, fleet EX 14"
    assert (one.sheet, one.place, one.quantity) == (3, 0, 1)


def test_a_part_without_a_number_is_found_by_its_description() -> None:
    (one,) = wanted([visited(3, parts=[part("SLEW  motor", status="to_order")])])
    assert one.part_number == "SM-9"


def test_a_later_sheet_of_the_machine_that_shows_it_fitted_ends_it() -> None:
    visits = [visited(3, parts=[SLEW]), visited(4, 9, parts=[part("motor, slew", "SM-9")])]
    assert wanted(visits) == []
    by_description = [visited(3, parts=[SLEW]), visited(4, 9, parts=[part("Slew motor")])]
    assert wanted(by_description) == []


@pytest.mark.parametrize(
    "other",
    [
        visited(4, 9, fleet_number="EX 15", parts=[part("slew motor", "SM-9")]),
        visited(4, 9, parts=[part("slew motor", "SM-9", status="not_used")]),
        visited(4, 9, parts=[part("slew motor", "SM-10")]),
        visited(4, -9, parts=[part("slew motor", "SM-9")]),
        visited(4, 9, parts=[part("", "")]),
    ],
)
def test_what_does_not_show_it_fitted_does_not_end_it(other: Visit) -> None:
    assert [each.sheet for each in wanted([visited(3, parts=[SLEW]), other])] == [3]


def test_machines_without_any_number_have_no_later_sheets() -> None:
    visits = [
        visited(3, fleet_number="", parts=[SLEW]),
        visited(4, 9, fleet_number="", parts=[part("slew motor", "SM-9")]),
    ]
    assert [each.sheet for each in wanted(visits)] == [3]
    known = [replace(visit, serial_number="KB 1404") for visit in visits]
    assert wanted(known) == []


def test_the_same_sheet_that_fitted_one_still_wants_another() -> None:
    assert len(wanted([visited(3, parts=[part("slew motor", "SM-9"), SLEW])])) == 1


def test_an_order_covers_it_until_it_is_cancelled() -> None:
    visits = [visited(3, parts=[SLEW])]
    order = ordered(1, "SM-9", "1", sheet=3, place=0)
    assert wanted(visits, [order]) == []
    assert wanted(visits, [order, became(order, "received", "1")]) == []
    assert len(wanted(visits, [order, became(order, "cancelled", "1")])) == 1


def test_an_order_for_something_else_covers_nothing() -> None:
    visits = [visited(3, parts=[SLEW])]
    for order in (
        ordered(1, "SM-9", "1", sheet=2, place=0),
        ordered(1, "SS-2", "1", sheet=3, place=0),
        ordered(1, "SM-9", "1"),
    ):
        assert len(wanted(visits, [order])) == 1


def test_an_order_for_some_leaves_the_rest() -> None:
    visits = [visited(3, parts=[part("seat switch", "SS-2", 4, "to_order")])]
    order = ordered(1, "SS-2", "3", sheet=3, place=0)
    assert wanted(visits, [order])[0].quantity == 1
    assert (
        wanted(visits, [order, became(order, "received", "1"), became(order, "cancelled", "2")])[0].quantity
        == 3
    )


def test_an_amendment_that_moves_the_parts_keeps_the_order() -> None:
    moved = visited(3, parts=[part("seat switch", "SS-2", 1, "to_order"), SLEW])
    assert [each.part_number for each in wanted([moved], [ordered(1, "SM-9", "1", sheet=3, place=0)])] == [
        "SS-2"
    ]


def test_one_order_does_not_cover_two_parts() -> None:
    twice = visited(3, parts=[SLEW, SLEW])
    assert [each.place for each in wanted([twice], [ordered(1, "SM-9", "1", sheet=3, place=1)])] == [0]


def test_sheets_that_ask_for_the_same_are_told_beside_each_other() -> None:
    found = wanted([visited(3, parts=[SLEW]), visited(5, 4, parts=[replace(SLEW, status="ordered")])])
    assert "sheet 5 says that it is on order" in found[0].why
    before = wanted([visited(3, parts=[replace(SLEW, status="ordered")]), visited(5, 4, parts=[SLEW])])
    assert "sheet 3 says that it is on order" in before[0].why
    came = visited(4, 2, parts=[part("slew motor", "SM-9")])
    again = wanted([visited(3, parts=[replace(SLEW, status="ordered")]), came, visited(5, 4, parts=[SLEW])])
    assert "on order" not in again[0].why
    apart = [visited(3, parts=[SLEW]), visited(5, 4, fleet_number="EX 15", parts=[SLEW])]
    assert all("sheet 5 asks" not in each.why for each in wanted(apart))
    (first, second) = wanted(
        [visited(3, parts=[SLEW]), visited(5, 4, parts=[part("Slew motor", "", 1, "to_order")])]
    )
    assert "sheet 5 asks for it too" in first.why and "sheet 3 asks for it too" in second.why


def test_a_van_below_its_minimum_is_filled_up_to_the_order_quantity() -> None:
    visits = [visited(1, parts=[part("filter", "HF-310", 2)])]
    found = {each.part_number: each for each in to_order(visits, levels(visits, REGISTER, []), [], REGISTER)}
    assert found["HF-310"].quantity == 6 - 2
    assert found["HF-310"].why == "Tamsin Quill's van has 2, the minimum is 3"
    assert found["BE-7"].quantity == 2 - 1
    assert set(found) == {"HF-310", "BE-7"}


def test_a_van_at_its_minimum_wants_nothing() -> None:
    visits = [visited(1, parts=[part("filter", "HF-310", 1)])]
    found = to_order(
        visits, levels(visits, REGISTER, [stock_entry("count", "BE-7", "2", 0, hour=8)]), [], REGISTER
    )
    assert found == []


def test_what_is_on_order_for_the_van_is_taken_off() -> None:
    visits = [visited(1, parts=[part("filter", "HF-310", 4)])]
    known = levels(visits, REGISTER, [stock_entry("count", "BE-7", "2", 0, hour=8)])
    some = ordered(1, "HF-310", "2", van="tamsin quill")
    assert to_order(visits, known, [some], REGISTER)[0].quantity == 6 - 0 - 2
    assert to_order(visits, known, [ordered(1, "HF-310", "6", van="Tamsin Quill")], REGISTER) == []
    # Come or cancelled is no longer on order; another van's, or a machine's, never was.
    for entries in (
        [some, became(some, "cancelled", "2")],
        [ordered(1, "HF-310", "6", van="Wilf Arden")],
        [ordered(1, "HF-310", "6", van="Tamsin Quill", sheet=1, place=0)],
    ):
        assert to_order(visits, known, entries, REGISTER)[0].quantity == 6


def test_suppliers_in_order_and_those_without_last() -> None:
    visits = [visited(1, parts=[part("filter", "HF-310", 4), part("bracket", "", 1, "to_order"), SLEW])]
    found = to_order(visits, levels(visits, REGISTER, []), [], REGISTER)
    assert [each.supplier for each in found] == [
        "Arden Electrics",
        "Ormsby Hydraulics",
        NO_SUPPLIER,
        NO_SUPPLIER,
    ]


def test_the_order_list_is_safe_to_open_in_a_spreadsheet() -> None:
    evil = visited(
        1, machine="", fleet_number="", parts=[part('=HYPERLINK("x"), "y"', "@SUM", 1.5, "to_order", "m")]
    )
    text = order_list([*wanted([evil]), *wanted([visited(3, parts=[SLEW])])])
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    assert [row["part_number"] for row in rows] == ["'@SUM", "SM-9"]
    odd = next(row for row in rows if "SUM" in row["part_number"])
    assert odd["part_number"] == "'@SUM" and odd["description"] == '\'=HYPERLINK("x"), "y"'
    assert odd["quantity"] == "1.5" and odd["supplier"] == ""
    assert all(not cell.startswith(("=", "+", "-", "@")) for row in rows for cell in row.values())


COMING = part("seat switch", "SS-2", 2, "ordered")


def test_what_sheets_call_ordered_is_chased_the_oldest_first() -> None:
    visits = [visited(8, 5, fleet_number="EX 20", parts=[COMING]), visited(3, parts=[COMING])]
    found = chase(visits, [], on(30))
    assert [(each.sheet, each.age_days, each.quantity) for each in found] == [(3, 30, 2), (8, 25, 2)]


def test_a_later_sheet_of_the_machine_ends_the_chase() -> None:
    assert (
        chase([visited(3, parts=[COMING]), visited(4, 2, parts=[part("switch", "ss 2")])], [], on(30)) == []
    )
    for other in (
        visited(4, 2, fleet_number="EX 15", parts=[part("switch", "SS-2")]),
        visited(2, -2, parts=[part("switch", "SS-2")]),
        visited(4, 2, parts=[part("switch", "SS-2", status="not_used")]),
    ):
        assert [each.sheet for each in chase([visited(3, parts=[COMING]), other], [], on(30))] == [3]


def test_an_order_is_chased_for_what_is_still_to_come() -> None:
    order = ordered(1, "SS-2", "5", 2, supplier="Arden Electrics", reference="A-77")
    (one,) = chase([], [order, became(order, "received", "2"), became(order, "cancelled", "1")], on(12))
    assert (one.quantity, one.age_days, one.supplier, one.reference) == (2, 10, "Arden Electrics", "A-77")
    assert chase([], [order, became(order, "received", "5")], on(12)) == []
    assert chase([], [order, became(order, "cancelled", "5")], on(12)) == []


def test_an_order_for_a_sheet_stands_once_and_goes_when_the_part_is_fitted() -> None:
    asked = visited(3, parts=[COMING])
    order = ordered(1, "SS-2", "2", 1, sheet=3, place=0)
    (one,) = chase([asked], [order], on(30))
    assert (one.order, one.machine, one.customer) == (
        1,
        "Excavator Kelbrack K14, fleet EX 14",
        "Brackmere Hire",
    )
    assert chase([asked], [order, became(order, "received", "2")], on(30)) == []
    assert chase([asked, visited(4, 2, parts=[part("switch", "SS-2")])], [order], on(30)) == []
    still = chase(
        [asked, visited(4, 2, fleet_number="EX 15", parts=[part("switch", "SS-2")])], [order], on(30)
    )
    assert len(still) == 1
    # Fitted before it was asked for: another one.
    assert len(chase([asked, visited(2, -2, parts=[part("switch", "SS-2")])], [order], on(30))) == 1


def test_an_order_whose_sheet_was_withdrawn_is_still_on_its_way() -> None:
    assert len(chase([], [ordered(1, "SS-2", "2", sheet=3, place=0)], on(30))) == 1


def test_an_order_is_dated_in_the_workshops_own_zone() -> None:
    late = replace(ordered(1, "SS-2", "1"), at=at(170, 23))  # 24 June 23:00 UTC is 25 June in London
    assert chase([], [late], on(180), ZoneInfo("Europe/London"))[0].since == on(171)


def test_quantities_stay_exact() -> None:
    (one,) = wanted([visited(1, parts=[part("hose", "", 0.3, "to_order", "m")])])
    assert one.quantity == Decimal("0.3")
