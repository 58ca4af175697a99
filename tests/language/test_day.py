"""The day of a job: booked to another, told in the opening words, or last night. The clause reader's own
marks of a day are left out."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import pytest
from hand_marked import context, mark, whole
from memo_words import RECORDED_AT

from jobnotes.jobs import Job, Times
from jobnotes.language import Reader, from_text
from jobnotes.language.day import fill_date, last_night

TODAY, YESTERDAY = "2026-06-03", "2026-06-02"
LIFT = "The telehandler would not lift."

BOOKED = [
    ("Put it down as Tuesday's.", "2026-06-02"),
    ("Put both down as Monday please.", "2026-06-01"),
    ("That is down to Sunday.", "2026-05-31"),
    ("Put it down as yesterday.", "2026-06-02"),
    ("Book it to Thursday.", "2026-05-28"),
    ("Use Friday's date for it.", "2026-05-29"),
    ("It goes on Saturday's shift.", "2026-05-30"),
    ("Put it down as today.", "2026-06-03"),
    ("Put both down as Tuesdays, never mind the rest.", "2026-06-02"),  # as a recogniser writes Tuesday's
]


@pytest.mark.parametrize(("said", "day"), BOOKED)
def test_a_booked_day_is_the_job_s_and_not_the_clock_s(reader: Reader, said: str, day: str) -> None:
    c = context(reader, f"{LIFT} {said}")
    job = Job()
    clock_day, told = fill_date(c, whole(c), job, "/jobs/0")
    assert job.date == day
    assert (clock_day, told) == (RECORDED_AT, False)
    entry = c.book.entries["/jobs/0/date"]
    assert entry.text.lower() in said.lower()
    assert not entry.check


@pytest.mark.parametrize(
    "said",
    ["The valve will be here on Tuesday.", "He wants it by Friday.", "Put it down there, it is Monday."],
)
def test_a_day_that_is_only_named_books_nothing(reader: Reader, said: str) -> None:
    c = context(reader, f"{LIFT} {said}")
    job = Job()
    assert fill_date(c, whole(c), job, "/jobs/0") == (RECORDED_AT, False)
    assert job.date == TODAY
    assert "/jobs/0/date" not in c.book.entries


def test_a_booked_day_is_read_from_a_memo(reader: Reader) -> None:
    text = f"{LIFT} I freed the spool. Two hours labour. Put it down as Monday's."
    read = reader.read(from_text(text), "memo", RECORDED_AT)
    assert [job.date for job in read.jobs] == ["2026-06-01"]


OPENINGS = [
    f"This was yesterday afternoon. {LIFT}",
    f"Right, yesterday I was at the quarry. {LIFT}",
    f"So this is the one from yesterday. {LIFT}",
]


@pytest.mark.parametrize("text", OPENINGS)
def test_a_yesterday_in_the_opening_is_the_day_and_marked(reader: Reader, text: str) -> None:
    c = context(reader, text)
    job = Job()
    day, told = fill_date(c, whole(c), job, "/jobs/0")
    assert (job.date, f"{day:%Y-%m-%d}", told) == (YESTERDAY, YESTERDAY, True)
    assert c.day == day
    entry = c.book.entries["/jobs/0/date"]
    assert (entry.text, entry.check) == ("yesterday", True)


OTHER_YESTERDAYS = [
    f"They rang yesterday about it. {LIFT}",
    f"It was reported yesterday. {LIFT}",
    f"{LIFT} " + "I looked at the boom and the spool. " * 3 + "It was fine yesterday.",
    f"This was on the farm. {LIFT}",
]


@pytest.mark.parametrize("text", OTHER_YESTERDAYS)
def test_another_yesterday_is_not_the_day(reader: Reader, text: str) -> None:
    c = context(reader, text)
    job = Job()
    assert fill_date(c, whole(c), job, "/jobs/0") == (RECORDED_AT, False)
    assert job.date == TODAY


def test_a_yesterday_within_the_complaint_is_not_the_day(reader: Reader) -> None:
    c = context(reader, "The boom stopped lifting yesterday. I freed the spool.")
    mark(c, "stopped lifting yesterday", "complaint", "complaint")
    job = Job()
    fill_date(c, whole(c), job, "/jobs/0")
    assert job.date == TODAY


NIGHT = f"Out last night for this. {LIFT}"
EARLY = datetime(2026, 6, 3, 7, 30)
NIGHTS = [
    (NIGHT, EARLY, "23:30", False, YESTERDAY),
    (NIGHT, EARLY, "21:15", False, YESTERDAY),
    (NIGHT, EARLY, "02:10", False, TODAY),  # over after midnight
    (NIGHT, EARLY, None, False, TODAY),
    (NIGHT, EARLY, "23:30", True, TODAY),  # the memo told the day
    (f"Out at night for this. {LIFT}", EARLY, "23:30", False, TODAY),
]


@pytest.mark.parametrize(("text", "recorded_at", "left", "known", "day"), NIGHTS)
def test_last_night_before_midnight_is_the_day_before(
    reader: Reader, text: str, recorded_at: datetime, left: str | None, known: bool, day: str
) -> None:
    c = replace(context(reader, text), recorded_at=recorded_at)
    job = Job(date=TODAY, times=Times(left=left))
    last_night(c, whole(c), job, "/jobs/0", known)
    assert job.date == day
    entry = c.book.entries.get("/jobs/0/date")
    assert (entry is not None and entry.check) is (day == YESTERDAY)


def test_last_night_goes_by_the_arrival_where_no_end_was_told(reader: Reader) -> None:
    c = replace(context(reader, NIGHT), recorded_at=EARLY)
    job = Job(date=TODAY, times=Times(arrived="22:40"))
    last_night(c, whole(c), job, "/jobs/0", False)
    assert job.date == YESTERDAY


def test_last_night_is_read_from_a_memo(reader: Reader) -> None:
    text = (
        "Last night, the telehandler, T H two four eight. The boom would not lift. "
        "I got there at nine at night and left at half past eleven at night."
    )
    read = reader.read(from_text(text), "memo", EARLY)
    assert [(job.date, job.times.left) for job in read.jobs] == [(YESTERDAY, "23:30")]
