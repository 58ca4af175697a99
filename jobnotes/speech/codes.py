"""Codes read out letter by letter, as they come out of the recogniser, held against those of the register.

    Nk88, NK-88, N. K. 88         NK88
    eff 1-3-6-3 or                F13630
    T-H double two four           TH224

A code of the register that sounds nearly like that is a candidate for what was said. How near is an edit
distance between letters and figures in which names that sound alike ("em", "en") cost less, and "double
seven" heard as "two seven" little.
"""

from __future__ import annotations

import re
import tomllib
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

CHANGED = 1.0
ALIKE = 0.45
LEFT_OUT = 0.8
PUT_IN = 0.8
DOUBLED = 0.35
TEEN = 0.5
"""Costs of one edit: a symbol for another, for one that sounds alike, one of the code unheard, one heard that
the code has not, a "double" misheard, "-teen" for "-ty". Chosen on memos of three speakers."""

SHORTLIST = 60
"""So many codes that share most pairs of symbols are compared in full."""
LONGEST = 14


@cache
def sounds() -> dict[str, Any]:
    """The tables of sounds.toml."""
    return tomllib.loads(resources.files("jobnotes.speech").joinpath("sounds.toml").read_text("utf-8"))


@cache
def _letters() -> dict[str, str]:
    table = sounds()
    return {
        word: letter
        for section in ("letters", "spelling")
        for letter, words in table[section].items()
        for word in words
    }


@cache
def _figures() -> dict[str, str]:
    return {word: figure for figure, words in sounds()["figures"].items() for word in words}


@cache
def _alike() -> frozenset[tuple[str, str]]:
    return frozenset((a, b) for group in sounds()["alike"]["groups"] for a in group for b in group)


def code_key(text: str) -> str:
    """Letters and figures only, upper case."""
    return re.sub(r"[^A-Z0-9]", "", text.upper())


@dataclass(frozen=True)
class Spelled:
    """Words `first` to `last` (exclusive) may read out a code; `key` is what they spell."""

    first: int
    last: int
    key: str


UNIT_AFTER = re.compile(r"\d(?:mm|cm|m|km|kg|v|l|c|s|st|nd|rd|th|am|pm|psi|hp|kva|kw|rpm|%)$", re.IGNORECASE)
LETTER_RUN = re.compile(r"(?:eff|[b-df-hj-np-tv-z])+|[aeiou]?(?:eff|[b-df-hj-np-tv-z])*eff(?:[a-z]{0,2})")


@cache
def symbols(word: str) -> str | None:
    """What a word spells inside a code: "SK5509", "eff", "1-2", "or"; None for a word that spells nothing."""
    bare = word.strip(".,;:!?()\"'").replace("’", "'")
    low = bare.lower()
    if low in _letters():
        return _letters()[low]
    if low in _figures():
        return _figures()[low]
    key = code_key(bare)
    if not key or UNIT_AFTER.search(bare):
        return None
    if any(_bare(part) in sounds()["repeats"] for part in bare.split("-")):
        return None if _repeats(word) else _key([bare])
    if any(c.isdigit() for c in key):
        return key.replace("EFF", "F")
    if len(key) == 1:
        return key if bare.isupper() or low not in ("a", "i") else None
    if bare.isupper() and len(key) <= 5:
        return key.replace("EFF", "F")
    if len(low) <= 7 and LETTER_RUN.fullmatch(low):
        return low.replace("eff", "F").upper()
    return None


def firm(word: str) -> bool:
    """Whether a word can begin a code by itself: capitals or figures, or a letter of the spelling
    alphabet."""
    bare = word.strip(".,;:!?()\"'")
    return bool(re.search(r"\d", bare)) or (bare.isupper() and bare not in ("A", "I"))


def spelled_codes(words: Sequence[str]) -> list[Spelled]:
    """Every stretch of words that may read out a code, the longest ones and those that begin later in them.

    Stretches hold at least one figure, at most LONGEST symbols, and end at a comma or stop that closes a
    number.
    """
    found: list[Spelled] = []
    in_code = [symbols(word) is not None or _repeats(word) for word in words]
    figures = [spells and any(c.isdigit() for c in word) for spells, word in zip(in_code, words, strict=True)]
    place = 0
    while place < len(words):
        if not in_code[place]:
            place += 1
            continue
        end = place
        while end < len(words) and in_code[end]:
            end += 1
        for first in range(place, end):
            for last in range(first + 1, min(end, first + 9) + 1):
                if not any(figures[first:last]) or not _may_end(words[last - 1]):
                    continue
                key = _key(words[first:last])
                if key and 2 <= len(key) <= LONGEST:
                    found.append(Spelled(first, last, key))
        place = end
    return found


