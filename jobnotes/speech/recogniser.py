"""Samples to words with times and probabilities: faster-whisper, with the guards around it."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt

from jobnotes.audio import RATE, Sound
from jobnotes.audio.sound import SHORTEST_S, Samples, loud_level
from jobnotes.errors import JobnotesError
from jobnotes.jobs.model import Transcript, Word
from jobnotes.speech import voice
from jobnotes.speech.guards import LOOPED, LOW_SCORE, Dropped, Piece, guard
from jobnotes.speech.holes import Hole, filled, holes
from jobnotes.speech.knowledge import Knowledge
from jobnotes.speech.repair import repaired
from jobnotes.speech.said import Said
from jobnotes.speech.weights import find_model
from jobnotes.speech.words import Vocabulary, prompt, trade_words

BEAM = 5
LEAST_S = 1.0
"""A window that ends sooner than this after its beginning is not tried from there again, lest it end there
for ever."""
WORTH_S = 0.6
"""Less voice than this after the last word is its own end, not another word."""
CUT_S = 1.0
BACK_S = 2.5
"""Words that end within CUT_S of a cut through speech are heard again: the last may be half a word, and the
recogniser bends the one before to fit it. The place to begin again is looked for in BACK_S before."""
PARAGRAPH_S = 2.5
POOR_DB = 5.0
HARD_PROBABILITY = 0.65
MARKS = ".,;:!?-–—…'\"“”‘’()[]*♪"
"""What stands alone of these is no word."""


class Recogniser:
    """A loaded speech model. Loading takes about a second; one Recogniser serves any number of recordings.

    The same samples give the same words, whatever was heard before: nothing is sampled at random, and no
    recording is a context for the next.
    """

    def __init__(self, model: str | None = None) -> None:
        """`model` as in weights.find_model. Raises JobnotesError when there is no such model or it can't be
        loaded."""
        source = find_model(model)
        from jobnotes.speech.listener import Listener

        try:
            self._model: Any = Listener(
                source, device="cpu", compute_type="int8", cpu_threads=min(4, os.cpu_count() or 2)
            )
        except Exception as error:
            # The libraries below raise RuntimeError, ValueError, OSError and errors of their own for the same
            # causes.
            cause = str(error).splitlines()[0] if str(error) else type(error).__name__
            raise JobnotesError(f"The speech model {source} could not be loaded: {cause}") from error

    def hear(
        self,
        sound: Sound,
        vocabulary: Sequence[str] = (),
        progress: Callable[[float], None] | None = None,
    ) -> Transcript:
        """The words of `sound`. `vocabulary`: names and words to expect (see words.vocabulary), else the
        trade's.

        `progress` is told the seconds of the recording done so far, and at the end all of them. The remarks
        are those of the sound, and what was found in listening: noise, words dropped, nobody heard.
        """
        remarks = list(sound.remarks)
        level = loud_level(sound.samples)
        samples = voice.louder(sound.samples, level)
        chances = voice.voice_probabilities(samples)
        found = voice.stretches(chances, len(samples)) if sound.seconds >= SHORTEST_S else []
        before = prompt(vocabulary or trade_words(), self._tokens)
        knowledge = vocabulary.knowledge if isinstance(vocabulary, Vocabulary) else None
        pieces = self._recognise(samples, chances, found, before, knowledge, progress) if found else []
        echo = [*(vocabulary or trade_words()), before]
        # From the last hole to the first, so that the places of the ones before stay right.
        for hole in reversed(holes(pieces, chances, sound.seconds)):
            pieces = filled(pieces, hole, self._listen_in(samples, chances, hole, before, knowledge))
        words, dropped = guard(pieces, chances, echo)
        over_noise = voice.voice_over_noise(samples, chances)
        remarks += _remarks(sound, words, dropped, chances, over_noise)
        if progress is not None:
            progress(sound.seconds)
        return Transcript(
            text=_text(words),
            words=words,
            seconds=round(sound.seconds, 3),
            level_dbfs=round(level, 1),
            voice_over_noise_db=None if over_noise is None else round(over_noise, 1),
            remarks=remarks,
        )

    def _tokens(self, text: str) -> int:
        return len(self._model.hf_tokenizer.encode(text, add_special_tokens=False).ids)

    def _recognise(
        self,
        samples: Samples,
        chances: npt.NDArray[np.float32],
        found: Sequence[voice.Stretch],
        before: str,
        knowledge: Knowledge | None,
        progress: Callable[[float], None] | None,
    ) -> list[Piece]:
        """The pieces of the stretches, with times in the whole recording.

        The stretches are joined, and heard in windows that end in pauses. Whisper often stops early, in the
        belief that a sentence runs on past the window: then the next window begins where it stopped.
        """
        speech = np.concatenate([samples[one.start : one.end] for one in found])
        joined = np.concatenate(
            [chances[one.start // voice.STEP : -(-one.end // voice.STEP)] for one in found]
        )
        clock = _Clock(found)
        seconds = len(speech) / RATE
        pieces: list[Piece] = []
        recalled: list[int] = []
        start = 0.0
        while seconds - start > SHORTEST_S:
            end = voice.seam(joined, start, seconds)
            part = speech[round(start * RATE) : round(end * RATE)]
            window = self._window(part, before, recalled)
            if failed := _failed(window):
                window = self._again(part, window)
                if any(segment.compression_ratio > LOOPED for segment in window):
                    # Nothing of a loop can be trusted, its first round neither; the hole is listened to
                    # later.
                    window = []
            if end < seconds and voice.calm(joined, end) > voice.SURE_NOISE:
                window = self._without_end(window, joined, start, end)
            pieces += _pieces(window if failed else self._set_right(window, knowledge), start, clock)
            # Words that came out wrong would lead the next ones astray.
            recalled = [] if failed else [*recalled, *(token for one in window for token in one.tokens)]
            stopped = start + max((segment.end for segment in window), default=0.0)
            early = stopped > start + LEAST_S and voice.voiced(joined, stopped, end) > WORTH_S
            start = stopped if early else end
            if progress is not None:
                progress(clock.span(start, start)[1])
        return pieces

    def _without_end(
        self, window: list[Any], chances: npt.NDArray[np.float32], start: float, end: float
    ) -> list[Any]:
        """The segments of a window that was cut through speech, without its last words, which are to be heard
        again: back to the calmest place between two words. As they are where there is none.

        The tokens go as well: what is recalled as said is passed over when it comes again.
        """
        words = [(place, word) for place, segment in enumerate(window) for word in segment.words or []]
        until = end - start - CUT_S
        edges = [n for n, (_, word) in enumerate(words) if max(LEAST_S, until - BACK_S) < word.end <= until]
        if not edges:
            return window
        last = min(edges, key=lambda n: voice.calm(chances, start + words[n][1].end))
        place = words[last][0]
        kept = [word for at, word in words[: last + 1] if at == place]
        said = "".join(word.word for word in kept)
        tokens = self._model.hf_tokenizer.encode(said, add_special_tokens=False).ids
        return [*window[:place], replace(window[place], words=kept, tokens=tokens, end=kept[-1].end)]

    def _listen_in(
        self,
        samples: Samples,
        chances: npt.NDArray[np.float32],
        hole: Hole,
        before: str,
        knowledge: Knowledge | None,
    ) -> list[Piece]:
        """What is said in a hole, heard on its own; nothing when that fails too."""
        end = voice.seam(chances, hole.start, hole.end)
        span = voice.Stretch(round(hole.start * RATE), round(end * RATE))
        window = self._window(samples[span.start : span.end], before, [])
        if _failed(window):
            return []
        return _pieces(self._set_right(window, knowledge), 0.0, _Clock([span]))

    def _set_right(self, window: Sequence[Any], knowledge: Knowledge | None) -> list[Any]:
        """The window's segments with their words set right. The model still holds the window's sound."""
        words = [
            Said(word.word, word.start, word.end, word.probability, segment=place)
            for place, segment in enumerate(window)
            for word in segment.words or []
        ]
        right = repaired(words, knowledge, self._model.likelihoods, self._model.heard_alone)
        return [
            replace(segment, words=[word for word in right if word.segment == place])
            for place, segment in enumerate(window)
        ]

    def _window(self, part: Samples, before: str | None, recalled: list[int], **more: Any) -> list[Any]:
        """faster-whisper's segments for up to half a minute of speech."""
        segments, _ = self._model.transcribe(
            part,
            language="en",
            beam_size=BEAM,
            # One temperature, 0: the usual way out of a bad answer is to sample at random, and sampled words
            # differ from run to run. _again is the way out here.
            temperature=0.0,
            condition_on_previous_text=False,
            word_timestamps=True,
            vad_filter=False,
            hotwords=before,
            initial_prompt=recalled,
            **more,
        )
        return list(segments)

    def _again(self, part: Samples, window: list[Any]) -> list[Any]:
        """A failed window heard again, without a prompt and with repetition forbidden; the better one."""
        second = self._window(part, None, [], no_repeat_ngram_size=5, repetition_penalty=1.1)
        if not second or _failed(second):
            return window
        return second


