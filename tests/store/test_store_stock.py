"""What was counted, came and was corrected in a van stands one behind the other; nothing is overwritten."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from conftest import Firm

from jobnotes.errors import JobnotesError
from jobnotes.store import NewStock, NotAllowedError


def test_entries_stand_one_behind_the_other(firm: Firm) -> None:
    stock = firm.workshop.stock
    count = stock.add("Van 3", "count", "HR-3062", "accumulator", Decimal("4.0"), firm.office)
    assert (count.van, count.kind, count.quantity, count.who) == ("Van 3", "count", 4, "Prudence Able")
    assert (count.reason, count.order) == ("", None)
    stock.add("van  3", "correction", "HR-3062", "accumulator", Decimal(-1), firm.owner, "dropped it")
    stock.add("Van 3", "count", "HR-3062", "accumulator", Decimal(0), firm.office)
    stock.add("Van 4", "received", "", "hose clamp", Decimal("2.5"), firm.office, "from the depot")
    told = [(each.van, each.kind, each.quantity, each.reason) for each in stock.entries()]
    assert told == [
        ("Van 3", "count", 4, ""),
        ("van 3", "correction", -1, "dropped it"),
        ("Van 3", "count", 0, ""),
        ("Van 4", "received", Decimal("2.5"), "from the depot"),
    ]
    assert stock.entries()[0] == count, "a later count leaves the earlier as it was"
    assert [each.id for each in stock.entries("VAN 3")] == [1, 2, 3]
    assert [each.at for each in stock.entries()] == sorted(each.at for each in stock.entries())
    lines = firm.workshop.audit.lines(on="van Van 3")
    assert [(each.who, each.what, each.detail) for each in reversed(lines)] == [
        ("pru", "wrote to the stock (count)", "HR-3062: 4"),
        ("pru", "wrote to the stock (count)", "HR-3062: 0"),
    ]


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"kind": "count", "quantity": Decimal(-1)}, "less than nothing of HR-3062"),
        ({"kind": "received", "quantity": Decimal(0)}, "more than nothing"),
        ({"kind": "correction", "quantity": Decimal(0), "reason": "x"}, "by nothing"),
        ({"kind": "correction", "reason": " "}, "a reason"),
        ({"kind": "stolen"}, "'stolen' is none of that"),
        ({"van": " "}, "the van"),
        ({"van": "v" * 300}, "300 characters"),
        ({"part_number": "", "description": " "}, "number or its description"),
        ({"quantity": Decimal("NaN")}, "has to be a number"),
        ({"quantity": Decimal("Infinity")}, "has to be a number"),
        ({"quantity": Decimal("1e13")}, "more digits"),
    ],
)
def test_all_entries_of_one_go_or_none(firm: Firm, change: dict[str, Any], told: str) -> None:
    good = {
        "van": "Van 3",
        "kind": "count",
        "part_number": "HR-3062",
        "description": "accumulator",
        "quantity": Decimal(3),
    }
    stock, audit = firm.workshop.stock, firm.workshop.audit.lines()
    with pytest.raises(JobnotesError, match=told):
        stock.add_all([NewStock(**good), NewStock(**{**good, **change})], firm.office)  # type: ignore[arg-type]
    assert stock.entries() == [] and firm.workshop.audit.lines() == audit
    both = stock.add_all([NewStock(**good)] * 2, firm.office)  # type: ignore[arg-type]
    assert stock.entries() == both and len(both) == 2


def test_stock_is_the_offices(firm: Firm) -> None:
    with pytest.raises(NotAllowedError, match="Only the office"):
        firm.workshop.stock.add("Van 3", "count", "HR-3062", "", Decimal(1), firm.engineer)
    assert firm.workshop.stock.entries() == []
