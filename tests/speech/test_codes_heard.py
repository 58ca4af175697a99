"""Codes as they come out of a recogniser: what they spell, how near they are to another, and which is
meant."""

from __future__ import annotations

import random

import pytest

from jobnotes.speech.codes import Codes, distance, spelled_codes, symbols


@pytest.mark.parametrize(
    ("word", "key"),
    [
        ("SK5509,", "SK5509"),
        ("S-I-19.", "SI19"),
        ("EFF6180", "F6180"),
        ("eff", "F"),
        ("effm", "FM"),
        ("or", "0"),
        ("double", None),
        ("Tango", "T"),
        ("a", None),
        ("A", "A"),
        ("45mm", None),
        ("3rd", None),
        ("boom", None),
        ("the", None),
    ],
)
def test_what_a_word_spells(word: str, key: str | None) -> None:
    assert symbols(word) == key


@pytest.mark.parametrize(
    ("heard", "code", "least", "most"),
    [
        ("RK216", "RK216", 0.0, 0.0),
        ("THO14", "TH014", 0.0, 0.0),  # letter O and nought are said alike
        ("NK88", "MK88", 0.1, 0.5),
        ("ZK88", "MK88", 1.0, 1.0),
        ("TH24", "TH224", 0.1, 0.4),  # "double two" heard as "two"
        ("THW24", "TH224", 0.1, 0.4),  # as "double u", two
        ("TH40", "TH14", 0.3, 0.6),
        ("RK216", "QX953", 3.0, 99.0),
    ],
)
def test_how_far_a_code_is_from_another(heard: str, code: str, least: float, most: float) -> None:
    assert least <= distance(heard, code) <= most


def test_the_words_that_may_read_out_a_code() -> None:
    words = ["new", "valve,", "XV2,", "3", "or", "6.", "Then", "I", "left"]
    assert max(spelled_codes(words), key=lambda span: span.last - span.first).key == "XV2306"
    assert spelled_codes(["a", "new", "valve", "and", "two", "hoses"]) == []


def test_the_right_one_among_twenty_thousand() -> None:
    chance = random.Random(3)
    letters = "BCDGHKLMPRSTVWXZ"
    codes = {f"{chance.choice(letters)}{chance.choice(letters)}{n:05d}" for n in range(10_000, 30_000)}
    known = Codes([*codes, "EQ-70391"])
    assert len(known.keys) > 19_000
    assert known.near("EQ70391", 0.5) == [(0.0, "EQ70391")]
    cost, key = known.near("EKQ70391", 1.0)[0]
    assert (key, 0.0 < cost <= 1.0) == ("EQ70391", True)
    assert known.near("YYYY", 1.0) == []


def test_rows_without_a_code_are_passed_over() -> None:
    assert Codes(["", "--", "A1", "hose", "RK216", "RK-216"]).keys == ["RK216"]
