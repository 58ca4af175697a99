"""Readings: what was measured, where, found or after, and what it should have been."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import cast, get_args

from jobnotes.jobs import Job, Reading
from jobnotes.jobs.model import Quantity, Stage
from jobnotes.language.context import Context
from jobnotes.language.decode import Marked
from jobnotes.language.lexicon import load, sayings, word_set
from jobnotes.language.phrases import checked, measured
from jobnotes.language.quantities import TENTHS, quantity_of_unit
from jobnotes.language.segments import Segment
from jobnotes.language.text import short_form

MEASURED: frozenset[str] = frozenset(get_args(Quantity))
REACH = 22  # tokens within which a like figure vouches for a unit
# Words beside an expected figure that make it hold for several readings.
ALL_OF_THEM = frozenset("either both all each any apiece pair same".split())


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
        if label == "exp" and measured_elsewhere(c, first, last):
            label = "found"
        inside = [q for q in c.found.quantities if q.first <= last and q.last >= first]
        fitting = [q for q in inside if q.kind in MEASURED or q.kind in ("money", "size")]
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


def unit_by_words(c: Context, figure: Figure) -> str | None:
    """The unit that the words just before a bare figure imply: "soot's down to nine"."""
    first, _ = c.sentence(figure.span[0])
    for place in range(figure.span[0] - 1, max(first, figure.span[0] - 9) - 1, -1):
        for word, unit in load("units")["implied"].items():
            if c.tokens[place] == word:
                return str(unit)
    return None


def unit_by_place(c: Context, figure: Figure, found: list[Figure]) -> str | None:
    """The unit of an earlier figure that was measured at the same place, by the words before both."""

    def about(f: Figure) -> set[str]:
        first, _ = c.sentence(f.span[0])
        words = c.tokens[max(first, f.span[0] - 8) : f.span[0]]
        return {w for w in words if len(w) > 3 and w.isalpha()}

    mine = about(figure)
    for other in found:
        if other.unit is not None and other.span < figure.span and len(mine & about(other)) >= 2:
            return other.unit
    return None


def unit_by_size(figure: Figure, found: list[Figure]) -> str | None:
    """The unit of an earlier figure that it all but equals ("two hundred and six cold ... hot it's up at two
    hundred and eight"), where all such figures have one unit."""
    near = {
        o.unit
        for o in found
        if o.unit is not None
        and o.span < figure.span
        and abs(figure.value) >= 10
        and likely(figure, o, 0.92)
        and within(figure.value, o.unit)
    }
    return near.pop() if len(near) == 1 and figure.label == "after" else None


def unit_by_change(c: Context, figure: Figure, found: list[Figure]) -> str | None:
    """The unit of the figure before, for one that says what it came to ("eighty percent ... now down to six")."""
    before = " ".join(c.tokens[max(0, figure.span[0] - 2) : figure.span[0]])
    if before not in sayings("cues", "readings", "come_to"):
        return None
    begin, _ = c.sentence(figure.span[0])
    told = [o for o in found if o.unit is not None and begin <= o.span[0] < figure.span[0]]
    return told[-1].unit if told and within(figure.value, str(told[-1].unit)) else None


def unit_by_kind(c: Context, figure: Figure, found: list[Figure]) -> str | None:
    """The unit of what is measured at such a place: a battery has volts, a pin millimetres, a relief whatever
    pressures were given in."""
    first, _ = c.sentence(figure.span[0])
    words = set(c.tokens[max(first, figure.span[0] - 9) : figure.span[0]])
    words.update(c.tokens[figure.span[1] + 1 : figure.span[1] + 6])
    kinds: set[str] = {kind for kind, places in load("units")["places"].items() if words.intersection(places)}
    if len(kinds) != 1:
        return None
    kind = kinds.pop()
    given = [o.unit for o in found if o.unit is not None and quantity_of_unit().get(o.unit) == kind]
    unit = given[0] if given else load("units")["usual"].get(kind)
    return str(unit) if unit is not None and within(figure.value, str(unit)) else None


def carry_units(c: Context, found: list[Figure]) -> None:
    """Gives a figure without a unit that of the same place before, of what it names, or of its neighbours."""
    for n, figure in enumerate(found):
        if figure.unit is not None:
            continue
        figure.unit = (
            unit_by_size(figure, found)
            or unit_by_change(c, figure, found)
            or unit_by_place(c, figure, found)
            or unit_by_words(c, figure)
        )
        if figure.unit is not None and not any(
            o.unit
            and o.unit != figure.unit
            and abs(o.span[0] - figure.span[0]) < 9
            and o is not figure
            and likely(figure, o)
            for o in found
        ):
            if figure.tenths is not None and figure.unit == "V":
                figure.value = figure.tenths
            continue
        best: tuple[int, str] | None = None
        for m, other in enumerate(found):
            if other.unit is None or m == n or not within(figure.value, other.unit):
                continue
            distance = abs(other.span[0] - figure.span[0])
            if m > n:
                distance += 6  # what was said before is the likelier
            if likely(figure, other):
                distance -= 8
            if likely(figure, other, 0.85):
                distance -= 40  # what it is now stands near what it should be
            elif not likely(figure, other, 0.2):
                distance += 25
            if (distance < 60 or (m < n and likely(figure, other))) and (best is None or distance < best[0]):
                best = (distance, other.unit)
        unit = best[1] if best is not None else None
        figure.carried = not any(
            o.unit == unit
            and o is not figure
            and likely(figure, o, 0.5)
            and abs(o.span[0] - figure.span[0]) < REACH
            for o in found
        )
        if figure.carried:
            # no like figure near: what is measured there decides
            unit = unit_by_kind(c, figure, found) or unit
        if unit is not None:
            figure.unit = unit
            if figure.tenths is not None and unit in TENTHS and (unit == "V" or figure.value >= 100):
                near = [o.value for o in found if o.unit == unit and o is not figure]
                if unit == "V" or any(abs(figure.tenths - v) < abs(figure.value - v) for v in near):
                    figure.value = figure.tenths


def within(value: float, unit: str) -> bool:
    """Whether a figure can be of a unit at all, by the limits of units.toml."""
    low, high = load("units")["limits"].get(unit, (-math.inf, math.inf))
    return bool(low <= value <= high)


def likely(a: Figure, b: Figure, share: float = 0.4) -> bool:
    """Whether two figures are of one size: a specification stands near what it is held against."""
    low, high = sorted((abs(a.value), abs(b.value)))
    return high == 0 or low / high > share


def fill_readings(c: Context, segment: Segment, job: Job, base: str) -> None:
    """Writes job.readings with evidence."""
    found = figures(c, segment)
    carry_units(c, found)
    readings = [f for f in found if f.label in ("found", "after") and f.unit is not None]
    expected = expectations(c, found, readings)
    seen: set[tuple[float, str, str, str]] = set()
    for figure in readings:
        unit = figure.unit or ""
        kind = quantity_of_unit().get(unit, "")
        if kind not in MEASURED:
            continue
        at, at_span = place_of(c, segment, figure, found)
        if at is None:
            at = next((r.at for r in reversed(job.readings) if r.unit == unit and r.at), None)
        spec = expected.get(figure.span)
        wanted = spec.value if spec is not None else figure.value if as_specified(c, figure) else None
        key = (figure.value, unit, figure.label, at or "")
        if key in seen:
            continue
        seen.add(key)
        value, unit = sensible(figure.value, unit)
        reading = Reading(
            quantity=cast(Quantity, kind),
            at=at,
            value=value,
            unit=unit,
            stage=cast(Stage, figure.label),
            expected=wanted if figure.label == "found" else None,
        )
        place = f"{base}/readings/{len(job.readings)}"
        job.readings.append(reading)
        c.reading_spans[place] = figure.span
        heard = c.book.heard(*figure.span)
        sure = (0.4 + 0.6 * figure.mark.confidence) * (0.5 + 0.5 * heard) * (0.8 if figure.carried else 1.0)
        spans = [figure.span] + ([spec.span] if spec is not None and reading.expected is not None else [])
        spans += [at_span] if at_span else []
        c.book.put(place, spans, sure)


def sensible(value: float, unit: str) -> tuple[float, str]:
    """Units outside of the schema's list in its nearest one."""
    if unit == "cm":
        return value * 10, "mm"
    if unit == "ft":
        return value * 12, "in"
    return round(value, 6), unit


def as_specified(c: Context, figure: Figure) -> bool:
    """Whether the memo says that a figure is the specified one: "exactly what the book wants"."""
    _, end = c.sentence(figure.span[1])
    after = " ".join(c.tokens[figure.span[1] + 1 : min(end, figure.span[1] + 12) + 1])
    return any(cue in after for cue in sayings("cues", "readings", "as_specified"))


def check_of(c: Context, place: int) -> Marked | None:
    """The check span that holds a piece."""
    for mark in c.found.marks:
        if mark.group == "check" and mark.first <= place <= mark.last:
            return mark
    return None


def expectations(c: Context, found: list[Figure], readings: list[Figure]) -> dict[tuple[int, int], Figure]:
    """Tokens of a reading -> its expected figure: of the same unit, and near by. Readings of the same check
    or sentence come first, and of those the one before it."""
    out: dict[tuple[int, int], Figure] = {}
    for spec in found:
        if spec.label != "exp":
            continue
        check = check_of(c, spec.mark.first)
        sentence = c.sentence(spec.span[0])
        options: list[tuple[float, Figure]] = []
        for reading in readings:
            if spec.unit is not None and reading.unit != spec.unit:
                continue
            distance = float(abs(reading.span[0] - spec.span[0]))
            if reading.span[0] > spec.span[0]:
                distance += 5
            same_check = check is not None and check.first <= reading.mark.first <= check.last
            same_sentence = sentence[0] <= reading.span[0] <= sentence[1]
            if not same_check:
                distance += 12
            if not same_sentence:
                distance += 10
            if reading.label == "after":
                distance += 8
            if reading.span in out:
                distance += 15
            if distance < 55:
                options.append((distance, reading))
        if not options:
            continue
        _, nearest = min(options, key=lambda o: o[0])
        out.setdefault(nearest.span, spec)
        if ALL_OF_THEM & set(c.tokens[max(0, spec.span[0] - 6) : spec.span[1] + 8]):
            for reading in readings:
                near = abs(reading.span[0] - spec.span[0]) < 45 and reading.unit == nearest.unit
                if near and reading.label == "found" and reading.span not in out and likely(reading, spec):
                    out[reading.span] = spec
    return out


def place_of(
    c: Context, segment: Segment, figure: Figure, found: list[Figure]
) -> tuple[str | None, tuple[int, int] | None]:
    """Where or what was measured, with its tokens where they are known: the marked words nearest to the
    figure, else the short form of its check."""
    check = check_of(c, figure.mark.first)
    own = figure.mark.first
    others = [f.mark.first for f in found if f.label in ("found", "after") and f is not figure]
    best: tuple[float, Marked] | None = None
    for mark in c.marks(segment, "at"):
        if mark.last < own:
            distance = float(own - mark.last)
            between = sum(mark.last < o < own for o in others)
        elif mark.first > own:
            distance = float(mark.first - own) + 2
            between = sum(own < o < mark.first for o in others)
        else:
            distance, between = 0.0, 0
        distance += 7 * between
        if check is not None and not (check.first - 1 <= mark.first <= check.last):
            distance += 8
        if distance < 30 and (best is None or distance < best[0]):
            best = (distance, mark)
    pieces, keep = c.found.pieces, c.found.kept("check")
    if best is not None:
        mark = best[1]
        text = short_form(mark.first, mark.last, pieces, [1.0] * len(keep), c.words, c.found)
        alone = check is not None and sum(check.first <= o <= check.last for o in others) == 0
        if check is not None and alone and check.first - 2 <= mark.first <= check.last:
            fuller = checked(c, check)
            if text in fuller or len(text.split()) < 2 <= len(fuller.split()) <= 6:
                text = fuller
        if text:
            span = c.token_span(mark)
            return text, span
    if check is not None:
        dropped = frozenset(measured(c, check))
        chosen = [i for i in range(check.first, check.last + 1) if keep[i] >= 0.5 and i not in dropped]
        if chosen:
            text = short_form(check.first, check.last, pieces, keep, c.words, c.found, dropped)
            return text or None, None
    return None, None
