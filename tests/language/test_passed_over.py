"""What was heard and nothing was made of: which words put a mark on the list of parts or of readings.

The marks of the clause reader are given by hand here, so that each rule is held alone.
"""

from __future__ import annotations

import pytest
from hand_marked import context, heard, mark, span_of, whole
from memo_words import RECORDED_AT

from jobnotes.jobs import Job
from jobnotes.language import Reader, from_text
from jobnotes.language.context import Context
from jobnotes.language.passed_over import mark_passed_over

HOSE = {"description": "Hydraulic hose 1/2 inch"}
READING = {"quantity": "voltage", "value": 12.4, "unit": "V", "expected": 12.6}


def asked(c: Context, job: Job | None = None) -> dict[str, str]:
    """List -> the words that its mark quotes."""
    mark_passed_over(c, whole(c), job or Job(), "/jobs/0")
    return {p.removeprefix("/jobs/0/"): e.text for p, e in c.book.entries.items() if e.check}


# Words of which nothing is read, and what is then asked for on the list of parts (None: nothing).
PARTS = [
    # amounts
    ("The gearbox took eleven litres of it.", "eleven litres"),
    ("I pumped in two kilos of grease.", "two kilos"),
    ("It travelled eleven miles and ran at eleven bar.", None),
    # letters and figures one by one
    ("Air filters, I-E-F-F-W-3-O-2.", "I-E-F-F-W-3-O-2"),
    ("The D-P-F light was on.", None),
    ("It was half past 1-20-4.", None),
    # parts named as new, or asked for
    ("New clamp on it and all.", "New clamp"),
    ("The beacon smashed, that is all.", "beacon smashed"),
    ("The offside mirror needs one ordering.", "mirror needs one ordering"),
    ("I looked at the clamp and the hose.", None),
    ("The old clamp is tight.", None),
    # words that stand in for the name of a part
    ("I chucked a new one on.", "new one on"),
    ("Put a new locker on and set it.", "new locker"),
    ("It is as good as new and on the road.", None),
    ("One of them was on the bench.", None),
]


@pytest.mark.parametrize(("text", "words"), PARTS)
def test_words_of_parts_that_were_passed_over(reader: Reader, text: str, words: str | None) -> None:
    c = context(reader, text, by_ear=True)
    assert asked(c) == ({} if words is None else {"parts": words})


# The same words where something was made of them, of what stands beside them, or of the same kind of part.
READ = [
    ("The gearbox took eleven litres of it.", "eleven litres"),
    ("Air filters, I-E-F-F-W-3-O-2.", "i - e - f - f - w - 3 - o - 2"),
    ("New clamp on it and all.", "clamp"),
    ("New clamp on, H C double four.", "h c double four"),
    ("The offside mirror needs one ordering.", "mirror needs one ordering"),
    ("I chucked a new one on, the clamp.", "clamp"),
]


@pytest.mark.parametrize(("text", "made"), READ)
def test_words_that_a_part_rests_on_are_not_asked_for(reader: Reader, text: str, made: str) -> None:
    c = context(reader, text, by_ear=True)
    c.book.put("/jobs/0/parts/0", [span_of(c, made)], 0.95)
    assert asked(c, Job.model_validate({"parts": [HOSE]})) == {}


def test_words_of_a_part_told_again_are_not_asked_for(reader: Reader) -> None:
    c = context(reader, "The gearbox took eleven litres of it.", by_ear=True)
    c.book.told_again.append(span_of(c, "eleven litres"))
    assert asked(c) == {}


def test_what_was_done_is_no_value(reader: Reader) -> None:
    c = context(reader, "The gearbox took eleven litres of it.", by_ear=True)
    c.book.put("/jobs/0/work/0", [span_of(c, "the gearbox took eleven litres")], 0.95)
    assert asked(c) == {"parts": "eleven litres"}


@pytest.mark.parametrize("quantity", [11.0, 12.0])
def test_an_amount_told_again_is_not_asked_for(reader: Reader, quantity: float) -> None:
    c = context(reader, "Eleven litres, as I said.", by_ear=True)
    job = Job.model_validate({"parts": [{**HOSE, "quantity": quantity}]})
    assert bool(asked(c, job)) is (quantity != 11)


@pytest.mark.parametrize(("label", "is_asked"), [("size", False), ("dist", False), ("labour", True)])
def test_an_amount_that_is_a_machine_size_is_not_asked_for(
    reader: Reader, label: str, is_asked: bool
) -> None:
    c = context(reader, "The seventeen metre telehandler.", by_ear=True)
    mark(c, "seventeen metre", "value", label)
    assert bool(asked(c)) is is_asked


# What the clause reader took for a part.
DROPPED = [
    ("Two of the pressure clamps went on.", "two of the pressure clamps", True),
    ("It had 8 of them.", "8 of them", True),
    ("That went back in the van.", "that went back in the van", False),
    ("The battery, not the 4007 one.", "not the 4007 one", False),
]


