"""Charts as inline SVG: figures over time, what is specified drawn in. Every figure stands in a table beside
the chart too, so the chart is a picture with a name. Shapes carry the meaning, never colour alone."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, timedelta

from markupsafe import Markup

from jobnotes.desk.machine_story import Point
from jobnotes.paper import words

WIDTH, HEIGHT = 640, 250
LEFT, RIGHT, TOP, BOTTOM = 72, 24, 32, 34
BAR, BARS_LEFT, BARS_WIDE = 26, 130, 400
STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)


def over_time(title: str, unit: str, points: Sequence[Point], *, from_nought: bool = False) -> Markup:
    """The points, the oldest first, joined by a line; as found hollow, after work filled; what was expected
    as a dashed line. `title` names the picture. Needs at least one point."""
    days = [date.fromisoformat(point.day) for point in points]
    first, last = min(days), max(days)
    if first == last:
        first, last = first - timedelta(days=7), last + timedelta(days=7)
    figures = [point.value for point in points]
    figures += [point.expected for point in points if point.expected is not None]
    low, high, step = _scale(min(figures + ([0.0] if from_nought else [])), max(figures))

    def across(day: date) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * ((day - first).days / max(1, (last - first).days))

    def up(value: float) -> float:
        return HEIGHT - BOTTOM - (HEIGHT - TOP - BOTTOM) * ((value - low) / (high - low))

    pieces = [Markup('<g class="grid">')]
    value = low
    while value <= high + step / 2:
        y = up(value)
        pieces.append(Markup('<path d="M{} {:.1f}H{}"/>').format(LEFT, y, WIDTH - RIGHT))
        pieces.append(
            Markup('<text x="{}" y="{:.1f}" text-anchor="end">{}</text>').format(
                LEFT - 8, y + 4, _figure(value, step)
            )
        )
        value += step
    pieces.append(Markup("</g>"))
    pieces.append(Markup('<text class="of" x="{}" y="{}">{}</text>').format(LEFT, 18, unit))
    pieces += _dates(first, last, across)
    pieces += _expected(points, days, across, up, unit)
    # From each visit to the next: what was left, then what was found, so that one sees it go and come back.
    line = " ".join(f"{across(day):.1f},{up(point.value):.1f}" for day, point in _in_turn(days, points))
    pieces.append(Markup('<polyline class="line" points="{}"/>').format(line))
    for day, point in zip(days, points, strict=True):
        x, y = across(day), up(point.value)
        if point.stage == "found":
            pieces.append(Markup('<circle class="found" cx="{:.1f}" cy="{:.1f}" r="5"/>').format(x, y))
        else:
            pieces.append(
                Markup('<rect class="after" x="{:.1f}" y="{:.1f}" width="9" height="9"/>').format(
                    x - 4.5, y - 4.5
                )
            )
    return Markup(
        '<svg class="chart" viewBox="0 0 {} {}" role="img" aria-label="{}" focusable="false">{}</svg>'
    ).format(WIDTH, HEIGHT, title, Markup("").join(pieces))


def _in_turn(days: Sequence[date], points: Sequence[Point]) -> list[tuple[date, Point]]:
    """The first as found and the last after work of each day, in turn."""
    turns: list[tuple[date, Point]] = []
    for day in dict.fromkeys(days):
        of_day = [point for at, point in zip(days, points, strict=True) if at == day]
        found = [point for point in of_day if point.stage == "found"]
        after = [point for point in of_day if point.stage != "found"]
        turns += [(day, point) for point in (*found[:1], *after[-1:])]
    return turns


def _expected(
    points: Sequence[Point], days: Sequence[date], across: object, up: object, unit: str
) -> list[Markup]:
    """What was expected, as a dashed step from each point that says so to the next."""
    assert callable(across) and callable(up)
    said = [
        (day, point.expected) for day, point in zip(days, points, strict=True) if point.expected is not None
    ]
    if not said:
        return []
    values = dict.fromkeys(value for _, value in said)
    if len(values) == 1:
        y = up(said[0][1])
        path = f"M{LEFT} {y:.1f}H{WIDTH - RIGHT}"
    else:
        path = f"M{across(said[0][0]):.1f} {up(said[0][1]):.1f}"
        for day, value in said[1:]:
            path += f"H{across(day):.1f}V{up(value):.1f}"
        path += f"H{WIDTH - RIGHT}"
    # The words stand above the picture, where no figure can lie on them.
    return [
        Markup('<path class="spec" d="{}"/>').format(path),
        Markup('<text class="of" x="{}" y="18" text-anchor="end">specified {} {} (dashed)</text>').format(
            WIDTH - RIGHT, words.number(said[-1][1]), unit
        ),
    ]


def _dates(first: date, last: date, across: object) -> list[Markup]:
    assert callable(across)
    span = (last - first).days
    count = 4 if span > 3 else 2
    shown = []
    for place in range(count):
        day = first + timedelta(days=round(span * place / (count - 1)))
        anchor = "start" if place == 0 else "end" if place == count - 1 else "middle"
        text = f"{day.day} {words.MONTHS[day.month - 1][:3]} {day.year}"
        shown.append(
            Markup('<text class="{}" x="{:.1f}" y="{}" text-anchor="{}">{}</text>').format(
                "between" if anchor == "middle" else "end", across(day), HEIGHT - 10, anchor, text
            )
        )
    return shown


def _scale(low: float, high: float) -> tuple[float, float, float]:
    """The ends and the step of an axis on which both figures stand, in round numbers."""
    if not math.isfinite(low) or not math.isfinite(high):
        return 0.0, 1.0, 0.25
    if low == high:
        pad = abs(low) * 0.1 or 1.0
        low, high = low - pad, high + pad
    rough = (high - low) / 4
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(each * power for each in STEPS if each * power >= rough * 0.999)
    return math.floor(low / step) * step, math.ceil(high / step) * step, step


def _figure(value: float, step: float) -> str:
    places = max(0, -math.floor(math.log10(step))) + (1 if f"{step:e}".startswith("2.5") else 0)
    text = f"{value:,.{places}f}"
    return (
        f"{value:.3g}"
        if len(text) > 9
        else text.replace("-0", "0")
        if float(text.replace(",", "")) == 0
        else text
    )


def bars(title: str, rows: Sequence[tuple[str, float]], *, unit: str = "", figure: str = ",.0f") -> Markup:
    """Bars lying beside their names, the figure at the end of each. `title` names the picture; `figure` is
    how a figure is written. Needs at least one row; none below nought is drawn."""
    top = max((value for _, value in rows), default=0.0)
    height = BAR * len(rows) + 8
    pieces = []
    for place, (name, value) in enumerate(rows):
        y = 4 + place * BAR
        wide = BARS_WIDE * max(0.0, value) / top if top > 0 else 0.0
        text = f"{value:{figure}} {unit}".strip()
        pieces.append(
            Markup('<text class="of" x="{}" y="{}" text-anchor="end">{}</text>').format(
                BARS_LEFT - 8, y + 17, name if len(name) <= 16 else f"{name[:15]}…"
            )
        )
        pieces.append(
            Markup('<rect class="bar" x="{}" y="{}" width="{:.1f}" height="{}"/>').format(
                BARS_LEFT, y + 3, max(wide, 1.0), BAR - 8
            )
        )
        pieces.append(
            Markup('<text x="{:.1f}" y="{}">{}</text>').format(BARS_LEFT + max(wide, 1.0) + 7, y + 17, text)
        )
    return Markup(
        '<svg class="chart bars" viewBox="0 0 {} {}" role="img" aria-label="{}" focusable="false">{}</svg>'
    ).format(WIDTH, height, title, Markup("").join(pieces))
