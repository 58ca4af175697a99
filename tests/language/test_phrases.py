"""The short forms on the sheet, out of whole memos: what stands there and what must not."""

from __future__ import annotations

import re

import pytest
from memo_words import RECORDED_AT

from jobnotes.jobs import Job
from jobnotes.language import Reader, from_text
from jobnotes.language.lexicon import load

LOADER = (
    "Right, Quillfen Quarry, the wheel loader, W L three one. The brake warning light kept coming "
    "on. I thought it was the "
    "charging valve, but that cuts in at one hundred and forty bar, so it's not that. Chocked the "
    "wheels and put the bucket "
    "on the ground. The rear accumulator had six bar, and it should be fifty, so it has lost its "
    "gas. I fitted a new "
    "accumulator, part number H R three oh six two. The front tyres want doing before winter. The "
    "loader is back at work."
)


@pytest.fixture(scope="module")
def loader(reader: Reader) -> Job:
    (job,) = reader.read(from_text(LOADER), "memo", RECORDED_AT).jobs
    return job


def phrases(job: Job) -> list[str]:
    said = [job.complaint, job.cause, *job.ruled_out, *job.work, *job.follow_up, *job.safety]
    return [s for s in [*said, *(k.what for k in job.checks)] if s]


FIELDS = [
    ("complaint", "warning light"),
    ("cause", "gas"),
    ("ruled_out", "charging valve"),
    ("work", "accumulator"),
    ("follow_up", "tyres"),
    ("safety", "wheels"),
]


@pytest.mark.parametrize(("field", "words"), FIELDS)
def test_each_field_says_its_own(loader: Job, field: str, words: str) -> None:
    value = getattr(loader, field)
    assert words in (value if isinstance(value, str) else "; ".join(value))


@pytest.mark.parametrize(
    ("field", "words"),
    [("cause", "charging valve"), ("work", "tyres"), ("complaint", "Quillfen"), ("ruled_out", "accumulator")],
)
def test_a_suspicion_is_no_cause_and_advice_no_work(loader: Job, field: str, words: str) -> None:
    value = getattr(loader, field) or ""
    assert words not in (value if isinstance(value, str) else "; ".join(value))


def test_phrases_are_short_and_clean(loader: Job) -> None:
    for phrase in phrases(loader):
        assert phrase == phrase.strip(" ,.;:-")
        assert len(phrase.split()) <= 16
        assert "  " not in phrase
        assert not re.search(r"\s[,.;]|\[[A-Z]+\]|\b(er|um)\b", phrase)


def test_part_numbers_stay_out_of_what_was_done(loader: Job) -> None:
    assert not any(re.search(r"HR|3062|part number", phrase) for phrase in loader.work)


def test_no_phrase_is_given_twice(loader: Job) -> None:
    for items in (loader.ruled_out, loader.work, loader.follow_up, loader.safety):
        assert len(items) == len({i.lower() for i in items})


def test_nothing_said_nothing_written(reader: Reader) -> None:
    read = reader.read(from_text("Nice weather. I had my dinner at the quarry gate."), "memo", RECORDED_AT)
    for job in read.jobs:
        assert (job.cause, job.ruled_out, job.readings, job.parts, job.fault_codes) == (None, [], [], [], [])


def test_word_lists_are_lower_case_and_once_each() -> None:
    for name in ("phrases", "machines", "parts", "cues"):
        for section, entries in load(name).items():
            for key, words in entries.items() if isinstance(entries, dict) else ():
                if isinstance(words, list):
                    assert all(w == w.lower().strip() for w in words), (name, section, key)
