"""What kind of day a day is, and what kind of labour a time of day."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from functools import cache
from typing import Literal
from zoneinfo import ZoneInfo

from jobnotes.office.settings import OfficeSettings, PartOfCountry

DayKind = Literal["weekday", "saturday", "sunday", "bank_holiday"]
LabourKind = Literal["normal", "evening", "saturday", "sunday", "bank_holiday"]
SATURDAY, SUNDAY = 5, 6


@cache
def _published(part: PartOfCountry, year: int) -> Mapping[datetime.date, str]:
    import holidays

    return dict(holidays.country_holidays("GB", subdiv=part, years=year).items())


def bank_holiday(day: datetime.date, settings: OfficeSettings) -> str | None:
    """The name of the bank holiday on that day, None where it is none.

    From the `holidays` library, with substitute days. Where a substitute day is kept, the day itself counts
    too. `more_bank_holidays` and `no_bank_holidays` of office.toml go before the library.
    """
    if day in settings.labour.no_bank_holidays:
        return None
    if day in settings.labour.more_bank_holidays:
        return "bank holiday"
    return _published(settings.part_of_country, day.year).get(day)


def kind_of_day(day: datetime.date, settings: OfficeSettings) -> DayKind:
    """Bank holiday goes before Sunday, Sunday before Saturday."""
    if bank_holiday(day, settings) is not None:
        return "bank_holiday"
    if day.weekday() == SUNDAY:
        return "sunday"
    return "saturday" if day.weekday() == SATURDAY else "weekday"


def kind_of_labour(day: datetime.date, settings: OfficeSettings) -> LabourKind:
    """The kind of labour on a day when the time of day is not known: on a weekday it is taken as normal."""
    kind = kind_of_day(day, settings)
    return "normal" if kind == "weekday" else kind


def edges(day: datetime.date, settings: OfficeSettings, zone: ZoneInfo) -> list[datetime.datetime]:
    """The moments of a local day at which the kind of labour may change, in UTC, its midnight first. A time
    that is there twice gives two."""
    times = [datetime.time(), *settings.labour.normal_hours]
    return sorted(
        {
            utc(datetime.datetime.combine(day, time).replace(fold=fold), zone)
            for time in times
            for fold in (0, 1)
        }
    )


def utc(local: datetime.datetime, zone: ZoneInfo) -> datetime.datetime:
    """A naive local time as a moment. One that the clocks skip is told by the clock as it was before; of one
    that is there twice, `fold` tells which."""
    return local.replace(tzinfo=zone).astimezone(datetime.UTC)


def kind_at(moment: datetime.datetime, settings: OfficeSettings, zone: ZoneInfo) -> LabourKind:
    """The kind of labour that begins at a moment."""
    local = moment.astimezone(zone)
    kind = kind_of_day(local.date(), settings)
    if kind != "weekday":
        return kind
    first, last = settings.labour.normal_hours
    return "normal" if first <= local.time() < last else "evening"
