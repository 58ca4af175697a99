"""The day, arrival and leaving, labour, travel and distance of a job."""

from __future__ import annotations

from datetime import datetime

import pytest
from hand_marked import context, mark, span_of, whole
from memo_words import RECORDED_AT, words

from jobnotes.jobs import Job
from jobnotes.language import Reader, from_text
from jobnotes.language.day import day_said
from jobnotes.language.times import ELSEWHERE, by_cue, fill_labour, fill_travel, times_said, worked

DAYS = [  # recorded on Wednesday 3 June 2026
    ("yesterday afternoon", "2026-06-02"),
    ("last night", "2026-06-02"),
    ("the day before yesterday", "2026-06-01"),
    ("Monday", "2026-06-01"),
    ("Tuesday", "2026-06-02"),
    ("Wednesday", "2026-06-03"),
    ("last Wednesday", "2026-05-27"),
    ("Thursday", "2026-05-28"),
    ("Sunday morning", "2026-05-31"),
    ("today", "2026-06-03"),
    ("this morning", "2026-06-03"),
    ("this afternoon", "2026-06-03"),
    ("early this evening", "2026-06-03"),
    ("the first of June", "2026-06-01"),
    ("the twenty-eighth of May", "2026-05-28"),
    ("28th May", "2026-05-28"),
]


@pytest.mark.parametrize(("said", "day"), DAYS)
def test_days(said: str, day: str) -> None:
    found = day_said(words(said).tokens, RECORDED_AT)
    assert found is not None
    assert found.date().isoformat() == day


@pytest.mark.parametrize(
    "said",
    [
        "some day",
        "a day's work",
        "the other one",
        "daily check",
        "this one",
        "this machine",
        "this time",
        "this in the morning",
        "the first of January",
    ],
)
def test_no_day(said: str) -> None:
    """The last lies five months back: rather a slip than the day of the work."""
    assert day_said(words(said).tokens, RECORDED_AT) is None


def read(reader: Reader, text: str, recorded_at: datetime = RECORDED_AT) -> Job:
    """The one job of a telehandler memo that says `text` too."""
    memo = f"The telehandler, T H two four eight, would not lift. I fitted a new relief valve. {text}"
    (job,) = reader.read(from_text(memo), "memo", recorded_at).jobs
    return job


VISITS = [
    ("I got there at ten past eight and left at quarter to eleven.", "08:10", "10:45"),
    ("I arrived at 10 past 8 and left at 10:45.", "08:10", "10:45"),
    ("I got there at one and left at twenty-five past four.", "13:00", "16:25"),
    ("I arrived at half eleven and left at twenty to four.", "11:30", "15:40"),
    ("I arrived at thirteen forty and left at fifteen hundred hours.", "13:40", "15:00"),
    ("I got there at one, no, quarter past one, and left at three o'clock.", "13:15", "15:00"),
    ("I arrived at half past two.", "14:30", None),
    ("I left at half past three.", None, "15:30"),
]


@pytest.mark.parametrize(("text", "arrived", "left"), VISITS)
def test_arrived_and_left(reader: Reader, text: str, arrived: str | None, left: str | None) -> None:
    job = read(reader, text)
    assert (job.times.arrived, job.times.left) == (arrived, left)


def test_morning_or_afternoon_by_when_it_was_recorded(reader: Reader) -> None:
    text = "I got there at quarter past eight and left at twenty to ten."
    morning = read(reader, text, datetime(2026, 6, 3, 9, 41))
    evening = read(reader, text, datetime(2026, 6, 3, 21, 41))
    assert (morning.times.arrived, morning.times.left) == ("08:15", "09:40")
    assert (evening.times.arrived, evening.times.left) == ("20:15", "21:40")


LABOUR = [
    ("Two and a half hours' labour.", 150),
    ("2.5 hours labour.", 150),
    ("An hour and ten on the job.", 70),
    ("Forty minutes' work.", 40),
    ("Call it one hour labour, no, an hour and a half.", 90),
]


@pytest.mark.parametrize(("text", "minutes"), LABOUR)
def test_labour(reader: Reader, text: str, minutes: int) -> None:
    assert read(reader, text).times.labour_min == minutes


