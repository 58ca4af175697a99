"""A second opinion on figures that money and safety hang on, where the recogniser was not sure of them.

The place is heard again on its own, without the vocabulary and the words round it. Where both hearings agree,
the figure is trusted more; where they do not, less, so that a person is asked to look.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import replace

from jobnotes.speech.figure_repair import tables
from jobnotes.speech.said import DOUBTED, Said

Hear = Callable[[float, float], str]
"""What is heard from one second of the window to another, on its own."""

ASKED = 0.85
"""Figures below this probability get a second opinion. Of 161 such figures 116 were heard alike both times,
and 14 in a hundred of these were wrong; of the others 47 in a hundred (memos of three speakers, in a cab)."""
AGREED = 0.5
"""The probability of a figure that was heard twice: what speech takes for sure (language.evidence)."""
LEAST_AGREED = 0.15
BEFORE_S = 2.5
AFTER_S = 1.5
MOST = 6
"""So many figures a window at most: each takes about 0.15 s on two cores, and the window 2 to 4 s."""


def second_opinions(words: Sequence[Said], hear: Hear) -> list[Said]:
    """The words, with the probabilities of critical figures raised or lowered."""
    out = list(words)
    doubtful = [n for n, word in enumerate(words) if word.probability < ASKED and _critical(words, n)]
    for place in sorted(doubtful, key=lambda n: words[n].probability)[:MOST]:
        word = words[place]
        again = hear(max(0.0, word.start - BEFORE_S), word.end + AFTER_S)
        if figures(word.text) <= figures(again):
            if word.heard is None and word.probability >= LEAST_AGREED:
                out[place] = replace(word, probability=max(word.probability, AGREED))
        else:
            out[place] = replace(word, probability=min(word.probability, DOUBTED))
    return out


def figures(text: str) -> frozenset[str]:
    """The numbers in a text, in figures: "10 to eight" has 10 and 8."""
    plain = re.sub(r"(?<=\d),(?=\d{3})", "", text.lower())
    plain = re.sub(r"\b(\d+00) and (\d{1,2})\b", lambda m: str(int(m[1]) + int(m[2])), plain)
    known = tables()["numbers"]
    found = re.findall(r"\d+(?:\.\d+)?", plain)
    found += [known[word] for word in re.findall(r"[a-z]+", plain) if word in known]
    return frozenset(found)


def _critical(words: Sequence[Said], place: int) -> bool:
    """Whether a figure is one that a value is made of: before a measure, after a clock word, or long."""
    text = words[place].text
    if not re.search(r"\d", text) or re.search(r"[A-Za-z]{1,5}-?\d", text):
        return False
    after = {word.bare for word in words[place + 1 : place + 4]}
    before = words[place - 1].bare if place else ""
    measured = bool(after & set(tables()["units"])) or re.search(r"\d[a-z%]+\W*$", text) is not None
    return measured or before in tables()["clock"] or len(re.sub(r"\D", "", text)) >= 3
