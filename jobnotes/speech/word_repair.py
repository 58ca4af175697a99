"""Names of the register and words of the trade set right by their sound, where the recogniser was not sure.

    at wexcome quarry      at Wexcombe Quarry
    the region button     the regen button
    steering ramp         steering ram
    the tele handler      the telehandler

A word is set right only if it sounds nearly like one that is expected, was not sure of itself, and the
recording goes with the expected one about as well. Words that the recogniser was sure of stay as they are.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import cache

from jobnotes.speech.knowledge import Knowledge
from jobnotes.speech.likeness import SoundIndex, sound_of, unlike
from jobnotes.speech.said import Ask, Repair, Said, asked
from jobnotes.speech.words import other_spellings, repair_phrases, repair_words, small_words, words_in_names

SURE = 0.85
"""A word of this probability or more is taken as heard."""
SURE_PHRASE = 0.93
SURE_NAME = 0.95
ALIKE = 0.25
ALIKE_WORD = 0.2
ALIKE_JOINED = 0.08
ALIKE_NAME = 0.34
ALIKE_BESIDE = 0.45
"""How unlike a word may sound (speech.likeness.unlike): words of a phrase,
trade words on their own, two words for one, names, names with another word of the
same name beside them."""
WORD = -2.0
PHRASE = -3.0
NAME = -6.0
NAME_BESIDE = -10.0
"""How much worse than what was heard they may go with the sound (natural logarithms). Chosen on memos of
three speakers."""
SHORTEST = 4


@cache
def _words() -> SoundIndex:
    return SoundIndex(repair_words())


@cache
def _phrases() -> dict[str, list[tuple[str, ...]]]:
    """Phrases by each of their words: the other words tell the one that is wrong."""
    table: dict[str, list[tuple[str, ...]]] = {}
    for phrase in repair_phrases():
        words = tuple(phrase.split())
        for word in words:
            table.setdefault(word, []).append(words)
    return table


def word_repairs(words: Sequence[Said], knowledge: Knowledge | None, ask: Ask) -> list[Repair]:
    """The names and words to set right."""
    found: list[Repair] = []
    taken: set[int] = set()

    def take(repair: Repair | None) -> None:
        if repair is not None and not taken & set(range(repair.first, repair.last)):
            found.append(repair)
            taken.update(range(repair.first, repair.last))

    for place in range(len(words)):
        if knowledge is not None:
            take(_name(words, place, knowledge, ask))
        take(_phrase(words, place, ask))
        take(_word(words, place, ask))
    return found


def _plain(words: Sequence[Said], first: int, last: int) -> str | None:
    """The words in one, if they are nothing but letters and no mark stands between them."""
    part = words[first:last]
    if len(part) > 1 and any(word.bare in small_words() for word in part):
        return None
    if len(part) < last - first or any(word.heard for word in part):
        return None
    if any(word.text[-1:] in ".,;:!?" for word in part[:-1]):
        return None
    text = "".join(word.bare.replace("-", "") for word in part)
    return text if text.replace("'", "").isalpha() else None


def _name(words: Sequence[Said], place: int, knowledge: Knowledge, ask: Ask) -> Repair | None:
    index = knowledge.name_words
    for last in (place + 2, place + 1):
        text = _plain(words, place, last)
        if text is None or len(text) < 5:
            continue
        if any(word.bare in index for word in words[place:last]) or text in _words():
            continue
        chance = min(word.probability for word in words[place:last])
        if chance > SURE_NAME:
            continue
        owner = "'s" if text.endswith("'s") else ""
        stem = text.removesuffix("'s")
        beside = {word.bare.removesuffix("'s") for word in words[max(0, place - 2) : last + 2]}
        for apart, name in index.near(stem, ALIKE_BESIDE if last == place + 1 else ALIKE_NAME)[:2]:
            vouched = bool(knowledge.neighbours[name.lower()] & beside)
            if name.lower() in words_in_names():
                continue
            if apart > (ALIKE_BESIDE if vouched else ALIKE_NAME) or len(name) < 5:
                continue
            if not vouched and (chance > SURE or apart > ALIKE):
                continue
            mark = asked(words, place, last, [name + owner], ask)[0]
            if mark > (NAME_BESIDE if vouched else NAME):
                return Repair(place, last, name + owner)
    return None


def _phrase(words: Sequence[Said], place: int, ask: Ask) -> Repair | None:
    """One word of a phrase is heard, and the one beside it sounds nearly like the other."""
    if _plain(words, place, place + 1) is None or words[place].probability > SURE_PHRASE:
        return None
    bare = words[place].bare
    if bare in other_spellings():
        return None
    for side in (-1, 1):
        other = place + side
        if not 0 <= other < len(words) or words[min(place, other)].text[-1:] in ".,;:!?":
            continue
        for phrase in _phrases().get(words[other].bare, ()):
            if len(phrase) != 2:
                continue
            wanted, fixed = (phrase[1], phrase[0]) if side < 0 else (phrase[0], phrase[1])
            if fixed != words[other].bare or wanted == bare or unlike(bare, wanted) > ALIKE:
                continue
            if (words[other].bare, bare) in _known_pairs() or (bare, words[other].bare) in _known_pairs():
                continue
            if bare.rstrip("s") == wanted.rstrip("s"):
                continue
            if asked(words, place, place + 1, [wanted], ask)[0] > PHRASE:
                return Repair(place, place + 1, wanted)
    return None


@cache
def _known_pairs() -> frozenset[tuple[str, str]]:
    return frozenset((a, b) for phrase in repair_phrases() for a, b in [phrase.split()[:2]])


def _word(words: Sequence[Said], place: int, ask: Ask) -> Repair | None:
    index = _words()
    for last in (place + 2, place + 1):
        text = _plain(words, place, last)
        if text is None or len(text) < SHORTEST or text in index:
            if text is not None and last == place + 2 and text in index:
                return Repair(place, last, text, certain=True)
            continue
        if any(word.bare in index for word in words[place:last]):
            continue
        if min(word.probability for word in words[place:last]) > SURE:
            continue
        stem = re.sub("'s$", "", text)
        near = [
            word
            for _, word in index.near(stem, ALIKE_WORD if last == place + 1 else ALIKE_JOINED)
            if sound_of(word)[:1] == sound_of(stem)[:1]
        ]
        if not near or near[0].rstrip("s") == text.rstrip("s") or stem in other_spellings():
            continue
        if asked(words, place, last, [near[0]], ask)[0] > WORD:
            return Repair(place, last, near[0])
    return None
