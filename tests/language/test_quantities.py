"""Numbers with their units, and words that only look like a unit."""

from __future__ import annotations

import pytest
from memo_words import words

from jobnotes.language.lexicon import load
from jobnotes.language.numbers import NumberReader
from jobnotes.language.quantities import Quantity, quantities, quantity_of_unit, unit_at


def found(text: str) -> list[Quantity]:
    tokens = words(text).tokens
    return quantities(tokens, NumberReader().find(tokens))


TAKEN = [
    ("two hundred and fifty bar", 250, "bar"),
    ("two fifty bar", 250, "bar"),
    ("250 bar", 250, "bar"),
    ("250bar", 250, "bar"),
    ("three thousand psi", 3000, "psi"),
    ("3,000 P S I", 3000, "psi"),
    ("thirty-five pounds per square inch", 35, "psi"),
    ("forty pounds pressure", 40, "psi"),
    ("18 PS", 18, "psi"),  # as a recogniser writes it before "in it"
    ("6 p.s.i.", 6, "psi"),
    ("0.6 the mil", 0.6, "mm"),
    ("a meter and a quarter", 1.25, "m"),
    ("12 and 5-16 inches", 12.3125, "in"),
    ("two hundred and fifty kPa", 250, "kPa"),
    ("twenty-five MPa", 25, "MPa"),
    ("twelve six volts", 12.6, "V"),
    ("12.6V", 12.6, "V"),
    ("24 V", 24, "V"),
    ("two thirty volts", 230, "V"),
    ("volts, two thirty", 230, "V"),
    ("point two of a volt", 0.2, "V"),
    ("fifty millivolts", 50, "mV"),
    ("fourteen amps", 14, "A"),
    ("four milliamps", 4, "mA"),
    ("sixty ohms", 60, "ohm"),
    ("two kilohms", 2, "kohm"),
    ("five megs", 5, "Mohm"),
    ("ninety degrees", 90, "degC"),
    ("minus four degrees", -4, "degC"),
    ("it's at -4 degrees", -4, "degC"),
    ("twelve mil", 12, "mm"),
    ("fifteen thou", 15, "thou"),
    ("four thousandths of an inch", 4, "thou"),
    ("an inch and five-eighths", 1.625, "in"),
    ("half an inch", 0.5, "in"),
    ("half-inch", 0.5, "in"),
    ("three metres", 3, "m"),
    ("a litre and a half", 1.5, "L"),
    ("half a litre", 0.5, "L"),
    ("a couple of litres", 2, "L"),
    ("20 litre drum", 20, "L"),
    ("nought point eight of a litre a minute", 0.8, "L/min"),
    ("twelve litres a minute", 12, "L/min"),
    ("eighteen hundred rpm", 1800, "rpm"),
    ("1,800 revs", 1800, "rpm"),
    ("three hundred newton metres", 300, "N*m"),
    ("sixty foot pounds", 60, "lbf*ft"),
    ("fifty hertz", 50, "Hz"),
    ("hertz forty-eight", 48, "Hz"),
    ("80%", 80, "%"),
    ("forty per cent", 40, "%"),
    ("five kilos", 5, "kg"),
    ("two hundred and fifty, or so, bar", 250, "bar"),
    ("two hundred and fifty or so bar", 250, "bar"),
    ("half a bar", 0.5, "bar"),
    ("a 12-volt supply", 12, "V"),
]


@pytest.mark.parametrize(("said", "value", "unit"), TAKEN)
def test_a_value_with_its_unit(said: str, value: float, unit: str) -> None:
    (quantity,) = found(said)
    assert (quantity.value, quantity.unit) == (pytest.approx(value), unit)
    assert quantity.kind == quantity_of_unit()[unit]


NO_READING = [  # a number and a unit, but nothing that was measured on a machine
    ("six thousand two hundred hours", "time"),
    ("two hundred and fifty hour service", "time"),
    ("forty minutes", "time"),
    ("thirty miles", "distance"),
    ("30 km", "distance"),
    ("two hundred quid", "money"),
    ("three pounds", "money"),
    ("fourteen tonner", "size"),
    ("sixty kVA", "size"),
    ("nineteen foot", "size"),
]


@pytest.mark.parametrize(("said", "kind"), NO_READING)
def test_what_is_no_reading_says_so(said: str, kind: str) -> None:
    (quantity,) = found(said)
    assert quantity.kind == kind


NOT_TAKEN = [
    "the bar is bent",
    "a bar",
    "tow bar",
    "one of the bars",
    "two tow bars",
    "V belt",
    "V8 engine",
    "five off",
    "four of them",
    "two bolts",
    "one and a half turns",
    "four wheel drive",
    "two wire hose",
    "two-wire hose",
    "three phase",
    "thirty two grade oil",
    "46 hydraulic oil",
    "wait a minute",
    "a minute or so",
    "fifty-fifty",
    "50:50",
    "half way",
    "three sixty",
    "twelve six at the battery",  # its unit is carried from another figure, not here
    "pounds, inches and metres",
    "the volt drop",
]


@pytest.mark.parametrize("said", NOT_TAKEN)
def test_no_quantity(said: str) -> None:
    assert found(said) == []


def test_a_range_gives_its_end_alone() -> None:
    (quantity,) = found("ten to twelve bar")
    assert quantity.value == 12


def test_two_in_one_breath() -> None:
    assert [(q.value, q.unit) for q in found("two hundred and ten bar at fifteen hundred revs")] == [
        (210, "bar"),
        (1500, "rpm"),
    ]


def test_every_unit_phrase_of_the_lexicon_is_read_after_a_number() -> None:
    """The longest phrase wins, so each is read to its last word, as some symbol of the lexicon."""
    for unit in load("units")["unit"]:
        for phrase in unit["say"]:
            tokens = ["five", *phrase.split()]
            read = unit_at(tokens, 1)
            assert read is not None, phrase
            assert read[0] == len(tokens) - 1, phrase
            assert read[1] in quantity_of_unit()
