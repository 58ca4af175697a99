"""From visits to lines: what is charged, at which price and VAT, from which place of the sheet."""

from __future__ import annotations

import datetime
from decimal import Decimal
from typing import Any

import made
import pytest
from made import HOLLIN, TUCKERSETT, TUESDAY, adjustment, band, category, keys, line, lines, part, visit

from jobnotes.jobs.invoice import line_net
from jobnotes.office.rates import RateRow
from jobnotes.register import PartRow

BY_MILE = {"travel": {"by": "mile"}}


def test_labour_with_price_and_sources() -> None:
    found = lines(visit(arrived="16:30", left="18:15", revision=2))
    assert keys(found) == ["12/labour/normal", "12/labour/evening"]
    normal, evening = found.lines
    assert (normal.quantity, normal.unit, normal.price, normal.net) == (
        1,
        "HUR",
        Decimal("58.50"),
        Decimal("58.50"),
    )
    # 45 min at 87.75 an hour, by hand: 65.8125
    assert (evening.quantity, evening.net) == (Decimal("0.75"), Decimal("65.81"))
    assert normal.day == TUESDAY
    assert [(s.sheet, s.revision, s.pointer) for s in normal.sources] == [
        (12, 2, "/job/times/arrived"),
        (12, 2, "/job/times/left"),
    ]
    assert (normal.vat_category, normal.vat_rate) == ("standard", 20)


def test_minutes_where_hours_are_not_exact() -> None:
    """215 min at 58.50 an hour, by hand: 209.625."""
    found = lines(visit(arrived="08:05", left="11:40"), labour={"step_min": 1})
    one = line(found, "12/labour/normal")
    assert (one.quantity, one.unit, one.price_quantity, one.net) == (215, "MIN", 60, Decimal("209.63"))


def test_a_kind_of_labour_without_a_rate_stops() -> None:
    found = lines(visit(left="18:30"), rates=made.rates(without="labour_evening"))
    assert found.stops == (
        "Sheet 12: rates.csv has no labour_evening for Hollin Plant Hire on Tue 10 Mar 2026.",
    )
    assert found.stops[0].key == "12/labour/evening"
    assert keys(found) == ["12/labour/normal"]


def test_the_customers_own_rate() -> None:
    agreed = RateRow(0, "labour_normal", HOLLIN, TUESDAY, None, Decimal("52"))
    found = lines(visit(), rates=made.rates(rows=[agreed]))
    assert line(found, "12/labour/normal").price == 52
    before = lines(visit(date=datetime.date(2026, 3, 9)), rates=made.rates(rows=[agreed]))
    assert line(before, "12/labour/normal").price == Decimal("58.50")


def test_a_look_stands_on_one_line_alone() -> None:
    found = lines(visit(left="18:30", labour_min=30))
    assert [bool(each.look) for each in found.lines] == [True, False]


def test_no_times_are_a_doubt() -> None:
    found = lines(visit(arrived=None, left=None))
    assert found.lines == ()
    assert found.doubts == ("Sheet 12 gives no times; no labour is charged by the hour.",)
    assert (
        lines(visit(arrived=None, left=None), adjustments=[adjustment("confirm", "12/labour")]).doubts == ()
    )


def test_a_sheet_without_a_date_is_a_doubt() -> None:
    found = lines(visit(dated=False))
    why = "has no date that can be right; that of its signature, 2026-03-10, counts"
    assert found.doubts == (f"Sheet 12 {why}.",)
    assert found.doubts[0].key == "12/date"


def test_an_overlapped_sheet_says_so() -> None:
    found = lines(visit(13), others=(visit(12),), rates=made.rates(minimum_charge="95"))
    assert found.lines == ()
    assert found.doubts == ("Sheet 13 charges no labour: overlaps with sheet 12, which charges 3 h of it.",)


def test_a_night_that_began_on_another_sheet_the_day_before() -> None:
    before = visit(11, date=datetime.date(2026, 3, 9), arrived="22:00", left="02:00", customer=TUCKERSETT)
    found = lines(visit(12, arrived="01:00", left="03:00"), others=(before,))
    assert line(found, "12/labour/evening").quantity == 1


