"""What was measured, found or after, against what; and figures that are no reading."""

from __future__ import annotations

import pytest
from hand_marked import context, mark, whole
from memo_words import RECORDED_AT

from jobnotes.jobs import Job
from jobnotes.language import Reader, from_text
from jobnotes.language.bare_units import (
    beside,
    carry_units,
    kinship,
    named_kinds,
    typical,
    unit_scores,
)
from jobnotes.language.context import Context
from jobnotes.language.decode import Marked
from jobnotes.language.figures import Figure, figures, told_exactly
from jobnotes.language.readings import fill_readings, sensible


def read(reader: Reader, text: str) -> Job:
    """The one job of a telehandler memo that says `text` too."""
    memo = f"The telehandler, T H two four eight. The boom would not lift. {text} Two hours' labour."
    (job,) = reader.read(from_text(memo), "memo", RECORDED_AT).jobs
    return job


READINGS = [
    (
        "Main relief was two hundred and ten bar, and it should be two hundred and forty.",
        [("pressure", 210, "bar", "found", 240)],
    ),
    ("Main relief was 210 bar, and it should be 240.", [("pressure", 210, "bar", "found", 240)]),
    (
        "I checked the main relief, it made one eighty, no, one ninety bar, the book says two "
        "hundred and forty.",
        [("pressure", 190, "bar", "found", 240)],
    ),
    (
        "The battery was twelve six volts, and twelve two at the starter.",
        [("voltage", 12.6, "V", "found", None), ("voltage", 12.2, "V", "found", None)],
    ),
    ("The battery had 12.6V.", [("voltage", 12.6, "V", "found", None)]),
    ("The coil measured sixty ohms.", [("resistance", 60, "ohm", "found", None)]),
    ("The pump gave only eighteen litres a minute.", [("flow", 18, "L/min", "found", None)]),
    ("The pin has four mil of play in it, and two is the limit.", [("length", 4, "mm", "found", 2)]),
    (
        "Main relief was two hundred bar, so I set it to two hundred and forty bar.",
        [("pressure", 200, "bar", "found", None), ("pressure", 240, "bar", "after", None)],
    ),
]


@pytest.mark.parametrize(("text", "wanted"), READINGS)
def test_readings(reader: Reader, text: str, wanted: list[tuple[str, float, str, str, float | None]]) -> None:
    job = read(reader, text)
    assert [(r.quantity, r.value, r.unit, r.stage, r.expected) for r in job.readings] == wanted


NO_READING = [
    "It has two thousand and eighty hours on it.",
    "I got there at ten past eight.",
    "I fitted two metres of half-inch hose.",
    "I topped it up with ten litres of hydraulic oil.",
    "It is a seven metre machine.",
    "The five-hundred-hour service is due.",
    "It was thirty miles each way.",
    "I put in a twelve volt relay.",
    "It had fifteen W forty in it.",
    "I fitted an M twelve bolt.",
    "It cost forty quid.",
]


@pytest.mark.parametrize("text", NO_READING)
def test_no_reading(reader: Reader, text: str) -> None:
    assert read(reader, text).readings == []


def test_every_reading_says_where_it_comes_from(reader: Reader) -> None:
    text = (
        "The telehandler, T H two four eight. Main relief was two hundred and ten bar, it should "
        "be two hundred and forty."
    )
    result = reader.read(from_text(text), "memo", RECORDED_AT)
    (reading,) = result.jobs[0].readings
    entry = result.evidence["/jobs/0/readings/0"]
    assert "two hundred and ten bar" in entry.text
    assert reading.at is not None
    assert "relief" in reading.at


NEAREST = [
    (3.0, "cm", 30.0, "mm"),
    (2.0, "ft", 24.0, "in"),
    (250.0, "bar", 250.0, "bar"),
    (0.1 + 0.2, "V", 0.3, "V"),
]


@pytest.mark.parametrize(("value", "unit", "as_value", "as_unit"), NEAREST)
def test_units_outside_of_the_schema(value: float, unit: str, as_value: float, as_unit: str) -> None:
    assert sensible(value, unit) == (as_value, as_unit)


