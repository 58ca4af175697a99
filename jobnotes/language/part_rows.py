"""Which row of the register a part is: by the words of its description, or by a number near the one heard."""

from __future__ import annotations

import math
import re
from collections import defaultdict
from functools import cache
from weakref import WeakKeyDictionary

from jobnotes.language.codes import Code
from jobnotes.language.context import Context
from jobnotes.language.lexicon import word_set
from jobnotes.register import Lookup, MachineRow, PartRow

# Small words that tell no part from another.
STOP = frozenset("a an the of to and in on at for with kit new off from per by or".split())
ENDINGS = ("ings", "ing", "ied", "ies", "ed", "es", "s")
STRANGE = 0.35  # what a word that no description has weighs, against one that a single description has
# Eighths of an inch as the register writes them.
SIZES = {
    "0.125": "1/8",
    "0.25": "1/4",
    "0.375": "3/8",
    "0.5": "1/2",
    "0.625": "5/8",
    "0.75": "3/4",
    "0.875": "7/8",
}
COUNTS = {w: str(n) for n, w in enumerate("zero one two three four five six seven eight nine ten".split())}


def stem(word: str) -> str:
    """A word without its commonest endings."""
    for ending in ENDINGS:
        if ending == "es" and not word.endswith(("sses", "xes", "zes", "ches", "shes", "oes")):
            continue  # hoses lose one letter, boxes two
        if word.endswith(ending) and len(word) - len(ending) >= 3:
            return word[: -len(ending)] + ("y" if ending in ("ied", "ies") else "")
    return word


def stems(text: str) -> set[str]:
    """Stems of the words of a phrase, without small words and words of measure. Sizes have one form: 0.5 and
    1/2 are one."""
    measures = word_set("parts", "measures")
    out: set[str] = set()
    for w in re.findall(r"\d+/\d+|\d+\.\d+|[a-z]+|\d+", text.lower().replace("'", "")):
        w = SIZES.get(w, COUNTS.get(w, w))
        if w not in STOP and w not in measures:
            out.add(stem(w))
    return out


def oil_words(text: str) -> str:
    """Oil grades as the register writes them: 15W-40 said as fifteen forty."""
    text = re.sub(
        r"\b(0|5|10|15|20|75|80|85)\s*W?\s*-?\s*(20|30|40|50|90|140)\b", r"grade\1x\2", text, flags=re.I
    )
    return re.sub(
        r"grade(\d+)x(\d+)", lambda m: "grade" + "".join("abcdefghij"[int(d)] for d in m[1] + m[2]), text
    )


class PartWords:
    """The words of all part descriptions, by row, with a weight for how rare each is: the logarithm of
    1 + rows / rows that have it."""

    def __init__(self, rows: list[PartRow]) -> None:
        self.rows = rows
        self.words = [stems(oil_words(r.description)) for r in rows]
        self.by_word: dict[str, list[int]] = defaultdict(list)
        for n, words in enumerate(self.words):
            for word in words:
                self.by_word[word].append(n)
        self.weight = {w: math.log(1 + len(rows) / len(ns)) for w, ns in self.by_word.items()}
        self.rare = math.log(1 + max(1, len(rows)))

    def rows_touched(self, said: set[str]) -> list[tuple[PartRow, set[str]]]:
        """Rows that share a word with those said (stems), each with the words of its description."""
        numbers = {n for w in said for n in self.by_word.get(w, ())}
        return [(self.rows[n], self.words[n]) for n in sorted(numbers)]


_INDEXES: WeakKeyDictionary[Lookup, PartWords] = WeakKeyDictionary()


def part_words(lookup: Lookup) -> PartWords:
    """The index of a register's parts, built when it is first asked for and kept as long as the look-up."""
    index = _INDEXES.get(lookup)
    if index is None:
        index = _INDEXES[lookup] = PartWords(lookup.register.parts)
    return index


@cache
def part_nouns() -> frozenset[str]:
    """Stems of the lexicon's part nouns."""
    return frozenset(stem(w) for w in word_set("parts", "nouns"))


