"""Labour: from times on a sheet to minutes by kind. How it is rounded and raised is common practice."""

from __future__ import annotations

import datetime
from decimal import Decimal
from typing import Any

import made
import pytest
from hypothesis import given
from hypothesis import strategies as st
from made import LONDON, TUESDAY, visit

from jobnotes.office.diary import Diary
from jobnotes.office.labour import Labour, attendance, labour_of, rounded, spread
from jobnotes.office.lines import worked_time

EXACT = {"step_min": 1}


def labour(one: Any, *others: Any, **rules: Any) -> Labour:
    settings = made.settings(labour={**EXACT, **rules})
    return labour_of(one, Diary([one, *others]), settings, LONDON)


def day(text: str) -> datetime.date:
    return datetime.date.fromisoformat(text)


def at(date: str, arrived: str | None, left: str | None, **more: Any) -> Labour:
    return labour(visit(date=day(date), arrived=arrived, left=left, **more))


def test_both_times_go_before_the_duration() -> None:
    found = at("2026-03-10", "08:05", "11:40", labour_min=210)
    assert found.minutes == (("normal", 215),)
    assert found.remarks == ("Arrived 08:05, left 11:40: 3 h 35 min.",)
    assert found.looks == ()


def test_a_duration_that_does_not_go_with_the_times_is_looked_at() -> None:
    """difference_min is 10: eleven are too many."""
    assert at("2026-03-10", "08:00", "11:00", labour_min=170).looks == ()
    assert at("2026-03-10", "08:00", "11:00", labour_min=191).looks == (
        "from arriving to leaving it is 3 h, but 3 h 11 min of work is stated",
    )


@pytest.mark.parametrize(
    ("arrived", "left", "minutes"),
    [
        ("16:30", None, (("normal", 60), ("evening", 60))),
        (None, "08:30", (("evening", 60), ("normal", 60))),
        (None, None, (("normal", 120),)),
    ],
)
def test_one_time_and_the_duration_or_that_alone(
    arrived: str | None, left: str | None, minutes: tuple[tuple[str, int], ...]
) -> None:
    found = at("2026-03-10", arrived, left, labour_min=120)
    assert found.minutes == minutes
    assert "as stated" in found.remarks[0]


def test_a_duration_alone_on_a_weekday_says_that_it_is_taken_as_normal() -> None:
    assert any(
        "counts as normal hours" in remark for remark in at("2026-03-10", None, None, labour_min=60).remarks
    )
    saturday = at("2026-03-14", None, None, labour_min=60)
    assert saturday.minutes == (("saturday", 60),)
    assert not any("normal" in remark for remark in saturday.remarks)


def test_no_times_at_all() -> None:
    found = at("2026-03-10", "08:00", None)
    assert (found.known, found.minutes) == (False, ())


def test_normal_hours_and_evening() -> None:
    found = at("2026-03-10", "06:00", "19:00")
    assert found.minutes == (("evening", 90 + 90), ("normal", 600))


@pytest.mark.parametrize(
    ("date", "arrived", "left", "minutes"),
    [
        # Past midnight: from Tuesday's night into Wednesday's.
        ("2026-03-10", "22:00", "02:00", (("evening", 240),)),
        # From Friday night into Saturday, from Saturday into Sunday, from Sunday into Monday.
        ("2026-03-13", "22:00", "02:00", (("evening", 120), ("saturday", 120))),
        ("2026-03-14", "22:00", "02:00", (("saturday", 120), ("sunday", 120))),
        ("2026-03-15", "22:00", "08:00", (("sunday", 120), ("evening", 450), ("normal", 30))),
        # Over the edge of a bank holiday: Christmas Eve (Thursday) into Christmas, Boxing Day (Saturday, with
        # its substitute on Monday the 28th) into Sunday, Sunday into the substitute day, that into Tuesday.
        ("2026-12-24", "20:00", "01:00", (("evening", 240), ("bank_holiday", 60))),
        ("2026-12-25", "22:00", "02:00", (("bank_holiday", 240),)),
        ("2026-12-26", "22:00", "02:00", (("bank_holiday", 120), ("sunday", 120))),
        ("2026-12-27", "22:00", "02:00", (("sunday", 120), ("bank_holiday", 120))),
        ("2026-12-28", "22:00", "02:00", (("bank_holiday", 120), ("evening", 120))),
        # Easter Monday is the last of four days.
        ("2026-04-06", "23:00", "00:30", (("bank_holiday", 60), ("evening", 30))),
    ],
)
def test_past_midnight(date: str, arrived: str, left: str, minutes: tuple[tuple[str, int], ...]) -> None:
    found = at(date, arrived, left)
    assert found.minutes == minutes
    assert "the next day" in found.remarks[0]


