"""Values of heard memos: doubted where the words beside them make no sense, surer where the register bears
them out."""

from __future__ import annotations

import pytest
from hand_marked import context, mark, span_of, whole

from jobnotes.jobs import Transcript, Word
from jobnotes.language import Reader
from jobnotes.language.clock import Clock
from jobnotes.language.codes import Code
from jobnotes.language.findings import PlacedCode
from jobnotes.language.identity import said_unsteadily
from jobnotes.language.machine_rows import alone_of_its_kind
from jobnotes.language.parts import as_near, borne_out
from jobnotes.language.parts_said import Said
from jobnotes.language.times import garbled
from jobnotes.register import MachineRow, PartRow, Register

CLOCKS = [
    ("Got to it porter, to midnight.", "midnight", True),
    ("There from something past ten o'clock.", "ten o'clock", True),
    ("It was half past 1-20-4 when I left.", "half past 1", True),
    ("Got there at midnight.", "midnight", False),
    ("From nine to half past 1.", "half past 1", False),
    ("It was half past 1 - and raining.", "half past 1", False),
]


@pytest.mark.parametrize(("text", "said", "is_garbled"), CLOCKS)
@pytest.mark.parametrize("by_ear", [True, False])
def test_a_time_beside_words_that_make_no_sense(
    reader: Reader, text: str, said: str, is_garbled: bool, by_ear: bool
) -> None:
    c = context(reader, text, by_ear)
    clock = Clock(*span_of(c, said), 1, 0, False)
    assert garbled(c, clock) is (is_garbled and by_ear)


# The memo, the words marked, and whether the meter's figure, 6,000, is said unsteadily.
METERS = [
    ("It has 6,000 and, er, 6,003 hours on it.", [("6,003 hours", "hours")], True),
    ("It has 6,008, no, 6,000 hours on it.", [("6,008", "old")], True),
    ("It has 6,000 hours, I said 6,000 hours.", [("6,000 hours", "hours")], False),
    ("It has 6,000 hours. It ran for 50 minutes.", [("50 minutes", "labour")], False),
    (
        "It has 6,000 hours on it and was due its big service back in the spring, at 5,000.",
        [("5,000", "hours")],
        False,
    ),
]


@pytest.mark.parametrize(("text", "marks", "unsteady"), METERS)
def test_a_meter_that_is_told_twice_over(
    reader: Reader, text: str, marks: list[tuple[str, str]], unsteady: bool
) -> None:
    c = context(reader, text, by_ear=True)
    for words, label in marks:
        mark(c, words, "value", label)
    assert said_unsteadily(c, whole(c), 6000, span_of(c, "6,000")) is unsteady


@pytest.fixture(scope="module")
def siblings() -> Reader:
    """Numbers one edit apart, of one kind and of several."""
    machines = [("RL41", "roller"), ("RL47", "roller"), ("PX20", "pump"), ("PX26", "excavator")]
    parts = [
        ("AF4007", "Air filter outer"),
        ("AF4070", "Air filter outer"),
        ("BF2210", "Fuel filter"),
        ("BF2216", "Fan belt"),
    ]
    return Reader(
        Register(
            machines=[MachineRow(fleet, kind) for fleet, kind in machines],
            parts=[PartRow(number, description) for number, description in parts],
        )
    )


ALONE = [
    ("PX20", "pump", True),  # the other number near it is an excavator's
    ("PX26", "mini excavator", True),  # a kind that shares a word
    ("RL41", "roller", False),  # RL47 is a roller too
    ("PX20", "roller", False),
    ("PX20", None, False),
]


@pytest.mark.parametrize(("fleet", "kind", "alone"), ALONE)
def test_a_machine_that_no_other_is_taken_for(
    siblings: Reader, fleet: str, kind: str | None, alone: bool
) -> None:
    c = context(siblings, "The roller would not start.", by_ear=True)
    row = next(m for m in siblings.lookup.register.machines if m.fleet_number == fleet)
    assert alone_of_its_kind(c, row, fleet, kind) is alone


BORNE_OUT = [
    ("BF2210", "fuel filter", True),
    ("BF2216", "fan belt", True),
    ("AF4007", "air filter", False),  # fits AF4070 as well
    ("BF2210", "belt", False),
    ("BF2210", "", False),
]


@pytest.mark.parametrize(("number", "words", "borne"), BORNE_OUT)
def test_a_number_that_its_words_bear_out(siblings: Reader, number: str, words: str, borne: bool) -> None:
    c = context(siblings, "The filter was blocked.", by_ear=True)
    row = next(p for p in siblings.lookup.register.parts if p.part_number == number)
    said = Said((0, 1), None, PlacedCode(Code(0, 1, number), "part", 0), None, None, words, "fitted", 0.9)
    assert borne_out(c, said, row) is borne


# What stands, what the recogniser first wrote, and the number that is as near to that.
REPAIRED = [
    ("AF4007", "AF407", "AF4070"),
    ("AF4070", "AF4 0 7", "AF4007"),
    ("BF2210", "BF22 10", None),
    ("AF4007", None, None),
    ("BF2210", "XX99", None),
]


@pytest.mark.parametrize(("text", "first_heard", "other"), REPAIRED)
def test_another_number_as_near_to_what_was_heard(
    siblings: Reader, text: str, first_heard: str | None, other: str | None
) -> None:
    c = context(siblings, f"Filter {text} went in.", by_ear=True)
    words = [Word(text=w, probability=0.4) for w in ("Filter", text, "went", "in.")]
    words[1] = Word(text=text, probability=0.4, heard=first_heard)
    c.book.transcript = Transcript(text=c.book.transcript.text, words=words)
    row = next(p for p in siblings.lookup.register.parts if p.part_number == text)
    near = as_near(c, *span_of(c, f"{text[:2].lower()} {text[2:]}"), row)
    assert (near.part_number if near else None) == other
