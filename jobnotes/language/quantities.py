"""A number with its unit: 250 bar, twelve point six volts, an inch and five-eighths, nought point eight of a
litre a minute."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from jobnotes.language.lexicon import load
from jobnotes.language.numbers import GLYPHS, GROUPS, Number, NumberReader


@dataclass(frozen=True)
class Quantity:
    """Tokens `first` to `last` say `value` in `unit` (a symbol of units.toml). `kind` is the quantity it
    measures.

    `number` is the number's part. Where a unit belongs to several kinds (a metre of hose, a 10 m lift) the
    first is given.
    """

    first: int
    last: int
    value: float
    unit: str
    kind: str
    number: Number


@cache
def unit_phrases() -> dict[str, list[tuple[tuple[str, ...], str, str]]]:
    """First word -> [(all its words, symbol, quantity)], longest first."""
    phrases: dict[str, list[tuple[tuple[str, ...], str, str]]] = {}
    for unit in load("units")["unit"]:
        for say in unit["say"]:
            words = tuple(say.split())
            phrases.setdefault(words[0], []).append((words, unit["symbol"], unit["quantity"]))
    for entries in phrases.values():
        entries.sort(key=lambda e: -len(e[0]))
    return phrases


@cache
def quantity_of_unit() -> dict[str, str]:
    """Symbol -> quantity, for the units that measure something."""
    out: dict[str, str] = {}
    for unit in load("units")["unit"]:
        out.setdefault(unit["symbol"], unit["quantity"])
    return out


def unit_at(tokens: Sequence[str], place: int) -> tuple[int, str, str] | None:
    """(last place, symbol, quantity) of the longest unit phrase at `place`, or None."""
    if place >= len(tokens):
        return None
    for words, symbol, quantity in unit_phrases().get(tokens[place], ()):
        if tuple(tokens[place : place + len(words)]) == words:
            return place + len(words) - 1, symbol, quantity
    return None


def quantities(tokens: Sequence[str], numbers: Sequence[Number]) -> list[Quantity]:
    """All numbers that carry a unit, and the units that stand for one ("an inch and a half")."""
    found: list[Quantity] = []
    taken: set[int] = set()
    reader = NumberReader()
    for number in numbers:
        place = number.last + 1
        if tokens[place : place + 1] == ["-"]:
            place += 1
        if tokens[place : place + 2] == ["or", "so"] or tokens[place : place + 3] == [",", "or", "so"]:
            place = tokens.index("so", place) + 1
            place += tokens[place : place + 1] == [","]
        if (
            number.last > number.first
            and tokens[number.last] in GROUPS
            and tokens[place : place + 1] == ["of"]
        ):
            place += 1  # a couple of litres
        if tokens[place : place + 2] == ["a", "bar"]:
            place += 1
        if (
            tokens[place : place + 1] in (["a"], ["an"], ["the"])
            and number.value < 1
            and unit_at(tokens, place + 1)
        ):
            place += 1  # half a bar, half an inch; a recogniser's 0.6 the mil
        if (
            tokens[place : place + 2] in (["of", "a"], ["of", "an"])
            and number.value < 10
            and unit_at(tokens, place + 2)
            and unit_at(tokens, place) is None
        ):
            place += 2  # nought point nine of a bar, four hundredths of an inch
        unit = unit_at(tokens, place)
        if unit is None:
            unit = _unit_before(tokens, number)
        if unit is None:
            continue
        last, symbol, kind = unit
        value = number.value
        if number.tenths is not None and symbol in TENTHS and (symbol == "V" or number.value >= 100):
            value = number.tenths  # twelve six volts
        # a measure such as "two metres fifty" or "inch and five-eighths" said round the unit
        rest = _fraction_after(tokens, last, reader) if value == int(value) else None
        if rest is not None:
            value, last = value + rest[0], rest[1]
        found.append(Quantity(number.first, max(last, number.last), value, symbol, kind, number))
        taken.update(range(number.first, last + 1))
    for place, word in enumerate(tokens):
        if place in taken or word not in ONES:
            continue
        if place + 1 in taken:
            continue
        article = place > 0 and tokens[place - 1] in ("an", "a", "one")
        rest = _fraction_after(tokens, place, reader)
        if not article and not (rest and word in WITH_SHARE):
            continue
        if article and place - 1 in taken:
            continue
        if article and word == "bar":
            continue
        unit = unit_at(tokens, place)
        if unit is None or (place > 1 and tokens[place - 2] in ("litres", "revs", "litre")):
            continue
        last, symbol, kind = unit
        value = 1.0
        first = place - article
        if rest is not None:
            value, last = 1.0 + rest[0], max(last, rest[1])
        number = Number(first, last, value)
        found.append(Quantity(first, last, value, symbol, kind, number))
    found.sort(key=lambda q: q.first)
    return found


def _unit_before(tokens: Sequence[str], number: Number) -> tuple[int, str, str] | None:
    "hertz forty-eight; volts, two thirty: a unit that heads a list, no number before it."
    place = number.first - 1
    while place >= 0 and tokens[place] in (",", ":", "is", "was", "at", "were", "-"):
        place -= 1
    if (
        place < 0
        or tokens[place] not in ("hertz", "volts", "amps", "revs", "rpm", "psi", "ohms")
        or number.plain
    ):
        return None
    if place and NumberReader().find(list(tokens[max(0, place - 3) : place])):
        return None
    unit = unit_at(tokens, place)
    return None if unit is None else (number.last, unit[1], unit[2])


# Units that stand for one of them ("an inch"), and those of which a share may follow ("metre and a half").
ONES = frozenset("inch litre liter bar millimetre mile metre meter".split())
WITH_SHARE = frozenset("inch metre meter litre".split())
TENTHS = {"V", "bar", "A", "mm", "ohm", "%", "degC", "L/min", "MPa", "kohm", "Hz", "in", "L"}


def _fraction_after(tokens: Sequence[str], last: int, reader: NumberReader) -> tuple[float, int] | None:
    "inch AND A HALF: the share and its last place."
    if tokens[last + 1 : last + 2] == ["and"] and last + 2 < len(tokens):
        share = reader._share(tokens, last + 2)
        if share and share[0] < 1:
            after = tokens[share[1] + 1] if share[1] + 1 < len(tokens) else ""
            if after not in ("to", "past"):
                return share
    if last + 1 < len(tokens) and tokens[last + 1] in GLYPHS:
        return GLYPHS[tokens[last + 1]], last + 1
    return None
