"""Times of day and durations: what is one, and what only sounds like one."""

from __future__ import annotations

import pytest
from memo_words import words
from num2words import num2words

from jobnotes.language.clock import Clock, ClockReader, Duration

READER = ClockReader()


def clocks(text: str) -> list[Clock]:
    return READER.clocks(words(text).tokens)


def durations(text: str) -> list[Duration]:
    return READER.durations(words(text).tokens)


def face(clock: Clock) -> str:
    return f"{clock.hour:02d}:{clock.minute:02d}"


OPEN = [  # 12-hour times: morning or afternoon is settled later, by the day's order
    ("ten to eight", "07:50"),
    ("quarter past ten", "10:15"),
    ("a quarter past ten", "10:15"),
    ("half past nine", "09:30"),
    ("five and twenty to four", "03:35"),
    ("five-and-twenty past three", "03:25"),
    ("twenty-five to two", "01:35"),
    ("ten to one", "12:50"),
    ("five minutes to nine", "08:55"),
    ("seven minutes past ten", "10:07"),
    ("nineteen past eight", "08:19"),
    ("nine o'clock", "09:00"),
    ("nine o’clock", "09:00"),
    ("eight o clock", "08:00"),
    # as a recogniser writes them
    ("20 to 4", "03:40"),
    ("10 past 1", "01:10"),
    ("quarter to 12", "11:45"),
    ("9 o'clock", "09:00"),
    ("10:15", "10:15"),
    ("8:05", "08:05"),
]


@pytest.mark.parametrize(("said", "time"), OPEN)
def test_twelve_hour_times(said: str, time: str) -> None:
    (found,) = clocks(said)
    assert face(found) == time
    assert not found.fixed
    early, late = sorted(found.options())
    assert late - early == 12 * 60


FIXED = [
    ("eight thirty a.m.", "08:30"),
    ("eight thirty pm", "20:30"),
    ("2 p.m.", "14:00"),
    ("8 a m", "08:00"),
    ("8.30am", "08:30"),
    ("10:15 pm", "22:15"),
    ("08:05", "08:05"),
    ("17:40", "17:40"),
    ("noon", "12:00"),
    ("midday", "12:00"),
    ("midnight", "00:00"),
    ("ten to midnight", "23:50"),
    ("half past midnight", "00:30"),
    ("quarter past noon", "12:15"),
    ("ten in the morning", "10:00"),
    ("half three in the afternoon", "15:30"),
    ("eleven at night", "23:00"),
    ("oh eight fifteen", "08:15"),
    ("zero eight thirty", "08:30"),
    ("oh eight hundred hours", "08:00"),
]


@pytest.mark.parametrize(("said", "time"), FIXED)
def test_times_that_are_settled(said: str, time: str) -> None:
    (found,) = clocks(said)
    assert face(found) == time
    assert found.fixed
    assert len(found.options()) == 1


NO_CLOCK = [
    "ten to twelve bar",
    "ten to twelve volts",
    "ten to twelve degrees",
    "five to six hours",
    "five to eight weeks",
    "five to ten kilos",
    "ten to twelve thou",
    "twenty to thirty",
    "eighteen to twenty",
    "nineteen to eight",  # a range or a ratio, no time
    "one to one",
    "two to three litres",
    "from two to four",
    "half six bar",
    "half eight miles",
    "half way",
    "half the job",
    "half full",
    "quarter to half full",
    "twenty past",
    "half past",
    "close to two",
    "went to four sites",
    "just after nine",  # bare: only where the talk is of a time
    "dinner time",
    "thirteen forty",
    "twelve six",
    "25:10",
    "50:50",
    "10:75",
    "99:99",
    "2:1 mix",
    "7.30",
    "two hundred and fifty",
]


@pytest.mark.parametrize("said", NO_CLOCK)
def test_no_time_of_day(said: str) -> None:
    assert clocks(said) == []


BARE = [  # what can be a time where the words before it say so: "left at thirteen forty"
    ("nine", "09:00", False),
    ("eight fifteen", "08:15", False),
    ("thirteen forty", "13:40", True),
    ("1430 hours", "14:30", True),
    ("fourteen hundred hours", "14:00", True),
    ("7.30", "07:30", False),
    ("13.45", "13:45", True),
    ("oh eight fifteen", "08:15", True),
]


@pytest.mark.parametrize(("said", "time", "fixed"), BARE)
def test_bare_numbers_as_times(said: str, time: str, fixed: bool) -> None:
    found = READER.bare_at(words(said).tokens, 0)
    assert found is not None
    assert (face(found), found.fixed) == (time, fixed)


@pytest.mark.parametrize(
    "said", ["twelve six", "12.6", "2450", "seventy", "minus four", "half", "50:50", "nine point five"]
)
def test_bare_numbers_that_are_no_time(said: str) -> None:
    assert READER.bare_at(words(said).tokens, 0) is None


LASTS = [
    ("forty minutes", 40),
    ("40 minutes", 40),
    ("forty-five mins", 45),
    ("an hour", 60),
    ("one hour", 60),
    ("an hour and a half", 90),
    ("hour and a half", 90),
    ("one and a half hours", 90),
    ("two and a quarter hours", 135),
    ("two-and-a-half hours", 150),
    ("an hour and ten", 70),
    ("two hours ten", 130),
    ("two hours and ten minutes", 130),
    ("one hour twenty labour", 80),
    ("three quarters of an hour", 45),
    ("half an hour", 30),
    ("a quarter of an hour", 15),
    ("a couple of hours", 120),
    ("two hours' labour", 120),
    ("two hours, ten litres", 120),
    ("two hours ten litres", 120),
    ("two hours five bar", 120),
    ("an hour and three bolts", 60),
    ("1.5 hours", 90),
    ("1 1/2 hours", 90),
    ("2½ hours", 150),
    ("1 hour 20", 80),
    ("20-minute test", 20),
    ("left at quarter to eleven two and a half hours labour", 150),
]