# -- a figure said without its unit; the marks of the clause reader are given by hand ---

Marks = list[tuple[str, str]]  # words and their label


def carried(reader: Reader, text: str, marks: Marks, work: str | None = None) -> list[Figure]:
    """The figures of a text, with the units they were given."""
    c = context(reader, text)
    for said, label in marks:
        mark(c, said, "value", label)
    if work is not None:
        mark(c, work, "work", "work")
    found = figures(c, whole(c))
    carry_units(c, found)
    return found


# What is measured where is common practice: volts at a battery, bar at a relief valve, millimetres of play.
BARE: list[tuple[str, Marks, list[tuple[float, str | None, bool]]]] = [
    # (text, marks, value, unit and whether the unit is doubtful of each figure)
    # by what is named
    ("The battery was twelve six.", [("twelve six", "found")], [(12.6, "V", True)]),
    ("The pin had four of play in it.", [("four", "found")], [(4, "mm", True)]),
    ("The main relief was two hundred.", [("two hundred", "found")], [(200, "bar", True)]),
    ("The coil measured sixty.", [("sixty", "found")], [(60, "ohm", True)]),
    ("It idles at eight fifty.", [("eight fifty", "found")], [(850, "rpm", True)]),
    ("The bearing was seventy.", [("seventy", "found")], [(70, "degC", True)]),
    ("The gauge on the lift circuit read one forty.", [("one forty", "found")], [(140, "bar", True)]),
    # by what the talk has been of
    (
        "We had been on about the slew circuit. I put it on and it said one forty.",
        [("one forty", "found")],
        [(140, "bar", True)],
    ),
    # the word for it stands right there
    ("Soot was down to nine.", [("nine", "found")], [(9, "%", False)]),
    ("Revs were eight fifty.", [("eight fifty", "found")], [(850, "rpm", False)]),
    # by the figures beside it
    (
        "It made two hundred and ten bar and should be two hundred and forty.",
        [("two hundred and ten bar", "found"), ("two hundred and forty", "exp")],
        [(210, "bar", False), (240, "bar", False)],
    ),
    (
        "The relief was three thousand psi, and the pilot was four hundred and fifty.",
        [("three thousand psi", "found"), ("four hundred and fifty", "found")],
        [(3000, "psi", False), (450, "psi", True)],
    ),
    (
        "The relief was two hundred bar. The battery was twelve six.",
        [("two hundred bar", "found"), ("twelve six", "found")],
        [(200, "bar", False), (12.6, "V", True)],
    ),
    (
        "It was two hundred bar there, and it was one hundred and eighty in the end.",
        [("two hundred bar", "found"), ("one hundred and eighty", "found")],
        [(200, "bar", False), (180, "bar", False)],
    ),
    (
        "It showed fourteen point five bar there, and fourteen two in the end.",
        [("fourteen point five bar", "found"), ("fourteen two", "found")],
        [(14.5, "bar", False), (14.2, "bar", True)],
    ),
    # units that vouch alike, or in which readings are seldom given
    (
        "It showed ten psi, and ten bar, and eleven.",
        [("ten psi", "found"), ("ten bar", "found"), ("eleven", "found")],
        [(10, "psi", False), (10, "bar", False), (11, "bar", True)],
    ),
    (
        "Ten litres in. It showed eleven.",
        [("ten litres", "found"), ("eleven", "found")],
        [(10, "L", False), (11, "L", True)],
    ),
    (
        "It took nine hundred litres of it. Then it made two.",
        [("nine hundred litres", "found"), ("two", "found")],
        [(900, "L", False), (2, None, False)],
    ),
    # nothing names it, or it cannot be of what is named
    ("It made sixty. Fine.", [("sixty", "found")], [(60, None, False)]),
    (
        "We had been on about the dinner. I put it on and it said one forty.",
        [("one forty", "found")],
        [(140, None, False)],
    ),
    ("The battery was two thousand.", [("two thousand", "found")], [(2000, None, False)]),
]


