"""The unit of a figure that was said without one, weighed by what stands round it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from jobnotes.language.context import Context
from jobnotes.language.decode import Marked
from jobnotes.language.figures import Figure, likely
from jobnotes.language.lexicon import load, sayings
from jobnotes.language.quantities import TENTHS, quantity_of_unit

FARTHER = 28  # tokens before a figure that still tell what the talk is of
REACH = 22  # tokens within which a like figure vouches for a unit
VERY_SURE_FIT = 4.0  # without such a figure
LEAST_FIT, SURE_FIT = -0.5, 2.5  # a unit that fits a bare figure less is left out, or makes it a doubtful one


def unit_scores(c: Context, figure: Figure, found: list[Figure]) -> dict[str, float]:
    """How well each unit fits a bare figure: by the words beside it (a battery has volts, a pin
    millimetres), by the figures beside it, and by their size. The units are those of the job's other
    figures and of what is named."""
    words = beside(c, figure)
    kinds = named_kinds(words)
    told = [o for o in found if o.unit is not None and o is not figure]
    usual = {k: u for k, u in load("units")["usual"].items() if k in kinds}
    given = {quantity_of_unit().get(str(o.unit)) for o in told}
    units = {str(o.unit) for o in told} | {str(u) for u in words.implied}
    units |= {u for k, u in usual.items() if k not in given}
    out: dict[str, float] = {}
    for unit in units:
        if not within(figure.value, unit):
            continue
        kind = quantity_of_unit().get(unit, "")
        score = 7 * words.implied.get(unit, 0.0)
        score += 3 * kinds.get(kind, 0.0) - 1.2 * max((v for k, v in kinds.items() if k != kind), default=0.0)
        score += max((kinship(c, figure, o) for o in told if o.unit == unit), default=-1.0)
        out[unit] = score + typical(figure.value, unit)
    return out


def typical(value: float, unit: str) -> float:
    """A little for a value of the size that plant shows in this unit, by units.toml; something against a
    unit in which readings are seldom given."""
    for low, high in load("units")["typical"].get(unit, []):
        if low <= value <= high:
            return 0.7
    return -1.5 if unit in load("units")["seldom"]["units"] else 0.0


@dataclass
class Beside:
    """The words round a figure in its sentence, nearest first, and the units they imply, each with its
    weight."""

    near: list[tuple[str, float]]
    implied: dict[str, float]


def beside(c: Context, figure: Figure) -> Beside:
    """The nine words before a figure and the five after it; one farther off weighs less."""
    begin, end = c.sentence(figure.span[0])
    near: list[tuple[str, float]] = []
    for place in range(figure.span[0] - 1, max(begin, figure.span[0] - 9) - 1, -1):
        near.append((c.tokens[place], 1.0 - 0.06 * (figure.span[0] - place)))
    for place in range(figure.span[1] + 1, min(end, figure.span[1] + 5) + 1):
        near.append((c.tokens[place], 0.7 - 0.06 * (place - figure.span[1])))
    for place in range(max(0, figure.span[0] - FARTHER), max(begin, figure.span[0] - 9)):
        near.append(
            (c.tokens[place], 0.3)
        )  # what the talk has been of, where the sentence itself names nothing
    implied: dict[str, float] = {}
    said_with = {c.tokens[i] for q in c.found.quantities for i in range(q.number.last + 1, q.last + 1)}
    for word, weight in near:
        unit = None if word in said_with else load("units")["implied"].get(word)
        if unit is not None:
            implied.setdefault(str(unit), weight)
    return Beside(near, implied)


def named_kinds(words: Beside) -> dict[str, float]:
    """Quantity -> how near a word stands that names a place where it is measured."""
    out: dict[str, float] = {}
    for kind, places in load("units")["places"].items():
        weights = [weight for word, weight in words.near if word in places]
        if weights:
            out[kind] = max(weights)
    near = {kind: weight for kind, weight in out.items() if weight > 0.3}
    return near or out


def kinship(c: Context, figure: Figure, other: Figure) -> float:
    """How much another figure, whose unit is known, vouches for it here: near by, of one check or
    sentence, of one size, a specification beside what is held against it, what a value has come to."""
    distance = abs(other.span[0] - figure.span[0])
    before = other.span < figure.span
    score = 2.2 * math.exp(-(distance + (0 if before else 6)) / 18)
    check = check_of(c, figure.mark.first)
    begin, end = c.sentence(figure.span[0])
    if check is not None and check.first <= other.mark.first <= check.last:
        score += 1.0
    elif begin <= other.span[0] <= end:
        score += 0.5
    if figure.label == "exp" and before and distance < 14:
        score += 1.5
    set_to_it = (figure.label, other.label) == ("after", "exp") and figure.value == other.value
    if set_to_it or (likely(figure, other, 0.92) and abs(figure.value) >= 10):
        score += 2.0
    elif likely(figure, other, 0.8):
        score += 1.4
    elif likely(figure, other, 0.4):
        score += 0.7
    elif not likely(figure, other, 0.15):
        score -= 0.8
    came_to = " ".join(c.tokens[max(0, figure.span[0] - 2) : figure.span[0]])
    if before and begin <= other.span[0] and came_to in sayings("cues", "readings", "come_to"):
        score += 1.5
    return score - (0.6 if other.carried else 0.0)


def carry_units(c: Context, found: list[Figure]) -> None:
    """Gives each figure that was said without a unit the one that fits best, where one fits at all."""
    for figure in found:
        if figure.unit is not None:
            continue
        scores = sorted(
            ((score, unit) for unit, score in unit_scores(c, figure, found).items()), reverse=True
        )
        if not scores or scores[0][0] < LEAST_FIT:
            continue
        best, figure.unit = scores[0]
        vouched = any(
            o.unit == figure.unit
            and o is not figure
            and abs(o.span[0] - figure.span[0]) < REACH
            and likely(figure, o, 0.5)
            for o in found
        )
        doubtful = best < SURE_FIT or (len(scores) > 1 and best - scores[1][0] < 0.8)
        figure.carried = doubtful or (not vouched and best < VERY_SURE_FIT)
        if (
            figure.tenths is not None
            and figure.unit in TENTHS
            and (figure.unit == "V" or figure.value >= 100)
        ):
            near = [o.value for o in found if o.unit == figure.unit and o is not figure]
            if figure.unit == "V" or any(abs(figure.tenths - v) < abs(figure.value - v) for v in near):
                figure.value = figure.tenths


def within(value: float, unit: str) -> bool:
    """Whether a figure can be of a unit at all, by the limits of units.toml."""
    low, high = load("units")["limits"].get(unit, (-math.inf, math.inf))
    return bool(low <= value <= high)


def check_of(c: Context, place: int) -> Marked | None:
    """The check span that holds a piece."""
    for mark in c.found.marks:
        if mark.group == "check" and mark.first <= place <= mark.last:
            return mark
    return None
