"""Holes in what was heard: stretches where somebody speaks and no word stands.

Whisper at times leaves a sentence out in the midst of a window. The words beside such a hole then get the
times of the sentence that is missing, so a word that lasts too long shows a hole as well.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from jobnotes.jobs.model import Word
from jobnotes.speech.guards import Piece, bare
from jobnotes.speech.voice import voiced

UNHEARD_S = 2.0
"""So much voice without a word is more than drawled vowels and the uncertainty of word times."""
LONGEST_WORD_S = 1.5


@dataclass(frozen=True)
class Hole:
    """From `start` to `end` seconds. It opens before word `word` of piece `piece`, whose next `cut` words are
    in doubt."""

    start: float
    end: float
    piece: int
    word: int
    cut: int = 0


def holes(pieces: Sequence[Piece], chances: npt.NDArray[np.float32], seconds: float) -> list[Hole]:
    """The holes in a recording of `seconds`, in order. `chances`: voice probabilities, one a step of
    speech.voice.

    A word that lasts longer than LONGEST_WORD_S and holds a hole puts itself and the rest of its piece in
    doubt.
    """
    found = []
    last = 0.0
    for p, piece in enumerate(pieces):
        for w, word in enumerate(piece.words):
            start, end = word.start or 0.0, word.end or 0.0
            if voiced(chances, last, start) > UNHEARD_S:
                found.append(Hole(last, start, p, w))
            last = max(last, end)
            if voiced(chances, start + LONGEST_WORD_S, end) > UNHEARD_S:
                later = [other.words[0].start or 0.0 for other in pieces[p + 1 :] if other.words]
                last = max(last, later[0] if later else seconds)
                found.append(Hole(start, last, p, w, len(piece.words) - w))
                break
    if pieces and voiced(chances, last, seconds) > UNHEARD_S:
        found.append(Hole(last, seconds, len(pieces) - 1, len(pieces[-1].words)))
    return found


def filled(pieces: Sequence[Piece], hole: Hole, filling: Sequence[Piece]) -> list[Piece]:
    """The pieces with `filling` in the hole, in place of the words in doubt; unchanged when the filling is
    empty.

    A word heard on both sides of an edge is one word: of the filling's first and last words, those that
    repeat their neighbours are left out.
    """
    words = [word for piece in filling for word in piece.words]
    if not words:
        return list(pieces)
    piece = pieces[hole.piece]
    before, after = piece.words[: hole.word], piece.words[hole.word + hole.cut :]
    preceding = before or [word for other in pieces[: hole.piece] for word in other.words]
    following = after or [word for other in pieces[hole.piece + 1 :] for word in other.words]
    first = _repeated(preceding, words)
    last = len(words) - _repeated(words[first:], following)
    kept = set(map(id, words[first:last]))
    new = [replace(one, words=[word for word in one.words if id(word) in kept]) for one in filling]
    edges = [replace(piece, words=before), *new, replace(piece, words=after)]
    return [*pieces[: hole.piece], *(one for one in edges if one.words), *pieces[hole.piece + 1 :]]


def _repeated(left: Sequence[Word], right: Sequence[Word], most: int = 4) -> int:
    """How many words at the end of `left` stand again at the start of `right`."""
    for count in range(min(most, len(left), len(right)), 0, -1):
        if [bare(word.text) for word in left[-count:]] == [bare(word.text) for word in right[:count]]:
            return count
    return 0