@pytest.mark.parametrize(("text", "marks", "wanted"), BARE)
def test_the_unit_of_a_bare_figure(
    reader: Reader, text: str, marks: Marks, wanted: list[tuple[float, str | None, bool]]
) -> None:
    assert [(f.value, f.unit, f.carried) for f in carried(reader, text, marks)] == wanted


def test_a_doubtful_unit_makes_a_reading_less_sure(reader: Reader) -> None:
    sure = []
    for text, said in (
        ("The main relief was two hundred.", "two hundred"),
        ("The main relief was two hundred bar.", "two hundred bar"),
    ):
        c = context(reader, text)
        mark(c, said, "value", "found")
        job = Job()
        fill_readings(c, whole(c), job, "/jobs/0")
        assert [(r.value, r.unit) for r in job.readings] == [(200, "bar")]
        sure.append(c.book.entries["/jobs/0/readings/0"].confidence)
    assert sure[0] == pytest.approx(0.8 * sure[1], abs=0.02)


TYPICAL = [  # common practice: 12 V and 24 V batteries at rest and charging, engines from idle to full speed
    (12.6, "V", 0.7),
    (9, "V", 0.7),
    (15, "V", 0.7),
    (18, "V", 0.7),
    (30, "V", 0.7),
    (8.9, "V", 0),
    (16, "V", 0),
    (31, "V", 0),
    (500, "rpm", 0.7),
    (3000, "rpm", 0.7),
    (499, "rpm", 0),
    (3001, "rpm", 0),
    (200, "bar", 0),
    (10, "L", -1.5),
    (2, "m", -1.5),
    (3, "kg", -1.5),
    (9, "t", -1.5),
]


@pytest.mark.parametrize(("value", "unit", "weight"), TYPICAL)
def test_sizes_that_plant_shows(value: float, unit: str, weight: float) -> None:
    assert typical(value, unit) == weight


LABELS: list[tuple[str, Marks, str | None, list[str]]] = [  # (text, marks, the work, the labels that stand)
    ("It showed two hundred bar.", [("two hundred bar", "after")], None, ["found"]),
    ("It showed two hundred bar now.", [("two hundred bar", "after")], None, ["after"]),
    ("I adjusted it. It showed two hundred bar.", [("two hundred bar", "after")], None, ["after"]),
    (
        "I freed the spool. It showed two hundred bar.",
        [("two hundred bar", "after")],
        "i freed the spool",
        ["after"],
    ),
    ("It showed two hundred bar now.", [("two hundred bar", "found")], None, ["found"]),
]


@pytest.mark.parametrize(("text", "marks", "work", "labels"), LABELS)
def test_nothing_is_after_where_nothing_was_done(
    reader: Reader, text: str, marks: Marks, work: str | None, labels: list[str]
) -> None:
    assert [f.label for f in carried(reader, text, marks, work)] == labels


MONEY = [
    ("The gauge said three thousand pounds.", "three thousand pounds", [(3000, "psi")]),
    ("The gauge said sixty pound.", "sixty pound", [(60, "psi")]),
    ("It cost forty quid.", "forty quid", []),
    ("It cost two grand.", "two grand", []),
    ("It was ninety pence.", "ninety pence", []),
]


@pytest.mark.parametrize(("text", "said", "wanted"), MONEY)
def test_money_is_no_pressure(
    reader: Reader, text: str, said: str, wanted: list[tuple[float, str | None]]
) -> None:
    assert [(f.value, f.unit) for f in carried(reader, text, [(said, "found")])] == wanted


def placed(
    reader: Reader, text: str, *said: tuple[str, str, float, str | None]
) -> tuple[Context, list[Figure]]:
    """Figures of words, label, value and unit, as the clause reader would mark them."""
    c = context(reader, text)
    out = []
    for words, label, value, unit in said:
        made = mark(c, words, "value", label)
        out.append(Figure(label, value, None, unit, c.token_span(made), made))
    return c, out