@pytest.mark.parametrize(
    ("date", "arrived", "left", "total"),
    [
        # The clocks go forward at 01:00 on 29 March 2026, and back at 02:00 on 25 October 2026 (European
        # Union Directive 2000/84/EC; the Summer Time Order 2002 in the United Kingdom, from memory).
        ("2026-03-28", "22:00", "06:00", 7 * 60),
        ("2026-10-24", "22:00", "06:00", 9 * 60),
        ("2026-03-29", "00:30", "02:30", 60),
        ("2026-10-25", "00:30", "02:30", 180),
        ("2026-03-29", "08:00", "10:00", 120),
    ],
)
def test_real_time_when_the_clocks_change(date: str, arrived: str, left: str, total: int) -> None:
    found = at(date, arrived, left)
    assert found.total == total
    assert found.looks == ()


@pytest.mark.parametrize(
    ("date", "arrived", "left", "total", "look"),
    [
        ("2026-03-29", "01:30", "03:00", 30, "01:30 is no time on that day: the clocks go forward"),
        ("2026-10-25", "01:30", "03:00", 150, "01:30 is there twice on that day: the clocks go back"),
        # 01:50 summer time to 01:20 winter time, not all round the clock.
        ("2026-10-25", "01:50", "01:20", 30, "01:20 is there twice on that day: the clocks go back"),
    ],
)
def test_a_time_that_is_not_there_or_there_twice(
    date: str, arrived: str, left: str, total: int, look: str
) -> None:
    found = at(date, arrived, left)
    assert found.total == total
    assert look in found.looks


def test_arriving_and_leaving_at_once_is_no_day_and_night() -> None:
    assert at("2026-03-10", "08:00", "08:00").total == 0


def test_a_visit_all_round_the_clock_is_looked_at() -> None:
    """Left before arrived, by a slip: 23 h 30 min."""
    assert at("2026-03-10", "09:00", "08:30").looks == ("from arriving to leaving it is 23 h 30 min",)


def test_a_long_duration_is_looked_at() -> None:
    assert at("2026-03-10", "08:00", None, labour_min=17 * 60).looks == ("17 h of work is stated",)
    days = at("2026-03-10", "08:00", None, labour_min=50 * 60)
    assert days.looks == ("50 h of work is stated",)
    assert days.minutes == (("normal", 3000),)


def test_work_that_began_the_day_before_is_looked_at() -> None:
    found = at("2026-03-10", None, "01:00", labour_min=180)
    assert found.looks == ("by the time of leaving, the work began the day before",)
    assert found.minutes == (("evening", 180),)


@pytest.mark.parametrize(
    ("rounding", "step", "least", "worked", "charged"),
    [
        ("up", 15, 0, 61, 75),
        ("up", 15, 0, 60, 60),
        ("down", 15, 0, 74, 60),
        ("nearest", 15, 0, 67, 60),
        ("nearest", 15, 0, 68, 75),
        ("nearest", 30, 0, 75, 90),  # halves go up
        ("up", 15, 60, 10, 60),
        ("up", 15, 60, 61, 75),
        ("down", 15, 20, 5, 20),
        ("up", 15, 60, 0, 0),
    ],
)
def test_rounding(rounding: str, step: int, least: int, worked: int, charged: int) -> None:
    rules = made.settings(labour={"rounding": rounding, "step_min": step, "minimum_min": least}).labour
    assert rounded(worked, rules) == charged


def test_what_rounding_adds_goes_to_the_kind_worked_last() -> None:
    found = labour(visit(arrived="16:25", left="17:40"), step_min=30)
    assert found.minutes == (("normal", 65), ("evening", 25))
    assert "Rounded to 1 h 30 min." in found.remarks


def test_what_rounding_takes_may_take_a_kind_whole() -> None:
    found = labour(visit(arrived="15:10", left="17:34"), step_min=30, rounding="down")
    assert found.minutes == (("normal", 120),)


def test_the_minimum_is_told() -> None:
    found = labour(visit(arrived="08:00", left="08:20"), step_min=15, minimum_min=60)
    assert found.minutes == (("normal", 60),)
    assert "Raised to the minimum of 1 h." in found.remarks


