"""Hour meters: how fast one runs, and which of its readings can be believed."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import cache
from itertools import pairwise
from statistics import NormalDist

import numpy as np

from jobnotes.office.components import phrases, table
from jobnotes.office.visits import Visit

SURE = 0.95
"""The level of the confidence interval."""
DEVIATIONS = NormalDist().inv_cdf((1 + SURE) / 2)
MOST = 250
"""Days with readings that are looked at, the newest: the pace of today counts, not that of ten years ago."""
SLACK_H = 1.0
"""A reading may be so much lower than the one before, h: a whole hour said for a part of one."""
DAY_H = 24.0
LEFT_OUT, CHANGED = 1.0, 1.5
"""What it costs to call a reading mistyped, and to call the meter changed: one odd reading is a slip, two low
ones that go together are another meter."""
TOO_FAST = 3.0
TOO_FAR_H = 100.0
"""A last reading that implies so many times the usual pace, and lies so far above it, waits for another to
bear it out."""


@dataclass(frozen=True)
class Rate:
    """How fast a meter runs, h a day: the median, and the ends of its 95 % confidence interval."""

    per_day: float
    low: float
    high: float


def theil_sen(days: Sequence[float], hours: Sequence[float]) -> Rate:
    """The median of the slopes of all pairs of readings on different days, and its confidence interval.

    The interval is by formula 2.6 of Sen (1968), "Estimates of the regression coefficient based on Kendall's
    tau", Journal of the American Statistical Association 63, 1379-1389.

    Where ties leave the formula without a variance, the interval is that of all slopes. Raises ValueError for
    fewer than two different days.
    """
    x, y = np.array(days, dtype=float), np.array(hours, dtype=float)
    across = x[:, None] - x
    ahead = across > 0
    slopes = (y[:, None] - y)[ahead] / across[ahead]
    slopes.sort()
    pairs = len(slopes)
    if not pairs:
        raise ValueError("readings of two different days are needed")
    variance = (_spread(len(x)) - _ties(days) - _ties(hours)) / 18
    low, high = slopes[0], slopes[-1]
    if variance >= 0:
        reach = DEVIATIONS * math.sqrt(variance)
        high = slopes[min(round((pairs + reach) / 2), pairs - 1)]
        low = slopes[max(round((pairs - reach) / 2) - 1, 0)]
    middle = (slopes[(pairs - 1) // 2] + slopes[pairs // 2]) / 2
    return Rate(float(middle), float(low), float(high))


def _spread(count: int) -> int:
    return count * (count - 1) * (2 * count + 5)


def _ties(values: Sequence[float]) -> int:
    return sum(_spread(count) for count in Counter(values).values() if count > 1)


@dataclass(frozen=True)
class MeterReading:
    """An hour meter's reading, h."""

    day: date
    hours: float
    sheet: int


@dataclass(frozen=True)
class Meter:
    """What a machine's meter has shown since it was last changed, one reading a day, the earliest first.

    `left_out` are readings that can't be right beside the others, `changed` the first reading of another
    meter. `rate` is None with fewer than two days.
    """

    kept: tuple[MeterReading, ...]
    left_out: tuple[MeterReading, ...]
    changed: MeterReading | None
    rate: Rate | None


@cache
def _patterns() -> tuple[re.Pattern[str], re.Pattern[str]]:
    service = table("service")
    return phrases(service["meter_not_changed"]["say"]), phrases(service["meter_changed"]["say"])


def names_new_meter(visit: Visit) -> bool:
    """Whether the work or a fitted part of the visit tells of another hour meter."""
    texts = [*visit.work, *(f"new {part.description}" for part in visit.parts if part.status == "fitted")]
    for text in texts:
        lower = text.lower()
        if "meter" in lower:
            wrong, right = _patterns()
            if right.search(wrong.sub(";", lower)):
                return True
    return False


