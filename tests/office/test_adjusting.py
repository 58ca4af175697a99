"""What the office changes by hand on the lines of a draft."""

from __future__ import annotations

from decimal import Decimal

import made
import pytest
from made import adjustment, category, keys, line, lines, part, visit

from jobnotes.errors import JobnotesError
from jobnotes.office.adjusting import check_adjustment, check_new


def test_a_line_is_changed_with_its_reason() -> None:
    change = adjustment("set", "12/labour/normal", "goodwill", quantity="2", text="Labour,  as agreed")
    one = line(lines(visit(), adjustments=[change]), "12/labour/normal")
    assert (one.quantity, one.net, one.text, one.changed) == (
        2,
        Decimal("117.00"),
        "Labour, as agreed",
        "goodwill",
    )
    assert one.sources


def test_what_follows_from_a_changed_line_follows_it() -> None:
    change = adjustment("set", "12/labour/normal", quantity="1")
    rates = made.rates(minimum_charge="70", consumables="10")
    found = lines(visit(), adjustments=[change], rates=rates)
    assert line(found, "12/minimum").net == Decimal("11.50")
    assert line(found, "12/consumables").net == Decimal("5.85")


def test_a_unit_of_the_offices_own_is_priced_by_one() -> None:
    change = adjustment("set", "12/labour/normal", unit="C62", quantity="1", price="150")
    one = line(
        lines(visit(arrived="08:05"), labour={"step_min": 1}, adjustments=[change]), "12/labour/normal"
    )
    assert (one.unit, one.price_quantity, one.net) == ("C62", 1, 150)


def test_another_vat_category_brings_its_rate() -> None:
    change = adjustment("set", "12/labour/normal", vat_category="zero")
    assert category(lines(visit(), adjustments=[change]), "12/labour/normal") == ("zero", 0)


def test_a_line_is_left_out() -> None:
    assert keys(lines(visit(), adjustments=[adjustment("drop", "12/labour/normal")])) == []


def test_a_price_by_hand_lifts_the_stop() -> None:
    sheet = visit(parts=(part("NP-1", 2),))
    found = lines(sheet, adjustments=[adjustment("set", "12/part/NP1", price="14.20")])
    assert found.stops == ()
    assert line(found, "12/part/NP1").net == Decimal("28.40")
    only_text = lines(sheet, adjustments=[adjustment("set", "12/part/NP1", text="Pin")])
    assert len(only_text.stops) == 1
    assert lines(sheet, adjustments=[adjustment("drop", "12/part/NP1")]).stops == ()


def test_a_line_is_added_at_the_end() -> None:
    added = adjustment("add", "added/1", "agreed by telephone", text="Skip hire", quantity="1", price="£80")
    found = lines(visit(), adjustments=[added])
    one = found.lines[-1]
    assert (one.key, one.kind, one.net, one.unit, one.changed) == (
        "added/1",
        "other",
        80,
        "C62",
        "agreed by telephone",
    )


def test_confirming_clears_the_look_that_was_seen() -> None:
    sheet = visit(labour_min=30)
    look = "from arriving to leaving it is 3 h, but 30 min of work is stated"
    for values, cleared in (({}, True), ({"look": look}, True), ({"look": "something else"}, False)):
        found = lines(sheet, adjustments=[adjustment("confirm", "12/labour/normal", "", **values)])
        assert (line(found, "12/labour/normal").look is None) == cleared


def test_a_change_of_a_line_that_is_gone_stops() -> None:
    found = lines(visit(), adjustments=[adjustment("set", "12/part/HV7731", price="1")])
    assert found.stops == (
        "The change of 12/part/HV7731 is to a line that is not there any more: take it back.",
    )
    assert lines(visit(), adjustments=[adjustment("drop", "12/part/HV7731")]).stops == ()


@pytest.mark.parametrize(
    ("kind", "values", "reason", "says"),
    [
        ("set", {"price": "1"}, " ", "Say why 9 is changed"),
        ("drop", {}, "", "Say why 9 is changed"),
        ("set", {}, "x", "nothing is changed"),
        ("set", {"colour": "1"}, "x", "there is no 'colour' to change"),
        ("set", {"price": "-1"}, "x", "price is '-1', not a number from 0"),
        ("set", {"price": "nan"}, "x", "price is 'nan', not a number"),
        ("set", {"price": "ten"}, "x", "price is 'ten', not a number such as 58.50"),
        ("set", {"price": "0.00001"}, "x", "with more than 4 decimals"),
        ("set", {"quantity": "0"}, "x", "quantity must not be 0"),
        ("set", {"quantity": "-1"}, "x", "quantity is '-1', not a number from 0"),
        ("set", {"unit": "box"}, "x", "unit must be one of HUR"),
        ("set", {"vat_category": "half"}, "x", "vat_category must be one of standard"),
        ("set", {"text": "  "}, "x", "text must have 1 to 500 signs"),
        ("add", {"text": "Skip"}, "x", "give quantity, price too"),
    ],
)
def test_an_adjustment_that_can_not_be_reckoned_with(
    kind: str, values: dict[str, str], reason: str, says: str
) -> None:
    with pytest.raises(JobnotesError, match=says):
        check_adjustment(kind, "9", values, reason)
    found = lines(visit(), adjustments=[adjustment(kind, "9", reason, **values)])
    assert any(says in stop for stop in found.stops)


def test_only_a_new_line_may_be_below_nought() -> None:
    check_new({"text": "Goodwill", "quantity": "-1", "price": "50"}, "agreed")
    with pytest.raises(JobnotesError, match="the new line: price is '-50'"):
        check_new({"text": "Goodwill", "quantity": "1", "price": "-50"}, "agreed")
    with pytest.raises(JobnotesError, match="Say why the new line is changed"):
        check_new({"text": "Goodwill", "quantity": "-1", "price": "50"}, " ")
