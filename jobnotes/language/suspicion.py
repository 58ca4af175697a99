"""Suspicions: what somebody thought it was, and what of that was ruled out."""

from __future__ import annotations

import re
from functools import cache

from jobnotes.language.context import Context
from jobnotes.language.decode import Marked
from jobnotes.language.lexicon import sayings, word_set
from jobnotes.language.phrases import names_something, plain, told_before
from jobnotes.language.text import JOINING, LEADING, join, lower_first, render

# Small words between a cue and what it names.
PASSED = frozenset(
    "it was were the a an that 's of to be maybe first his its is must have been , er um might just".split()
)
# Small words at which what it names is over.
STOPS = frozenset(
    "but so and because since had until first myself at was were is as would when which where with again for "
    "i he then or on so 's n't could should had straight away".split()
)


def ruled_out(c: Context, mark: Marked) -> str:
    """What was ruled out: the noun said, or, for "not that", what was suspected just before. Empty where
    neither is there."""
    nothing = LEADING | JOINING | word_set("phrases", "suspicion", "empty")
    text = plain(c, mark)
    words = [w for w in re.findall(r"[a-z0-9]+", text.lower()) if w not in nothing]
    if words and names_something(c, " ".join(words)):
        return text
    if before := told_before(c, mark, ""):
        return before
    pieces = c.found.pieces
    verdicts = word_set("phrases", "checks", "verdicts")
    own = [i for i in range(mark.first, mark.last + 1) if pieces[i].text.isalpha() and not pieces[i].mark]
    own = [i for i in own if pieces[i].text not in nothing | verdicts]
    said = join([render(pieces[i], c.words, c.found) for i in own])
    if own and len(own) <= 3 and names_something(c, said):
        return lower_first(said)
    for i in range(mark.first, max(-1, mark.first - 60), -1):
        found = suspected_at(c, i)
        if found:
            return found[0]
    return text if words and len(words) > 1 else ""


@cache
def cues() -> tuple[tuple[str, ...], ...]:
    """The words that begin a suspicion, each cut into tokens, longest first."""
    said = sayings("phrases", "suspicion", "cues")
    cut = [tuple(x.replace("'", " '").replace("n 't", " n't").split()) for x in said]
    return tuple(sorted(cut, key=len, reverse=True))


def suspected_at(c: Context, piece: int) -> tuple[str, int, int] | None:
    """(noun, first, last piece) of the suspicion that a cue at `piece` begins or, as "thermostat, I thought"
    does, ends; None where there is none."""
    pieces = c.found.pieces
    texts = tuple(p.text for p in pieces[piece : piece + 6])
    for cue in cues():
        if texts[: len(cue)] != cue:
            continue
        first = piece + len(cue)
        while first < len(pieces) and pieces[first].text in PASSED:
            first += 1
        found = _noun(c, first)
        if found is not None and names_something(c, found[0]):
            return found
        ended = first > piece and piece >= 2 and pieces[first - 1].text in (".", ",", *cue)
        if ended and cue[-1] == "thought":
            back = piece - 1
            while back > 0 and pieces[back].text in ("i", ",", "we"):
                back -= 1
            begin = back
            while begin > 0 and pieces[begin - 1].text.isalpha() and back - begin < 3:
                begin -= 1
            text = lower_first(join([render(p, c.words, c.found) for p in pieces[begin : back + 1]]))
            if names_something(c, text) and back - begin < 3:
                return text, begin, back
        return found
    return None


def _noun(c: Context, first: int) -> tuple[str, int, int] | None:
    """(noun, first, last piece) of the words from piece `first`, at most five, up to a small word or sign."""
    pieces = c.found.pieces
    last = first
    while (
        last < len(pieces)
        and last - first < 5
        and pieces[last].text.isalpha()
        and not pieces[last].mark
        and pieces[last].text not in STOPS
    ):
        last += 1
    if last == first:
        return None
    text = lower_first(join([render(p, c.words, c.found) for p in pieces[first:last]]))
    return text, first, last - 1


def suspicions(c: Context, first: int, last: int) -> list[tuple[str, int, int]]:
    """(noun, first, last piece) of all suspicions that begin in pieces `first` to `last`."""
    out: list[tuple[str, int, int]] = []
    i = first
    while i <= last:
        found = suspected_at(c, i)
        if found:
            out.append(found)
            i = max(i, found[2]) + 1
        else:
            i += 1
    return out
