"""The memo as the learned part meets it: said and written forms come out alike, and no name or figure of
a firm is left in."""

from __future__ import annotations

from itertools import pairwise

import pytest

from jobnotes.language.canonical import MARKS, canonical
from jobnotes.language.pipeline import rules_pipeline
from jobnotes.register import CustomerRow, Lookup, MachineRow, PartRow, Register, SiteRow


@pytest.fixture(scope="module")
def pieces():  # type: ignore[no-untyped-def]
    register = Register(
        customers=[CustomerRow("Fernmoss Quarries")],
        sites=[SiteRow("Brindlegate Yard", "Fernmoss Quarries")],
        machines=[
            MachineRow("TH214", "telehandler", "Tronvek", "TV9", None, "TRV9X0214", "Fernmoss Quarries")
        ],
        parts=[PartRow("HV-7731", "Relief valve")],
    )
    nlp = rules_pipeline(Lookup(register))
    return lambda text: " ".join(p.text for p in canonical(nlp(text)))


ALIKE = [
    ("T H two one four", ["TH214", "T-H214", "th214", "Tango Hotel 214", "TH 214"], "FLEET"),
    (
        "H V seven seven three one",
        ["HV-7731", "HV7731", "H V 7731", "H V dash seven seven three one"],
        "PART",
    ),
    ("two hundred and fifty bar", ["250 bar", "250bar", "two fifty bar", "two, er, fifty bar"], "NUM bar"),
    ("twelve point six volts", ["12.6V", "12.6 volts", "twelve six volts"], "NUM volts"),
    ("twenty to four", ["20 to 4", "twenty to 4"], "CLOCK"),
    ("an hour and a half", ["1.5 hours", "one and a half hours", "1 1/2 hours"], "DURATION"),
    ("one thousand two hundred and fifty", ["1,250", "1250", "twelve fifty"], "NUM"),
    ("two filters", ["2 filters"], "two filters"),
    ("fifteen W forty", ["15W-40", "15W40"], "OIL"),
    ("S P N three two five one, F M I zero", ["SPN 3251, FMI 0", "SPN3251, FMI0"], "FAULT , FAULT"),
    (
        "Brindlegate Yard for Fernmoss Quarries",
        ["brindlegate yard for fernmoss quarries"],
        "SITE for CUSTOMER",
    ),
    ("the Tronvek T V nine", ["the Tronvek TV9", "the tronvek TV 9"], "the MAKE MODEL"),
    ("order number Q R four seven one two", ["order number QR4712"], "order number ORDER"),
]


@pytest.mark.parametrize(("said", "others", "form"), ALIKE)
def test_said_or_written_is_one(pieces, said: str, others: list[str], form: str) -> None:  # type: ignore[no-untyped-def]
    assert pieces(said) == form
    for other in others:
        assert pieces(other) == form, other


LEFT = [
    ("the D P F light", "the d p f light"),
    ("one of them", "one of them"),
    ("half way up", "half way up"),
    ("oh, and another", "oh , and another"),
    ("it's the pump, er, motor", "it 's the pump motor"),
    ("first\n\nsecond", "first second"),
]


@pytest.mark.parametrize(("said", "form"), LEFT)
def test_other_words_stay(pieces, said: str, form: str) -> None:  # type: ignore[no-untyped-def]
    assert pieces(said) == form


def test_pieces_cover_the_tokens_in_order_and_never_twice() -> None:
    nlp = rules_pipeline(Lookup(Register()))
    doc = nlp(
        "Got to T H two one four at ten past eight, er, two hundred and fifty bar. One and a half "
        "hours, 1,250 of them."
    )
    found = canonical(doc)
    assert all(a.last < b.first for a, b in pairwise(found))
    assert all(p.text in MARKS for p in found if p.mark)
    assert {p.text for p in found if p.mark} == {"CODE", "CLOCK", "NUM", "DURATION"}
