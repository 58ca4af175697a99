"""faster-whisper's model with two habits changed. Imported only when it is about to be used."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
from faster_whisper import WhisperModel

from jobnotes.speech.voice import STEP_S, THRESHOLD

WORTH_S = 0.3
"""Less voice than this after the last word is its own end, not another word."""
BEFORE_TOKENS = 60
"""So much of the words before a window is the recogniser reminded of; with the vocabulary and the answer it
has to fit into 448."""


class Listener(WhisperModel):  # type: ignore[misc]
    """WhisperModel goes on from the end of the last word to the end of a window, however little is left: it
    makes another half minute's work of the breath after the last word, and hears things in it. With `voice`
    set, a rest without a voice is left alone. And it remembers up to 223 tokens, which together with a
    vocabulary leave too few for the answer.
    """

    voice: npt.NDArray[np.float32] | None = None
    """Voice probabilities of the sound that is being recognised, one a step of speech.voice."""

    def get_prompt(self, tokenizer: Any, previous_tokens: list[int], *others: Any, **more: Any) -> list[int]:
        """The tokens that stand before the answer: vocabulary, the last words heard, and what is to be done."""
        prompt: list[int] = super().get_prompt(tokenizer, previous_tokens[-BEFORE_TOKENS:], *others, **more)
        return prompt

    def _split_segments_by_timestamps(self, **window: Any) -> tuple[list[Any], int, bool]:
        # Called by faster-whisper (1.1 and 1.2) with the tokens of a window; gives the segments, the frame to
        # go on from, and whether the window is done with to its end. Were it called no more, the rest would
        # be recognised as before and its words fall to the guards.
        segments, onward, finished = super()._split_segments_by_timestamps(**window)
        end = window["time_offset"] + window["segment_duration"]
        if self.voice is None or not segments:
            return segments, onward, finished
        rest = self.voice[int(segments[-1]["end"] / STEP_S) : int(end / STEP_S)]
        if np.count_nonzero(rest >= THRESHOLD) * STEP_S < WORTH_S:
            return segments, window["seek"] + window["segment_size"], True
        return segments, onward, finished