PAIR = "It was two hundred bar there, and it was two hundred and ten in the end."
ONE, OTHER = "two hundred and ten", "two hundred bar"


def vouched(
    reader: Reader, text: str = PAIR, value: float = 210, label: str = "found", **more: object
) -> float:
    """How much the two hundred bar of a text vouch for its bare figure."""
    c, (figure, other) = placed(reader, text, (ONE, label, value, None), (OTHER, "found", 200, "bar"))
    other.carried = bool(more.get("carried"))
    if "check" in more:
        mark(c, str(more["check"]), "check", "ok")
    return kinship(c, figure, other)


def test_a_figure_of_like_size_vouches_the_more(reader: Reader) -> None:
    by_size = [vouched(reader, value=v) for v in (215, 180, 100, 50, 25)]
    assert by_size == sorted(set(by_size), reverse=True)
    # near one size, of one order, nothing said by it, and against it
    steps = [a - by_size[3] for a in by_size]
    assert steps == pytest.approx([2.0, 1.4, 0.7, 0.0, -0.8])
    assert vouched(reader, value=4) == pytest.approx(by_size[4])


MORE = [  # what makes the other figure vouch more, and by how much
    ("a specification", {"label": "exp"}, 1.5),
    ("a doubtful other", {"carried": True}, -0.6),
    ("one check", {"check": "it was two hundred bar there , and it was two hundred and ten"}, 0.5),
    ("another check", {"check": "it was two hundred bar there"}, 0.0),
]


@pytest.mark.parametrize(("why", "more", "by"), MORE)
def test_what_makes_a_figure_vouch(reader: Reader, why: str, more: dict[str, object], by: float) -> None:
    assert vouched(reader, **more) - vouched(reader) == pytest.approx(by), why  # type: ignore[arg-type]


def test_a_figure_vouches_less_from_another_sentence_or_farther_off(reader: Reader) -> None:
    apart = vouched(reader, PAIR.replace(", and", ". And"))
    assert vouched(reader) - apart == pytest.approx(0.5)
    far = vouched(reader, PAIR.replace("there", "there by the gate of the yard"))
    assert far < vouched(reader)
    turned = "It was two hundred and ten, it was two hundred bar in the end."  # as far off as in PAIR
    assert vouched(reader, turned) < vouched(reader)


def test_a_specification_stands_near_and_after_what_is_held_against_it(reader: Reader) -> None:
    turned = "It was two hundred and ten, it was two hundred bar in the end."
    assert vouched(reader, turned, label="exp") == pytest.approx(vouched(reader, turned))
    far = PAIR.replace("there", "there by the gate of the yard where he keeps it")
    assert vouched(reader, far, label="exp") == pytest.approx(vouched(reader, far))


def test_small_figures_are_alike_by_chance(reader: Reader) -> None:
    by_value = []
    for value in (9.8, 10.0):
        c, (figure, other) = placed(reader, PAIR, (ONE, "found", value, None), (OTHER, "found", value, "bar"))
        by_value.append(kinship(c, figure, other))
    assert by_value[1] - by_value[0] == pytest.approx(0.6)


@pytest.mark.parametrize(
    ("words", "by"),
    [("went to", 1.5), ("down to", 1.5), ("up to", 1.5), ("close to", 0.0), ("beside a", 0.0)],
)
def test_what_a_value_has_come_to_is_of_its_unit(reader: Reader, words: str, by: float) -> None:
    text = "It was two hundred bar there, and {} two hundred and ten."
    found = vouched(reader, text.format(words)) - vouched(reader, text.format("by the"))
    assert found == pytest.approx(by)


@pytest.mark.parametrize(
    "text",
    [
        "It was two hundred bar there. It went to two hundred and ten.",  # of another sentence
        "It went to two hundred and ten there, it was two hundred bar.",  # not before it
    ],
)
def test_a_value_comes_from_one_before_it_in_its_sentence(reader: Reader, text: str) -> None:
    assert vouched(reader, text) == pytest.approx(vouched(reader, text.replace("went to", "was a")))


