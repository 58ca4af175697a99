"""The figures of a job that are readings or specifications, as they were said."""

from __future__ import annotations

from dataclasses import dataclass
from typing import get_args

from jobnotes.jobs.model import Quantity
from jobnotes.language.context import Context
from jobnotes.language.decode import Marked
from jobnotes.language.lexicon import word_set
from jobnotes.language.segments import Segment
from jobnotes.language.tokens import FILLERS

MEASURED: frozenset[str] = frozenset(get_args(Quantity))


@dataclass
class Figure:
    """A figure that the clause reader marked found, after or exp(ected), in a unit of units.toml, None where
    none was said. `tenths` is the other reading of a pair ("twelve six"), `span` its tokens."""

    label: str
    value: float
    tenths: float | None
    unit: str | None
    span: tuple[int, int]
    mark: Marked
    carried: bool = False  # the unit was not said with it, and no like figure stands near


def figures(c: Context, segment: Segment) -> list[Figure]:
    """All figures marked found, after or expected, in order."""
    out: list[Figure] = []
    done = c.marks(segment, "work") or c.marks(segment, "part", "fitted")
    for mark in c.marks(segment, "value", "found", "after", "exp"):
        first, last = c.token_span(mark)
        if any(
            m.group == "part"
            and m.first <= mark.first
            and mark.last <= m.last
            and m.confidence > mark.confidence - 0.3
            for m in c.found.marks
        ):
            continue  # a size of a part
        label = mark.label
        if label == "after" and not done and not word_set("cues", "readings", "by_now") & set(c.tokens):
            label = "found"  # nothing was done that it could be after
        if said_anew(c, last):
            continue
        if label == "exp" and measured_elsewhere(c, first, last):
            label = "found"
        inside = [q for q in c.found.quantities if q.first <= last and q.last >= first]
        fitting = [q for q in inside if q.kind in MEASURED or q.kind in ("money", "size")]
        if fitting and fitting[-1].kind == "money" and c.tokens[fitting[-1].last] not in ("pound", "pounds"):
            continue
        if fitting:
            q = fitting[-1]
            unit = "psi" if q.unit == "GBP" else q.unit
            out.append(Figure(label, q.value, q.number.tenths, unit, (q.first, q.last), mark))
            continue
        if inside and inside[0].kind in ("time", "distance"):
            continue
        numbers = [n for n in c.found.numbers if n.first <= last and n.last >= first]
        if not numbers:
            numbers = c.numbers_in(first, last)
        if numbers and not c.codes_in(numbers[-1].first, numbers[-1].last):
            n = numbers[-1]
            out.append(Figure(label, n.value, n.tenths, None, (n.first, n.last), mark))
    return out


def told_exactly(c: Context, found: list[Figure]) -> list[Figure]:
    """The figures without those that the speaker gives roughly and then exactly at once: "about a hundred
    bar, a hundred and four if you read it properly" is one reading of 104 bar."""
    out: list[Figure] = []
    for figure in found:
        before = out[-1] if out else None
        if before is not None and said_twice(c, before, figure):
            c.book.told_again.append(before.span)
            figure.label, figure.unit = before.label, figure.unit or before.unit
            out[-1] = figure
            continue
        if before is not None and figure.span[0] - before.span[1] <= 5 and likely(figure, before, 0.8):
            between = set(c.tokens[before.span[1] + 1 : figure.span[0]])
            rough = word_set("cues", "readings", "rough") & set(
                c.tokens[max(0, before.span[0] - 3) : before.span[0]]
            )
            if rough and between <= word_set("cues", "readings", "between_anew"):
                c.book.told_again.append(before.span)
                figure.label, figure.unit = before.label, figure.unit or before.unit
                out[-1] = figure
                continue
        out.append(figure)
    return out


def said_twice(c: Context, before: Figure, figure: Figure) -> bool:
    """Whether a figure without a unit is said again at once, with one or without: "eleven, eleven psi"."""
    between = c.tokens[before.span[1] + 1 : figure.span[0]]
    hesitation = FILLERS | {",", "-"}
    return before.unit is None and before.value == figure.value and hesitation.issuperset(between)


def said_anew(c: Context, last: int) -> bool:
    """Whether a figure is put right at once by another: "a hundred, no, a hundred and four bar". Nothing
    but words of taking back, and of hesitation, stands between the two."""
    taken_back, between = False, word_set("cues", "readings", "between_anew")
    for place in range(last + 1, min(last + 9, len(c.tokens))):
        word = c.tokens[place]
        taken_back = taken_back or word in word_set("cues", "road", "taken_back")
        if any(n.first == place for n in c.found.numbers):
            return taken_back
        if word not in between:
            return False
    return False


def measured_elsewhere(c: Context, first: int, last: int) -> bool:
    """Whether a figure taken for a specification is a second reading: followed by its place
    ("twelve two at the starter"), and no word of a specification near."""
    begin, end = c.sentence(first)
    near = c.tokens[max(begin, first - 7) : min(end, last + 7) + 1]
    if word_set("cues", "readings", "specification").intersection(near):
        return False
    after = c.tokens[last + 1 : last + 3]
    return bool(after) and (
        after[0] in ("at", "on", "across") or after == ["coming", "out"] or after == ["going", "in"]
    )


def likely(a: Figure, b: Figure, share: float = 0.4) -> bool:
    """Whether two figures are of one size: a specification stands near what it is held against."""
    low, high = sorted((abs(a.value), abs(b.value)))
    return high == 0 or low / high > share
