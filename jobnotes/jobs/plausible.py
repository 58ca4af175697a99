"""What in a job is hardly plausible, each with its reason: values more likely misheard than true.

The limits stand in `plausible.toml`, each with its source. A doubt asks a person to look; it changes nothing.
A fault that a fitter measured is no doubt: a pressure far under its specified value is why the fitter came.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from functools import cache
from importlib.resources import files
from typing import Any

from jobnotes.jobs.model import Job, Part, Reading, Times
from jobnotes.jobs.units import convert, is_known, same_quantity


@dataclass(frozen=True)
class Doubt:
    """A value to look at: `pointer` is its JSON Pointer in the job ("/times/left"), `why` one sentence."""

    pointer: str
    why: str


def doubts(
    job: Job,
    recorded_at: datetime,
    *,
    last_hours: float | None = None,
    miles_from_depot: float | None = None,
) -> list[Doubt]:
    """All doubts about a job, in the order of its fields; none for a plausible one.

    `recorded_at` is when the recording ended, by the clock on the fitter's wall: with a zone it is that
    zone's time. `last_hours` is the hour meter's last known reading in h, `miles_from_depot` the way to the
    site in mi, one way; without them what needs them is left out. Raises nothing for any valid job.
    """
    recorded = recorded_at.replace(tzinfo=None)
    return [
        *_date(job.date, recorded),
        *_hour_meter(job.machine.hours, last_hours),
        *(
            found
            for n, reading in enumerate(job.readings)
            for found in _reading(n, reading, job.machine.type)
        ),
        *(found for n, part in enumerate(job.parts) for found in _part(n, part)),
        *_clock(job.times, job.date, recorded),
        *_durations(job.times),
        *_distance(job, miles_from_depot),
    ]


@cache
def limits() -> dict[str, Any]:
    """The limits of `plausible.toml`, whose comments give the units and sources."""
    return tomllib.loads(files("jobnotes.jobs").joinpath("plausible.toml").read_text(encoding="utf-8"))


def _date(text: str | None, recorded: datetime) -> Iterator[Doubt]:
    if text is None:
        return
    age = (recorded.date() - date.fromisoformat(text)).days
    oldest = limits()["date"]["oldest_days"]
    if age < 0:
        yield Doubt("/date", f"The date lies after the recording, which was made on {recorded.date()}.")
    elif age > oldest:
        yield Doubt("/date", f"The date lies {age} days before the recording, more than {oldest}.")


def _hour_meter(hours: float | None, last: float | None) -> Iterator[Doubt]:
    if hours is None:
        return
    limit = limits()["hours"]
    if hours < 0:
        yield Doubt("/machine/hours", "An hour meter does not go below nought.")
    elif hours > limit["most"]:
        yield Doubt(
            "/machine/hours", f"{_say(hours)} h is over {_say(limit['most'])} h, more than plant runs."
        )
    elif last is not None and hours < last:
        yield Doubt(
            "/machine/hours",
            f"{_say(hours)} h is behind the last known {_say(last)} h, unless the meter was changed.",
        )
    elif last is not None and hours - last > limit["ahead_most"]:
        yield Doubt(
            "/machine/hours",
            f"{_say(hours)} h is {_say(hours - last)} h ahead of the last known {_say(last)} h, "
            "more than a year of running day and night.",
        )


def _clock(times: Times, text: str | None, recorded: datetime) -> Iterator[Doubt]:
    """Doubts about arrived and left, by themselves, together and beside the recording."""
    arrived, left = _time(times.arrived), _time(times.left)
    if arrived is not None and arrived == left:
        yield Doubt("/times/left", f"Arrived and left are both {times.left}.")
    day = recorded.date() if text is None else date.fromisoformat(text)
    if day > recorded.date() or _possible(arrived, left, day, recorded):
        return
    limit = limits()["times"]
    if arrived is not None and left is not None and left < arrived:
        away, night = _span(arrived, left), limit["overnight_h"]
        reason = (
            f"over midnight that would be {_hours(away)}, more than {night} h"
            if away > night * 60
            else "a night's work begun that day would end after the recording"
        )
        yield Doubt("/times/left", f"Left at {times.left} is before arrived at {times.arrived}; {reason}.")
    latest = recorded + timedelta(minutes=limit["grace_min"])
    for name, clock in (("arrived", arrived), ("left", left)):
        if clock is not None and datetime.combine(day, clock) > latest:
            yield Doubt(
                f"/times/{name}",
                f"{name.capitalize()} at {clock:%H:%M} is after the recording ended, at {recorded:%H:%M}.",
            )


def _possible(arrived: time | None, left: time | None, day: date, recorded: datetime) -> bool:
    """Whether the clock times can be those of a visit that began on `day` and was over when recorded.

    A memo recorded in the small hours is dated by its recording, though the visit began the evening before;
    so for one the day before is tried too.
    """
    limit = limits()["times"]
    night = timedelta(hours=limit["overnight_h"])
    latest = recorded + timedelta(minutes=limit["grace_min"])
    over_midnight = arrived is not None and left is not None and left < arrived
    if over_midnight and arrived and left and _span(arrived, left) > limit["overnight_h"] * 60:
        return False
    days = [day]
    if day == recorded.date() and recorded.time() < time.fromisoformat(limit["night_ends"]):
        days.append(day - timedelta(days=1))
    for first in days:
        given = [datetime.combine(first, clock) for clock in (arrived, left) if clock is not None]
        if over_midnight:
            given[1] += timedelta(days=1)
        # The evening before is meant only where it is not long gone.
        since = night if over_midnight or left is None else timedelta(hours=limit["told_within_h"])
        if all(moment <= latest for moment in given) and (first == day or recorded - given[-1] <= since):
            return True
    return False


def _durations(times: Times) -> Iterator[Doubt]:
    limit = limits()["times"]
    arrived, left = _time(times.arrived), _time(times.left)
    labour, travel = times.labour_min, times.travel_min
    if labour is not None and labour > limit["labour_most_h"] * 60:
        yield Doubt("/times/labour_min", f"{_hours(labour)} of labour is more than a day has.")
    elif labour is not None and arrived is not None and left is not None and arrived != left:
        stay = _span(arrived, left)
        # Backwards times have their own doubt, and say nothing of how long the visit was.
        backwards = left < arrived and stay > limit["overnight_h"] * 60
        if not backwards and labour > stay + limit["labour_over_min"]:
            yield Doubt(
                "/times/labour_min",
                f"{_hours(labour)} of labour is longer than the {_hours(stay)} from {times.arrived} to "
                f"{times.left}, unless several worked.",
            )
    if travel is not None and travel > limit["travel_most_h"] * 60:
        yield Doubt(
            "/times/travel_min", f"{_hours(travel)} of travel is more than {limit['travel_most_h']} h."
        )


def _distance(job: Job, one_way: float | None) -> Iterator[Doubt]:
    if job.distance is None:
        return
    value, unit = job.distance.value, job.distance.unit
    if not is_known(unit) or not same_quantity(unit, "mi"):
        yield Doubt("/distance/unit", f"{unit!r} is not a unit in which a way is driven.")
        return
    miles = convert(value, unit, "mi")
    said = f"{_say(value)} {unit}"
    if miles < 0:
        yield Doubt("/distance/value", f"{said} is below nought.")
    elif one_way is not None and one_way > 0:
        limit = limits()["distance"]
        both = 2 * one_way
        if miles > both * limit["over_share"] + limit["over_mi"]:
            yield Doubt("/distance/value", f"{said} is well over the {_say(both)} mi to the site and back.")
        elif miles < both * limit["least_share"]:
            yield Doubt(
                "/distance/value",
                f"{said} is less than half of the {_say(both)} mi to the site and back, "
                "unless the way began or ended elsewhere.",
            )


def _reading(number: int, reading: Reading, machine: str | None) -> Iterator[Doubt]:
    """Doubts about one reading: its unit, its value and its specified value."""
    base = f"/readings/{number}"
    unit = reading.unit
    limit = next((one for one in limits()["reading"] if one["quantity"] == reading.quantity), None)
    measure = limit["unit"] if limit else "V"
    if is_known(unit) and not same_quantity(unit, measure):
        yield Doubt(f"{base}/unit", f"{unit} is not a unit of {reading.quantity}.")
    elif is_known(unit):
        # A specified value speaks for the values beside it, but nothing speaks for itself.
        for name, value, expected in (
            ("value", reading.value, reading.expected),
            ("expected", reading.expected, None),
        ):
            if value is None:
                continue
            why = _range(reading, value, limit) if limit else _voltage(reading, value, expected, machine)
            if why:
                yield Doubt(f"{base}/{name}", f"{_say(value)} {unit}{_at(reading)} is hardly right: {why}.")
    if reading.expected is not None and (slip := _slip(reading.value, reading.expected)):
        said, specified = f"{_say(reading.value)} {unit}", f"{_say(reading.expected)} {unit}"
        yield Doubt(f"{base}/value", f"{said} {slip[0]} the specified {specified}, as if {slip[1]}.")


def _range(reading: Reading, value: float, limit: dict[str, Any]) -> str | None:
    """Why a value lies outside what its quantity can be, or None."""
    measured = convert(value, reading.unit, limit["unit"])
    more = [each["most"] for each in limit.get("except", ()) if _names(reading.at, each["places"])]
    if not limit["least"] <= measured <= max([limit["most"], *more]):
        return str(limit["why"])
    sucks = reading.at is None or _names(reading.at, limits()["vacuum"]["places"])
    if reading.quantity == "pressure" and measured < 0 and not sucks:
        return "a pressure below nought is a vacuum"
    return None


def _voltage(reading: Reading, value: float, expected: float | None, machine: str | None) -> str | None:
    """Why a voltage is one that nothing on such a machine shows, or None.

    Up to 32 V all is plausible: millivolts across a joint, 5 V sensors, a flat battery, a charging 24 V
    system. What lies above depends on whether the machine has mains, a traction battery or a welding circuit.
    A specified value over 32 V speaks for all that lies under it.
    """
    limit = limits()["voltage"]
    volts = abs(convert(value, reading.unit, "V"))
    most = limit["high_most"] if _names(reading.at, limit["high_places"]) else limit["most"]
    if volts <= limit["system_most"]:
        return None
    if not volts <= most:
        return f"it is over {_say(most)} V"
    if machine is None or machine not in limit["machines"]:
        return None
    if most > limit["most"] or _names(reading.at, limit["places"]):
        return None
    if expected is not None:
        specified = abs(convert(expected, reading.unit, "V"))
        if specified > limit["system_most"] and volts <= specified * limit["over_expected"]:
            return None
    article = "an" if machine[0] in "aeiou" else "a"
    return f"no 12 V or 24 V system shows it, and {article} {machine} seldom has another"


def _slip(value: float, expected: float) -> tuple[str, str] | None:
    """How a value looks like its specified value misheard, and what went wrong then, or None."""
    if not value * expected > 0:
        return None
    ratio = value / expected
    limit = limits()["slip"]
    for factor in limit["factors"]:
        if abs(ratio / factor - 1) <= limit["within"]:
            return f"is about {factor} times", "a point was lost or a nought added"
        if abs(ratio * factor - 1) <= limit["within"]:
            return f"is about 1/{factor} of", "a point was added or a nought lost"
    return ("has the digits of", "two of them changed places") if _swapped(value, expected) else None


def _swapped(value: float, expected: float) -> bool:
    """Whether two neighbouring digits change places between the two: 24.1 and 21.4, 165 and 156."""
    one, other = f"{value:.10g}", f"{expected:.10g}"
    if len(one) != len(other) or one.find(".") != other.find("."):
        return False
    one, other = one.replace(".", ""), other.replace(".", "")
    apart = [n for n in range(len(one)) if one[n] != other[n]]
    if len(apart) != 2 or apart[1] != apart[0] + 1:
        return False
    first, second = apart
    return one[first] == other[second] and one[second] == other[first]


def _part(number: int, part: Part) -> Iterator[Doubt]:
    most = limits()["part"][part.unit]
    if part.quantity > most:
        unit = "" if part.unit == "each" else f" {part.unit}"
        yield Doubt(
            f"/parts/{number}/quantity", f"{_say(part.quantity)}{unit} is more than {most}{unit} of one part."
        )


def _names(place: str | None, words: list[str]) -> bool:
    """Whether a word of where a reading was taken is, or begins with, one of `words`."""
    return place is not None and any(
        re.search(rf"\b{re.escape(word)}", place, re.IGNORECASE) for word in words
    )


def _at(reading: Reading) -> str:
    return f" at {reading.at}" if reading.at else ""


def _time(clock: str | None) -> time | None:
    return None if clock is None else time.fromisoformat(clock)


def _span(arrived: time, left: time) -> int:
    """Minutes from arrived to left, over midnight where left is the earlier on the clock."""
    return ((left.hour - arrived.hour) * 60 + left.minute - arrived.minute) % (24 * 60)


def _hours(minutes: int) -> str:
    """A duration as it is written on a sheet: 3 h 20 min."""
    hours, rest = divmod(minutes, 60)
    return " ".join(part for part in (f"{hours} h" if hours else "", f"{rest} min" if rest else "") if part)


def _say(number: float) -> str:
    """A number as it is written on a sheet: 12,450 or 12.6."""
    return f"{number:,.10g}"
