"""How alike two words sound: an edit distance over a rough writing of their sounds.

The writing keeps what English keeps apart by ear and drops what only spelling keeps apart, as Metaphone does
(Philips 1990, Hanging on the Metaphone), but keeps one sign for each vowel, since names differ in them.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable
from functools import lru_cache

from rapidfuzz.distance import Levenshtein

RULES: tuple[tuple[str, str], ...] = (
    (r"[^a-z]", ""),
    (r"^(kn|gn|pn)", "n"),
    (r"^wr", "r"),
    (r"^ps", "s"),
    (r"mb$", "m"),
    (r"tch", "C"),
    (r"s?ch", "C"),
    (r"sh|ti(?=o)|ci(?=a)", "S"),
    (r"ion(?=s?$)", "en"),
    (r"ph", "f"),
    (r"th", "T"),
    (r"(?<=[aeiou])gh(?=t|$)", ""),
    (r"gh", "g"),
    (r"ck", "k"),
    (r"c(?=[eiy])", "s"),
    (r"c", "k"),
    (r"qu?", "kw"),
    (r"x", "ks"),
    (r"dg(?=e)", "J"),
    (r"g(?=[ei])|j", "J"),
    (r"wh", "w"),
    (r"z", "s"),
    (r"(.)\1+", r"\1"),
    (r"(?<=[^aeiou])e$", ""),
    (r"(?<=[^aeiou])ed$", "d"),
    (r"ai|ay|ei|ey", "e"),
    (r"ee|ea|ie", "i"),
    (r"oo|ou|ow|oa|au|aw", "o"),
    (r"y", "i"),
    (r"(?<=[aeiou])r(?=[^aeiou]|$)", ""),
    (r"(?<=[aeiou])[hw](?=[^aeiou]|$)", ""),
)


@lru_cache(maxsize=20_000)
def sound_of(word: str) -> str:
    """The sounds of a word, roughly, a sign each."""
    text = word.lower()
    for pattern, sign in RULES:
        text = re.sub(pattern, sign, text)
    return text


def unlike(first: str, second: str) -> float:
    """How unlike two words sound: 0 the same, 1 nothing in common."""
    a, b = sound_of(first), sound_of(second)
    return Levenshtein.distance(a, b) / max(len(a), len(b), 1)


class SoundIndex:
    """Words to be found by their sound. Building is linear in their number."""

    def __init__(self, words: Iterable[str]) -> None:
        self.words = list(words)
        self._by_gram: dict[str, set[int]] = defaultdict(set)
        for place, word in enumerate(self.words):
            for gram in _grams(word):
                self._by_gram[gram].add(place)
        self._known = {word.lower() for word in self.words}

    def __contains__(self, word: str) -> bool:
        return word.lower() in self._known

    def near(self, word: str, most: float) -> list[tuple[float, str]]:
        """(unlikeness, word) of the words that sound like `word`, the likest first."""
        shared: dict[int, int] = defaultdict(int)
        for gram in _grams(word):
            for place in self._by_gram.get(gram, ()):
                shared[place] += 1
        best = sorted(shared, key=lambda place: -shared[place])[:60]
        found = [(unlike(word, self.words[place]), self.words[place]) for place in best]
        return sorted(one for one in found if one[0] <= most)


def _grams(word: str) -> set[str]:
    padded = f"^{sound_of(word)}$"
    return {padded[i : i + 2] for i in range(len(padded) - 1)}