@pytest.mark.parametrize(
    ("least", "made_up"), [("200", "24.50"), ("175.50", None), ("175.51", "0.01"), ("100", None)]
)
def test_labour_is_made_up_to_the_minimum_charge(least: str, made_up: str | None) -> None:
    """Three hours at 58.50 are 175.50."""
    found = lines(visit(), rates=made.rates(minimum_charge=least))
    assert ("12/minimum" in keys(found)) == (made_up is not None)
    if made_up:
        assert line(found, "12/minimum").net == Decimal(made_up)


def test_the_minimum_is_charged_where_no_times_are_known() -> None:
    found = lines(visit(arrived=None, left=None), rates=made.rates(minimum_charge="95"))
    assert line(found, "12/minimum").net == 95
    assert len(found.doubts) == 1


def test_no_minimum_while_a_rate_of_labour_is_missing() -> None:
    rates = made.rates(without="labour_normal", minimum_charge="95")
    assert keys(lines(visit(), rates=rates)) == []


def test_the_minimum_looks_at_labour_alone() -> None:
    found = lines(visit(parts=(part(),)), rates=made.rates(minimum_charge="200"))
    assert line(found, "12/minimum").net == Decimal("24.50")


def test_call_out_by_the_visit() -> None:
    found = lines(visit(1), visit(2), call_out={"charged": "visit"}, rates=made.rates(call_out="45"))
    assert line(found, "1/call_out").net == 45
    assert line(found, "1/call_out").look is None
    assert line(found, "2/call_out").look == "the same engineer was at this site that day on sheet 1 too"


def test_call_out_by_the_day() -> None:
    """Once for each customer, site and day, whoever came."""
    visits = [
        visit(1),
        visit(2, engineer_id=2),
        visit(3, site="Ashlow Pit"),
        visit(4, date=datetime.date(2026, 3, 11)),
    ]
    found = lines(*visits, call_out={"charged": "day"}, rates=made.rates(call_out="45"))
    assert [key for key in keys(found) if "call_out" in key] == ["1/call_out", "3/call_out", "4/call_out"]


def test_call_out_by_the_day_that_is_on_another_draft() -> None:
    found = lines(visit(2), others=(visit(1),), call_out={"charged": "day"}, rates=made.rates(call_out="45"))
    assert "2/call_out" not in keys(found)
    assert "Sheet 2 charges no call-out: that of the day is on sheet 1, which is not here." in found.doubts


def test_call_out_without_a_rate_stops() -> None:
    assert "no call_out" in lines(visit(), call_out={"charged": "visit"}).stops[0]
    assert lines(visit(), call_out={"charged": "never"}).stops == ()


def test_travel_by_time_and_by_the_mile() -> None:
    by_time = line(lines(visit(travel_min=50), travel={"by": "time"}), "12/travel")
    assert (by_time.quantity, by_time.unit, by_time.net) == (50, "MIN", Decimal("37.50"))
    assert by_time.sources[0].pointer == "/job/times/travel_min"
    by_mile = line(lines(visit(miles=25.3), **BY_MILE), "12/travel")
    # 25.3 at 0.95, by hand: 24.035
    assert (by_mile.quantity, by_mile.unit, by_mile.net) == (Decimal("25.3"), "SMI", Decimal("24.04"))
    assert by_mile.sources[0].pointer == "/job/distance"


def test_a_share_of_a_day_that_was_invoiced_wants_a_look() -> None:
    # The other sheet went out with all of the day's travel before this one was signed.
    other = visit(11, customer=TUCKERSETT, travel_min=100, site="Far Field")
    rules = {"travel": {"by": "time"}}
    shared = visit(travel_min=None)
    assert line(lines(shared, others=(other,), **rules), "12/travel").look is None
    found = line(lines(shared, others=(other,), invoiced={11: 1001}, **rules), "12/travel")
    assert found.look and "sheet 11, which is on invoice 1001" in found.look
    # Travel that the sheet states for itself is its own, whatever was invoiced.
    own = lines(visit(travel_min=60), others=(other,), invoiced={11: 1001}, **rules)
    assert line(own, "12/travel").look is None