@pytest.mark.parametrize(("words", "kinds"), [(10, {"voltage": 0.3}), (24, {"voltage": 0.3}), (30, {})])
def test_what_the_talk_has_been_of(reader: Reader, words: int, kinds: dict[str, float]) -> None:
    text = f"The battery{' so' * words}. It was forty."
    c, (figure,) = placed(reader, text, ("forty", "found", 40, None))
    assert named_kinds(beside(c, figure)) == kinds


def test_the_score_of_a_unit_by_its_place_alone(reader: Reader) -> None:
    """Three for the nearness of the place named, one less where no figure is of the unit, and the size."""
    scores = {}
    for value in (12, 16):
        c, (figure,) = placed(reader, "The battery was forty.", ("forty", "found", value, None))
        scores[value] = unit_scores(c, figure, [figure])["V"]
    assert scores[16] == pytest.approx(3 * (1 - 2 * 0.06) - 1)
    assert scores[12] - scores[16] == pytest.approx(0.7)


def test_a_word_farther_off_names_less(reader: Reader) -> None:
    text = "The battery and the main relief were forty there by the pin."
    c, (figure,) = placed(reader, text, ("forty", "found", 40, None))
    kinds = named_kinds(beside(c, figure))
    assert set(kinds) == {"voltage", "pressure", "length"}
    assert kinds["pressure"] > kinds["voltage"] > kinds["length"]
    scores = unit_scores(c, figure, [figure])
    assert max(scores, key=lambda unit: scores[unit]) == "bar"
    assert set(scores) == {"bar", "V", "mm"}


def test_the_usual_unit_of_a_quantity_gives_way_to_one_that_was_told(reader: Reader) -> None:
    c, found = placed(
        reader,
        "The relief was three thousand psi, and the relief was four hundred.",
        ("three thousand psi", "found", 3000, "psi"),
        ("four hundred", "found", 400, None),
    )
    assert set(unit_scores(c, found[1], found)) == {"psi"}


def test_a_unit_that_the_figure_cannot_have_is_left_out(reader: Reader) -> None:
    c, (figure,) = placed(reader, "The battery was two thousand.", ("two thousand", "found", 2000, None))
    assert unit_scores(c, figure, [figure]) == {}


# -- a figure said twice at once, and one set to its specification ---

TWICE = [
    ("It made eleven, eleven psi.", 1),
    ("It made eleven, er, eleven psi.", 1),
    ("It made eleven here, eleven psi there.", 2),
    ("It made eleven psi, eleven psi there.", 2),
    ("It made ten, eleven psi.", 2),
]


@pytest.mark.parametrize(("text", "count"), TWICE)
def test_a_figure_said_twice_is_one(reader: Reader, text: str, count: int) -> None:
    c = context(reader, text)
    found = []
    for quantity in c.found.numbers:
        unit = "psi" if c.tokens[quantity.last + 1] == "psi" else None
        span = (quantity.first, quantity.last + (unit is not None))
        made = Marked(c.piece_of(span[0]), c.piece_of(span[1]), "value", "found", 0.9)
        found.append(Figure("found", quantity.value, None, unit, span, made))
    assert len(told_exactly(c, found)) == count


@pytest.mark.parametrize(
    ("label", "other", "value", "by"),
    [
        ("after", "exp", 0.45, 0.6),  # set to what it should be: of its unit, however small
        ("after", "exp", 0.4, 0.0),
        ("found", "exp", 0.45, 0.0),
        ("after", "found", 0.45, 0.0),
    ],
)
def test_what_is_set_to_its_specification_has_its_unit(
    reader: Reader, label: str, other: str, value: float, by: float
) -> None:
    def vouched_by(said: str, told: str, told_value: float) -> float:
        c, (figure, held) = placed(reader, PAIR, (ONE, said, 0.45, None), (OTHER, told, told_value, "bar"))
        return kinship(c, figure, held)

    assert vouched_by(label, other, value) - vouched_by("found", "found", 0.45) == pytest.approx(by)
