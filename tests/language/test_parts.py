"""Parts: what, how many, which number, what became of it; and what is no part."""

from __future__ import annotations

import pytest
from hand_marked import context, mark, span_of, whole
from memo_words import RECORDED_AT

from jobnotes.jobs import Job, ReadMemo
from jobnotes.language import Reader, from_text
from jobnotes.language.context import Context
from jobnotes.language.labels import POINTED
from jobnotes.language.part_rows import fitting_rows, oil_words, stem, stems
from jobnotes.language.parts import fill_parts, is_size
from jobnotes.language.parts_said import (
    Said,
    counted_before,
    fitted_in_work,
    named_before,
    of_grease,
    shortened,
)
from jobnotes.register import PartRow, Register


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


# -- the count told before the number ---

NUMBER = "h r five one six one"
COUNTED = [
    ("Four I put in, H R five one six one.", 4),
    ("Two in, H R five one six one.", 2),
    ("Two seals, H R five one six one.", 2),
    ("4 seals, H R five one six one.", 4),
    ("Two new panels, the twenty mil ones, H R five one six one.", 2),
    ("24 in, H R five one six one.", 24),
]


@pytest.mark.parametrize(("text", "count"), COUNTED)
def test_a_count_told_before_the_number(reader: Reader, text: str, count: float) -> None:
    c = context(reader, text)
    assert counted_before(c, span_of(c, NUMBER)[0]) == count
    mark(c, NUMBER, "part", "fitted")
    job = Job()
    fill_parts(c, whole(c), job, "/jobs/0", None)
    assert [(p.part_number, p.quantity) for p in job.parts] == [("HR-5161", count)]


NOT_COUNTED = [
    "One in, H R five one six one.",  # one is what is taken anyway
    "Job two, H R five one six one.",
    "25 in, H R five one six one.",
    "Thirty in, H R five one six one.",
    "Twenty-four in, H R five one six one.",  # not alone: part of a longer figure
    "Two. H R five one six one.",
    "Two on the van, H R five one six one.",
    "Two buses went by, H R five one six one.",
    "Two bar it had, the new one is H R five one six one.",
    "Two hours it took, new valve H R five one six one.",
    "Two in of H R five one one six and H R five one six one.",  # the other number's
    "Two in, HR5116 and H R five one six one.",
    "Two I had on the van before the day began again in, H R five one six one.",  # too far off
    "New valve, H R five one six one.",
]


@pytest.mark.parametrize("text", NOT_COUNTED)
def test_no_count_before_the_number(reader: Reader, text: str) -> None:
    c = context(reader, text)
    assert counted_before(c, span_of(c, NUMBER)[0]) is None


# -- a number of which only the end is said ---


@pytest.fixture(scope="module")
def family() -> Reader:
    """Part numbers that differ in their end."""
    numbers = ["GR-440-6", "GR-440-7", "GR-440-141", "GR-440-B", "GR-441-9", "QV2012", "QV2013"]
    return Reader(Register(parts=[PartRow(n, "Lip seal") for n in numbers]))


SHORTENED = [  # (text, the words of the mark, the number meant, the words that say it)
    (
        "One was G R four four oh dash six. The other was the same number but dash seven.",
        "same number but dash seven",
        "GR-440-7",
        "dash seven",
    ),
    (
        "G R four four oh dash six, and dash one four one.",
        "dash one four one",
        "GR-440-141",
        "dash one four one",
    ),
    ("G R four four oh dash six, and one four one.", "one four one", "GR-440-141", "one four one"),
    ("G R four four oh dash six, and stroke seven.", "stroke seven", "GR-440-7", "stroke seven"),
    ("G R four four oh dash six, and dash B.", "dash b", "GR-440-B", "dash b"),
]


@pytest.mark.parametrize(("text", "said", "number", "words"), SHORTENED)
def test_the_end_of_a_number_stands_for_the_whole(
    family: Reader, text: str, said: str, number: str, words: str
) -> None:
    c = context(family, text)
    found = shortened(c, *span_of(c, said))
    assert found is not None
    assert (found.code.text, found.kind) == (number, "part")
    assert " ".join(c.tokens[found.first : found.last + 1]) == words
    mark(c, said, "part", "fitted")
    job = Job()
    fill_parts(c, whole(c), job, "/jobs/0", None)
    assert number in [p.part_number for p in job.parts]