@pytest.mark.parametrize(("said", "minutes"), LASTS)
def test_durations(said: str, minutes: float) -> None:
    (found,) = durations(said)
    assert found.minutes == minutes


NO_DURATION = [
    "wait a minute",
    "this minute",
    "hours and hours",
    "an hourly rate",
    "a few hours",
    "three quarters of an inch",
    "three and a half",
    "half the time",
    "ninety seconds",
    "two weeks",
    "250-hour service",
    "ten past eight",
]


@pytest.mark.parametrize("said", NO_DURATION)
def test_no_duration(said: str) -> None:
    assert durations(said) == []


@pytest.mark.parametrize(
    "said", ["two hundred and fifty hour service", "six thousand two hundred hours on the clock", "500 hours"]
)
def test_hours_of_a_meter_or_a_service_are_longer_than_a_day(said: str) -> None:
    """So long a time is nobody's labour: what fills the labour leaves out a day and more."""
    assert all(found.minutes >= 24 * 60 for found in durations(said))


@pytest.mark.parametrize("said", ["minus ten minutes", "minus two hours labour", "an hour minus ten minutes"])
def test_no_duration_is_less_than_nothing(said: str) -> None:
    assert all(found.minutes > 0 for found in durations(said))


# -- no unit said ---

BARE_LABOUR = [  # where the talk is of labour
    ("one thirty-five", 95),
    ("two forty", 160),
    ("two oh five", 125),
    ("one fifty-nine", 119),
    ("twelve fifty-nine", 12 * 60 + 59),
    ("two and a half", 150),
    ("one and a quarter", 75),
    ("1.5", 90),
]


@pytest.mark.parametrize(("said", "minutes"), BARE_LABOUR)
def test_bare_hours_and_minutes(said: str, minutes: float) -> None:
    found = READER.bare_duration_at(words(said).tokens, 0)
    assert found == Duration(0, len(words(said).tokens) - 1, minutes)


NO_BARE = [
    "two",
    "forty",
    "twenty-five",
    "half",
    "an hour",
    "two oh three",  # nobody books three minutes
    "one sixty",
    "thirteen forty",
    "thirteen and a half",
    "three hundred",
    "ten four one one",
    "135",  # one figure as written: a count or a number as well
    "minus two and a half",
    "nought",
]


@pytest.mark.parametrize("said", NO_BARE)
def test_no_bare_duration(said: str) -> None:
    assert READER.bare_duration_at(words(said).tokens, 0) is None


BARE_HOUR = [
    ("Hour forty.", 100),
    ("Labour, hour forty.", 100),
    ("Labour hour forty.", 100),
    ("Time hour ten.", 70),
    ("Fitted it; hour five.", 65),
    ("All done. Hour fifty-nine.", 119),
    ("Hour a half.", 90),
    ("Hour a quarter.", 75),
    ("Hour and forty.", 100),
    ("An hour forty.", 100),
]


@pytest.mark.parametrize(("said", "minutes"), BARE_HOUR)
def test_an_hour_without_its_article(said: str, minutes: float) -> None:
    assert [found.minutes for found in durations(said)] == [minutes]


@pytest.mark.parametrize(
    "said",
    [
        "Hour.",
        "Hour four.",
        "Hour sixty.",
        "Hour, forty.",
        "the hour forty came",
        "At hour forty it leaked.",
        "the five hundred hour one",
        "happy hour forty",
    ],
)
def test_no_hour_without_its_minutes(said: str) -> None:
    assert not [found for found in durations(said) if found.minutes < 24 * 60]


# -- from outside ---


def test_half_eight_is_half_past_eight() -> None:
    """Common practice in British speech (German "halb acht" is an hour earlier); no standard says so."""
    for hour in range(1, 13):
        for name in (num2words(hour, lang="en_GB"), str(hour)):
            (found,) = clocks(f"half {name}")
            assert (found.hour, found.minute) == (hour, 30)


def test_num2words_clock_forms() -> None:
    """Every minute of the clock face in its three common sayings, the words by num2words."""
    for hour in range(1, 13):
        name = num2words(hour, lang="en_GB")
        after = num2words(hour % 12 + 1, lang="en_GB")
        for minute in range(1, 60):
            figures = num2words(minute, lang="en_GB")
            if minute < 30:
                (past,) = clocks(f"{figures} minutes past {name}")
                (to,) = clocks(f"{figures} minutes to {after}")
                assert (past.hour, past.minute) == (hour, minute)
                assert (to.hour, to.minute) == (hour, 60 - minute)
            said = f"{name} {'oh ' if minute < 10 else ''}{figures} a m"
            (plain,) = clocks(said)
            assert (plain.hour, plain.minute, plain.fixed) == (hour % 12, minute, True), said


def test_num2words_durations() -> None:
    for minutes in range(1, 240):
        hours, rest = divmod(minutes, 60)
        parts = [f"{num2words(hours, lang='en_GB')} hour{'s' * (hours > 1)}"] if hours else []
        parts += [f"{num2words(rest, lang='en_GB')} minutes"] if rest else []
        (found,) = durations(" and ".join(parts))
        assert found.minutes == minutes
