"""Drawn signatures: what is fitted, what is refused, and in which words."""

from __future__ import annotations

import math
import re
import time
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from signed_example import wave

from jobnotes.errors import JobnotesError
from jobnotes.paper import tidy_strokes
from jobnotes.paper.strokes import as_drawing

POINT = st.tuples(st.floats(-1e6, 1e6), st.floats(-1e6, 1e6))


def bounds(strokes: list[list[list[int]]]) -> tuple[int, int, int, int]:
    across = [x for stroke in strokes for x, _ in stroke]
    down = [y for stroke in strokes for _, y in stroke]
    return min(across), min(down), max(across), max(down)


def test_signature_is_fitted_and_keeps_its_proportions() -> None:
    # 200 by 100 of any unit: the height fills its 400 units first.
    assert tidy_strokes([[(10, 20), (210, 120)]]) == [[[0, 0], [800, 400]]]
    # 300 by 10: the width fills its 1200.
    assert tidy_strokes([[(-5, 3), (295, 13)]]) == [[[0, 0], [1200, 40]]]
    drawn = wave(12, 26)
    assert tidy_strokes(drawn) == tidy_strokes([[(7 * x - 300, 7 * y + 40) for x, y in s] for s in drawn])


def test_strokes_keep_their_order_and_place() -> None:
    tidy = tidy_strokes([[(0, 0), (30, 40)], [], [(60, 0), (0, 20)]])
    assert tidy == [[[0, 0], [300, 400]], [[600, 0], [0, 200]]]


@given(st.lists(st.lists(POINT, min_size=1, max_size=20), min_size=1, max_size=8))
def test_whatever_is_finite_is_fitted_or_refused_in_words(strokes: list[list[tuple[float, float]]]) -> None:
    try:
        tidy = tidy_strokes(strokes)
    except JobnotesError as refusal:
        assert str(refusal) == "The signature is a dot; draw it as on paper, or type the name."
        assert max(math.dist(a, b) for s in strokes for a in s for t in strokes for b in t) < 2e-6
        return
    left, top, right, bottom = bounds(tidy)
    assert left >= 0 and top >= 0 and right <= 1200 and bottom <= 400
    assert len(tidy) == len(strokes)
    assert all(type(number) is int for stroke in tidy for point in stroke for number in point)
    as_drawing(tidy)


def test_ten_thousand_points_are_thinned_without_moving_the_line() -> None:
    turn = [(math.cos(n / 1000) * (1 + n / 5000), math.sin(n / 1000) * (1 + n / 5000)) for n in range(10_000)]
    began = time.perf_counter()
    (tidy,) = tidy_strokes([turn])
    drawing = as_drawing([tidy])
    assert time.perf_counter() - began < 1
    assert 300 < len(tidy) < 5_000
    assert len(drawing) < 100_000
    # The same scale as the function's own: the height of the turn fills 400 units.
    left, top = min(x for x, _ in turn), min(y for _, y in turn)
    scale = 400 / (max(y for _, y in turn) - top)
    fitted = [((x - left) * scale, (y - top) * scale) for x, y in turn]
    assert max(min(math.dist(point, kept) for kept in tidy) for point in fitted[::37]) < 3


@pytest.mark.parametrize(
    ("strokes", "sentence"),
    [
        ([], "is empty"),
        ([[], []], "is empty"),
        ([[(5, 5)]], "is a dot"),
        ([[(5, 5), (5, 5)], [(5, 5)]], "is a dot"),
        ([[(0, 0), (1e-300, 0)]], "is a dot"),
        ([[(0, 0), (float("nan"), 1)]], "outside of any drawing area"),
        ([[(0, 0), (float("inf"), 1)]], "outside of any drawing area"),
        ([[(0, 0), (1, -float("inf"))]], "outside of any drawing area"),
        ([[(0, 0), (1e300, 1)]], "outside of any drawing area"),
        ([[(0, 0), (10**400, 1)]], "outside of any drawing area"),
        ([[(0, 0), (1, "2")]], "not two numbers"),
        ([[(0, 0), (True, 2)]], "not two numbers"),
        ([[(0, 0), (1, None)]], "not two numbers"),
        ([[(0, 0), (1, 2, 3)]], "not two numbers"),
        ([[(0, 0), 7]], "not two numbers"),
        ([[(0, 0), "12"]], "not two numbers"),
        ([3], "not a list of strokes"),
        (["abc"], "not a list of strokes"),
        ("M0 0L9 9", "not a list of strokes"),
        ({"x": 1}, "not a list of strokes"),
        (None, "not a list of strokes"),
        ([[(n, 0), (n, 9)] for n in range(201)], "has 201 strokes; 200 are the most"),
        ([[(n, n % 7) for n in range(20_001)]], "has 20001 points; 20000 are the most"),
    ],
)
def test_what_is_no_signature_is_refused_in_words(strokes: Any, sentence: str) -> None:
    with pytest.raises(JobnotesError, match=rf"^The engineer's signature .*{sentence}.*\.$"):
        tidy_strokes(strokes, "The engineer's signature")


def test_drawing_holds_lines_dots_and_nothing_else() -> None:
    drawing = str(as_drawing([[(0, 0), (50, 80), (90, 10), (120, 60)], [(60, -20)]]))
    (path,) = re.findall(r' d="([^"]+)"', drawing)
    assert path.count("M") == 1 and path.count("Q") == 2 and drawing.count("<circle") == 1
    assert re.fullmatch(r"[\w\s<>/=\"#.:-]+", drawing)
    assert set(re.findall(r"<(\w+)", drawing)) == {"svg", "g", "path", "circle"}


def test_flat_and_upright_lines_are_drawn() -> None:
    assert "L1200 0" in as_drawing([[(0, 5), (80, 5)]])
    assert "L0 400" in as_drawing([[(5, 0), (5, 80)]])
