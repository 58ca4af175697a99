"""faster-whisper's model with two habits changed, and with an ear for alternatives. Imported only when it is
about to be used."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import ctranslate2
import numpy as np
from faster_whisper import WhisperModel
from faster_whisper.tokenizer import Tokenizer

BEFORE_TOKENS = 60
"""So much of what was said before a window is recalled: about three sentences."""
MOST_TOKENS = 440
"""The decoder has 448 places."""
FRAMES_S = 50
"""The encoder gives a frame each 20 ms (Radford et al. 2022, section 2.2)."""
LEAST_ALONE = 8
TOKENS_S = 6
"""Fast speech with figures has about so many tokens a second."""
UNLIKELY = 1e-12


class Listener(WhisperModel):  # type: ignore[misc]
    """A WhisperModel that hears one window, up to half a minute, and leaves it to the caller to go on.

    WhisperModel goes on by itself from the last word to the end of the sound, however little is left: it
    makes another half minute's work of the breath after the last word, and hears things in it. And it recalls
    up to 223 tokens of what went before, which with a vocabulary leave too few of its 448 for the answer.
    """

    def __init__(self, *arguments: Any, **more: Any) -> None:
        super().__init__(*arguments, **more)
        self._tokenizer = Tokenizer(self.hf_tokenizer, True, task="transcribe", language="en")
        self._encoded: Any = None

    def get_prompt(self, tokenizer: Any, previous_tokens: list[int], *others: Any, **more: Any) -> list[int]:
        """The tokens that stand before the answer: vocabulary, the last words heard, and the task."""
        prompt: list[int] = super().get_prompt(tokenizer, previous_tokens[-BEFORE_TOKENS:], *others, **more)
        return prompt

    def encode(self, features: Any) -> Any:
        """As in WhisperModel; the last window is kept for `likelihoods`."""
        self._encoded = super().encode(features)
        return self._encoded

    def likelihoods(
        self, before: str, options: Sequence[str], after: str, start: float, end: float
    ) -> list[float]:
        """How well each option goes with the last window from `start` to `end` seconds: the log probability
        of the option and of `after` behind it, given the sound and `before`. Comparable among the options of
        one call only.

        `before` are the words heard from `start` on, `after` those up to `end`; each text begins with its
        space. All in one pass through the decoder, over the part of the sound (encoded already) in which they
        are said: a quarter of the work that the whole window takes, and the same figures to about 1.
        """
        first = self._tokenizer.encode(before)
        rest = self._tokenizer.encode(after)
        texts = [[*first, *self._tokenizer.encode(option), *rest] for option in options]
        if self._encoded is None or max(map(len, texts)) > MOST_TOKENS:
            return [0.0] * len(options)
        part = self._part(start, end)
        results = self.model.align(
            ctranslate2.StorageView.from_array(np.ascontiguousarray(np.repeat(part, len(texts), axis=0))),
            self._tokenizer.sot_sequence,
            texts,
            2 * part.shape[1],
        )
        found = []
        for result, text in zip(results, texts, strict=True):
            chances = np.asarray(result.text_token_probs[len(first) : len(text)], dtype=np.float64)
            found.append(float(np.sum(np.log(np.maximum(chances, UNLIKELY)))))
        return found

    def heard_alone(self, start: float, end: float) -> str:
        """What is said in the last window from `start` to `end` seconds, heard without a vocabulary and
        without the words round it: a second opinion. Its beginning and end may be cut in a word."""
        if self._encoded is None:
            return ""
        tokenizer = self._tokenizer
        prompt = [*tokenizer.sot_sequence, tokenizer.no_timestamps]
        sound = ctranslate2.StorageView.from_array(np.ascontiguousarray(self._part(start, end)))
        most = len(prompt) + LEAST_ALONE + round((end - start) * TOKENS_S)
        # Without the end of the sound before it the decoder goes round in circles; so it may repeat nothing.
        result = self.model.generate(sound, [prompt], beam_size=5, max_length=most, no_repeat_ngram_size=4)
        return str(tokenizer.decode([t for t in result[0].sequences_ids[0] if t < tokenizer.eot]))

    def _part(self, start: float, end: float) -> Any:
        whole = np.asarray(self._encoded)
        low = min(max(0, int(start * FRAMES_S)), whole.shape[1] - 1)
        return whole[:, low : max(low + 1, int(end * FRAMES_S))]

    def _split_segments_by_timestamps(self, **window: Any) -> tuple[list[Any], int, bool]:
        # Called by faster-whisper (1.1 and 1.2) with the tokens of a window; gives the segments, the frame to
        # go on from, and whether the window is done with to its end. Were it called no more, the breath after
        # the last word would be heard as before, and what is invented there fall to the guards.
        segments, _, _ = super()._split_segments_by_timestamps(**window)
        return segments, window["seek"] + window["segment_size"], True
