"""Kinds of day and of labour, bank holidays held against the published table."""

from __future__ import annotations

import datetime

import made
import pytest
from made import LONDON

from jobnotes.office.calendar import bank_holiday, kind_at, kind_of_day, kind_of_labour, utc

# gov.uk/bank-holidays for 2025 and 2026, from memory. Where a substitute day is kept, the table names that
# alone.
PUBLISHED = {
    "ENG": """2025-01-01 2025-04-18 2025-04-21 2025-05-05 2025-05-26 2025-08-25 2025-12-25 2025-12-26
        2026-01-01 2026-04-03 2026-04-06 2026-05-04 2026-05-25 2026-08-31 2026-12-25
        2026-12-28""",
    "SCT": """2025-01-01 2025-01-02 2025-04-18 2025-05-05 2025-05-26 2025-08-04 2025-12-01 2025-12-25
        2025-12-26 2026-01-01 2026-01-02 2026-04-03 2026-05-04 2026-05-25 2026-06-15
        2026-08-03 2026-11-30 2026-12-25 2026-12-28""",
    "NIR": """2025-01-01 2025-03-17 2025-04-18 2025-04-21 2025-05-05 2025-05-26 2025-07-14 2025-08-25
        2025-12-25 2025-12-26 2026-01-01 2026-03-17 2026-04-03 2026-04-06 2026-05-04
        2026-05-25 2026-07-13 2026-08-31 2026-12-25 2026-12-28""",
}
PUBLISHED["WLS"] = PUBLISHED["ENG"]
# The day itself, beside its substitute: a holiday here too.
KEPT_ON_ANOTHER_DAY = {
    "ENG": {"2026-12-26"},
    "WLS": {"2026-12-26"},
    "SCT": {"2025-11-30", "2026-12-26"},
    "NIR": {"2025-07-12", "2026-07-12", "2026-12-26"},
}
# The library does not know the holiday in Scotland on 15 June 2026 (proclaimed in 2025, from memory): the
# firm writes it into more_bank_holidays, as docs/office.md says.
UNKNOWN = {"SCT": {"2026-06-15"}}


def days(text: str) -> set[datetime.date]:
    return {datetime.date.fromisoformat(word) for word in text.split()}


@pytest.mark.parametrize("part", ["ENG", "WLS", "SCT", "NIR"])
def test_bank_holidays_against_the_published_table(part: str) -> None:
    settings = made.settings(part_of_country=part)
    every = [datetime.date(2025, 1, 1) + datetime.timedelta(days=n) for n in range(730)]
    found = {day for day in every if bank_holiday(day, settings)}
    missing = {day.isoformat() for day in days(PUBLISHED[part]) - found}
    more = {day.isoformat() for day in found - days(PUBLISHED[part])}
    assert missing == UNKNOWN.get(part, set())
    assert more == KEPT_ON_ANOTHER_DAY[part]


def test_the_firm_adds_and_takes_away_holidays() -> None:
    labour = {
        "more_bank_holidays": [datetime.date(2026, 6, 15)],
        "no_bank_holidays": [datetime.date(2026, 12, 26)],
    }
    settings = made.settings(part_of_country="SCT", labour=labour)
    assert kind_of_day(datetime.date(2026, 6, 15), settings) == "bank_holiday"
    assert kind_of_day(datetime.date(2026, 12, 26), settings) == "saturday"


@pytest.mark.parametrize(
    ("day", "kind"),
    [
        ("2026-03-10", "weekday"),
        ("2026-03-14", "saturday"),
        ("2026-03-15", "sunday"),
        ("2026-04-03", "bank_holiday"),
        ("2026-12-26", "bank_holiday"),  # a Saturday
        ("2026-04-05", "sunday"),  # Easter Sunday is none
    ],
)
def test_kind_of_day(day: str, kind: str) -> None:
    assert kind_of_day(datetime.date.fromisoformat(day), made.settings()) == kind


def test_a_bank_holiday_goes_before_sunday() -> None:
    """12 July 2026 is a Sunday and a bank holiday in Northern Ireland."""
    day = datetime.date(2026, 7, 12)
    assert kind_of_day(day, made.settings(part_of_country="NIR")) == "bank_holiday"
    assert kind_of_day(day, made.settings()) == "sunday"


def test_labour_of_a_day_without_times() -> None:
    assert kind_of_labour(datetime.date(2026, 3, 10), made.settings()) == "normal"
    assert kind_of_labour(datetime.date(2026, 3, 14), made.settings()) == "saturday"


@pytest.mark.parametrize(
    ("time", "kind"),
    [
        ("00:00", "evening"),
        ("07:29", "evening"),
        ("07:30", "normal"),
        ("17:29", "normal"),
        ("17:30", "evening"),
    ],
)
def test_normal_hours_begin_and_end(time: str, kind: str) -> None:
    local = datetime.datetime.combine(made.TUESDAY, datetime.time.fromisoformat(time))
    assert kind_at(utc(local, LONDON), made.settings(), LONDON) == kind


def test_summer_time_is_local_time() -> None:
    """At 06:45 UTC in July it is a quarter to eight in London."""
    moment = datetime.datetime(2026, 7, 14, 6, 45, tzinfo=datetime.UTC)
    assert kind_at(moment, made.settings(), LONDON) == "normal"
