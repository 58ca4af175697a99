"""How fast hour meters run, which readings can be believed, and when a service is due."""

from __future__ import annotations

import datetime
import math
import warnings
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from visited import on, part, visited

from jobnotes.office.meter import meter
from jobnotes.office.service import Service, names_service, next_service, services, theil_sen
from jobnotes.office.visits import Visit

HOURS = st.one_of(
    st.floats(0, 20000, allow_nan=False, width=32),
    st.integers(0, 12).map(float),  # ties
)
READINGS = st.lists(st.tuples(st.integers(0, 40), HOURS), min_size=2, max_size=40)


@settings(max_examples=300, deadline=None)
@given(READINGS)
def test_the_slope_and_its_interval_are_those_of_scipy(readings: list[tuple[int, float]]) -> None:
    """scipy.stats.theilslopes, of Sen (1968), formula 2.6."""
    days, hours = [day for day, _ in readings], [hours for _, hours in readings]
    if len(set(days)) < 2:
        with pytest.raises(ValueError, match="two different days"):
            theil_sen(days, hours)
        return
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = stats.theilslopes(hours, days)
    ours = theil_sen(days, hours)
    assert ours.per_day == pytest.approx(theirs.slope, rel=1e-12, abs=1e-12)
    if not math.isnan(theirs.low_slope):
        assert ours.low == pytest.approx(theirs.low_slope, rel=1e-12, abs=1e-12)
        assert ours.high == pytest.approx(theirs.high_slope, rel=1e-12, abs=1e-12)
    assert ours.low <= ours.per_day <= ours.high


@pytest.mark.parametrize(
    "text",
    [
        "500-hour service",
        "thousand hour service",
        "Serviced the machine",
        "carried out full service",
        "service, oil and filters changed",
        "annual service done, brakes checked",
        "serviced, and a brake pipe replaced",
        "needs a new seat; 250 hour service carried out",
    ],
)
def test_a_service_is_one(text: str) -> None:
    assert names_service(text)


@pytest.mark.parametrize(
    "text",
    [
        "needs a service",
        "needs its 500 hour service",
        "service due",
        "500-hour service is due",
        "wants servicing",
        "service brake not holding",
        "service brakes adjusted",
        "reset the service light",
        "put back in service",
        "returned to service",
        "out of service",
        "not serviced for years",
        "no time for the service",
        "replaced alternator, next service in May",
        "last service was in spring",
        "serviced the injectors",
        "air con service",
        "serviced brakes",
        "replaced hose at the service hatch",
        "serviceable",
        "",
    ],
)
def test_no_service_is_none(text: str) -> None:
    assert not names_service(text)


def run(*readings: tuple[int, float], **changes: object) -> list[Visit]:
    return [visited(n, day, hours=hours, **changes) for n, (day, hours) in enumerate(readings, 1)]


def due(visits: list[Visit], today: int = 60) -> Service:
    return next_service(visits, 500, on(today))


STEADY = [(0, 1000.0), (10, 1080.0), (20, 1160.0), (30, 1240.0), (40, 1320.0), (50, 1400.0)]


def serviced(visits: list[Visit], place: int) -> list[Visit]:
    return [
        replace(each, complaint="500-hour service") if n == place else each for n, each in enumerate(visits)
    ]


def test_due_is_an_interval_after_the_last_service() -> None:
    found = due(serviced(run(*STEADY), 1))
    assert (found.due_hours, found.service_sheet, found.last_hours) == (1580, 2, 1400)
    assert found.rate is not None and found.rate.per_day == pytest.approx(8)
    # 180 h to go at 8 h a day is 22.5 days from day 50.
    assert found.due_day == on(73) and not found.overdue
    assert "after the service at 1080 h" in found.why


def test_the_newest_service_counts_and_work_may_name_it() -> None:
    visits = serviced(run(*STEADY), 1)
    visits[4] = replace(visits[4], work=("serviced the machine",))
    assert due(visits).due_hours == 1820


def test_without_a_service_the_next_whole_interval_is_due() -> None:
    found = due(run(*STEADY))
    assert found.due_hours == 1500 and found.service_sheet is None
    assert "No service is on the sheets" in found.why
    assert due([*run(*STEADY), *[visited(9, 55, hours=1500.0)]]).due_hours == 1500


def test_a_service_that_is_only_wanted_does_not_count() -> None:
    visits = run(*STEADY)
    visits[3] = replace(visits[3], work=("greased all round, needs its service",))
    assert due(visits).service_sheet is None


def test_the_dates_are_a_range() -> None:
    found = due(run((0, 1000), (10, 1060), (20, 1150), (30, 1240), (40, 1290), (50, 1400)))
    assert found.earliest is not None and found.due_day is not None and found.latest is not None
    assert on(50) < found.earliest < found.due_day < found.latest


@pytest.mark.parametrize("place", range(6))
@pytest.mark.parametrize("slip", [0.01, 10.0, 0.1])
def test_a_mistyped_reading_hardly_moves_the_date(place: int, slip: float) -> None:
    """1,250 heard as 12.50, as 125 or as 12,500."""
    right = due(run(*STEADY))
    wrong = due(run(*[(day, h * slip if n == place else h) for n, (day, h) in enumerate(STEADY)]))
    assert right.due_day is not None and wrong.due_day is not None
    assert wrong.due_hours == right.due_hours
    assert abs((wrong.due_day - right.due_day).days) <= 2
    assert f"on sheet {place + 1} was left out" in wrong.why


def test_a_mistyped_reading_at_the_service_is_reckoned_round() -> None:
    visits = serviced(run(*STEADY), 2)
    visits[2] = replace(visits[2], hours=11.6)
    found = due(visits)
    assert found.due_hours == pytest.approx(1660, abs=1)
    assert "no reading that holds" in found.why


