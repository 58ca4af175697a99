"""What the story's words settle: a suspicion that a good test follows, a figure that is as it should be,
hours that are no reading of the meter."""

from __future__ import annotations

import pytest
from hand_marked import context, mark, whole

from jobnotes.jobs import Job
from jobnotes.language import Reader
from jobnotes.language.identity import fill_hours
from jobnotes.language.readings import fill_readings
from jobnotes.language.story import NOT_IT, rule_out_suspicions

SUSPECTED = "The boom would not lift. I thought it was the relief valve."
TESTED = f"{SUSPECTED} I tested it and it was fine. The spool was stuck."


def ruled_out(reader: Reader, text: str, tests: list[tuple[str, str, float]], job: Job | None = None) -> Job:
    """The job after the rule, with checks marked as (words, verdict, confidence)."""
    c = context(reader, text)
    for words, verdict, confidence in tests:
        mark(c, words, "check", verdict, confidence)
    job = job or Job()
    rule_out_suspicions(c, whole(c), job, "/jobs/0")
    assert len([p for p in c.book.entries if "/ruled_out/" in p]) == len(job.ruled_out)
    return job


def test_a_suspicion_that_a_good_test_follows_is_ruled_out(reader: Reader) -> None:
    assert ruled_out(reader, TESTED, [("i tested it and it was fine", "ok", 0.9)]).ruled_out == [
        "relief valve"
    ]


NOT_OUT: list[tuple[str, list[tuple[str, str, float]]]] = [
    (TESTED, []),
    (TESTED, [("i tested it and it was fine", "not_ok", 0.9)]),
    (TESTED, [("i tested it and it was fine", "ok", 0.5)]),
    (
        f"{SUSPECTED} {'It was a long day and the rain came down hard. ' * 3}I tested it and it was fine.",
        [("i tested it and it was fine", "ok", 0.9)],
    ),
    ("The boom would not lift. I tested it and it was fine.", [("i tested it and it was fine", "ok", 0.9)]),
]


@pytest.mark.parametrize(("text", "tests"), NOT_OUT)
def test_without_a_good_test_nothing_is_ruled_out(
    reader: Reader, text: str, tests: list[tuple[str, str, float]]
) -> None:
    assert ruled_out(reader, text, tests).ruled_out == []


def test_the_cause_is_not_ruled_out(reader: Reader) -> None:
    good = [("i tested it and it was fine", "ok", 0.9)]
    assert ruled_out(reader, TESTED, good, Job(cause="relief valve stuck")).ruled_out == []


def test_what_is_ruled_out_already_is_not_told_twice(reader: Reader) -> None:
    c = context(reader, TESTED)
    mark(c, "i tested it and it was fine", "check", "ok")
    job = Job(ruled_out=["relief valve"])
    rule_out_suspicions(c, whole(c), job, "/jobs/0")
    assert job.ruled_out == ["relief valve"]


def test_a_suspicion_blamed_after_its_test_is_not_ruled_out(reader: Reader) -> None:
    c = context(reader, f"{SUSPECTED} I tested it and it was fine. Then the relief valve stuck.")
    mark(c, "i tested it and it was fine", "check", "ok")
    job = Job()
    begin = c.piece_of(len(c.tokens) - 1) - 4
    words = " ".join(p.text for p in c.found.pieces[begin : begin + 4])
    assert words == "the relief valve stuck"
    c.found.marks.append(type(c.found.marks[0])(begin, begin + 3, "cause", "cause", 0.9))
    rule_out_suspicions(c, whole(c), job, "/jobs/0")
    assert job.ruled_out == []


# -- as it should be ---

EXPECTED = [
    ("Main relief was two hundred and forty bar, which is exactly what the book wants.", 240),
    ("Main relief was two hundred and forty bar, just what it should be.", 240),
    ("Main relief was two hundred and forty bar, same as the book.", 240),
    ("Main relief was two hundred and forty bar, which is a lot.", None),
    ("Main relief was two hundred and forty bar. The boom is what it should be.", None),
]


@pytest.mark.parametrize(("text", "expected"), EXPECTED)
def test_a_figure_said_to_be_the_book_s_is_what_is_expected(
    reader: Reader, text: str, expected: float | None
) -> None:
    c = context(reader, text)
    mark(c, "two hundred and forty bar", "value", "found")
    job = Job()
    fill_readings(c, whole(c), job, "/jobs/0")
    assert [(r.value, r.unit, r.expected) for r in job.readings] == [(240, "bar", expected)]


def test_a_figure_after_the_work_has_no_expected_one(reader: Reader) -> None:
    c = context(reader, EXPECTED[0][0])
    mark(c, "two hundred and forty bar", "value", "after")
    mark(c, "main relief", "work", "work")
    job = Job()
    fill_readings(c, whole(c), job, "/jobs/0")
    assert [(r.stage, r.expected) for r in job.readings] == [("after", None)]


# -- hours of no meter ---

HOURS = [
    ("It has done two thousand hours.", 2000),
    ("The next one is two thousand hours.", None),
    ("It is due in two thousand hours.", None),
    ("I do that every two thousand hours.", None),
    ("At two thousand hours it wants new oil.", None),
    ("Two thousand hours due.", None),
    ("Two thousand hours interval.", None),
    ("Two thousand hours service.", None),
    ("It stood forty hours.", None),
]


@pytest.mark.parametrize(("text", "hours"), HOURS)
def test_hours_beside_such_words_are_not_the_meter_s(reader: Reader, text: str, hours: float | None) -> None:
    c = context(reader, text)
    job = Job()
    fill_hours(c, whole(c), job, "/jobs/0")
    assert job.machine.hours == hours
    assert ("/jobs/0/machine/hours" in c.book.entries) is (hours is not None)
    assert all(e.check for e in c.book.entries.values())


# -- how a thing ruled out is worded ---


@pytest.mark.parametrize(
    ("said", "worded"),
    [
        ("not the pump", "pump"),
        ("it's not the pump", "pump"),
        ("weren't the switch", "switch"),
        ("isn't a fuse", "fuse"),
        ("pump", "pump"),
        ("notched belt", "notched belt"),
        ("knotted hose", "knotted hose"),
        ("pump, not the motor", "pump, not the motor"),
    ],
)
def test_what_was_ruled_out_is_a_thing(said: str, worded: str) -> None:
    assert NOT_IT.sub("", said) == worded