NO_LABOUR = [
    "It is due its two hundred and fifty hour service.",
    "It has two thousand and eighty hours on the clock.",
    "The five-hundred-hour service is next month.",
    "It stops after ten minutes.",
    "It will want another two hours next week.",
    "It has stood for three days.",
    "I left for my dinner.",
    "Ten to twelve bar on the gauge.",
]


@pytest.mark.parametrize("text", NO_LABOUR)
def test_no_labour(reader: Reader, text: str) -> None:
    assert read(reader, text).times.labour_min is None


TRAVEL = [
    ("Forty minutes' travel each way.", 80),
    ("Forty minutes each way on the road.", 80),
    ("An hour and twenty travelling in all.", 80),
]


@pytest.mark.parametrize(("text", "minutes"), TRAVEL)
def test_travel_counts_both_ways(reader: Reader, text: str, minutes: int) -> None:
    assert read(reader, text).times.travel_min == minutes


DISTANCES = [
    ("Thirty miles each way.", 60, "mi"),
    ("30 miles each way.", 60, "mi"),
    ("Fifty-six miles, there and back.", 56, "mi"),
    ("Fifty-six miles round trip.", 56, "mi"),
    ("Forty kilometres all in.", 40, "km"),
]


@pytest.mark.parametrize(("text", "value", "unit"), DISTANCES)
def test_distance_counts_both_ways(reader: Reader, text: str, value: float, unit: str) -> None:
    distance = read(reader, text).distance
    assert distance is not None
    assert (distance.value, distance.unit) == (value, unit)


@pytest.mark.parametrize(
    "text",
    [
        "It was miles better.",
        "The hose was two metres long.",
        "It is two thousand hours old.",
        "He is half way.",
    ],
)
def test_no_distance(reader: Reader, text: str) -> None:
    assert read(reader, text).distance is None


@pytest.mark.parametrize(
    "text",
    [
        "It came on at ten to twelve bar.",
        "He starts it at seven every day.",
        "I had my dinner at one.",
        "It is half way up.",
    ],
)
def test_no_arrival_and_no_leaving(reader: Reader, text: str) -> None:
    times = read(reader, text).times
    assert (times.arrived, times.left) == (None, None)


# -- which time it is, by the words beside it; no mark of the clause reader ---

BY_CUE: list[tuple[str, list[str | None]]] = [  # each time of the text in order
    # by the words after it
    ("Ten past eight I got there.", ["arrived"]),
    ("Ten past eight when I got there.", ["arrived"]),
    ("Ten past eight I started.", ["arrived"]),
    ("Ten past eight I landed, quarter to eleven I left.", ["arrived", "left"]),
    ("At twenty past four I was away.", ["left"]),
    ("Twenty past four off that.", ["left"]),
    # by the words right before it
    ("Off at twenty past four.", ["left"]),
    ("Signed out at ten past four.", ["left"]),
    ("Finish, ten past four.", ["left"]),
    ("Knocked off at quarter past five.", ["left"]),
    # a time takes the words that belong to another no more, unless it puts that one right
    ("Got there at ten past eight, ten past nine the pump failed.", ["arrived", None]),
    ("Got there at ten past eight, no, ten past nine.", ["arrived", "arrived"]),
    ("I left home at ten to seven.", [ELSEWHERE]),
    # neither
    ("Ten past eight I rang him.", [None]),
    ("Half past three and I left the van.", [None]),
    ("Quarter past two, I left the keys.", [None]),
    ("It was ten past eight and I was away to the other.", [None]),
    ("He rang at ten past eight. I got there later.", [None]),
    ("He rang at ten past eight for the third time that day I got there.", [None]),
    ("Off the lorry by the gate at twenty past four.", [None]),
]


@pytest.mark.parametrize(("text", "labels"), BY_CUE)
def test_a_time_by_the_words_beside_it(reader: Reader, text: str, labels: list[str | None]) -> None:
    c = context(reader, text)
    assert [by_cue(c, clock) for clock in c.found.clocks] == labels


