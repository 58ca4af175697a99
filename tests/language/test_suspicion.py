"""Suspicions: where a cue begins one, what it names, and what "not that" then rules out."""

from __future__ import annotations

import pytest
from hand_marked import context, mark

from jobnotes.language import Reader
from jobnotes.language.suspicion import ruled_out, suspicions

SUSPECTED = [
    ("I thought it was the relief valve.", ["relief valve"]),
    ("I suspected the fuel filter, but it was clean.", ["fuel filter"]),
    ("He reckoned it was the starter motor.", ["starter motor"]),
    ("My money was on the battery.", ["battery"]),
    ("I thought it was the battery. Then I suspected the alternator.", ["battery", "alternator"]),
    ("Thermostat, I thought.", ["thermostat"]),
    ("I thought so.", []),
    ("I looked at the relief valve.", []),
]


@pytest.mark.parametrize(("text", "things"), SUSPECTED)
def test_what_a_cue_names_is_suspected(reader: Reader, text: str, things: list[str]) -> None:
    c = context(reader, text)
    assert [thing for thing, _, _ in suspicions(c, 0, len(c.found.pieces) - 1)] == things


RULED_OUT = [
    ("I thought it was the relief valve. It was not that.", "it was not that", "relief valve"),
    ("I suspected the battery. I tried it, not that.", "not that", "battery"),
    ("I thought it was the battery. Not the alternator.", "not the alternator", "alternator"),
    ("The boom would not lift. It was not that.", "it was not that", ""),
]


@pytest.mark.parametrize(("text", "said", "thing"), RULED_OUT)
def test_not_that_is_what_was_suspected_before(reader: Reader, text: str, said: str, thing: str) -> None:
    c = context(reader, text)
    assert thing in ruled_out(c, mark(c, said, "out", "out"))
    assert bool(thing) is bool(ruled_out(c, c.found.marks[0]))
