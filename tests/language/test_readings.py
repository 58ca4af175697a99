"""What was measured, found or after, against what; and figures that are no reading."""

from __future__ import annotations

import pytest
from memo_words import RECORDED_AT

from jobnotes.jobs import Job
from jobnotes.language import Reader, from_text
from jobnotes.language.readings import sensible


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
