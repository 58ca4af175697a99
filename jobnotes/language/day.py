"""The day of a job: the recording's, unless the memo tells another."""

from __future__ import annotations

import re
from datetime import datetime, timedelta

from jobnotes.jobs import Job
from jobnotes.language.context import Context
from jobnotes.language.lexicon import sayings, word_set
from jobnotes.language.numbers import ORDINALS, TENS
from jobnotes.language.segments import Segment

DAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")


def fill_date(c: Context, segment: Segment, job: Job, base: str) -> tuple[datetime, bool]:
    """Writes job.date, with evidence where a day was told. Gives the day by which the job's clock runs, and
    whether the memo told it."""
    booked = booked_day(c)
    if booked is not None:
        job.date = booked[0].date().isoformat()
        c.book.put(f"{base}/date", [booked[1]], 0.9)
        return c.recorded_at, False  # the clock runs by the recording all the same
    for mark in c.marks(segment, "value", "date"):
        if mark.confidence < 0.5:
            continue
        first, last = c.token_span(mark)
        beside = set(c.tokens[max(0, first - 4) : last + 3])
        if c.tokens[first] == "yesterday" and beside & word_set("cues", "day", "reported"):
            continue  # the day of a call, not of the work
        week = c.tokens[last + 1 : last + 3] in (["last", "week"], ["of", "last"])
        said = day_said(c.tokens[first : last + 1 + 3 * week], c.recorded_at)
        if said is None:
            said = day_said(c.tokens[max(0, first - 1) : last + 2], c.recorded_at)
        if said is not None:
            job.date = said.date().isoformat()
            c.book.put(f"{base}/date", [(first, last)], 0.5 + 0.45 * mark.confidence)
            if "last" in c.tokens[max(0, first - 1) : last + 3]:
                c.book.doubt(f"{base}/date", '"last" can mean this week\'s or the week before')
            c.day = said
            return said, True
    opening = opening_day(c, segment)
    if opening is not None:
        day, span = opening
        job.date = day.date().isoformat()
        c.book.put(f"{base}/date", [span], 0.6, True, "the day is taken from how the memo opens")
        c.day = day
        return day, True
    if c.day is not None:  # told in an earlier job: the day of all that follows
        job.date = c.day.date().isoformat()
        return c.day, True
    job.date = c.recorded_at.date().isoformat()
    return c.recorded_at, False


def last_night(c: Context, segment: Segment, job: Job, base: str, known_day: bool) -> None:
    """Writes job.date anew where the memo says "last night" and the work was over before midnight: the day
    before the recording's. Work that was over after midnight keeps the recording's day."""
    end = job.times.left or job.times.arrived
    if known_day or end is None or f"{c.recorded_at:%H:%M}" >= end:
        return
    for first, last in segment.stretches:
        begin, stop = c.found.pieces[first].first, c.found.pieces[last].last
        for place in range(begin, stop):
            if c.tokens[place : place + 2] == ["last", "night"]:
                job.date = (c.recorded_at - timedelta(days=1)).date().isoformat()
                c.book.put(f"{base}/date", [(place, place + 1)], 0.6, True, "last night, before midnight")
                return


def booked_day(c: Context) -> tuple[datetime, tuple[int, int]] | None:
    """The day that the work is to be put down to, with its tokens: "put both down as Thursday's"."""
    for place, word in enumerate(c.tokens):
        if word.removesuffix("s") in DAYS:
            word = word.removesuffix("s")  # "Thursdays", as a recogniser writes "Thursday's"
        if word not in DAYS and word not in ("yesterday", "today"):
            continue
        after = " ".join(c.tokens[place + 1 : place + 3])
        put_down = c.near(place, place - 1, sayings("cues", "day", "put_down_as"), 6, 0)
        if put_down or after in word_set("cues", "day", "of_the_day"):
            said = day_said([word], c.recorded_at)
            if said is not None:
                return said, (place, place)
    return None


def opening_day(c: Context, segment: Segment) -> tuple[datetime, tuple[int, int]] | None:
    """The day of the work where the first words tell it ("this was yesterday afternoon"), and not when
    something was reported."""
    begin = min(c.found.pieces[segment.stretches[0][0]].first, len(c.tokens) - 1)
    for place in range(begin, min(begin + 28, len(c.tokens))):
        word = c.tokens[place]
        if word != "yesterday":
            continue
        mark = next(
            (
                m
                for m in c.found.marks
                if m.group == "complaint" and c.token_span(m)[0] <= place <= c.token_span(m)[1]
            ),
            None,
        )
        near = set(c.tokens[max(0, place - 5) : place + 4])
        if mark is None and not near & word_set("cues", "day", "reported"):
            return c.recorded_at - timedelta(days=1), (place, place)
    return None


def day_said(tokens: list[str], recorded: datetime) -> datetime | None:
    """yesterday, Tuesday, the day before yesterday, last night, the twelfth of March: the latest such day not
    after the recording."""
    text = " ".join(tokens)
    if "day before yesterday" in text:
        return recorded - timedelta(days=2)
    if "yesterday" in text:
        return recorded - timedelta(days=1)
    for n, name in enumerate(DAYS):
        if name in tokens:
            back = (recorded.weekday() - n) % 7
            if "last week" in text or "week before" in text:
                back = (recorded.weekday() - n) + 7  # the week before the recording's, Monday to Sunday
            elif back == 0 and "last" in tokens:
                back = 7
            return recorded - timedelta(days=back)
    if "today" in tokens or re.search(r"\bthis (morning|afternoon|evening)\b", text):
        return recorded
    if any(w.isdigit() or w.endswith(("th", "st", "nd", "rd", "first", "second", "third")) for w in tokens):
        import dateparser  # takes long to load, and few memos need it

        words: list[str] = []
        i = 0
        while i < len(tokens):
            w = tokens[i]
            if (
                w in TENS
                and tokens[i + 1 : i + 2] == ["-"]
                and tokens[i + 2 : i + 3]
                and tokens[i + 2] in ORDINALS
            ):
                words.append(str(TENS[w] + ORDINALS[tokens[i + 2]]))
                i += 3
                continue
            if w in ORDINALS:
                w = str(ORDINALS[w])
            if w not in ("the", "of", "on"):
                words.append(w)
            i += 1
        parsed = dateparser.parse(
            " ".join(words),
            languages=["en"],
            settings={
                "RELATIVE_BASE": recorded.replace(tzinfo=None),
                "PREFER_DATES_FROM": "past",
                "DATE_ORDER": "DMY",
                "REQUIRE_PARTS": ["day"],
            },
        )
        if parsed is not None and abs((parsed - recorded.replace(tzinfo=None)).days) <= 60:
            return parsed
    return None