@pytest.mark.parametrize(("text", "marked", "is_asked"), DROPPED)
def test_a_part_that_was_marked_and_dropped(reader: Reader, text: str, marked: str, is_asked: bool) -> None:
    c = context(reader, text, by_ear=True)
    mark(c, marked, "part", "fitted")
    assert ("parts" in asked(c)) is is_asked


# A part of the job as it was read, and whether the list is asked for.
NOT_PLAIN = [
    ({"description": "1890", "quantity": 10, "unit": "L"}, True),
    ({"description": "part IL245", "part_number": "IL245"}, True),
    ({"description": "hydraulic hose"}, False),
    ({"description": "part HR-3062", "part_number": "HR-3062"}, False),
]


@pytest.mark.parametrize(("part", "is_asked"), NOT_PLAIN)
def test_a_part_whose_words_name_none(reader: Reader, part: dict[str, object], is_asked: bool) -> None:
    c = context(reader, "So would you get me that for it.", by_ear=True)
    c.book.put("/jobs/0/parts/0", [span_of(c, "get me that")], 0.95)
    assert asked(c, Job.model_validate({"parts": [part]})) == ({"parts": "get me that"} if is_asked else {})


# -- figures ---

# The memo, the words marked as a figure and with which label, and whether the readings are asked for.
FIGURES = [
    ("The end floats three thow and that is it.", "three thow", "found", True),
    ("Forties the limit, forty.", "forty", "exp", True),
    ("It reads eighteen now.", "eighteen", "after", True),
    ("It was a half of what it was.", "a half", "found", False),
    ("It was a hundred, no, a hundred and four.", "a hundred", "found", False),
    ("It reads eighteen now.", "eighteen", "labour", False),
    ("It wants twelve point six.", "twelve point six", "exp", False),  # a reading of the job has it
]


@pytest.mark.parametrize(("text", "marked", "label", "is_asked"), FIGURES)
def test_a_marked_figure_in_no_reading(
    reader: Reader, text: str, marked: str, label: str, is_asked: bool
) -> None:
    c = context(reader, text, by_ear=True)
    mark(c, marked, "value", label)
    assert ("readings" in asked(c, Job.model_validate({"readings": [READING]}))) is is_asked


@pytest.mark.parametrize(("confidence", "is_asked"), [(0.9, True), (0.3, False)])
def test_an_unsure_mark_is_no_figure(reader: Reader, confidence: float, is_asked: bool) -> None:
    c = context(reader, "It reads eighteen now.", by_ear=True)
    mark(c, "eighteen", "value", "found", confidence)
    assert bool(asked(c)) is is_asked


DECIMALS = [
    ("It was 14.1 now.", True),
    ("It was 12.4 now.", False),  # a reading of the job has it
    ("It was 14 now.", False),
]


@pytest.mark.parametrize(("text", "is_asked"), DECIMALS)
@pytest.mark.parametrize("checking", [True, False])
def test_a_bare_decimal_beside_a_check(reader: Reader, text: str, is_asked: bool, checking: bool) -> None:
    c = context(reader, text, by_ear=True)
    if checking:
        mark(c, "it was", "check", "ok")
    job = Job.model_validate({"readings": [READING]})
    assert ("readings" in asked(c, job)) is (is_asked and checking)


@pytest.mark.parametrize(("group", "label"), [("name", "order"), ("value", "dist")])
def test_a_decimal_that_is_something_else_is_not_asked_for(reader: Reader, group: str, label: str) -> None:
    c = context(reader, "Checked it, order 9.2 for this.", by_ear=True)
    mark(c, "checked it", "check", "ok")
    mark(c, "9.2", group, label)
    assert asked(c) == {}


def test_the_reason_quotes_the_words(reader: Reader) -> None:
    c = context(reader, "New clamp on it and all. It took eleven litres.", by_ear=True)
    asked(c)
    why = c.book.entries["/jobs/0/parts"].why
    assert why == 'heard "New clamp", "eleven litres", and nothing was made of it'


def test_a_mark_already_there_stands_first(reader: Reader) -> None:
    c = context(reader, "New clamp on it and all.", by_ear=True)
    c.book.put("/jobs/0/parts", [span_of(c, "it and all")], 0.3, True, "another reason")
    asked(c)
    assert (c.book.entries["/jobs/0/parts"].why or "").startswith("another reason; heard")


def test_nothing_is_asked_of_an_empty_memo(reader: Reader) -> None:
    read = reader.read(heard(""), "memo", RECORDED_AT)
    assert not any(p.endswith(("/parts", "/readings")) for p in read.evidence)


@pytest.mark.parametrize("by_ear", [True, False])
def test_only_heard_memos_are_asked(reader: Reader, by_ear: bool) -> None:
    text = "The wheel loader, W L three one. The air filters are I-E-F-F-W-3-O-2."
    transcript = heard(text) if by_ear else from_text(text)
    evidence = reader.read(transcript, "memo", RECORDED_AT).evidence
    entry = evidence.get("/jobs/0/parts")
    assert (entry is not None and "nothing was made of it" in (entry.why or "")) is by_ear