NOT_SHORTENED = [
    ("G R four four oh dash six, and dash nine.", "dash nine"),  # of no row
    ("G R four four oh dash six, and seven.", "seven"),  # a count as well
    ("G R four four oh dash six, and B.", "b"),
    ("G R four four oh dash six, and four of them.", "four of them"),
    ("The other is dash seven. G R four four oh dash six.", "dash seven"),  # nothing before it
    ("G R four four oh dash six, then G R four four one dash nine, and dash seven.", "dash seven"),
    ("X Y nine nine, and dash seven.", "dash seven"),
    ("Q V two oh one two, and one three.", "one three"),
]


@pytest.mark.parametrize(("text", "said"), NOT_SHORTENED)
def test_no_end_of_a_number(family: Reader, text: str, said: str) -> None:
    c = context(family, text)
    assert shortened(c, *span_of(c, said)) is None


# -- grease by its packs ---

GREASE = [  # (text, the words of the part, as described, unit, with its grease)
    ("Greased it all round, two tubes.", "two tubes", "tubes", None, "grease cartridge"),
    ("I greased it, two cartridges.", "two cartridges", "", None, "grease cartridge"),
    ("It got a greasing, one stick.", "one stick", "stick", None, "grease cartridge"),
    ("Greased it, half a kilo.", "half a kilo", "", "kg", "grease"),
    # as it was
    ("I put two tubes in.", "two tubes", "tubes", None, "tubes"),
    ("Greased it. Two tubes went in.", "two tubes", "tubes", None, "tubes"),
    ("Greased it, two litres.", "two litres", "", "L", ""),
    ("Greased it, and fitted two hoses.", "two hoses", "hoses", None, "hoses"),
    ("Greasing done, grease tubes two.", "grease tubes two", "grease tubes", None, "grease tubes"),
]


@pytest.mark.parametrize(("text", "said", "described", "unit", "wanted"), GREASE)
def test_grease_by_its_packs(
    reader: Reader, text: str, said: str, described: str, unit: str | None, wanted: str
) -> None:
    c = context(reader, text)
    assert of_grease(c, *span_of(c, said), described, unit) == wanted


def test_tubes_of_grease_are_the_register_s_cartridges(reader: Reader) -> None:
    c = context(reader, "Greased it all round, two tubes.")
    mark(c, "two tubes", "part", "fitted")
    job = Job()
    fill_parts(c, whole(c), job, "/jobs/0", None)
    assert [(p.part_number, p.quantity) for p in job.parts] == [("OL-0400", 2)]


# -- a size that is no quantity ---

SIZES = [  # (quantity, unit, description, the row's unit, whether it is a size)
    (60, "L", "Relief valve 60 L/min", "each", True),
    (10, None, "Hydraulic filter 10 micron", "each", True),
    (7.5, None, "Accumulator 7.5 litre", "each", True),
    (2, "L", "Accumulator 2 litre", "each", True),
    (5, None, "Filter 5 micron", "each", True),
    (4, None, "Filter 4 micron", "each", False),  # so few are a count as well
    (2, None, "Hose two wire 2 inch", "m", False),
    (5, "L", "Engine oil 5 litre", "L", False),  # an amount in the row's own unit
    (3, "L", "Relief valve 60 L/min", "each", False),
    (6, None, "Relief valve 60 L/min", "each", False),
    (None, None, "Filter 10 micron", "each", False),
]


@pytest.mark.parametrize(("quantity", "unit", "description", "row_unit", "size"), SIZES)
def test_a_size_is_no_quantity(
    quantity: float | None, unit: str | None, description: str, row_unit: str, size: bool
) -> None:
    said = Said((0, 0), None, None, quantity, unit, "", "fitted", 0.5)
    assert is_size(said, PartRow("ZZ-1", description, row_unit)) is size


def test_a_size_said_with_a_part_leaves_its_quantity_at_one() -> None:
    row = PartRow("GV-7182", "Flow valve 60 L/min")
    for text, quantity in (
        ("I fitted the sixty litre flow valve, G V seven one eight two.", 1),
        ("I fitted six flow valves, G V seven one eight two.", 6),
    ):
        c = context(Reader(Register(parts=[row])), text)
        mark(c, text.lower().removeprefix("i fitted ").replace(",", " ,").rstrip("."), "part", "fitted")
        job = Job()
        fill_parts(c, whole(c), job, "/jobs/0", None)
        assert [(p.part_number, p.quantity, p.unit) for p in job.parts] == [("GV-7182", quantity, "each")]


# -- "a new one": what was told before ---

BELT = "The fan belt was frayed so I put a new one on."


