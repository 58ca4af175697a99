"""Readings: what was measured, where, found or after, and what it should have been."""

from __future__ import annotations

import re
from typing import cast

from jobnotes.jobs import Job, Reading
from jobnotes.jobs.model import Quantity, Stage
from jobnotes.language.bare_units import carry_units, check_of
from jobnotes.language.context import Context
from jobnotes.language.decode import Marked
from jobnotes.language.figures import MEASURED, Figure, figures, likely, told_exactly
from jobnotes.language.lexicon import sayings, word_set
from jobnotes.language.phrases import checked, measured
from jobnotes.language.quantities import quantity_of_unit
from jobnotes.language.segments import Segment
from jobnotes.language.text import short_form

# Words beside an expected figure that make it hold for several readings.
ALL_OF_THEM = frozenset("either both all each any apiece pair same".split())


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
            c.book.told_again.append(figure.span)
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
        sure = (0.4 + 0.6 * figure.mark.confidence) * (0.7 + 0.3 * heard) * (0.8 if figure.carried else 1.0)
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
