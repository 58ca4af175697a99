"""The words of one window while they are being set right, and the means to ask the sound about them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

Ask = Callable[[str, Sequence[str], str, float, float], list[float]]
"""Given the text before, the options and the text after them, and from when to when in the window all of it
is said (s): how well each option goes with the sound, as a log probability (see Listener.likelihoods). Every
text begins with its space."""

BEFORE = 8
BEFORE_S = 0.3
AFTER_S = 0.5
"""So many words and seconds more are listened to before and after a place: the recogniser's word times are
uncertain by 0.2 s."""
AFTER = 3
"""So many words after a place are asked about with it: a wrong word spoils those that follow."""
DOUBTED = 0.4
"""The probability that a word set right has at most, unless it is certain: below it a critical value is
marked for a look."""
CLOSING = ".,;:!?"


@dataclass(frozen=True)
class Said:
    """A word with the space and the marks that the recogniser wrote with it; times in seconds from the start
    of the window. `segment` is the place of the segment that it belongs to."""

    word: str
    start: float
    end: float
    probability: float
    heard: str | None = None
    segment: int = 0

    @property
    def text(self) -> str:
        return self.word.strip()

    @property
    def bare(self) -> str:
        """Without marks round it, in small letters."""
        return self.word.strip().strip(".,;:!?()\"'").lower()


@dataclass(frozen=True)
class Repair:
    """Words `first` to `last` (exclusive) become `text`. `certain`: no doubt is left that it was said. A
    repair to the very word that was heard only puts it in doubt."""

    first: int
    last: int
    text: str
    certain: bool = False


def closing(word: str) -> str:
    """The marks that a word ends in."""
    bare = word.rstrip(CLOSING)
    return word[len(bare) :]


def asked(words: Sequence[Said], first: int, last: int, options: Sequence[str], ask: Ask) -> list[float]:
    """How much better each option goes with the sound than what was heard: 0 is as well. The options have no
    marks at their end; they get those of the last word heard."""
    low, high = max(0, first - BEFORE), min(len(words), last + AFTER)
    heard = "".join(word.word for word in words[first:last])
    marks = closing(heard)
    found = ask(
        "".join(word.word for word in words[low:first]),
        [heard, *(f" {option}{marks}" for option in options)],
        "".join(word.word for word in words[last:high]),
        words[low].start - BEFORE_S,
        words[high - 1].end + AFTER_S,
    )
    return [one - found[0] for one in found[1:]]


def joined(words: Sequence[Said]) -> list[Said]:
    """The words, with pieces that have no space before them put to the word they belong to ("1" ".5")."""
    out: list[Said] = []
    for word in words:
        if out and word.word[:1] != " ":
            last = out[-1]
            chance = min(last.probability, word.probability)
            out[-1] = replace(last, word=last.word + word.word, end=word.end, probability=chance)
        else:
            out.append(word)
    return out


def applied(words: Sequence[Said], repairs: Sequence[Repair]) -> list[Said]:
    """The words with the repairs made, each of which keeps what was heard. Of repairs that overlap the first
    is made."""
    out = list(words)
    taken: set[int] = set()
    made = []
    for repair in repairs:
        places = set(range(repair.first, repair.last))
        if not places & taken:
            taken |= places
            made.append(repair)
    for repair in sorted(made, key=lambda one: -one.first):
        old = out[repair.first : repair.last]
        heard = " ".join(word.heard or word.text for word in old)
        text = repair.text
        if old[0].text[:1].isupper() and old[0].text[1:2].islower():
            text = text[:1].upper() + text[1:]
        new_text = text if closing(text) else text + closing(old[-1].word)
        if new_text == heard and repair.certain:
            continue
        chance = sum(word.probability for word in old) / len(old)
        if new_text == heard:  # a doubt alone
            out[repair.first] = replace(old[0], probability=min(chance, DOUBTED))
            continue
        lead = " " if old[0].word[:1] == " " or repair.first == 0 else ""
        new = replace(
            old[0],
            word=lead + new_text,
            end=old[-1].end,
            probability=chance if repair.certain else min(chance, DOUBTED),
            heard=heard,
        )
        out[repair.first : repair.last] = [new]
    return out