def pointed(c: Context, said: str | None, sure: float = 0.9) -> None:
    """The reader points to the words `said` before a clause, and to none else."""
    first, last = span_of(c, said) if said is not None else (1, 0)
    shares = [sure if first <= p.first and p.last <= last else 0.0 for p in c.found.pieces]
    c.found.ahead = dict.fromkeys(POINTED, shares)
    c.found.keep = {}


NEW_ONE: list[tuple[str, str | None, tuple[str, str, str] | None, str, str]] = [
    # (text, what the reader points to, what is told to be wrong, the work, the part)
    (BELT, "fan belt", None, "put a new one on", "fan belt"),
    ("The fan belt was frayed so I put new on.", "fan belt", None, "put new on", "fan belt"),
    (BELT, None, ("fan belt", "cause", "cause"), "put a new one on", "fan belt"),
    (
        BELT,
        None,
        ("fan belt was frayed", "complaint", "complaint"),
        "put a new one on",
        "fan belt was frayed",
    ),
    (BELT, None, ("fan belt was frayed", "check", "not_ok"), "put a new one on", "fan belt was frayed"),
    # no part
    (BELT, None, None, "put a new one on", ""),
    (BELT, None, ("fan belt was frayed", "check", "ok"), "put a new one on", ""),
    (BELT, None, ("fan belt was frayed", "note", "note"), "put a new one on", ""),
    ("The farmer was there so I put a new one on.", "farmer", None, "put a new one on", ""),
    (
        "The fan belt was an old and frayed one so I put a new one on.",
        None,
        ("fan belt was an old and frayed one", "cause", "cause"),
        "put a new one on",
        "",
    ),
    (
        f"{BELT.split(' so ')[0]}. He had his dinner by the gate and we talked of the weather a while. "
        "I put a new one on.",
        None,
        ("fan belt was frayed", "cause", "cause"),
        "put a new one on",
        "",
    ),
]


@pytest.mark.parametrize(("text", "ahead", "wrong", "work", "part"), NEW_ONE)
def test_a_new_one_is_of_what_was_told_before(
    reader: Reader, text: str, ahead: str | None, wrong: tuple[str, str, str] | None, work: str, part: str
) -> None:
    c = context(reader, text)
    pointed(c, ahead)
    if wrong is not None:
        mark(c, *wrong)
    assert named_before(c, mark(c, work, "work", "work")) == part
    found = fitted_in_work(c, whole(c), [])
    assert [(s.words, s.status) for s in found] == ([(part, "fitted")] if part else [])
    assert all(s.confidence < 0.5 for s in found)  # a guess, marked for a look


def test_a_new_one_of_a_part_already_told_is_no_second_part(reader: Reader) -> None:
    c = context(reader, BELT)
    pointed(c, "fan belt")
    mark(c, "put a new one on", "work", "work")
    told = Said(span_of(c, "fan belt"), None, None, 1, None, "fan belt", "fitted", 0.9)
    assert fitted_in_work(c, whole(c), [told]) == []


def test_words_pointed_to_in_doubt_or_far_apart_name_no_part(reader: Reader) -> None:
    c = context(reader, BELT)
    pointed(c, "fan belt", 0.3)
    assert named_before(c, mark(c, "put a new one on", "work", "work")) == ""
    c = context(reader, "The fan turned and the lads came over for a look so I put a new one on.")
    pointed(c, None)
    for word in ("fan", "look"):
        place = c.piece_of(span_of(c, word)[0])
        c.found.ahead["work"][place] = 0.9
    assert named_before(c, mark(c, "put a new one on", "work", "work")) == ""


# -- words that no description has ---


@pytest.fixture(scope="module")
def six() -> Reader:
    """Six parts, no word in two of them."""
    said = ["Fan belt", "Water pump", "Lamp head", "Track roller", "Return filter", "Lift cylinder"]
    return Reader(Register(parts=[PartRow(f"A{n}", words) for n, words in enumerate(said)]))


STRANGE_WORDS = [
    ("fan belt", "A0"),
    ("horrible squeaky greasy fan belt", "A0"),
    ("flapping knackered belt", "A0"),
    ("knackered pump", "A1"),
    # so little of it names the row that it might be any part
    ("horrible squeaky perished greasy belt", None),
    ("horrible squeaky", None),
    ("fan pump", None),
]


@pytest.mark.parametrize(("said", "number"), STRANGE_WORDS)
def test_strange_words_weigh_less_than_known_ones(six: Reader, said: str, number: str | None) -> None:
    row, _ = fitting_rows(context(six, "The roller would not start."), said, None)
    assert (row.part_number if row else None) == number
