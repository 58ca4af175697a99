"""Guards against what the recogniser is known to invent: words over silence or noise, loops, stock phrases.

Whisper learned from subtitles, and where nothing is said it writes what subtitles say there (Koenecke et al.
2024, Careless Whisper, FAccT). Every guard needs evidence from the sound or from the recogniser's own scores;
what it drops is told in a remark, never silently.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache
from importlib import resources

import numpy as np
import numpy.typing as npt

from jobnotes.jobs.model import Word
from jobnotes.speech.voice import strongest

NO_SPEECH = 0.6
LOW_SCORE = -1.0
LOOPED = 2.4
"""No-speech probability, mean log probability and compression ratio beyond which Whisper's authors distrust a
piece (Radford et al. 2022, section 4.5)."""

NO_VOICE = 0.15
WEAK_VOICE = 0.5
UNSURE = 0.6
POOR_PIECE = 0.4
REPEATS = 4
FEW_WORDS = 4
MOST_WORDS_A_SECOND = 9.0
"""Fast English speech has about 5 words a second; word times are uncertain by 0.2 s."""
LONGEST_LOOP = 12


@dataclass
class Piece:
    """Some words recognised together, with the recogniser's scores for the whole of them.

    `score` is the mean log probability of the tokens; `no_speech` a probability, 0 to 1; `compression` the
    ratio of the text's length to its compressed length, high for a loop. Word times are seconds in the
    recording.
    """

    words: list[Word]
    score: float
    no_speech: float
    compression: float = 1.0


@dataclass
class Dropped:
    """Words left out, and why."""

    words: list[Word] = field(default_factory=list)
    why: str = ""


def guard(
    pieces: Sequence[Piece], voice: npt.NDArray[np.float32], echo: Sequence[str] = ()
) -> tuple[list[Word], list[Dropped]]:
    """The words to keep, in order, and what was dropped.

    `voice` holds the voice probabilities of the whole recording, one a step of speech.voice. `echo` are the
    phrases that were given to the recogniser as vocabulary: a doubtful piece made only of them is its own
    prompt come back.
    """
    kept: list[Word] = []
    dropped: list[Dropped] = []
    for piece in pieces:
        if not piece.words:
            continue
        why = _invented(piece, voice, echo)
        if why:
            dropped.append(Dropped(piece.words, why))
            continue
        unvoiced = [word for word in piece.words if _unvoiced(word, voice)]
        if unvoiced:
            dropped.append(Dropped(unvoiced, "nobody is heard there"))
        kept += [word for word in piece.words if word not in unvoiced]
    words, loops = without_loops(kept)
    return words, dropped + loops


def without_loops(words: Sequence[Word]) -> tuple[list[Word], list[Dropped]]:
    """The words with each loop cut down to its first round.

    A loop is a phrase of up to LONGEST_LOOP words said at least REPEATS times on end, twice that for a single
    word: people do say "no, no, no". Numbers spoken digit by digit ("four four four four") are no loop.
    """
    kept: list[Word] = []
    dropped: list[Dropped] = []
    texts = [bare(word.text) for word in words]
    place = 0
    while place < len(words):
        for length in range(1, LONGEST_LOOP + 1):
            phrase = texts[place : place + length]
            if not any(any(c.isalpha() for c in text) for text in phrase):
                continue
            rounds = 1
            while texts[place + rounds * length : place + (rounds + 1) * length] == phrase:
                rounds += 1
            if rounds >= (2 * REPEATS if length == 1 else REPEATS):
                kept += words[place : place + length]
                dropped.append(
                    Dropped(list(words[place + length : place + rounds * length]), "the same over and over")
                )
                place += rounds * length
                break
        else:
            kept.append(words[place])
            place += 1
    return kept, dropped


@cache
def stock_phrases() -> frozenset[str]:
    """Phrases of subtitles that the recogniser writes where nothing is said, bare and in small letters."""
    data = tomllib.loads(resources.files("jobnotes.speech").joinpath("phrases.toml").read_text("utf-8"))
    return frozenset(bare(phrase) for phrase in data["stock"])


def _invented(piece: Piece, voice: npt.NDArray[np.float32], echo: Sequence[str]) -> str | None:
    probability = sum(word.probability or 0.0 for word in piece.words) / len(piece.words)
    heard = max(strongest(voice, word.start or 0.0, word.end or 0.0) for word in piece.words)
    if heard < NO_VOICE:
        return "nobody is heard there"
    if piece.no_speech > NO_SPEECH and (piece.score < LOW_SCORE or probability < POOR_PIECE):
        return "the recogniser itself doubts that anybody speaks there"
    seconds = (piece.words[-1].end or 0.0) - (piece.words[0].start or 0.0)
    if len(piece.words) > FEW_WORDS and len(piece.words) > MOST_WORDS_A_SECOND * seconds:
        return "nobody can say so many words in the time"
    text = bare(" ".join(word.text for word in piece.words))
    doubtful = heard < WEAK_VOICE or probability < UNSURE or piece.no_speech > NO_SPEECH
    if doubtful and text in stock_phrases():
        return "a stock phrase over noise"
    if doubtful and len(piece.words) > 2 and any(text in bare(phrase) for phrase in echo):
        return "the recogniser's own word list over noise"
    return None


def _unvoiced(word: Word, voice: npt.NDArray[np.float32]) -> bool:
    unsure = (word.probability or 0.0) < UNSURE
    return unsure and strongest(voice, word.start or 0.0, word.end or 0.0) < NO_VOICE


def bare(text: str) -> str:
    """The words of a text in small letters, without punctuation."""
    return " ".join(re.findall(r"[\w']+", text.lower()))
