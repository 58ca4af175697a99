"""Times of day, durations and distances, as people say them.

Clock times, an example a line (12-hour ones stay open between morning and afternoon until the day's order
decides):

    ten to eight, quarter past ten, half past nine, five and twenty to four
    half eight                      08:30 (British)
    nine o'clock, eight thirty a.m., noon, midnight
    thirteen forty, oh eight fifteen, fourteen hundred hours
    10:15, 10 past 1, 1430 hours

Durations:

    forty minutes, an hour and a half, two and a quarter hours, an hour and ten, two hours ten,
    three quarters of an hour, half an hour, a couple of hours, 1.5 hours
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypeVar

from jobnotes.language.numbers import Number, NumberReader
from jobnotes.language.quantities import unit_at

HOURS = {"hour", "hours", "hr", "hrs"}
MINUTES = {"minute", "minutes", "min", "mins"}


@dataclass(frozen=True)
class Clock:
    """Tokens `first` to `last` are a time of day. `fixed`: hour is on the 24-hour clock; else it is 1 to 12,
    open."""

    first: int
    last: int
    hour: int
    minute: int
    fixed: bool

    def options(self) -> list[int]:
        """The minutes after midnight that it can mean."""
        if self.fixed:
            return [self.hour * 60 + self.minute]
        return [self.hour % 12 * 60 + self.minute, (self.hour % 12 + 12) * 60 + self.minute]


@dataclass(frozen=True)
class Duration:
    """Tokens `first` to `last` are a duration of `minutes`."""

    first: int
    last: int
    minutes: float


Spoken = TypeVar("Spoken", Clock, Duration)


def counts_on(tokens: Sequence[str], place: int) -> bool:
    """Whether a unit, or a word such as "hundred", at `place` makes the number before it something else than
    an hour."""
    return place < len(tokens) and (tokens[place] in NOT_CLOCK or unit_at(tokens, place) is not None)


class ClockReader:
    """Finds clear clock times and durations in lower-case tokens."""

    def __init__(self) -> None:
        self.numbers = NumberReader()

    # -- clock -----------------------------------------------------------------------------------------------

    def clocks(self, tokens: Sequence[str]) -> list[Clock]:
        """All times of day that cannot be anything else."""
        return self._all(tokens, self.clock_at)

    def _all(
        self, tokens: Sequence[str], read: Callable[[Sequence[str], int], Spoken | None]
    ) -> list[Spoken]:
        found: list[Spoken] = []
        place = 0
        while place < len(tokens):
            item = read(tokens, place)
            if item is None:
                place += 1
            else:
                found.append(item)
                place = item.last + 1
        return found

    def clock_at(self, tokens: Sequence[str], place: int) -> Clock | None:
        """The clear clock time that begins at `place`, or None."""
        word = tokens[place]
        if ":" in word and word[0].isdigit():
            hour, minute = word.split(":")
            if int(hour) < 24 and int(minute) < 60:
                return self._half_day(
                    tokens, Clock(place, place, int(hour), int(minute), int(hour) > 12 or hour[0] == "0")
                )
            return None  # 50:50 is a mixture
        if word in ("noon", "midday"):
            return Clock(place, place, 12, 0, True)
        if word == "midnight":
            return Clock(place, place, 0, 0, True)
        return self._past(tokens, place) or self._half(tokens, place) or self._oclock(tokens, place)

    def _hour(self, tokens: Sequence[str], place: int) -> tuple[int, int] | None:
        "(hour 1 to 12, last place)."
        if place >= len(tokens):
            return None
        if tokens[place] in ("twelve", "noon", "midday", "midnight"):
            return 12, place
        number = self.numbers.read(tokens, place)
        if number is None or (number.last != place and "-" not in tokens[place : number.last + 1]):
            number = self._single(tokens, place)
        if number is None or number.value != int(number.value) or not 1 <= number.value <= 12:
            return None
        return int(number.value), number.last

    def _single(self, tokens: Sequence[str], place: int) -> Number | None:
        return self.numbers.read(tokens[: place + 1], place)

    def _past(self, tokens: Sequence[str], place: int) -> Clock | None:
        "ten past eight, quarter to four, half past one, five and twenty to nine, twenty-five to two."
        word = tokens[place]
        step = place
        if word == "a" and tokens[place + 1 : place + 2] == ["quarter"]:
            step = place + 1
        if tokens[step] in ("quarter", "half"):
            minutes = 15 if tokens[step] == "quarter" else 30
        elif tokens[step : step + 3] in (["five", "and", "twenty"], ["five", "-", "and"]):
            minutes = 25
            step += 2
            if tokens[step] == "and":
                step += 2
        else:
            number = self.numbers.read(tokens, step)
            if number is None or number.value != int(number.value) or not 1 <= number.value <= 29:
                return None
            minutes = int(number.value)
            step = number.last
        step += 1
        if tokens[step : step + 1] in (["minutes"], ["mins"], ["minute"]):
            step += 1
        if tokens[step : step + 1] == [","] and tokens[step + 1 : step + 2] == ["past"]:
            step += 1  # a recogniser's "25, past 4"
        if step >= len(tokens) or tokens[step] not in ("past", "to", "after", "before"):
            return None
        way = tokens[step]
        if way in ("after", "before") and minutes not in (5, 10, 15, 20, 25, 30):
            return None
        hour = self._hour(tokens, step + 1)
        if hour is None:
            return None
        if way in ("to", "before"):
            if minutes == 30:
                return None
            # "ten to twelve" is the clock; "ten to twelve bar" is a range
            if counts_on(tokens, hour[1] + 1):
                return None
            if way == "to" and minutes not in (15,) and minutes % 5 and "minutes" not in tokens[place:step]:
                return None
            value, minute = (hour[0] - 1) or 12, 60 - minutes
        else:
            value, minute = hour[0], minutes
        fixed = False
        if tokens[hour[1]] in ("noon", "midday"):
            value, fixed = (11 if way in ("to", "before") else 12), True
        elif tokens[hour[1]] == "midnight":
            value, fixed = (23 if way in ("to", "before") else 0), True
        return self._half_day(tokens, Clock(place, hour[1], value, minute, fixed))

    def _half(self, tokens: Sequence[str], place: int) -> Clock | None:
        "half eight is 08:30."
        if tokens[place] != "half":
            return None
        hour = self._hour(tokens, place + 1)
        if hour is None or counts_on(tokens, hour[1] + 1):
            return None
        return self._half_day(tokens, Clock(place, hour[1], hour[0], 30, False))

    def _oclock(self, tokens: Sequence[str], place: int) -> Clock | None:
        "nine o'clock, 8 a m, eight thirty am, oh eight fifteen, fourteen hundred hours, 1430 hours."
        clock = self.bare_at(tokens, place)
        if clock is None:
            return None
        after = tokens[clock.last + 1 : clock.last + 3]
        if after == ["o", "clock"]:
            return self._half_day(tokens, Clock(place, clock.last + 2, clock.hour, clock.minute, clock.fixed))
        if after[:1] == ["o'clock"]:
            return self._half_day(tokens, Clock(place, clock.last + 1, clock.hour, clock.minute, clock.fixed))
        placed = self._half_day(tokens, clock)
        if placed.last != clock.last:
            return placed
        if after[:1] == ["hours"] and clock.last > place and tokens[place] in ("oh", "zero", "nought"):
            return Clock(place, clock.last + 1, clock.hour, clock.minute, True)
        if tokens[place] in ("oh", "zero") and clock.last > place + 1:
            return clock
        return None

    def bare_at(self, tokens: Sequence[str], place: int) -> Clock | None:
        """A number that can be a time of day where the talk is of one: eight, eight fifteen, thirteen forty,
        1430, 7.30."""
        word = tokens[place]
        if ":" in word and word[0].isdigit():
            return self.clock_at(tokens, place)
        if word in ("oh", "zero", "nought", "o"):
            number = self.numbers.read(tokens, place)
            rest = self.numbers.read(tokens, place + 1) if place + 1 < len(tokens) else None
            if rest is not None:
                if rest.value < 10 and rest.last + 1 < len(tokens):
                    single = self._single(tokens, place + 1)
                    past = self.numbers.read(tokens, place + 2) if single else None
                    if single and tokens[place + 2] == "hundred":
                        last = place + 2 + (tokens[place + 3 : place + 4] == ["hours"])
                        return Clock(place, last, int(single.value), 0, True)
                    if single and past and past.value < 60 and past.value == int(past.value):
                        last = past.last + (tokens[past.last + 1 : past.last + 2] == ["hours"])
                        return Clock(place, last, int(single.value), int(past.value), True)
                value = int(rest.value)
                if 100 <= value < 1000 and value % 100 < 60:
                    last = rest.last + (tokens[rest.last + 1 : rest.last + 2] == ["hours"])
                    return Clock(place, last, value // 100, value % 100, True)
            if (
                number is not None
                and number.digits
                and len(number.digits) == 4
                and int(number.digits[2:]) < 60
            ):
                return Clock(place, number.last, int(number.digits[:2]), int(number.digits[2:]), True)
            return None
        number = self.numbers.read(tokens, place)
        if number is None or number.value < 0:
            return None
        if "." in word and word[0].isdigit():
            hours, minutes = word.split(".")
            if len(minutes) == 2 and int(hours) < 24 and int(minutes) < 60:
                return Clock(place, place, int(hours), int(minutes), int(hours) > 12)
            return None
        if number.value != int(number.value):
            return None
        value = int(number.value)
        if number.tenths is not None and number.digits is None and value >= 100:
            return None  # "twelve six" is no time
        if value <= 12 and value >= 1:
            return Clock(place, number.last, value, 0, False)
        if value <= 24 and number.last == place:
            return Clock(place, number.last, value % 24, 0, True)
        if 100 <= value <= 2359 and value % 100 < 60:
            hour, minute = divmod(value, 100)
            last = number.last
            if tokens[last + 1 : last + 2] == ["hours"]:
                return Clock(place, last + 1, hour, minute, True)
            return Clock(place, last, hour, minute, hour > 12)
        return None

    def _half_day(self, tokens: Sequence[str], clock: Clock) -> Clock:
        "Takes in a.m., p.m., in the morning, in the afternoon, at night."
        after = list(tokens[clock.last + 1 : clock.last + 7])
        span = 0
        noon = None
        flat = [w for w in after if w != "."]
        if flat[:1] in (["am"], ["pm"]) or flat[:2] in (["a", "m"], ["p", "m"]):
            noon = flat[0][0] == "p"
            wanted = 1 if flat[0] in ("am", "pm") else 2
            seen = 0
            for w in after:
                span += 1
                seen += w != "."
                if seen == wanted:
                    break
        elif after[:3] == ["in", "the", "morning"]:
            noon, span = False, 3
        elif after[:3] in (["in", "the", "afternoon"], ["in", "the", "evening"]):
            noon, span = True, 3
        elif after[:2] == ["at", "night"]:
            noon, span = clock.hour % 12 >= 6, 2
        elif after[:2] == ["this", "morning"]:
            noon, span = False, 2
        elif after[:2] in (["this", "afternoon"], ["this", "evening"]):
            noon, span = True, 2
        if noon is None or clock.fixed:
            return clock
        return Clock(
            clock.first, clock.last + span, clock.hour % 12 + (12 if noon else 0), clock.minute, True
        )

    # -- durations -------------------------------------------------------------------------------------------

    def durations(self, tokens: Sequence[str]) -> list[Duration]:
        """All durations in hours and minutes. None begins inside a time of day ("quarter to eleven two hours
        labour")."""
        inside = {place for clock in self.clocks(tokens) for place in range(clock.first, clock.last + 1)}
        return self._all(tokens, lambda t, place: None if place in inside else self.duration_at(t, place))

    def _bare_hour(self, tokens: Sequence[str], place: int) -> bool:
        """Whether "hour" opens a duration: "Hour forty." after a stop or comma, with minutes after it."""
        if place and tokens[place - 1] not in (".", ",", ";", "labour", "time", "an"):
            return False
        more = self.numbers.read(tokens, place + 1) if place + 1 < len(tokens) else None
        return more is not None and (5 <= more.value < 60 or 0 < more.value < 1)

    def bare_duration_at(self, tokens: Sequence[str], place: int) -> Duration | None:
        """A number that is a time worked where the talk is of one, no unit said: "one thirty-five" and
        "two forty" are hours and minutes, "two and a half" hours."""
        read = self.numbers.read(tokens, place)
        if read is None or read.value <= 0:
            return None
        if read.value != int(read.value):
            return Duration(place, read.last, read.value * 60) if read.value <= 12 else None
        hours, minutes = divmod(int(read.value), 100)
        if read.last > place and 1 <= hours <= 12 and 5 <= minutes < 60:
            return Duration(place, read.last, hours * 60 + minutes)
        return None

    def duration_at(self, tokens: Sequence[str], place: int) -> Duration | None:
        """The duration that begins at `place`, or None."""
        read = self.numbers.read(tokens, place)
        if read is not None and read.value < 0:
            return None
        word = tokens[place]
        after = tokens[read.last + 1 : read.last + 5] if read is not None else []
        if read is not None and after[:3] == ["of", "an", "hour"]:
            return Duration(place, read.last + 3, read.value * 60)
        if read is not None and after[:2] == ["an", "hour"] and read.value < 1:
            return Duration(place, read.last + 2, read.value * 60)
        if word == "half" and tokens[place + 1 : place + 3] == ["an", "hour"]:
            return Duration(place, place + 2, 30)
        if read is not None and after[:1] == ["of"] and after[1:2] == ["hours"]:
            return Duration(place, read.last + 2, read.value * 60)  # a couple of hours
        if read is not None and after[:1] and after[0] in MINUTES:
            return Duration(place, read.last + 1, read.value)
        if read is not None and after[:2] == ["-", "minute"]:
            return Duration(place, read.last + 2, read.value)
        hours: float | None = None
        last = place
        if word in ("an", "one", "a") and tokens[place + 1 : place + 2] == ["hour"]:
            hours, last = 1.0, place + 1
        elif word == "hour" and (tokens[place + 1 : place + 2] == ["and"] or self._bare_hour(tokens, place)):
            hours, last = 1.0, place
        elif read is not None and after[:1] and after[0] in HOURS:
            hours, last = read.value, read.last + 1
        if hours is None:
            return None
        minutes = hours * 60
        step = last + 1
        if tokens[step : step + 1] == ["'"]:
            step += 1
        joined = tokens[step : step + 1] == ["and"]
        more = self.numbers.read(tokens, step + joined) if step + joined < len(tokens) else None
        if more is not None and more.value > 0 and hours == int(hours):
            unit = tokens[more.last + 1] if more.last + 1 < len(tokens) else ""
            if 0 < more.value < 1 and (joined or word == "hour"):
                return Duration(place, more.last, minutes + more.value * 60)
            if unit in MINUTES and more.value < 60:
                return Duration(place, more.last + 1, minutes + more.value)
            # an hour and ten; two hours ten: but not "two hours, ten litres"
            if more.value == int(more.value) and 5 <= more.value < 60 and unit in AFTER_MINUTES:
                return Duration(place, more.last, minutes + more.value)
        return Duration(place, last, minutes)


NOT_CLOCK = set(
    "bar psi volts volt amps millimetres mil mm litres litre metres metre tonne tonnes ton degrees percent "
    "per inches inch thou revs rpm hours hour minutes minute miles kilos hertz hundred thousand point "
    "of".split()
)
AFTER_MINUTES = set(
    "on for labour , . ; in all at to the it that there and so with this work working each travelling travel "
    "altogether total from".split()
) | {""}
