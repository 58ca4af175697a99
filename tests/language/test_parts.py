"""Parts: what, how many, which number, what became of it; and what is no part."""

from __future__ import annotations

import pytest
from memo_words import RECORDED_AT

from jobnotes.jobs import ReadMemo
from jobnotes.language import Reader, from_text
from jobnotes.language.part_rows import oil_words, stem, stems


def read(reader: Reader, text: str) -> ReadMemo:
    """A telehandler memo that says `text` too."""
    memo = f"The telehandler, T H two four eight. The boom would not extend. {text} Two hours' labour."
    return reader.read(from_text(memo), "memo", RECORDED_AT)


PARTS = [  # (text, part number, quantity, unit, status)
    ("I fitted a new extend relief valve, H R five one six one.", "HR-5161", 1, "each", "fitted"),
    ("I fitted a new extend relief valve, HR5161.", "HR-5161", 1, "each", "fitted"),
    ("I fitted a new extend relief valve, HR-5161.", "HR-5161", 1, "each", "fitted"),
    (
        "I fitted two new lift relief valves, part number H R five one one six.",
        "HR-5116",
        2,
        "each",
        "fitted",
    ),
    ("I fitted H R five one one six, two off.", "HR-5116", 2, "each", "fitted"),
    ("It needs a hydraulic pump, H R six oh one two, so please order one.", "HR-6012", 1, "each", "to_order"),
    ("There's a hydraulic pump on order, H R six oh one two.", "HR-6012", 1, "each", "ordered"),
    (
        "I took a hydraulic pump, H R six oh one two, but it was not used and is back in the van.",
        "HR-6012",
        1,
        "each",
        "not_used",
    ),
]


@pytest.mark.parametrize(("text", "number", "quantity", "unit", "status"), PARTS)
def test_one_part(reader: Reader, text: str, number: str, quantity: float, unit: str, status: str) -> None:
    parts = read(reader, text).jobs[0].parts
    assert [(p.part_number, p.quantity, p.unit, p.status) for p in parts] == [
        (number, quantity, unit, status)
    ]


def test_litres(reader: Reader) -> None:
    (part,) = read(reader, "I topped it up with three litres of hydraulic oil forty-six.").jobs[0].parts
    assert (part.quantity, part.unit, part.status) == (3, "L", "fitted")


def test_metres(reader: Reader) -> None:
    (part,) = read(reader, "I fitted two and a half metres of half-inch two-wire hose.").jobs[0].parts
    assert (part.quantity, part.unit, part.status) == (2.5, "m", "fitted")


NO_PARTS = [
    "I took the old relief valve off and threw it away.",
    "I cleaned the filter and put it back.",
    "I checked the fuses.",
    "The hose is chafed, keep an eye on it.",
    "I took nothing and fitted nothing.",
    "One of them was loose, so I tightened it.",
    "Half way up it stops.",
]


@pytest.mark.parametrize("text", NO_PARTS)
def test_no_part(reader: Reader, text: str) -> None:
    assert read(reader, text).jobs[0].parts == []


def test_a_number_near_two_of_the_register_is_shown(reader: Reader) -> None:
    """H R five one six six is one figure off two rows: never settled in silence."""
    result = read(reader, "I fitted a relief valve, H R five one six six.")
    for place, part in enumerate(result.jobs[0].parts):
        entry = result.evidence[f"/jobs/0/parts/{place}"]
        assert part.part_number in ("HR5166", "HR-5161", "HR-5116", None)
        assert entry.check
        assert entry.why


def test_the_same_number_said_twice_is_one_part(reader: Reader) -> None:
    text = "I fitted a relief valve, H R five one six one. That was H R five one six one, the relief valve."
    assert [p.part_number for p in read(reader, text).jobs[0].parts] == ["HR-5161"]


STEMS = [
    ("hoses", "hose"),
    ("filters", "filter"),
    ("fittings", "fitting"),
    ("batteries", "battery"),
    ("seal", "seal"),
    ("bushes", "bush"),
]


@pytest.mark.parametrize(("one", "other"), STEMS)
def test_forms_of_one_word_share_a_stem(one: str, other: str) -> None:
    assert stem(one) == stem(other)


@pytest.mark.parametrize(
    ("one", "other"),
    [("hose", "horn"), ("pin", "pipe"), ("seal", "seat"), ("oil", "coil"), ("gas", "gasket")],
)
def test_other_words_do_not(one: str, other: str) -> None:
    assert stem(one) != stem(other)


def test_sizes_in_one_form() -> None:
    assert stems("0.5 inch hose") == stems("1/2 in hose") or "1/2" in stems("0.5 inch hose")
    assert stems("a new two-wire hose") == stems("2 wire hose")


@pytest.mark.parametrize("said", ["15W-40", "15W40", "15 W 40", "15-40"])
def test_oil_grades_in_one_form(said: str) -> None:
    assert oil_words(f"{said} engine oil") == oil_words("15W-40 engine oil")
    assert oil_words("5W-30 engine oil") != oil_words("15W-40 engine oil")
