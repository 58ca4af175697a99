"""Travel: by time, by the mile, by bands, and a day's round shared by its legs."""

from __future__ import annotations

import datetime
from decimal import Decimal
from fractions import Fraction

import made
import pytest
from hypothesis import given
from hypothesis import strategies as st
from made import TUESDAY, visit

from jobnotes.office.diary import Diary
from jobnotes.office.travel import Measure, one_way, shares, site_miles, stated, travel_of
from jobnotes.office.visits import Visit

MILES = site_miles(made.register())


def travelled(*visits: Visit, by: Measure = "time") -> list[Decimal | None]:
    diary = Diary(visits)
    found = [travel_of(one, diary, MILES, by) for one in visits]
    return [each.amount if each else None for each in found]


def test_a_sheet_of_its_own() -> None:
    assert travelled(visit(travel_min=50)) == [50]
    assert travelled(visit(miles=46.0), by="mile") == [46]
    assert travelled(visit(travel_min=None)) == [None]


def test_each_states_its_own() -> None:
    assert travelled(visit(1, travel_min=50), visit(2, travel_min=20)) == [50, 20]


def test_a_round_is_shared_by_the_miles_of_its_sites() -> None:
    """12.5 and 37.5 miles from the depot: a quarter and three quarters of 100 min."""
    one, two = visit(1, travel_min=100), visit(2, travel_min=None, site="ashlow pit")
    assert travelled(one, two) == [25, 75]
    found = travel_of(two, Diary([one, two]), MILES, "time")
    assert found is not None
    assert found.remarks == (
        "A share of the day's 1 h 40 min over sheets 1, 2, by the miles from the depot.",
    )
    assert [other.sheet for other in found.stated_on] == [1]


def test_a_round_is_shared_equally_where_a_way_is_not_known() -> None:
    one, two = visit(1, travel_min=None), visit(2, travel_min=101, site="Far Field")
    assert travelled(one, two) == [51, 50]
    found = travel_of(one, Diary([one, two]), MILES, "time")
    assert found is not None and "equally" in found.remarks[0]
    assert travelled(visit(1, travel_min=None), visit(2, travel_min=50, site="")) == [25, 25]


def test_miles_are_shared_in_tenths() -> None:
    one, two = visit(1, miles=10.1), visit(2, miles=None, site="Ashlow Pit")
    assert travelled(one, two, by="mile") == [Decimal("2.5"), Decimal("7.6")]


def test_another_customers_visit_has_its_share() -> None:
    one, two = visit(1, travel_min=100), visit(2, travel_min=None, customer=made.TUCKERSETT, site="Far Field")
    assert travelled(one, two) == [50, 50]


def test_another_engineer_or_day_has_none() -> None:
    one = visit(1, travel_min=100)
    assert travelled(one, visit(2, travel_min=None, engineer_id=2)) == [100, None]
    assert travelled(one, visit(2, travel_min=None, date=TUESDAY + datetime.timedelta(days=1))) == [100, None]


def test_stated_miles_are_in_tenths() -> None:
    """46 km are 28.5831 mi."""
    assert stated(visit(miles=28.583074), "mile") == Decimal("28.6")
    assert stated(visit(miles=0.25), "mile") == Decimal("0.3")


def test_one_way() -> None:
    assert one_way(visit(miles=99.0), MILES) == (
        Decimal("12.5"),
        "12.5 miles from the depot to Brindlegate Yard.",
        "/job/site",
    )
    found = one_way(visit(site="Far Field", miles=19.0), MILES)
    assert found is not None and found[0] == Decimal("9.5")
    assert one_way(visit(site="Far Field", miles=None), MILES) is None


@pytest.mark.parametrize(
    ("total", "weights", "parts"),
    [
        (100, (1, 1, 1), [34, 33, 33]),
        (10, (0, 1), [0, 10]),
        (7, (0, 0), [4, 3]),
        # Hamilton's method by hand: 21 by 1, 2, 4 is 3, 6, 12; 20 is 2.857, 5.714, 11.429.
        (21, (1, 2, 4), [3, 6, 12]),
        (20, (1, 2, 4), [3, 6, 11]),
    ],
)
def test_shares_by_the_largest_remainder(total: int, weights: tuple[int, ...], parts: list[int]) -> None:
    assert shares(total, [Fraction(weight) for weight in weights]) == parts


@given(st.integers(0, 10_000), st.lists(st.fractions(0, 500, max_denominator=100), min_size=1, max_size=8))
def test_shares_sum_exactly(total: int, weights: list[Fraction]) -> None:
    found = shares(total, weights)
    assert sum(found) == total
    whole = sum(weights) or len(weights)
    for share, weight in zip(found, weights, strict=True):
        exact = total * (weight if any(weights) else 1) / whole
        assert abs(share - exact) < 1


@given(
    st.lists(
        st.tuples(
            st.one_of(st.none(), st.integers(0, 300)), st.sampled_from(["Brindlegate Yard", "Ashlow Pit", ""])
        ),
        min_size=1,
        max_size=6,
    )
)
def test_a_day_charges_what_was_stated(stated_by: list[tuple[int | None, str]]) -> None:
    visits = [visit(n, travel_min=time, site=site) for n, (time, site) in enumerate(stated_by, 1)]
    charged = sum(amount or 0 for amount in travelled(*visits))
    assert charged == sum(time or 0 for time, _ in stated_by)
