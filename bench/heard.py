"""How far what was heard agrees with what was said: words, trade words, figures, identifiers, words invented.

Both sides go through the English normaliser of Whisper's authors (package whisper-normalizer; Radford et al.
2022, appendix C), which writes numbers in figures and one spelling for British and American. Then

    words         errors (put in, left out, changed) to the words said: the word error rate, by jiwer
    spelled       the same after codes in one piece ("SK4408") are written as they are said ("S K 4408"): the
                  normaliser counts up to three errors for a code that is heard right but written in one piece
    values        the same after numbers, codes and units are written alike on both sides (see `valued`): what
                  is heard right is then no error for being written another way
    trade words   share of the trade's words said that are not heard where they stand
    figures       share of the numbers said, identifiers apart, that are not heard where they stand, as values
                  ("eleven point three" is 11.3). A lone "one" is no figure: it is mostly "that one"
    identifiers   share of the codes said (letters and figures, spoken one by one: "R K two one six") that
                  stand nowhere among what was heard, each as often as it was said. Spaces, signs and case
                  count for nothing, letter O and nought are one
    invented      words heard that nobody said, in runs of at least INVENTED_RUN, a thousand words said
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import Any

import jiwer
from whisper_normalizer.english import EnglishTextNormalizer

INVENTED_RUN = 3
"""One or two words more than were said are mostly one word heard as two."""

UNITS = {
    "mm": "millimeters",
    "millimeter": "millimeters",
    "m": "meters",
    "kg": "kilograms",
    "kilo": "kilograms",
    "kilos": "kilograms",
    "v": "volts",
    "psi": "psi",
    "rpm": "rpm",
    "l": "liters",
    "c": "celsius",
    "hz": "hertz",
    "km": "kilometers",
    "cm": "centimeters",
    "%": "percent",
    "kva": "kva",
    "kw": "kw",
    "t": "tonnes",
}
"""Units that stand joined to a figure, in one spelling."""

DIGIT_WORDS = frozenset("oh o zero nought one two three four five six seven eight nine double treble".split())
NUMBER_WORDS = DIGIT_WORDS | frozenset(
    "ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen twenty thirty "
    "forty fifty sixty seventy eighty ninety hundred".split()
)


SPELLING = {
    word: word[0]
    for word in (
        "alpha alfa bravo brava charlie delta echo foxtrot golf hotel india juliet juliett kilo lima mike "
        "november oscar papa quebec romeo sierra tango uniform victor whiskey whisky xray yankee zulu"
    ).split()
}
"""The spelling alphabet of ICAO Annex 10, Volume II, 5.2.1.3."""


@cache
def _normaliser() -> Any:
    return EnglishTextNormalizer()


def normal(text: str) -> str:
    """The text as the normaliser of Whisper's authors writes it."""
    return str(_normaliser()(text))


@cache
def valued(text: str) -> tuple[str, ...]:
    """The normal words of a text, with numbers as values, codes as letters and figures, and units written
    out.

    The normaliser runs numbers of two clauses together ("ten to nine, forty-two miles" ends in 942), so each
    clause is normalised on its own. What it leaves in pieces is joined: "13,000 and 6" is 13006, "12 and a
    half" 12.5. Letters said one by one are one word ("s k 4408" as "sk 4408"). An "oh" that is no figure is
    left out.
    """
    text = re.sub(r"\b(nought|naught)\b", "zero", text, flags=re.IGNORECASE)
    text = re.sub(r"\btreble\b", "triple", text, flags=re.IGNORECASE)
    text = re.sub(r"\b(thousand|hundred),", r"\1", text, flags=re.IGNORECASE)
    text = re.sub(r"(^|[.,;:?!]\s+)[Oo]h\b,?", r"\1", text)
    words: list[str] = []
    for clause in re.split(r"[.,;:?!]+(?!\d)", _letters(text)):
        for word in _clause(clause):
            joined = re.fullmatch(r"(\d+(?:\.\d+)?)([a-z%]+)", word)
            if word.endswith("%") and word[:-1].replace(".", "").isdigit():
                words += [word[:-1], "percent"]
            elif joined and joined[2] in UNITS:
                words += [joined[1], UNITS[joined[2]]]
            elif word in UNITS and words and words[-1][0].isdigit():
                words.append(UNITS[word])
            elif re.fullmatch(r"\d+s", word):
                words += [word[:-1], "is"]  # "ten's the limit"
            elif re.fullmatch(r"\d+(st|nd|rd|th)", word) or not re.search(r"\d", word):
                words.append(word)
            else:
                # "5.20" may be a time of day, and is "five twenty" as well as 5.2.
                words += re.findall(r"\d+(?:\.\d(?!\d))?|[a-z]+", re.sub(r"(\d)\.(\d\d)\b", r"\1 \2", word))
    return tuple(_joined(words))