def _bare(word: str) -> str:
    return word.strip(".,;:!?()\"'").lower()


def _repeats(word: str) -> bool:
    """Whether a word says the next figure several times: "double", or "H-double"."""
    return _bare(word).rpartition("-")[2] in sounds()["repeats"]


def _may_end(word: str) -> bool:
    """Whether a code may end in a word: "for" and "you" go on with the talk instead."""
    bare = _bare(word)
    return (
        firm(word) or bare in sounds()["figures"]["0"] or (bare not in _letters() and bare not in _figures())
    )


def _key(words: Sequence[str]) -> str:
    text = ""
    times = 1
    for word in words:
        repeats = any(_bare(part) in sounds()["repeats"] for part in word.split("-"))
        for part in word.split("-") if repeats else [word]:
            if (low := _bare(part)) in sounds()["repeats"]:
                times = sounds()["repeats"][low]
                continue
            spelt = symbols(part) or ""
            text += spelt[:1] * (times - 1) + spelt
            times = 1 if spelt else times
    return text if times == 1 else ""


def distance(heard: str, code: str, most: float = 99.0) -> float:
    """What it costs to make the code of what was heard, both as keys; `most` or more is not told exactly."""
    height, width = len(heard), len(code)
    alike, doubles = _alike(), sounds()["alike"]["double"]
    table = [[0.0] * (width + 1) for _ in range(height + 1)]
    for i in range(height + 1):
        for j in range(width + 1):
            if i == j == 0:
                continue
            best = 99.0
            if i:
                best = table[i - 1][j] + PUT_IN
            if j:
                best = min(best, table[i][j - 1] + LEFT_OUT)
            if i and j:
                a, b = heard[i - 1], code[j - 1]
                cost = 0.0 if a == b or {a, b} == {"O", "0"} else ALIKE if (a, b) in alike else CHANGED
                best = min(best, table[i - 1][j - 1] + cost)
            if i and j > 1 and code[j - 1] == code[j - 2] == heard[i - 1]:
                for taken in doubles:
                    if heard[: i - 1].endswith(taken) and i - 1 >= len(taken):
                        best = min(best, table[i - 1 - len(taken)][j - 2] + DOUBLED)
            if i > 1 and j > 1 and _teen(heard[i - 2 : i], code[j - 2 : j]):
                best = min(best, table[i - 2][j - 2] + TEEN)
            table[i][j] = best
        if min(table[i]) >= most:
            return most
    return table[height][width]


def _teen(a: str, b: str) -> bool:
    return (a[0] == "1" and b == a[1] + "0") or (b[0] == "1" and a == b[1] + "0")


class Codes:
    """The codes of a register, by sound. Built once, in time linear in their number."""

    def __init__(self, codes: Iterable[str]) -> None:
        self.keys: list[str] = []
        self._rows: dict[str, list[int]] = defaultdict(list)
        for key in dict.fromkeys(code_key(code) for code in codes):
            if len(key) < 3 or not any(c.isdigit() for c in key):
                continue
            for gram in self._grams(key):
                self._rows[gram].append(len(self.keys))
            self.keys.append(key)
        self.known = frozenset(self.keys)

    @staticmethod
    def _grams(key: str) -> set[str]:
        figures = re.sub(r"[^0-9]", "", key.replace("O", "0"))
        padded = f"^{figures}$"
        return {padded[i : i + 2] for i in range(len(padded) - 1)} | {"@" + key[:2]}

    def near(self, heard: str, most: float) -> list[tuple[float, str]]:
        """(distance, key) of the codes within `most`, nearest first."""
        shared: Counter[int] = Counter()
        for gram in self._grams(heard):
            shared.update(self._rows.get(gram, ()))
        found = []
        for row, _ in shared.most_common(SHORTLIST):
            key = self.keys[row]
            if abs(len(key) - len(heard)) <= 3:
                cost = distance(heard, key, most + 0.01)
                if cost <= most:
                    found.append((cost, key))
        return sorted(found)