def meter(history: Sequence[Visit]) -> Meter:
    """The meter of one machine by its visits, the earliest first."""
    by_day: dict[date, MeterReading] = {}
    told: set[date] = set()
    for visit in history:
        if visit.hours is not None:
            by_day[visit.date] = MeterReading(visit.date, visit.hours, visit.sheet)
        if names_new_meter(visit):
            told.add(visit.date)
    readings = sorted(by_day.values(), key=lambda each: each.day)[-MOST:]
    kept = readings
    left_out: list[MeterReading] = []
    changed: MeterReading | None = None
    # Without a slip, as nearly all are, there is nothing to decide.
    if told or any(not _follows(a, b) for a, b in pairwise(readings)):
        kept, left_out, changed = _believed(readings, told)
    rate = _rate(kept)
    if len(kept) > 3 and rate is not None:
        days = (kept[-1].day - kept[-2].day).days
        step = kept[-1].hours - kept[-2].hours
        # No step is far above the others' pace that is not above the pace of all.
        if step > TOO_FAR_H and step > rate.per_day * days:
            before = _rate(kept[:-1])
            usual = 0.0 if before is None else max(before.high, 0.0)
            if step > TOO_FAST * usual * days and step - usual * days > TOO_FAR_H:
                left_out = [*left_out, kept[-1]]
                kept, rate = kept[:-1], before
    return Meter(tuple(kept), tuple(left_out), changed, rate)


def _rate(readings: Sequence[MeterReading]) -> Rate | None:
    if len(readings) < 2:
        return None
    return theil_sen([each.day.toordinal() for each in readings], [each.hours for each in readings])


def _follows(earlier: MeterReading, later: MeterReading) -> bool:
    """Whether one meter can show both: it never runs back, nor more than 24 h a day."""
    step = later.hours - earlier.hours
    return -SLACK_H <= step <= DAY_H * ((later.day - earlier.day).days + 1)


def _believed(
    readings: Sequence[MeterReading], told: set[date]
) -> tuple[list[MeterReading], list[MeterReading], MeterReading | None]:
    """The readings of the newest meter, those left out, and the first of the newest meter where there was
    another before: the cheapest way to make sense of all of them.

    `told` are days on which the work tells of another meter; without that, a meter needs two readings to be
    believed in.
    """
    count = len(readings)
    # The cost up to each reading where it is kept: as the first of its meter, and as a further one.
    cost = [[place * LEFT_OUT, math.inf] for place in range(count)]
    way: list[list[tuple[int, int] | None]] = [[None, None] for _ in range(count)]
    for place, reading in enumerate(readings):
        for earlier in range(place - 1, -1, -1):
            between = (place - earlier - 1) * LEFT_OUT
            # A further reading of a meter can be followed by all that a first one can, and more.
            if between >= cost[place][1]:
                break
            new_meter = any(readings[earlier].day < day <= reading.day for day in told) if told else False
            for state in (0, 1):
                so_far = cost[earlier][state] + between
                if new_meter or _follows(readings[earlier], reading):
                    target, price = 1, so_far
                elif state == 1 and reading.hours < readings[earlier].hours:
                    target, price = 0, so_far + CHANGED
                else:
                    continue
                if price < cost[place][target]:
                    cost[place][target] = price
                    way[place][target] = (earlier, state)
    ends = [
        (cost[place][state] + (count - 1 - place) * LEFT_OUT, -place, place, state)
        for place in range(count)
        for state in (0, 1)
        if state == 1 or count == 1
    ]
    total, _, place, state = min(ends, default=(math.inf, 0, 0, 0))
    if math.isinf(total):
        # No two readings go together: only the newest can be of use, and only as a level.
        return [readings[-1]], list(readings[:-1]), None
    chosen = [place]
    changed: MeterReading | None = None
    ended = False
    dropped: list[int] = list(range(place + 1, count))
    while (back := way[place][state]) is not None:
        earlier, earlier_state = back
        new_meter = any(readings[earlier].day < day <= readings[place].day for day in told)
        if not ended and (new_meter or (state == 0)):
            changed, ended = readings[place], True
        if not ended:
            chosen.append(earlier)
            dropped.extend(range(earlier + 1, place))
        place, state = earlier, earlier_state
    if not ended:
        dropped.extend(range(place))
    return (
        [readings[each] for each in sorted(chosen)],
        [readings[each] for each in sorted(dropped)],
        changed,
    )
