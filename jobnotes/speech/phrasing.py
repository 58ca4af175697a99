"""How people of the trade put their words: a trigram model of memos, to weigh wordings that go alike with the
sound.

Counts of words, pairs and triples of words stand in phrasing.toml (made by phrasing_build.py from the
project's own memos). Each order hands what it takes off its counts down to the one below (absolute
discounting, Ney et al. 1994, On structuring probabilistic dependences in stochastic language modelling).
Figures are put into classes by their length and form, so that the model knows "12.4 volts" from having seen
"11.3 volts", and that nobody speaks of "124 volts".
"""

from __future__ import annotations

import math
import re
import tomllib
from collections import defaultdict
from collections.abc import Collection, Sequence
from functools import cache
from importlib import resources

TAKEN_OFF = 0.75
"""What each count of a pair or triple gives up for those that were not seen."""
UNKNOWN = 4.0
"""An unknown word is one of many (natural logarithm). Each is rarer than this says, but the model must not
take all that it does not know for misheard."""
CODE = "<code>"
OTHER = "<unk>"
EXACT = 12
ROUND, LARGEST_ROUND = 5, 60
"""Figures up to EXACT, and round ones up to LARGEST_ROUND (clock times, hours), stand for themselves."""
BEFORE, AFTER = 3, 2
"""So many words before and after a place bear on it."""


class Phrasing:
    """The counts, and what follows from them. `words[w]`, `pairs[(v, w)]` and `triples[(u, v, w)]`."""

    def __init__(
        self,
        words: dict[str, int],
        pairs: dict[tuple[str, str], int],
        triples: dict[tuple[str, str, str], int],
    ) -> None:
        self.words = words
        self._total = sum(words.values())
        self._pairs = pairs
        self._triples = triples
        self._left_pair: dict[str, float] = defaultdict(float)
        self._left_triple: dict[tuple[str, str], float] = defaultdict(float)
        for (first, _), count in pairs.items():
            self._left_pair[first] += count - TAKEN_OFF
        for (first, second, _), count in triples.items():
            self._left_triple[first, second] += count - TAKEN_OFF

    def chance(self, before: str, last: str, word: str) -> float:
        """The probability of a word after two others."""
        one = (self.words.get(word, 0) + TAKEN_OFF) / (self._total + TAKEN_OFF * len(self.words))
        two = self._mixed(
            self._pairs.get((last, word), 0), self.words.get(last, 0), self._left_pair.get(last, 0.0), one
        )
        context = self._pairs.get((before, last), 0)
        left = self._left_triple.get((before, last), 0.0)
        return self._mixed(self._triples.get((before, last, word), 0), context, left, two)

    @staticmethod
    def _mixed(count: int, context: int, seen: float, below: float) -> float:
        if context <= 0:
            return below
        return max(0.0, count - TAKEN_OFF) / context + (1.0 - min(seen / context, 0.999)) * below

    def score(self, tokens: Sequence[str], first: int, known: Collection[str] = ()) -> float:
        """The log probability of the tokens from `first` on, after those before. Words in `known` (names of
        the register) are no rarer than words that the model has."""
        text = [token if token in self.words else OTHER for token in tokens]
        found = 0.0
        for place in range(first, len(text)):
            before = text[place - 2] if place > 1 else OTHER
            last = text[place - 1] if place else OTHER
            found += math.log(self.chance(before, last, text[place]))
            if text[place] == OTHER and tokens[place] not in known:
                found -= UNKNOWN
        return found

    def gain(self, before: str, heard: str, option: str, after: str, known: Collection[str] = ()) -> float:
        """How much likelier the option is than what was heard, between the words before and after (natural
        logarithm)."""
        lead, rest = tokens_of(before)[-BEFORE:], tokens_of(after)[:AFTER]
        scores = [self.score([*lead, *tokens_of(text), *rest], len(lead), known) for text in (heard, option)]
        return scores[1] - scores[0]


def tokens_of(text: str) -> list[str]:
    """The words of a text as the recogniser writes it, in the form in which the model counts them."""
    text = re.sub(r"(?<=\d),(?=\d{3}\b)", "", text.lower())
    found = []
    for piece in re.findall(r"[a-z0-9.'%]+", text.replace("-", " ")):
        word = piece.strip(".'")
        joined = re.fullmatch(r"(\d+(?:\.\d+)?)('s|[a-z%]*)", word)
        if joined and joined[2] not in ("st", "nd", "rd", "th"):
            found.append(figure_class(joined[1]))
            if joined[2]:
                found.append("is" if joined[2] == "'s" else _spellings().get(joined[2], joined[2]))
        elif re.search(r"\d", word) and not joined:
            found.append(CODE)
        elif word:
            word = _spellings().get(word, word)
            found.append(figure_class(word) if word.isdigit() else word)
    return found


def figure_class(figure: str) -> str:
    """The class of a number in figures: itself where it is small or round, else its length and form."""
    whole, _, part = figure.partition(".")
    if part:
        return f"<{'0' if whole == '0' else len(whole)}.{len(part)}>"
    if len(whole) > 1 and whole[0] == "0":
        return f"<0{len(whole) - 1}>"
    value = int(whole)
    if value <= EXACT or (value <= LARGEST_ROUND and value % ROUND == 0):
        return whole
    end = "h" if value % 100 == 0 else "z" if value % 10 == 0 else "f" if value % 5 == 0 else ""
    return f"<{len(whole)}{end}>"


@cache
def phrasing() -> Phrasing:
    """The model of phrasing.toml."""
    data = tomllib.loads(resources.files("jobnotes.speech").joinpath("phrasing.toml").read_text("utf-8"))
    words = {word: int(count) for word, count in (row.split() for row in data["words"].splitlines())}
    pairs = {}
    for row in data["pairs"].splitlines():
        first, second, count = row.split()
        pairs[first, second] = int(count)
    triples = {}
    for row in data["triples"].splitlines():
        first, second, third, count = row.split()
        triples[first, second, third] = int(count)
    return Phrasing(words, pairs, triples)


@cache
def _spellings() -> dict[str, str]:
    text = resources.files("jobnotes.speech").joinpath("figures.toml").read_text("utf-8")
    data = tomllib.loads(text)
    spellings: dict[str, str] = {**data["written"], **data["numbers"]}
    return spellings
