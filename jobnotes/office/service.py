"""When machines are due their next service: a range of dates from what their hour meters showed."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from functools import cache, lru_cache

from jobnotes.office.by_machine import histories, machine_name, machine_of
from jobnotes.office.components import phrases, spans, table, tokens_of
from jobnotes.office.meter import Meter, MeterReading, Rate, meter, theil_sen
from jobnotes.office.visits import Visit
from jobnotes.paper import words

__all__ = ["Rate", "Service", "names_service", "next_service", "services", "theil_sen"]

YEARS = 10
FURTHEST = timedelta(days=YEARS * 365)


@dataclass(frozen=True)
class Service:
    """When a machine is due its next service. Hours are the meter's, h; `interval` h; days are local.

    `due_day` is None where none can be told, and `why` says so in any case how the dates came about.
    `earliest` and `latest` go with the rate's confidence interval; None where the interval has no such end
    within ten years. `service_sheet` is the sheet of the last service. `overdue`: it was due before today.
    """

    machine: str
    machine_key: str
    customer: str
    interval: float
    rate: Rate | None
    last_hours: float | None
    last_day: date | None
    service_sheet: int | None
    service_day: date | None
    due_hours: float | None
    due_day: date | None
    earliest: date | None
    latest: date | None
    overdue: bool
    why: str


@cache
def _patterns() -> tuple[re.Pattern[str], re.Pattern[str], frozenset[str]]:
    service = table("service")
    return (
        phrases(service["not_a_service"]["say"]),
        phrases(service["service"]["say"]),
        frozenset(service["small"]["say"]),
    )


@lru_cache(maxsize=65536)
def names_service(text: str) -> bool:
    """Whether the text tells of a service of the machine that was done, or was the task: not of one that is
    due, nor of a service brake, nor of the servicing of one component."""
    lower = text.lower().replace("’", "'")
    if "servic" not in lower:
        return False
    wrong, right, small = _patterns()
    tokens = tokens_of(wrong.sub(" ; ", lower))
    named = spans(tokens)
    starts, ends = {first for first, _, _ in named}, {end for _, end, _ in named}
    for place, token in enumerate(tokens):
        if right.fullmatch(token) is None:
            continue
        after = place + 1
        while after < len(tokens) and tokens[after] in small:
            after += 1
        if after not in starts and place not in ends:
            return True
    return False


def _is_service(visit: Visit) -> bool:
    return names_service(visit.complaint) or any(names_service(line) for line in visit.work)


def next_service(history: Sequence[Visit], interval: float, today: date) -> Service:
    """The next service of one machine by its visits, the earliest first; needs at least one.

    Due is the last service's reading and the `interval` (h); where no service is known, the next whole
    multiple of the interval. The day is where the meter gets there from its last reading.
    """
    if not history:
        raise ValueError("a machine without visits has no next service")
    newest = history[-1]
    told = meter(history)
    service = next((visit for visit in reversed(history) if _is_service(visit)), None)
    said: list[str] = []
    if told.changed is not None:
        said.append(
            f"The hour meter was changed by {words.day(told.changed.day)} (sheet {told.changed.sheet});"
            " only readings since then count."
        )
    for reading in told.left_out:
        said.append(
            f"{_h(reading.hours)} on sheet {reading.sheet} was left out: it doesn't go with the others."
        )
    last = told.kept[-1] if told.kept else None
    due, reason = _due(service, told, last, interval)
    said.append(reason)
    due_day = earliest = latest = None
    if told.rate is None or last is None:
        days = len(told.kept)
        said.append(
            f"No date: there are readings of {'one day' if days else 'no day'}, and two are needed"
            f"{' since the meter was changed' if told.changed else ''}."
        )
    elif due is not None:
        due_day, earliest, latest, how = _days(told, last, due, today)
        said.append(how)
    overdue = due is not None and last is not None and last.hours >= due
    overdue = overdue or (due_day is not None and due_day < today)
    return Service(
        machine=machine_name(newest),
        machine_key=machine_of(newest),
        customer=newest.customer,
        interval=interval,
        rate=told.rate,
        last_hours=None if last is None else last.hours,
        last_day=None if last is None else last.day,
        service_sheet=None if service is None else service.sheet,
        service_day=None if service is None else service.date,
        due_hours=due,
        due_day=due_day,
        earliest=earliest,
        latest=latest,
        overdue=overdue,
        why=" ".join(each for each in said if each),
    )


def _h(hours: float) -> str:
    return f"{words.number(round(hours, 1))} h"


def _due(
    service: Visit | None, told: Meter, last: MeterReading | None, interval: float
) -> tuple[float | None, str]:
    """At how many hours the service is due, and why."""
    if service is not None and (told.changed is None or service.date >= told.changed.day):
        at = next((each.hours for each in told.kept if each.day == service.date), None)
        if at is None and told.kept and service.date < told.kept[0].day:
            # Longer ago than the pace is taken from.
            at = None if service.sheet in {each.sheet for each in told.left_out} else service.hours
        if at is not None:
            return at + interval, (
                f"Due {_h(interval)} after the service at {_h(at)} on {words.day(service.date)}"
                f" (sheet {service.sheet})."
            )
        if told.rate is not None:
            near = min(told.kept, key=lambda each: abs((each.day - service.date).days))
            at = max(0.0, near.hours + told.rate.per_day * (service.date - near.day).days)
            return at + interval, (
                f"Due {_h(interval)} after the service on {words.day(service.date)} (sheet {service.sheet}),"
                f" which has no reading that holds: about {_h(at)} by the machine's pace."
            )
    if last is None:
        return None, "There is no hour meter reading."
    due = max(1, math.ceil(last.hours / interval)) * interval
    lead = "No service is on the sheets"
    if service is not None:
        lead = f"The last service (sheet {service.sheet}) has no reading on the meter of today"
    return due, f"{lead}: due at the next whole {_h(interval)}, {_h(due)}."


def _days(
    told: Meter, last: MeterReading, due: float, today: date
) -> tuple[date | None, date | None, date | None, str]:
    rate = told.rate
    assert rate is not None
    to_go = due - last.hours

    def reached(pace: float) -> date | None:
        if pace <= 0:
            return None
        days = to_go / pace
        if abs(days) > 4 * FURTHEST.days:
            return None
        day = last.day + timedelta(days=math.floor(days) if days < 0 else math.ceil(days))
        return None if day > today + FURTHEST else max(day, today - FURTHEST)

    count = len(told.kept)
    pace = f"{words.number(round(rate.per_day, 1))} h a day over {count} days with readings"
    day = reached(rate.per_day)
    # What was passed already was passed the longer ago, the slower the machine runs.
    fast, slow = reached(rate.high), reached(rate.low)
    earliest, latest = (fast, slow) if to_go >= 0 else (slow, fast)
    if to_go < 0 and rate.per_day <= 0:
        return None, None, None, f"The meter is past it already, and the machine hardly runs ({pace})."
    if day is None:
        if rate.per_day <= 0:
            return None, earliest, None, f"No date: the machine does not run ({pace})."
        return None, earliest, None, f"No date: at {pace} it is more than {YEARS} years away."
    how = f"It runs {pace}."
    if count < 3:
        how += " Two readings give a pace and no range."
    elif latest is None and to_go >= 0:
        how += f" At the slowest it is more than {YEARS} years away."
    return day, earliest, latest, how


def services(
    visits: Iterable[Visit], interval_of: Callable[[str], Decimal | float | None], today: date
) -> list[Service]:
    """The next service of every machine whose type has an interval, overdue ones first, then by date; those
    without a date last. `interval_of` gives the interval (h) of a machine type, or None."""
    found = (service_of(history, interval_of, today) for history in histories(visits).values())
    return soonest_first(found, today)


def service_of(
    history: Sequence[Visit], interval_of: Callable[[str], Decimal | float | None], today: date
) -> Service | None:
    """The next service of one machine by its visits, the earliest first; None where its type has no
    interval."""
    kind = next((visit.machine_type for visit in reversed(history) if visit.machine_type), "")
    interval = interval_of(kind) if kind else None
    return next_service(history, float(interval), today) if interval else None


def soonest_first(found: Iterable[Service | None], today: date) -> list[Service]:
    """The services of several machines in the order of `services`."""
    return sorted(
        (each for each in found if each is not None),
        key=lambda each: (not each.overdue, each.due_day is None, each.due_day or today, each.machine),
    )