def names_a_part(c: Context, words: str) -> bool:
    """Whether any of the words is a part's noun, by the lexicon or the register."""
    nouns = part_nouns()
    index = part_words(c.lookup)
    return any(
        stem(w) in nouns or (stem(w) in index.weight and not w.isdigit())
        for w in re.findall(r"[a-z]{3,}", words.lower())
    )


def by_words(
    c: Context, words: str, first: int, machine: MachineRow | None
) -> tuple[PartRow | None, list[PartRow]]:
    """The one row whose description the words fit, said at token `first`; (None, rivals) where several fit
    alike. Where they alone tell no row, the words as said more fully before are taken."""
    row, rivals = fitting_rows(c, words, machine)
    if row is None and (rivals or words):
        fuller = fuller_words(c, words, first)
        if fuller:
            second, others = fitting_rows(c, fuller, machine)
            if second is not None:
                return second, []
            rivals = rivals or others
    return row, rivals


def fuller_words(c: Context, words: str, before: int) -> str:
    """A part's words as said more fully before token `before`: "the seal kit" was "a pump seal kit". Empty
    where they were not, or where more than three words are given."""
    content = [w.lower() for w in re.findall(r"[a-zA-Z]+", words)]
    if not content or len(content) > 3:
        return ""
    left_out = word_set("parts", "talk", "left_out")
    best = ""
    for place in range(before - len(content) + 1):
        if [stem(w) for w in c.tokens[place : place + len(content)]] != [stem(w) for w in content]:
            continue
        first = place
        while (
            first > 0
            and c.tokens[first - 1].isalpha()
            and c.tokens[first - 1] not in left_out
            and c.tokens[first - 1] not in STOP
            and place - first < 3
        ):
            first -= 1
        if first < place:
            best = " ".join(c.tokens[first : place + len(content)])
    return best


def fitting_rows(c: Context, words: str, machine: MachineRow | None) -> tuple[PartRow | None, list[PartRow]]:
    """The row whose description the words fit best; (None, rivals) where several fit about as well,
    (None, []) where none fits. A description that names the machine's model fits its parts the better.

    The measure is the harmonic mean of recall and precision of the words, each weighted by how rare it is.
    """
    said = stems(oil_words(words))
    if not said:
        return None, []
    index = part_words(c.lookup)
    model = re.sub(r"\W", "", machine.model).lower() if machine is not None else ""
    scored: list[tuple[float, PartRow]] = []
    for row, described in index.rows_touched(said):
        both = said & described
        weight = sum(index.weight[w] for w in both)
        recall = weight / sum(index.weight.get(w, index.rare * STRANGE) for w in said)
        precision = weight / sum(index.weight[w] for w in described)
        if model in described:
            precision = weight / max(1e-9, sum(index.weight[w] for w in described if w != model))
            precision = min(1.0, precision) + 0.15
        scored.append((2 * recall * precision / max(1e-9, recall + precision), row))
    if not scored:
        return None, []
    scored.sort(key=lambda e: (-e[0], e[1].part_number))
    top = scored[0][0]
    if top < 0.5:
        return None, []
    rivals = [r for score, r in scored if score > top - 0.08]
    if len(rivals) == 1:
        return rivals[0], []
    return None, rivals


def near_part(c: Context, code: Code, words: str) -> tuple[PartRow | None, str]:
    """The row of the register's number nearest to `code`, where the words of the part bear it out, else None;
    and why a person should look."""
    typed = all(w.probability is None for w in c.book.transcript.words)
    key = code.key
    if len(key) < 4:
        return None, "not in the register"
    rows = [c.lookup.part_row(r) for _, r in c.lookup.part.near(key, 2 if not typed and len(key) >= 6 else 1)]
    said = stems(words)
    fits = [r for r in rows if said & stems(r.description)]
    if len(fits) == 1 and not typed:  # a typed number stands: a person wrote it
        return fits[0], f"{code.text} was heard; the register's nearest is {fits[0].part_number}"
    if fits or rows:
        near = ", ".join(r.part_number for r in (fits or rows)[:3])
        return None, f"{code.text} is not in the register; near it: {near}"
    return None, "not in the register"
