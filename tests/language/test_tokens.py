"""How a memo is cut into words, and the way back to the words of the transcript."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from memo_words import tokenizer, words

from jobnotes.jobs import Word
from jobnotes.language.tokens import from_text, lower, without_fillers, word_of_token

CUT = [
    ("250bar", ["250", "bar"]),
    ("12.6V", ["12.6", "v"]),
    ("1,250", ["1,250"]),
    ("1,250.5", ["1,250.5"]),
    ("1,25", ["1", ",", "25"]),
    ("10:15", ["10:15"]),
    ("10:155", ["10", ":", "155"]),
    ("TH248", ["th", "248"]),
    ("T-H248", ["t", "-", "h", "248"]),
    ("didn't", ["did", "n't"]),
    ("it’s", ["it", "'s"]),
    ("o'clock", ["o'clock"]),
    ("nine o’clock.", ["nine", "o'clock", "."]),
    ("two-wire", ["two", "-", "wire"]),
    ("3/8", ["3", "/", "8"]),
    ("80%", ["80", "%"]),
    ("", []),
]


@pytest.mark.parametrize(("text", "tokens"), CUT)
def test_cut(text: str, tokens: list[str]) -> None:
    assert lower(tokenizer()(text)) == tokens


@settings(max_examples=200)
@given(st.text())
def test_nothing_is_lost_in_cutting(text: str) -> None:
    """The Doc's text is the text, character by character, so that offsets hold."""
    doc = tokenizer()(text)
    assert doc.text == text
    assert all(token.text for token in doc)


FILLERS = [
    ("two hundred and, er, fifty", "two hundred and fifty"),
    ("um, the, uh, pump", "the pump"),
    ("two-thousand-hour service", "two thousand - hour service"),
    ("two-hundred-and-fifty-hour", "two hundred and fifty - hour"),
    ("two-and-a-half", "two and a half"),
    ("an and-a-half spanner", "an and - a - half spanner"),
    ("two-wire hose", "two - wire hose"),
    ("the hammer, the error, the gum", "the hammer , the error , the gum"),
    ("er", ""),
]


@pytest.mark.parametrize(("text", "left"), FILLERS)
def test_fillers_go(text: str, left: str) -> None:
    assert " ".join(words(text).tokens) == left


@given(st.lists(st.sampled_from(["er", "um", ",", "-", "two", "hundred", "and", "a", "half", "pump"])))
def test_only_fillers_commas_and_hyphens_go(tokens: list[str]) -> None:
    kept = set(without_fillers(tokens))
    assert all(tokens[i] in ("er", "um", ",", "-") for i in range(len(tokens)) if i not in kept)


MINUS = [
    ("it read -4 degrees", True),
    ("it read - 4 degrees", False),
    ("HV -77", False),
    ("HV-77", False),
    ("10-12", False),
    ("-2 hoses", False),  # a list's dash
    ("sealed -off", False),
    ("fitted:\n-2 hoses", False),
]


@pytest.mark.parametrize(("text", "minus"), MINUS)
def test_a_hyphen_that_is_a_minus(text: str, minus: bool) -> None:
    assert ("−" in words(text).tokens) is minus


def test_typed_words_have_no_times() -> None:
    transcript = from_text("\ufeffFitted a  seal.\r\n\r\nBack Tuesday.\n")
    assert transcript.text == "Fitted a  seal.\n\nBack Tuesday."
    assert [w.text for w in transcript.words] == ["Fitted", "a", "seal.", "Back", "Tuesday."]
    assert all(w.start is None and w.end is None and w.probability is None for w in transcript.words)


def test_the_word_of_each_token() -> None:
    text = "T-H248, 250bar.\n\nDidn't  lift"
    doc = tokenizer()(text)
    places = word_of_token(doc, [Word(text=w) for w in text.split()])
    of = {token.text: place for token, place in zip(doc, places, strict=True)}
    assert (of["T"], of["248"], of["250"], of["bar"], of["n't"], of["lift"]) == (0, 0, 1, 1, 2, 3)


@given(st.text(max_size=80))
def test_every_token_lies_in_a_word(text: str) -> None:
    transcript = from_text(text)
    doc = tokenizer()(transcript.text)
    places = word_of_token(doc, transcript.words)
    assert len(places) == len(doc)
    assert places == sorted(places)
    for token, place in zip(doc, places, strict=True):
        if transcript.words and token.text.strip():
            assert token.text in transcript.words[place].text
