"""The vocabulary that the recogniser is given: names of the register and words of the trade."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterable, Sequence
from functools import cache
from importlib import resources
from typing import Any

from jobnotes.register import Register
from jobnotes.speech.knowledge import Knowledge

PROMPT_TOKENS = 180
"""Whisper has 448 places for prompt and answer together, and half a minute of fast speech with its time marks
takes up to about 220."""


@cache
def trade_words() -> tuple[str, ...]:
    """Words of the trade that the recogniser mishears without help, from words.toml."""
    return tuple(_data()["first"] + _data()["trade"])


@cache
def opening() -> str:
    """A few sentences in the manner of a memo, from words.toml: the recogniser takes up their style."""
    return str(_data()["opening"])


@cache
def repair_words() -> tuple[str, ...]:
    """Words of the trade that a misheard word is set right to, from words.toml."""
    return tuple(_data()["repair"])


@cache
def repair_phrases() -> tuple[str, ...]:
    """Phrases of the trade, one word of which may be misheard, from words.toml."""
    return tuple(_data()["phrases"])


@cache
def other_spellings() -> frozenset[str]:
    """American spellings of the trade's words: no mishearing."""
    return frozenset(_data()["spellings"])


@cache
def small_words() -> frozenset[str]:
    """Words that are no half of a misheard one."""
    return frozenset(_data()["small"])


@cache
def words_in_names() -> frozenset[str]:
    """Words of names that are common in all talk."""
    return frozenset(_data()["in_names"])


class Vocabulary(list[str]):
    """Names and words to expect, in the order of their importance. `knowledge`: what the register they come
    from tells of its codes and names, for setting right what was misheard."""

    knowledge: Knowledge | None = None


_known: list[tuple[Register, Knowledge]] = []
"""The knowledge of the last register. Building it is costly with many rows, and every memo asks for it."""


def knowledge_of(register: Register) -> Knowledge:
    """The register's codes and names, indexed once for one and the same register."""
    if not _known or _known[0][0] is not register:
        _known[:] = [(register, Knowledge(register))]
    return _known[0][1]


def vocabulary(register: Register | None = None, recent: Iterable[str] = ()) -> Vocabulary:
    """A dozen words of the trade, the names in `recent`, names of customers, sites and makes of `register`,
    more of the trade; each once.

    `recent`: the names likeliest to be said, the likeliest first. Of a large register only a few names find
    room in the prompt, and these go before them. Numbers (of machines, parts, orders) are left out on
    purpose: a recogniser that is told one of two alike numbers hears that one for the other.
    """
    names = [*_data()["first"], *recent]
    if register is not None:
        names += [row.customer for row in register.customers]
        names += [row.site for row in register.sites]
        names += [row.make for row in register.machines]
        names += [row.model for row in register.machines if not any(c.isdigit() for c in row.model)]
    words = Vocabulary(_once([*names, *trade_words()]))
    if register is not None:
        words.knowledge = knowledge_of(register)
    return words


def prompt(words: Sequence[str], count_tokens: Callable[[str], int], most: int = PROMPT_TOKENS) -> str:
    """The text to stand before the recording: as many of `words` as fit, then the opening, in `most` tokens
    at most.

    `count_tokens` gives the tokens of a text. Words that would not fit are passed over, shorter ones after
    them may still come in.
    """
    end = opening()
    left = most - count_tokens(" " + end) - 2
    taken = []
    for word in _once(words):
        cost = count_tokens(f" {word},")
        if cost <= left:
            taken.append(word)
            left -= cost
    return f"{', '.join(taken)}. {end}" if taken else end


def _once(words: Iterable[str]) -> list[str]:
    return list(dict.fromkeys(text for word in words if (text := " ".join(word.split()))))


@cache
def _data() -> dict[str, Any]:
    return tomllib.loads(resources.files("jobnotes.speech").joinpath("words.toml").read_text("utf-8"))