def test_shared_travel_names_the_sheet_that_states_it() -> None:
    other = visit(11, customer=TUCKERSETT, travel_min=100, site="Far Field")
    found = line(lines(visit(travel_min=None), others=(other,), travel={"by": "time"}), "12/travel")
    assert found.net == Decimal("37.50")
    assert [(s.sheet, s.pointer) for s in found.sources] == [(11, "/job/times/travel_min")]
    assert "A share of the day's 1 h 40 min over sheets 11, 12" in found.remarks[0]


def test_no_travel_stated_is_a_doubt() -> None:
    found = lines(visit(travel_min=None), travel={"by": "time"})
    assert found.doubts == ("Sheet 12 states no travel time; no travel is charged.",)


def test_travel_by_bands() -> None:
    rates = made.rates(rows=[band("25", "10"), band("40", "20")])
    found = line(lines(visit(), travel={"by": "band"}, rates=rates), "12/travel")
    assert (found.text, found.quantity, found.net) == ("Travel, up to 20 miles", 1, 40)
    far = lines(visit(site="Ashlow Pit"), travel={"by": "band"}, rates=rates)
    assert "travel_band" in far.stops[0] and "reaches 37.5 miles" in far.stops[0]
    unknown = lines(visit(site="Far Field", miles=None), travel={"by": "band"}, rates=rates)
    assert unknown.doubts == ("Sheet 12 has no known way from the depot; no travel is charged.",)


def test_only_fitted_parts_are_charged() -> None:
    parts = (
        part(status="to_order"),
        part("OIL46", 2.5, unit="L", place=1),
        part(status="not_used", place=2),
        part(status="ordered", place=3),
    )
    found = lines(visit(parts=parts))
    assert [key for key in keys(found) if "/part/" in key] == ["12/part/OIL46"]
    oil = line(found, "12/part/OIL46")
    assert (oil.quantity, oil.unit, oil.price, oil.net) == (Decimal("2.5"), "LTR", Decimal("3.20"), 8)
    assert oil.sources[0].pointer == "/job/parts/1"
    assert (oil.text, oil.part_number) == ("Hydraulic oil 46", "OIL46")


def test_a_part_number_is_known_without_dashes() -> None:
    assert line(lines(visit(parts=(part("hv 7731"),))), "12/part/HV7731").part_number == "HV-7731"


def test_a_part_without_a_number_is_known_by_its_description() -> None:
    found = line(
        lines(visit(parts=(part("", description="relief  VALVE, main"),))), "12/part/RELIEFVALVEMAIN"
    )
    assert found.price == Decimal("118.75")
    assert found.remarks == ("Told by its description; the sheet gives no part number.",)


def test_a_wrong_number_is_not_mended_by_the_description() -> None:
    found = lines(visit(parts=(part("HV-7713", description="Relief valve, main"),)))
    assert found.stops == ("Sheet 12: Relief valve, main (HV-7713) is not in parts.csv.",)


@pytest.mark.parametrize(
    ("one", "why"),
    [
        (part("ZZ-1"), "relief valve (ZZ-1) is not in parts.csv"),
        (part("", description="valve"), "valve is not in parts.csv"),
        (part("NP-1"), "relief valve (NP-1) has no price in parts.csv"),
        (part("OIL46", 1), "relief valve (OIL46) is counted in each on the sheet, but in L in parts.csv"),
    ],
)
def test_a_part_that_can_not_be_priced_stops(one: Any, why: str) -> None:
    found = lines(visit(parts=(one,)))
    assert found.stops == (f"Sheet 12: {why}.",)
    assert not any("/part/" in key for key in keys(found))


def test_a_description_that_fits_two_rows_stops() -> None:
    register = made.register()
    register.parts.append(PartRow("HV-9", "Relief valve, main", "each", Decimal(1)))
    found = lines(visit(parts=(part("", description="Relief valve, main"),)), register=register)
    assert "may be any of several in parts.csv: HV-7731, HV-9" in found.stops[0]


def test_a_mark_up_is_rounded_once_on_the_price() -> None:
    """7.333 and 15 % are 8.43295: 8.43; 3.5 m of it 29.505. By hand."""
    found = line(
        lines(visit(parts=(part("HS-12", 3.5, unit="m"),)), rates=made.rates(parts_mark_up="15")),
        "12/part/HS12",
    )
    assert (found.price, found.net) == (Decimal("8.43"), Decimal("29.51"))
    assert found.remarks[0] == "7.33 in parts.csv, and 15 % on it."


