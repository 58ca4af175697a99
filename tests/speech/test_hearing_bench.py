"""What bench/heard.py counts, on texts whose counts are known."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "bench"))
from heard import held_against, identifiers, spelled, valued


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("two hundred and fifty bar", "250 bar"),
        ("eleven point three volts", "11.3 volts"),
        ("Away at ten to nine, forty-two miles", "away at 10 to 9 42 miles"),
        ("13,000 and 6 hours", "13006 hours"),
        ("fleet number R K oh seven", "fleet number rk 07"),
        ("RK07, 45mm", "rk 07 45 millimeters"),
        ("Romeo Kilo two one six", "rk 216"),
        ("Oh, the hose", "the hose"),
        ("ten's the limit", "10 is the limit"),
    ],
)
def test_texts_as_values(text: str, values: str) -> None:
    assert " ".join(valued(text)) == values


@pytest.mark.parametrize(
    ("spoken", "codes"),
    [
        ("fleet number R K two one six, and", ["RK216"]),
        ("S K double five oh nine.", ["SK5509"]),
        ("Romeo Delta oh eight", ["RD08"]),
        ("A hundred and ten bar, I fitted one, twenty K V A", []),
        ("fifteen W forty oil and the D P F", []),
    ],
)
def test_codes_in_what_was_said(spoken: str, codes: list[str]) -> None:
    assert identifiers(spoken) == [code.replace("O", "0") for code in codes]


@pytest.mark.parametrize(
    ("text", "apart"),
    [
        ("fleet number RK216, a", "fleet number R K 216, a"),
        ("SK-4408 and S-K-4408", "S K 4408 and S K 4408"),
        ("BRH14X0885.", "B R H 14 X 0885."),
        ("180 bar, 45mm, 2nd, PSI, DPF", "180 bar, 45mm, 2nd, PSI, DPF"),
    ],
)
def test_codes_written_as_they_are_said(text: str, apart: str) -> None:
    assert spelled(text) == apart


def test_a_code_in_one_piece_is_heard_right() -> None:
    tally = held_against("fleet number R K two one six now", "Fleet number RK216 now.", set())
    assert (tally.wrong["words"], tally.wrong["spelled"], tally.wrong["values"]) == (2, 0, 0)


def test_what_is_heard_right_counts_nothing() -> None:
    spoken = "Fleet number R K two one six, a telehandler. The valve let go at one hundred and eighty bar."
    heard = "Fleet number RK216, a telehandler. The valve let go at 180 bar."
    tally = held_against(spoken, heard, {"valve"})
    kinds = ("values", "figures", "identifiers", "trade words", "invented")
    assert [tally.wrong[kind] for kind in kinds] == [0, 0, 0, 0, 0]
    assert (tally.of["figures"], tally.of["identifiers"], tally.of["trade words"]) == (1, 1, 1)


def test_what_is_heard_wrong_counts_once_each() -> None:
    spoken = "Fleet number R K two one six. The valve let go at one hundred and eighty bar."
    heard = "Fleet number RK261. The wall let go at 118 bar thank you for watching this."
    tally = held_against(spoken, heard, {"valve"})
    assert tally.wrong["identifiers"] == 1
    assert tally.wrong["figures"] == 1
    assert tally.wrong["trade words"] == 1
    assert tally.wrong["invented"] == 5
    assert {kind for kind, _, _ in tally.faults} == {"identifiers", "figures", "trade words", "invented"}


def test_a_code_said_twice_must_be_heard_twice() -> None:
    tally = held_against("R K two, then R K two", "RK2, then RK3", set())
    assert (tally.wrong["identifiers"], tally.of["identifiers"]) == (1, 2)