@pytest.mark.parametrize(
    ("minutes", "told"),
    [
        (60, (Decimal(1), "HUR", 1)),
        (75, (Decimal("1.25"), "HUR", 1)),
        (93, (Decimal("1.55"), "HUR", 1)),
        (215, (Decimal(215), "MIN", 60)),  # 3.58333... h
        (1200, (Decimal(20), "HUR", 1)),
    ],
)
def test_hours_where_two_decimals_tell_them(minutes: int, told: tuple[Decimal, str, int]) -> None:
    found = worked_time(minutes)
    assert found == told
    assert "E" not in str(found[0])


def test_an_overlap_is_charged_once_on_the_lower_sheet() -> None:
    first, second = visit(12, arrived="08:00", left="11:00"), visit(13, arrived="10:00", left="12:30")
    assert labour(first, second).minutes == (("normal", 180),)
    found = labour(second, first)
    assert found.minutes == (("normal", 90),)
    assert found.looks == ("overlaps with sheet 12, which charges 1 h of it",)


def test_an_overlap_with_another_customers_sheet_counts_too() -> None:
    first = visit(12, arrived="08:00", left="11:00", customer=made.TUCKERSETT)
    assert labour(visit(13, arrived="08:00", left="11:00"), first).minutes == ()


def test_an_overlap_past_midnight() -> None:
    first = visit(12, arrived="22:00", left="02:00")
    second = visit(13, date=TUESDAY + datetime.timedelta(days=1), arrived="01:00", left="03:00")
    assert labour(second, first).total == 60


def test_another_engineer_and_another_day_do_not_overlap() -> None:
    first = visit(12)
    assert labour(visit(13, engineer_id=2, engineer="Noah Pell"), first).total == 180
    assert labour(visit(13, date=TUESDAY + datetime.timedelta(days=1)), first).total == 180
    assert labour(visit(13, arrived="11:00", left="12:00"), first).looks == ()


def test_engineers_without_an_account_are_told_by_name() -> None:
    first = visit(12, engineer_id=None, engineer="Noah Pell")
    assert labour(visit(13, engineer_id=None, engineer="noah  pell"), first).minutes == ()
    assert labour(visit(13, engineer_id=None, engineer="Ada Finch"), first).total == 180


clock = st.integers(0, 1439).map(lambda minute: f"{minute // 60:02}:{minute % 60:02}")
dates = st.dates(datetime.date(2026, 1, 1), datetime.date(2026, 12, 31))


@given(date=dates, arrived=clock, left=clock, step=st.integers(1, 60), least=st.integers(0, 120))
def test_kinds_sum_to_the_rounded_total(
    date: datetime.date, arrived: str, left: str, step: int, least: int
) -> None:
    for how in ("up", "nearest", "down"):
        rules = {"step_min": step, "rounding": how, "minimum_min": least}
        found = labour(visit(date=date, arrived=arrived, left=left), **rules)
        assert found.total == rounded(found.worked, made.settings(labour=rules).labour)
        assert all(minutes > 0 for _, minutes in found.minutes)


@given(
    pieces=st.lists(
        st.tuples(st.sampled_from(["normal", "evening", "sunday"]), st.integers(0, 300)), max_size=6
    ),
    total=st.integers(0, 2000),
)
def test_spreading_keeps_the_total(pieces: list[tuple[Any, int]], total: int) -> None:
    found = spread(pieces, total)
    assert sum(minutes for _, minutes in found) == (total if pieces else 0)


@given(
    times=st.lists(st.tuples(st.integers(0, 2), clock, clock), min_size=1, max_size=6),
    date=st.sampled_from([day("2026-03-28"), day("2026-10-24"), day("2026-03-10")]),
)
def test_no_minute_is_charged_twice(times: list[tuple[int, str, str]], date: datetime.date) -> None:
    """The minutes charged on all sheets are exactly the minutes in which the engineer was anywhere, counted
    one by one."""
    visits = [
        visit(number, date=date + datetime.timedelta(days=later), arrived=arrived, left=left)
        for number, (later, arrived, left) in enumerate(times, 1)
    ]
    settings = made.settings(labour=EXACT)
    diary = Diary(visits)
    there: set[int] = set()
    for one in visits:
        stay = attendance(one, settings, LONDON)
        assert stay is not None and stay.span is not None
        start, end = (int(moment.timestamp()) // 60 for moment in stay.span)
        there |= set(range(start, end))
    charged = [labour_of(one, diary, settings, LONDON) for one in visits]
    assert sum(each.total for each in charged) == len(there)