class _Clock:
    """Seconds in a group of stretches joined on end, to seconds in the recording."""

    def __init__(self, group: Sequence[voice.Stretch]) -> None:
        lengths = np.array([stretch.end - stretch.start for stretch in group]) / RATE
        self._joins: npt.NDArray[np.float64] = np.concatenate([[0.0], np.cumsum(lengths)])
        self._starts = [stretch.start / RATE for stretch in group]

    def span(self, start: float, end: float) -> tuple[float, float]:
        """A word lies in one stretch; one whose times cross a join belongs to where most of it lies."""
        place = (start + end) / 2
        n = min(max(int(np.searchsorted(self._joins, place, "right")) - 1, 0), len(self._starts) - 1)
        low, high = float(self._joins[n]), float(self._joins[n + 1])
        offset = self._starts[n] - low
        return min(max(start, low), high) + offset, min(max(end, low), high) + offset


def _failed(window: Sequence[Any]) -> bool:
    return any(s.compression_ratio > LOOPED or s.avg_logprob < LOW_SCORE for s in window)


def _pieces(window: Sequence[Any], offset: float, clock: _Clock) -> list[Piece]:
    """A window's segments as pieces; `offset` is where the window begins, in the clock's joined seconds."""
    return [piece for piece in (_piece(segment, offset, clock) for segment in window) if piece.words]


