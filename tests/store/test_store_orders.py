"""Orders: what came goes into the stock in the same moment, and never more than was ordered."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import office_rows
import pytest
from conftest import Firm
from store_work import at_once

from jobnotes.errors import JobnotesError
from jobnotes.store import MissingError, NotAllowedError, OrderEntry, orders


def order(firm: Firm, quantity: str = "4", **more: Any) -> OrderEntry:
    act = firm.workshop.orders.order
    return act("Brack Hydraulics", "HR-3062", "accumulator", Decimal(quantity), "each", firm.office, **more)


def test_an_order_from_begin_to_end(firm: Firm) -> None:
    part = {"description": "accumulator", "status": "to_order", "quantity": 4}
    office_rows.sheet_with(firm.workshop, firm.engineer, firm.folder, 1, parts=[part, part])
    act = firm.workshop.orders
    ordered = order(firm, van="Van 3", sheet=1, place=1, reference="PO 77")
    assert (ordered.kind, ordered.order, ordered.id) == ("ordered", 1, 1)
    assert (ordered.supplier, ordered.part_number, ordered.quantity, ordered.unit) == (
        *("Brack Hydraulics", "HR-3062", 4),
        "each",
    )
    assert (ordered.van, ordered.sheet, ordered.place, ordered.reference) == ("Van 3", 1, 1, "PO 77")
    came = act.received(1, Decimal("1.5"), "", firm.owner)
    assert (came.kind, came.order, came.quantity, came.van, came.who) == (
        *("received", 1, Decimal("1.5"), "Van 3"),
        "Ilse Brandreth",
    )
    other = act.received(1, Decimal(2), "Van 9", firm.office)
    (first, second) = firm.workshop.stock.entries()
    assert (first.van, first.kind, first.quantity, first.order) == ("Van 3", "received", Decimal("1.5"), 1)
    assert (second.van, second.quantity, second.part_number) == ("Van 9", 2, "HR-3062")
    gone = act.cancel(1, "no longer made", firm.office)
    assert (gone.kind, gone.quantity, gone.reason) == ("cancelled", Decimal("0.5"), "no longer made")
    assert act.entries() == [ordered, came, other, gone]
    with pytest.raises(NotAllowedError, match="Nothing of order 1 is still to come"):
        act.cancel(1, "again", firm.office)
    lines = [(each.who, each.what) for each in reversed(firm.workshop.audit.lines(on="order 1"))]
    assert lines == [("pru", "ordered"), ("ilse", "took in of"), ("pru", "took in of"), ("pru", "cancelled")]


def test_no_more_comes_than_was_ordered(firm: Firm) -> None:
    order(firm)
    act = firm.workshop.orders
    act.received(1, Decimal(3), "Van 3", firm.office)
    with pytest.raises(JobnotesError, match="Of order 1, 1 each is still to come, not 2"):
        act.received(1, Decimal(2), "Van 3", firm.office)
    act.cancel(1, "no longer made", firm.office)
    with pytest.raises(JobnotesError, match="0 each are still to come"):
        act.received(1, Decimal(1), "Van 3", firm.office)
    assert [each.quantity for each in firm.workshop.stock.entries()] == [3]


def test_two_take_in_one_delivery(firm: Firm) -> None:
    order(firm)
    ends: list[str] = []

    def work() -> None:
        try:
            firm.workshop.orders.received(1, Decimal(4), "Van 3", firm.office)
            ends.append("taken")
        except JobnotesError:
            ends.append("refused")

    at_once(work)
    assert sorted(ends) == ["refused", "refused", "taken"]
    assert [each.quantity for each in firm.workshop.stock.entries()] == [4]


def test_order_and_stock_together_or_neither(firm: Firm, monkeypatch: pytest.MonkeyPatch) -> None:
    order(firm)
    before = firm.workshop.orders.entries(), firm.workshop.audit.lines()
    with pytest.raises(JobnotesError, match="the van"):
        firm.workshop.orders.received(1, Decimal(1), " ", firm.office)

    def crash(*_given: object, **_more: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(orders, "write_stock", crash)
    with pytest.raises(KeyboardInterrupt):
        firm.workshop.orders.received(1, Decimal(1), "Van 3", firm.office)
    assert (firm.workshop.orders.entries(), firm.workshop.audit.lines()) == before
    assert firm.workshop.stock.entries() == []


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"quantity": Decimal(0)}, "more than nothing"),
        ({"quantity": Decimal("NaN")}, "has to be a number"),
        ({"supplier": ""}, "the supplier"),
        ({"unit": ""}, "the unit"),
        ({"part_number": "", "description": ""}, "number or its description"),
        ({"place": 0}, "without its sheet"),
        ({"sheet": 9}, "no sheet 9"),
        ({"sheet": 1, "place": 1}, "Sheet 1 has no part at place 2"),
        ({"sheet": 1, "place": -1}, "Sheet 1 has no part"),
    ],
)
def test_what_no_order_can_be(firm: Firm, change: dict[str, Any], told: str) -> None:
    part = {"description": "accumulator", "status": "to_order"}
    office_rows.sheet_with(firm.workshop, firm.engineer, firm.folder, 1, parts=[part])
    given: dict[str, Any] = {
        "supplier": "Brack",
        "part_number": "HR-3062",
        "description": "",
        "quantity": Decimal(1),
        "unit": "each",
        "who": firm.office,
        **change,
    }
    with pytest.raises(JobnotesError, match=told):
        firm.workshop.orders.order(**given)
    assert firm.workshop.orders.entries() == []


def test_orders_are_the_offices(firm: Firm) -> None:
    act = firm.workshop.orders
    with pytest.raises(NotAllowedError, match="Only the office"):
        act.order("Brack", "HR-3062", "", Decimal(1), "each", firm.engineer)
    order(firm)
    act.received(1, Decimal(1), "Van 3", firm.office)
    for refused in (
        lambda: act.received(1, Decimal(1), "Van 3", firm.engineer),
        lambda: act.cancel(1, "why", firm.engineer),
    ):
        with pytest.raises(NotAllowedError, match="Only the office"):
            refused()
    with pytest.raises(JobnotesError, match="a reason"):
        act.cancel(1, " ", firm.office)
    with pytest.raises(JobnotesError, match="more than nothing"):
        act.received(1, Decimal(0), "Van 3", firm.office)
    for number in (2, 9):  # what came of an order is no order
        with pytest.raises(MissingError, match=f"no order {number}"):
            act.received(number, Decimal(1), "Van 3", firm.office)
    assert len(act.entries()) == 2
