"""Signatures drawn with a finger or a pen: lists of points that the paper draws itself.

A picture from outside never enters a sheet. What is signed is the line that the hand drew, as whole numbers.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Any

from markupsafe import Markup

from jobnotes.errors import JobnotesError

Strokes = list[list[list[int]]]
"""Strokes of points [x, y], y downwards, as `tidy_strokes` gives them."""

MOST_STROKES = 200
MOST_POINTS = 20_000  # in all; a minute of drawing at 120 points a second has some 7,000
FARTHEST = 1_000_000  # whatever the unit, no drawing area is larger
SMALLEST = 1e-6  # whatever the unit, what is smaller is a dot, and would be scaled beyond all numbers
# The field on paper is 60 mm wide, so that a unit is 0.05 mm there at most.
WIDTH, HEIGHT = 1200, 400
CLOSEST = 2  # units; points closer than 0.1 mm look like one


def tidy_strokes(strokes: Any, whose: str = "The signature") -> Strokes:
    """A drawn signature fitted into 1200 by 400 units, whole numbers, its proportions kept.

    `strokes` are lists of points (x, y), y downwards, in any unit. Points closer together than a pen's line
    shows are left out. Raises JobnotesError, beginning with `whose`, where there is no stroke, nothing but a
    dot, more than 200 strokes or 20,000 points, or a coordinate that is no finite number up to a million.
    """
    drawn = _checked(strokes, whose)
    across = [x for stroke in drawn for x, _ in stroke]
    down = [y for stroke in drawn for _, y in stroke]
    left, top = min(across), min(down)
    width, height = max(across) - left, max(down) - top
    if max(width, height) < SMALLEST:
        raise JobnotesError(f"{whose} is a dot; draw it as on paper, or type the name.")
    scale = min(WIDTH / max(width, SMALLEST), HEIGHT / max(height, SMALLEST))
    return [
        _thinned([[round((x - left) * scale), round((y - top) * scale)] for x, y in stroke])
        for stroke in drawn
    ]


def _checked(strokes: Any, whose: str) -> list[list[tuple[float, float]]]:
    if not _is_list(strokes) or not all(_is_list(stroke) for stroke in strokes):
        raise JobnotesError(f"{whose} is not a list of strokes, each a list of points [x, y].")
    drawn = [stroke for stroke in strokes if len(stroke)]
    if not drawn:
        raise JobnotesError(f"{whose} is empty; draw it as on paper, or type the name.")
    if len(drawn) > MOST_STROKES:
        raise JobnotesError(f"{whose} has {len(drawn)} strokes; {MOST_STROKES} are the most.")
    points = sum(len(stroke) for stroke in drawn)
    if points > MOST_POINTS:
        raise JobnotesError(f"{whose} has {points} points; {MOST_POINTS} are the most.")
    return [[_point(point, whose) for point in stroke] for stroke in drawn]


def _point(point: Any, whose: str) -> tuple[float, float]:
    if not _is_list(point) or len(point) != 2:
        raise JobnotesError(f"{whose} has a point that is not two numbers, [x, y].")
    for number in point:
        if isinstance(number, bool) or not isinstance(number, int | float):
            raise JobnotesError(f"{whose} has a point that is not two numbers, [x, y].")
        # Compared before anything is reckoned: an int may be too large for a float.
        if not -FARTHEST <= number <= FARTHEST or not math.isfinite(number):
            raise JobnotesError(f"{whose} has a point that lies outside of any drawing area.")
    return float(point[0]), float(point[1])


def _is_list(value: Any) -> bool:
    return isinstance(value, Sequence) and not isinstance(value, str | bytes)


def _thinned(stroke: list[list[int]]) -> list[list[int]]:
    """The stroke without points that lie closer than CLOSEST to the one before; its end stays."""
    kept = [stroke[0]]
    for x, y in stroke[1:]:
        if math.hypot(x - kept[-1][0], y - kept[-1][1]) >= CLOSEST:
            kept.append([x, y])
    if kept[-1] != stroke[-1]:
        kept.append(stroke[-1])
    return kept


def as_drawing(strokes: Any, whose: str = "The signature") -> Markup:
    """The signature as inline SVG of class "drawn". Raises JobnotesError as `tidy_strokes` does."""
    tidy = tidy_strokes(strokes, whose)
    pen = 14  # units: 0.3 mm to 0.7 mm, as the signature is tall or wide
    lines = "".join(_line(stroke) for stroke in tidy if len(stroke) > 1)
    dots = "".join(
        f'<circle cx="{stroke[0][0]}" cy="{stroke[0][1]}" r="{pen * 0.6}"/>'
        for stroke in tidy
        if len(stroke) == 1
    )
    width = max(x for stroke in tidy for x, _ in stroke)
    height = max(y for stroke in tidy for _, y in stroke)
    # Numbers and nothing else stand in it, so that it is safe as markup.
    return Markup(
        f'<svg class="drawn" viewBox="{-pen} {-pen} {max(width, 1) + 2 * pen} {max(height, 1) + 2 * pen}" '
        'preserveAspectRatio="xMinYMax meet">'
        f'<g fill="#15191c"><path d="{lines}" fill="none" stroke="#15191c" stroke-width="{pen}" '
        f'stroke-linecap="round" stroke-linejoin="round"/>{dots}</g></svg>'
    )


def _line(stroke: list[list[int]]) -> str:
    """A stroke as an SVG path that runs smoothly: through the middle of each two points, bent at each."""
    (x, y), *rest = stroke
    path = f"M{x} {y}"
    for (bend_x, bend_y), (next_x, next_y) in pairwise(rest):
        path += f"Q{bend_x} {bend_y} {(bend_x + next_x) / 2:g} {(bend_y + next_y) / 2:g}"
    end_x, end_y = stroke[-1]
    return f"{path}L{end_x} {end_y}"