def _piece(segment: Any, offset: float, clock: _Clock) -> Piece:
    words: list[Word] = []
    for heard in segment.words or []:
        text = heard.word.strip()
        joined = bool(words) and not heard.word.startswith(" ")
        if not joined and all(character in MARKS for character in text):
            continue
        start, end = clock.span(offset + heard.start, offset + heard.end)
        if joined:
            # The recogniser splits "1.5" and "near-side"; what has no space before it goes on the same word.
            last = words[-1]
            chance = min(last.probability or 0.0, heard.probability)
            words[-1] = last.model_copy(
                update={"text": last.text + text, "end": round(end, 2), "probability": chance}
            )
        else:
            words.append(
                Word(
                    text=text,
                    start=round(start, 2),
                    end=round(end, 2),
                    probability=round(min(1.0, heard.probability), 3),
                    heard=getattr(heard, "heard", None),
                )
            )
    return Piece(words, segment.avg_logprob, segment.no_speech_prob, segment.compression_ratio)


def _text(words: Sequence[Word]) -> str:
    """The words as text: a new paragraph after a sentence and a pause of PARAGRAPH_S."""
    text = ""
    for n, word in enumerate(words):
        if n:
            pause = (word.start or 0.0) - (words[n - 1].end or 0.0)
            text += "\n\n" if pause >= PARAGRAPH_S and words[n - 1].text[-1] in ".?!" else " "
        text += word.text
    return text


def _remarks(
    sound: Sound,
    words: Sequence[Word],
    dropped: Sequence[Dropped],
    chances: npt.NDArray[np.float32],
    over_noise: float | None,
) -> list[str]:
    remarks = []
    unheard = [
        (hole.start, hole.end) for hole in holes([Piece(list(words), 0.0, 0.0)], chances, sound.seconds)
    ]
    if not words and not unheard and sound.seconds >= SHORTEST_S:
        remarks.append("Nobody is heard speaking in the recording.")
    if words and over_noise is not None and over_noise < POOR_DB:
        remarks.append(
            f"The recording is poor: the voice stands only {over_noise:.0f} dB above the noise, and words "
            "may be misheard."
        )
    if words:
        mean = sum(word.probability or 0.0 for word in words) / len(words)
        if mean < HARD_PROBABILITY:
            remarks.append("The words are hard to make out throughout: hold them against the recording.")
    for start, end in unheard:
        remarks.append(
            f"From {start:.0f} to {end:.0f} s somebody is heard, but not all words could be made out."
        )
    for one in dropped:
        text = " ".join(word.text for word in one.words)
        shown = text if len(text) <= 60 else text[:57] + "..."
        remarks.append(f"At {one.words[0].start or 0.0:.1f} s words were left out, as {one.why}: {shown!r}.")
    return remarks
