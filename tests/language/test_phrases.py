"""The short forms on the sheet, out of whole memos: what stands there and what must not."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from hand_marked import context, mark, span_of
from memo_words import RECORDED_AT

from jobnotes.jobs import Job
from jobnotes.language import Reader, from_text
from jobnotes.language.context import Context
from jobnotes.language.findings import Findings, Piece
from jobnotes.language.labels import POINTED
from jobnotes.language.lexicon import load
from jobnotes.language.phrases import AHEAD, caused, checked, done, to_do, told_before
from jobnotes.language.suspicion import ruled_out

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


# -- words before a clause; the marks of the clause reader are given by hand ---


def pointed(c: Context, *said: str, sure: float = 0.9) -> None:
    """The reader points to the words `said`, and to none else."""
    spans = [span_of(c, words) for words in said]
    shares = [sure if any(a <= p.first and p.last <= b for a, b in spans) else 0.0 for p in c.found.pieces]
    c.found.ahead = dict.fromkeys(POINTED, shares)


GAUGE = "The gauge on the lift circuit, so, it read one forty."
TWO = "The fan belt was frayed. The gauge on the slew circuit read one forty."
FAR = (
    "He had his dinner by the gate and we talked of the weather and of the lads for quite some time in the "
    "end."
)
BEFORE = [  # (text, words pointed to, the clause, its own short form, what is told before it)
    (GAUGE, ["gauge on the lift circuit"], "it read one forty", "", "gauge on the lift circuit"),
    # a word that the clause has itself is not said twice
    (GAUGE, ["gauge on the lift circuit"], "it read one forty", "gauge pressure", "lift circuit"),
    (GAUGE, ["gauge on the lift circuit"], "it read one forty", "gauges on lifts", "circuit"),
    (GAUGE, [], "it read one forty", "", ""),
    (
        "The new H R five one six one belt, so it read low.",
        ["h r five one six one belt"],
        "it read low",
        "",
        "belt",
    ),
    (f"The fan belt. {FAR} It read low.", ["fan belt"], "it read low", "", ""),
]


@pytest.mark.parametrize(("text", "ahead", "said", "own", "wanted"), BEFORE)
def test_what_a_clause_takes_from_before_it(
    reader: Reader, text: str, ahead: list[str], said: str, own: str, wanted: str
) -> None:
    c = context(reader, text)
    pointed(c, *ahead)
    assert told_before(c, mark(c, said, "check", "not_ok"), own) == wanted


@pytest.mark.parametrize(("sure", "wanted"), [(AHEAD, "gauge"), (AHEAD - 0.01, ""), (0.0, "")])
def test_from_how_sure_on_a_word_is_taken(reader: Reader, sure: float, wanted: str) -> None:
    c = context(reader, GAUGE)
    pointed(c, "gauge", sure=sure)
    assert told_before(c, mark(c, "it read one forty", "check", "not_ok"), "") == wanted


@pytest.mark.parametrize("group", ["complaint", "safe", "note"])
def test_a_clause_of_no_such_kind_takes_nothing(reader: Reader, group: str) -> None:
    c = context(reader, GAUGE)
    pointed(c, "gauge")
    assert told_before(c, mark(c, "it read one forty", group, group), "") == ""


@pytest.mark.parametrize(
    ("own", "wanted"),
    [
        ("", "fan belt, gauge on the slew circuit"),
        ("low", "fan belt, gauge on the slew circuit"),
        ("relief valve", "gauge on the slew circuit"),
    ],
)
def test_a_clause_that_names_a_part_reaches_over_no_earlier_one(
    reader: Reader, own: str, wanted: str
) -> None:
    c = context(reader, TWO)
    pointed(c, "fan belt", "gauge on the slew circuit")
    mark(c, "gauge on the slew circuit", "check", "ok")
    assert told_before(c, mark(c, "read one forty", "check", "not_ok"), own) == wanted


def test_a_clause_reaches_over_one_of_another_kind(reader: Reader) -> None:
    c = context(reader, TWO)
    pointed(c, "fan belt", "gauge on the slew circuit")
    mark(c, "gauge on the slew circuit", "cause", "cause")
    found = told_before(c, mark(c, "read one forty", "check", "not_ok"), "relief valve")
    assert found == "fan belt, gauge on the slew circuit"


SWAPPED = "The fan belt on the alternator, so it was swapped."
USES = [  # (what puts a clause into its short form, group, label, with the words before it, without)
    (checked, "check", "not_ok", "fan belt swapped", "swapped"),
    (caused, "cause", "cause", "fan belt swapped", "swapped"),
    (done, "work", "work", "swapped fan belt", "swapped"),
    (to_do, "todo", "todo", "swapped fan belt", ""),
    (ruled_out, "out", "out", "fan belt", ""),
]


@pytest.mark.parametrize(("how", "group", "label", "with_words", "without"), USES)
def test_each_clause_has_its_words_before_it(
    reader: Reader, how: Callable[..., str], group: str, label: str, with_words: str, without: str
) -> None:
    for ahead, wanted in (("fan belt", with_words), (None, without)):
        c = context(reader, SWAPPED)
        c.found.keep[group] = [1.0 if p.text == "swapped" else 0.0 for p in c.found.pieces]
        pointed(c, *([ahead] if ahead else []))
        assert how(c, mark(c, "it was swapped", group, label)) == wanted


def test_words_kept_are_those_of_the_group() -> None:
    found = Findings(pieces=[Piece("fan", 0, 0), Piece("belt", 1, 1)], keep={"check": [0.2, 0.9]})
    assert found.kept("check") == [0.2, 0.9]
    assert found.kept("note") == [1.0, 1.0]  # every word of such a mark names something