def test_a_plausible_pace_is_no_slip() -> None:
    hard = due(run((0, 1000), (10, 1080), (20, 1160), (30, 1240), (40, 1440)))
    assert hard.last_hours == 1440 and "left out" not in hard.why


def test_one_reading_too_high_is_a_slip_and_no_other_meter() -> None:
    told = meter(run((0, 1000), (10, 1080), (70, 2300), (80, 1640), (90, 1720)))
    assert told.changed is None and [each.hours for each in told.left_out] == [2300]


def test_a_meter_that_was_changed_is_recognised() -> None:
    found = due(run((0, 4800), (10, 4880), (20, 4960), (30, 12), (40, 92), (50, 172)))
    assert (found.due_hours, found.last_hours) == (500, 172)
    assert found.rate is not None and found.rate.per_day == pytest.approx(8)
    assert "meter was changed by Wed 4 Feb 2026 (sheet 4)" in found.why
    # 328 h to go at 8 h a day.
    assert found.due_day == on(91)


def test_a_changed_meter_is_still_recognised_when_it_has_overtaken_the_old_one() -> None:
    told = meter(run((0, 100), (10, 180), (20, 260), (30, 5), (40, 90), (50, 170), (60, 250), (70, 330)))
    assert told.changed is not None and told.changed.sheet == 4
    assert [each.hours for each in told.kept] == [5, 90, 170, 250, 330]


def test_a_service_before_the_meter_was_changed_does_not_count_on_the_new_one() -> None:
    found = due(serviced(run((0, 4800), (10, 4880), (20, 4960), (30, 12), (40, 92)), 1))
    assert found.due_hours == 500
    assert "has no reading on the meter of today" in found.why


def test_one_low_reading_at_the_end_waits_for_another() -> None:
    told = meter(run(*STEADY, (60, 20)))
    assert told.changed is None and [each.hours for each in told.left_out] == [20]
    assert meter(run(*STEADY, (60, 20), (70, 100))).changed is not None


def test_a_meter_whose_change_is_told_counts_from_the_first_reading() -> None:
    visits = [*run(*STEADY), visited(9, 60, hours=3.0, work=("replaced the hour meter",))]
    found = due(visits)
    assert found.last_hours == 3 and found.due_day is None
    assert "two are needed since the meter was changed" in found.why
    fitted = [*run(*STEADY), visited(9, 60, hours=3.0, parts=[part("hour meter")])]
    assert due(fitted).last_hours == 3
    wanted = [*run(*STEADY), visited(9, 60, hours=1480.0, work=("needs new hour meter",))]
    assert due(wanted).last_hours == 1480 and "changed" not in due(wanted).why


@pytest.mark.parametrize("readings", [[], [(5, 1200.0)], [(5, 1200.0), (5, 1201.0)]])
def test_fewer_than_two_days_give_no_date_but_a_reason(readings: list[tuple[int, float]]) -> None:
    found = due([visited(99, 0), *run(*readings)])
    assert found.rate is None and found.due_day is None and found.earliest is None
    assert "No date" in found.why and "two are needed" in found.why


def test_overdue_by_the_meter_and_by_the_calendar() -> None:
    past = due(serviced(run((0, 1000), (20, 1300), (40, 1600)), 0))
    assert past.overdue and past.due_hours == 1500
    assert past.due_day is not None and on(20) < past.due_day < on(40)
    uneven = due(serviced(run((0, 1000), (10, 1100), (20, 1320), (30, 1460), (40, 1650)), 0))
    assert uneven.earliest is not None and uneven.due_day is not None and uneven.latest is not None
    assert uneven.earliest < uneven.due_day < uneven.latest < on(40)
    by_now = next_service(serviced(run(*STEADY), 1), 500, on(74))
    assert by_now.overdue
    assert not next_service(serviced(run(*STEADY), 1), 500, on(73)).overdue


def test_a_machine_that_stands_gets_no_date() -> None:
    found = due(run((0, 1010), (20, 1010), (40, 1010)))
    assert found.due_day is None and "does not run" in found.why and not found.overdue


@settings(max_examples=150, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 2000), st.floats(0, 30000, allow_nan=False)), min_size=1, max_size=12)
)
def test_no_date_lies_more_than_ten_years_away(readings: list[tuple[int, float]]) -> None:
    today = on(2000)
    found = next_service(run(*sorted(readings)), 500, today)
    for day in (found.earliest, found.due_day, found.latest):
        assert day is None or abs(day - today) <= datetime.timedelta(days=3650)
    assert found.why
    if found.earliest and found.due_day:
        assert found.earliest <= found.due_day
    if found.latest and found.due_day:
        assert found.due_day <= found.latest


@pytest.mark.parametrize("a_day", [0.01, 0.05, 0.1])
def test_a_slow_machine_is_said_to_be_far_away(a_day: float) -> None:
    found = due(run(*[(day, 1001 + day * a_day) for day in (0, 100, 200, 300)]), 310)
    assert found.due_day is None and "more than 10 years away" in found.why


def test_only_machines_whose_type_has_an_interval_are_listed_overdue_first() -> None:
    late = serviced(run((0, 1000), (20, 1300), (40, 1600)), 0)
    soon = [
        replace(each, sheet=each.sheet + 10, fleet_number="EX 15", machine_key="EX15")
        for each in run(*STEADY)
    ]
    other = [
        replace(each, sheet=each.sheet + 20, fleet_number="G 1", machine_key="G1", machine_type="grader")
        for each in run(*STEADY)
    ]
    found = services([*soon, *other, *late], {"excavator": 500}.get, on(60))
    assert [(each.machine_key, each.overdue) for each in found] == [("EX14", True), ("EX15", False)]