def test_the_same_part_twice_is_two_lines() -> None:
    found = lines(visit(parts=(part(), part(place=1, quantity=2))))
    assert [key for key in keys(found) if "/part/" in key] == ["12/part/HV7731", "12/part/HV7731/2"]
    assert line(found, "12/part/HV7731/2").quantity == 2


def test_a_parts_key_does_not_hang_on_its_place() -> None:
    first = lines(visit(parts=(part("OIL46", 1, unit="L"), part(place=1))))
    second = lines(visit(parts=(part(), part("OIL46", 1, unit="L", place=1))))
    assert line(first, "12/part/HV7731").net == line(second, "12/part/HV7731").net


def test_consumables_of_labour_and_parts() -> None:
    """2.5 % of 175.50 and 118.75 are 7.35625; travel does not count."""
    found = lines(visit(parts=(part(),)), travel={"by": "time"}, rates=made.rates(consumables="2.5"))
    assert line(found, "12/consumables").net == Decimal("7.36")
    of_parts = lines(
        visit(parts=(part(),)), consumables={"of": ["part"]}, rates=made.rates(consumables="2.5")
    )
    assert line(of_parts, "12/consumables").net == Decimal("2.97")


def test_consumables_are_held_to_the_cap_by_the_visit() -> None:
    rates = made.rates(consumables="10", consumables_cap="12.50")
    found = lines(visit(1), visit(2, arrived="12:00", left="13:00"), rates=rates)
    assert line(found, "1/consumables").net == Decimal("12.50")
    assert "Held to 12.50." in line(found, "1/consumables").remarks
    assert line(found, "2/consumables").net == Decimal("5.85")


# VAT: the customer's reverse charge or exemption, the part's own, the customer's, [vat.lines], [vat].


def zero_rated_part() -> Any:
    register = made.register()
    register.parts[0].extra["vat_category"] = "zero"
    return register


def test_vat_of_the_firm_and_of_the_kind_of_line() -> None:
    vat = {"category": "zero", "lines": {"labour": "standard"}}
    found = lines(visit(parts=(part(),)), vat=vat, rates=made.rates(minimum_charge="200"))
    assert category(found, "12/labour/normal") == ("standard", 20)
    assert category(found, "12/minimum") == ("standard", 20)
    assert category(found, "12/part/HV7731") == ("zero", 0)


def test_vat_of_a_part_goes_before_the_kind_and_the_customer() -> None:
    register = zero_rated_part()
    register.customers[0].extra["vat_category"] = "standard"
    found = lines(visit(parts=(part(),)), register=register)
    assert category(found, "12/part/HV7731") == ("zero", 0)
    assert category(found, "12/labour/normal") == ("standard", 20)


@pytest.mark.parametrize("theirs", ["reverse_charge", "exempt"])
def test_a_customers_reverse_charge_or_exemption_goes_before_all(theirs: str) -> None:
    register = zero_rated_part()
    register.customers[0].extra["vat_category"] = theirs
    found = lines(visit(parts=(part(),)), register=register, vat={"exempt_reason": "x"})
    assert category(found, "12/part/HV7731") == (theirs, 0)
    assert category(found, "12/labour/normal") == (theirs, 0)


def test_a_customers_zero_rate_goes_before_the_kind_of_line() -> None:
    found = lines(visit(), register=made.customer(vat_category="Zero"), vat={"lines": {"labour": "standard"}})
    assert category(found, "12/labour/normal") == ("zero", 0)


def test_a_vat_category_that_there_is_not_stops() -> None:
    register = made.register()
    register.parts[0].extra["vat_category"] = "half"
    assert (
        "parts.csv, HV-7731: vat_category is 'half'"
        in lines(visit(parts=(part(),)), register=register).stops[0]
    )


def test_every_net_is_quantity_times_price_rounded_once() -> None:
    """EN 16931, BT-131: no sum is rounded twice."""
    sheet = visit(arrived="06:07", left="19:13", parts=(part("HS-12", 3.37, unit="m"),))
    found = lines(sheet, labour={"step_min": 1}, travel={"by": "mile"}, rates=made.rates(consumables="3.3"))
    assert len(found.lines) == 5
    for one in found.lines:
        assert one.net == line_net(one.quantity, one.price, one.price_quantity)
