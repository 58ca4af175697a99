"""Words back into readable phrases."""

from __future__ import annotations

import pytest

from jobnotes.language.findings import Findings, Piece
from jobnotes.language.text import figure, join, lower_first, short_form

JOINED = [
    (["boom", "wo", "n't", "extend"], "boom won't extend"),
    (["it", "'s", "dry"], "it's dry"),
    (["two", "-", "wire", "hose"], "two-wire hose"),
    (["3", "/", "8"], "3/8"),
    (["hose", ",", "leaking", "."], "hose, leaking"),
    (["80", "%"], "80%"),
    (["", "seal", ""], "seal"),
    ([",", "seal", "-"], "seal"),
    ([], ""),
]


@pytest.mark.parametrize(("parts", "text"), JOINED)
def test_join(parts: list[str], text: str) -> None:
    assert join(parts) == text


FIGURES = [
    (12.5, "12.5"),
    (350.0, "350"),
    (0.2, "0.2"),
    (1250.0, "1250"),
    (0.375, "0.375"),
    (2_000_000.0, "2000000"),
    (-4.0, "-4"),
]


@pytest.mark.parametrize(("value", "text"), FIGURES)
def test_figures(value: float, text: str) -> None:
    assert figure(value) == text


FIRST = [
    ("Boom down", "boom down"),
    ("DPF light on", "DPF light on"),
    ("TH248 moved", "TH248 moved"),
    ("A seal", "a seal"),
    ("", ""),
]


@pytest.mark.parametrize(("text", "lowered"), FIRST)
def test_lower_first(text: str, lowered: str) -> None:
    assert lower_first(text) == lowered


def shortened(text: str, kept: str, dropped: frozenset[int] = frozenset()) -> str:
    """The short form of `text` where the reader keeps the words of `kept`."""
    said = text.split()
    pieces = [Piece(word.lower(), n, n) for n, word in enumerate(said)]
    keep = [1.0 if word in kept.split() else 0.0 for word in said]
    return short_form(0, len(said) - 1, pieces, keep, said, Findings(), dropped)


SHORT = [
    ("the boom would not , you know , extend", "boom would not extend", "boom would not, extend"),
    ("I think the seal on the ram was leaking", "seal ram leaking", "seal on the ram was leaking"),
    ("and so the pump is noisy and", "pump noisy", "pump is noisy"),
    ("er the hose um burst", "hose burst", "hose burst"),
    ("Hydraulic oil everywhere", "Hydraulic oil everywhere", "hydraulic oil everywhere"),
    ("and then it was", "", ""),  # nothing but small words
]


@pytest.mark.parametrize(("text", "kept", "short"), SHORT)
def test_short_form(text: str, kept: str, short: str) -> None:
    assert shortened(text, kept) == short


def test_what_is_dropped_stays_out() -> None:
    assert shortened("fitted seal kit AB12", "fitted seal kit AB12", frozenset({3})) == "fitted seal kit"


def test_without_kept_words_the_phrase_itself_is_given() -> None:
    assert shortened("the brake hose burst", "") == "brake hose burst"
