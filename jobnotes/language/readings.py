"""Readings: what was measured, where, found or after, and what it should have been."""

from __future__ import annotations

import math
import re
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
FARTHER = 28  # tokens before a figure that still tell what the talk is of
REACH = 22  # tokens within which a like figure vouches for a unit
VERY_SURE_FIT = 4.0  # without such a figure
LEAST_FIT, SURE_FIT = -0.5, 2.5  # a unit that fits a bare figure less is left out, or makes it a doubtful one
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
        if before is not None and figure.span[0] - before.span[1] <= 5 and likely(figure, before, 0.8):
            between = set(c.tokens[before.span[1] + 1 : figure.span[0]])
            rough = word_set("cues", "readings", "rough") & set(
                c.tokens[max(0, before.span[0] - 3) : before.span[0]]
            )
            if rough and between <= word_set("cues", "readings", "between_anew"):
                figure.label, figure.unit = before.label, figure.unit or before.unit
                out[-1] = figure
                continue
        out.append(figure)
    return out


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
        score = max((near for implied, near in words.implied.items() if implied == unit), default=0.0) * 7
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
    if likely(figure, other, 0.92) and abs(figure.value) >= 10:
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


def likely(a: Figure, b: Figure, share: float = 0.4) -> bool:
    """Whether two figures are of one size: a specification stands near what it is held against."""
    low, high = sorted((abs(a.value), abs(b.value)))
    return high == 0 or low / high > share


def fill_readings(c: Context, segment: Segment, job: Job, base: str) -> None:
    """Writes job.readings with evidence."""
    found = told_exactly(c, figures(c, segment))
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
        at = full_place(job, at, unit)
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


def full_place(job: Job, at: str | None, unit: str) -> str | None:
    """A place that names one: a side alone ("right") is of what was measured last, and where nothing but
    the measure is named ("hertz") a generator is measured at its output (common practice). None where
    nothing is left."""
    if at is None:
        return None
    words = re.findall(r"[a-z]+", at.lower())
    sides, measures = word_set("cues", "readings", "sides"), word_set("cues", "readings", "measures")
    if words and measures.issuperset(words):
        supply = unit in ("Hz", "V", "A") and job.machine.type in word_set("machines", "supplies", "say")
        return "output" if supply else None
    if words and sides.issuperset(words):
        before = next((r.at for r in reversed(job.readings) if r.unit == unit and r.at), None)
        thing = [w for w in (before or "").replace("-", " ").split() if w.lower() not in sides]
        return f"{at} {' '.join(thing)}" if thing and len(thing) <= 4 else at
    return at


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