TAKEN_BACK: list[tuple[str, dict[str, str], dict[str, str]]] = [  # (text, marked times, times that stand)
    (
        "I arrived at ten past one, sorry, twenty past one.",
        {"arrived": "ten past one"},
        {"arrived": "twenty past one"},
    ),
    (
        "I left at ten past four, no, make that twenty past four.",
        {"left": "ten past four"},
        {"left": "twenty past four"},
    ),
    (
        "I arrived at ten past one and at twenty past one it ran.",
        {"arrived": "ten past one"},
        {"arrived": "ten past one"},
    ),
    (
        "I arrived at ten past one, there was no rush, and left at twenty past four.",
        {"arrived": "ten past one", "left": "twenty past four"},
        {"arrived": "ten past one", "left": "twenty past four"},
    ),
    (
        "I arrived at ten past one, the relay had no volts on it, and by twenty past one it ran.",
        {"arrived": "ten past one"},
        {"arrived": "ten past one"},
    ),
]


@pytest.mark.parametrize(("text", "marked", "stand"), TAKEN_BACK)
def test_a_time_put_right_at_once(
    reader: Reader, text: str, marked: dict[str, str], stand: dict[str, str]
) -> None:
    c = context(reader, text)
    for label, said in marked.items():
        mark(c, said, "value", label)
    found = {k: " ".join(c.tokens[t.first : t.last + 1]) for k, (t, _) in times_said(c, whole(c)).items()}
    assert found == stand


# -- work that the reader takes for the road ---

WORKED = [  # (text, the duration, what is marked as labour, how sure, whether it is work)
    ("Two hours the digger, one hour the roller.", "one hour", "two hours", 0.9, True),
    ("Forty minutes labour.", "forty minutes", None, 0, True),
    ("Forty minutes' labour.", "forty minutes", None, 0, True),
    ("Forty minutes of work.", "forty minutes", None, 0, True),
    ("Forty minutes working time.", "forty minutes", None, 0, True),
    # a word of the road
    ("Two hours the digger, one hour driving.", "one hour", "two hours", 0.9, False),
    ("Two hours the digger, one hour there.", "one hour", "two hours", 0.9, False),
    ("Two hours the digger, half an hour a leg.", "half an hour", "two hours", 0.9, False),
    ("Two hours the digger, half an hour per leg.", "half an hour", "two hours", 0.9, False),
    # nothing of labour in its sentence
    ("One hour the roller.", "one hour", None, 0, False),
    ("Two hours the digger. One hour the roller.", "one hour", "two hours", 0.9, False),
    ("Two hours the digger, one hour the roller.", "one hour", "two hours", 0.6, False),
    ("Forty minutes and labour.", "forty minutes", None, 0, False),
]


@pytest.mark.parametrize(("text", "said", "labour", "sure", "work"), WORKED)
def test_what_is_work_and_what_the_road(
    reader: Reader, text: str, said: str, labour: str | None, sure: float, work: bool
) -> None:
    c = context(reader, text)
    mark(c, said, "value", "travel")
    if labour is not None:
        mark(c, labour, "value", "labour", sure)
    assert worked(c, span_of(c, said)) is work
    job = Job()
    fill_travel(c, whole(c), job, "/jobs/0")
    assert (job.times.travel_min is None) is work


LABOUR_MARKS = [  # (text, marks, minutes)
    ("Labour two forty.", [("two forty", "labour")], 160),
    ("Labour one thirty-five.", [("one thirty - five", "labour")], 95),
    ("Labour two and a half.", [("two and a half", "labour")], 150),
    ("Two hours the digger and one hour the roller.", [("two hours", "labour"), ("one hour", "travel")], 180),
    ("Two hours the digger and one hour driving.", [("two hours", "labour"), ("one hour", "travel")], 120),
    ("Labour two.", [("two", "labour")], None),
    ("The roller took two forty.", [], None),
    ("Two hundred hours labour.", [("two hundred hours", "travel")], None),  # longer than a day
]


@pytest.mark.parametrize(("text", "marks", "minutes"), LABOUR_MARKS)
def test_labour_by_its_marks(
    reader: Reader, text: str, marks: list[tuple[str, str]], minutes: int | None
) -> None:
    c = context(reader, text)
    for said, label in marks:
        mark(c, said, "value", label)
    job = Job()
    fill_labour(c, whole(c), job, "/jobs/0")
    assert job.times.labour_min == minutes