def _clause(clause: str) -> list[str]:
    """The normal words of a clause. A code in one piece goes past the normaliser, which drops a nought at the
    beginning of a number ("RK07")."""
    words: list[str] = []
    rest: list[str] = []
    for token in clause.split():
        code = re.fullmatch(r"[A-Za-z]+(?:-?\d+)+[A-Za-z]*", token)
        if code is None:
            rest.append(token)
            continue
        words += normal(" ".join(rest)).split() + re.findall(r"\d+|[a-z]+", token.lower())
        rest = []
    return words + normal(" ".join(rest)).split()


def _letters(text: str) -> str:
    """Two or more words of the spelling alphabet side by side, or one before a figure, as letters."""
    words = text.split(" ")
    bare = [word.lower().strip(".,;:") for word in words]
    for place, word in enumerate(bare):
        beside = bare[max(0, place - 1) : place] + bare[place + 1 : place + 2]
        if word in SPELLING and any(other in SPELLING or len(other) == 1 for other in beside if other):
            words[place] = SPELLING[word].upper() + words[place][len(word) :]
    return " ".join(words)


def _joined(words: Sequence[str]) -> list[str]:
    out: list[str] = []
    place = 0
    while place < len(words):
        word, after = words[place], list(words[place + 1 : place + 4])
        if (
            out
            and len(word) == 1
            and word.isalpha()
            and out[-1].isalpha()
            and out[-1] not in ("a", "i", "to")
        ):
            before = words[place - 1]
            if len(before) == 1 and before.isalpha():
                out[-1] += word
                place += 1
                continue
        if word.isdigit() and after[:1] == ["and"] and len(after) > 1 and after[1].isdigit():
            scale = 1000 if word.endswith("000") else 100 if word.endswith("00") else 0
            if 0 < int(after[1]) < scale:
                out.append(str(int(word) + int(after[1])))
                place += 3
                continue
        if word.isdigit() and after == ["and", "a", "half"]:
            out.append(f"{word}.5")
            place += 4
            continue
        out.append(word)
        place += 1
    return out


def spelled(text: str) -> str:
    """The text with the letters of its codes one by one: "SK-4408" is "S K 4408"."""
    code = re.compile(r"\b(?:[A-Z]+-?)+\d(?:[-A-Z\d]*\d)?\b")
    return code.sub(lambda m: " ".join(re.findall(r"[A-Z]|\d+", m[0])), text)


def code_key(text: str) -> str:
    """Letters and figures, capital; letter O as nought."""
    return re.sub(r"[^A-Z0-9]", "", text.upper()).replace("O", "0")


def identifiers(spoken: str) -> list[str]:
    """The codes said, as keys, in their order: letters said one by one and figures, at least one of each.

    `spoken` is written as people say it: "fleet number R K two one six", single letters as capitals.
    """
    tokens = re.findall(r"[A-Za-z']+|\d+|[^\sA-Za-z\d]", _letters(spoken).replace("-", " "))
    found = []
    place = 0
    while place < len(tokens):
        end = place
        while end < len(tokens) and _of_code(tokens, end, place):
            end += 1
        run = tokens[place:end]
        letters = [t for t in run if len(t) == 1 and t.isupper()]
        figures = [t for t in run if t.lower() in NUMBER_WORDS and len(t) != 1]
        # "A hundred and forty" begins a sentence, and is no code.
        article = letters == ["A"] and len(run) > 1 and run[1].lower() in ("hundred", "thousand", "half")
        # Figures before the letters are a measure ("twenty H P") or an oil ("fifteen W forty"): no code.
        measured = place > 0 and tokens[place - 1].lower() in NUMBER_WORDS
        opens = run and len(run[0]) == 1 and not measured
        if letters and figures and opens and not article and letters != ["I"]:
            found.append(code_key("".join(valued(" ".join(run)))))
        place = max(end, place + 1)
    return found


def _of_code(tokens: Sequence[str], place: int, first: int) -> bool:
    token = tokens[place]
    if len(token) == 1 and token.isupper():
        return True
    return token.lower() in NUMBER_WORDS and place > first


@dataclass
class Tally:
    """Counts over any number of memos. `of` is what was said, `wrong` what of it was not heard."""

    wrong: Counter[str] = field(default_factory=Counter)
    of: Counter[str] = field(default_factory=Counter)
    faults: list[tuple[str, str, str]] = field(default_factory=list)

    def share(self, name: str) -> float:
        return self.wrong[name] / max(1, self.of[name])

    def add(self, other: Tally) -> None:
        self.wrong += other.wrong
        self.of += other.of
        self.faults += other.faults


def held_against(spoken: str, heard: str, trade: Collection[str]) -> Tally:
    """The counts of one memo. `trade`: the trade's words, normalised."""
    tally = Tally()
    said_words, heard_words = normal(spoken).split(), normal(heard).split()
    plain = jiwer.process_words(" ".join(said_words), " ".join(heard_words) or " ")
    tally.wrong["words"] = plain.substitutions + plain.deletions + plain.insertions
    tally.of["words"] = len(said_words)

    apart = jiwer.process_words(" ".join(said_words), normal(spelled(heard)) or " ")
    tally.wrong["spelled"] = apart.substitutions + apart.deletions + apart.insertions
    tally.of["spelled"] = len(said_words)

    said, got = list(valued(spoken)), list(valued(heard))
    aligned = jiwer.process_words(" ".join(said), " ".join(got) or " ")
    tally.wrong["values"] = aligned.substitutions + aligned.deletions + aligned.insertions
    tally.of["values"] = len(said)
    in_code = _code_places(said, identifiers(spoken))
    invented = 0
    for chunk in aligned.alignments[0]:
        if chunk.type == "insert" and chunk.hyp_end_idx - chunk.hyp_start_idx >= INVENTED_RUN:
            invented += chunk.hyp_end_idx - chunk.hyp_start_idx
            tally.faults.append(("invented", "", " ".join(got[chunk.hyp_start_idx : chunk.hyp_end_idx])))
        if chunk.type == "insert":
            continue
        for step, place in enumerate(range(chunk.ref_start_idx, chunk.ref_end_idx)):
            word = said[place]
            kind = None
            if word[0].isdigit() and word != "1":
                kind = None if place in in_code else "figures"
            elif word in trade:
                kind = "trade words"
            if kind is None:
                continue
            tally.of[kind] += 1
            if chunk.type != "equal":
                tally.wrong[kind] += 1
                there = chunk.hyp_start_idx + step
                context = " ".join(got[max(0, there - 3) : there + 4])
                tally.faults.append((kind, " ".join(said[max(0, place - 2) : place + 3]), context))
    tally.wrong["invented"] = invented
    tally.of["invented"] = len(said)

    keys = Counter(identifiers(spoken))
    standing = _runs(got, keys)
    for key, count in keys.items():
        missing = max(0, count - standing[key])
        tally.of["identifiers"] += count
        tally.wrong["identifiers"] += missing
        if missing:
            near = _nearest(got, key)
            tally.faults.append(("identifiers", key, near))
    return tally


def _code_places(said: Sequence[str], keys: Iterable[str]) -> set[int]:
    """The places of the words that make up the codes."""
    places: set[int] = set()
    for key in set(keys):
        for first in range(len(said)):
            if last := _reads(said, first, key):
                places.update(range(first, last))
    return places


def _reads(words: Sequence[str], first: int, key: str) -> int:
    """The place after the words from `first` on that together are `key`, else 0."""
    text = ""
    for place in range(first, min(len(words), first + len(key))):
        text += code_key(words[place])
        if text == key:
            return place + 1
        if not text or not key.startswith(text):
            return 0
    return 0


def _runs(words: Sequence[str], keys: Iterable[str]) -> Counter[str]:
    standing: Counter[str] = Counter()
    for key in keys:
        place = 0
        while place < len(words):
            after = _reads(words, place, key)
            standing[key] += bool(after)
            place = max(after, place + 1)
    return standing


def _nearest(words: Sequence[str], key: str) -> str:
    """The words heard that are most like `key`, for a person to look at."""
    from rapidfuzz import fuzz

    runs = [words[i : i + n] for n in range(1, 6) for i in range(len(words) - n + 1)]
    return max((" ".join(run) for run in runs), key=lambda t: fuzz.ratio(code_key(t), key), default="")
