"""faster-whisper's model with two habits changed. Imported only when it is about to be used."""

from __future__ import annotations

from typing import Any

from faster_whisper import WhisperModel

BEFORE_TOKENS = 60
"""So much of what was said before a window is recalled: about three sentences."""


class Listener(WhisperModel):  # type: ignore[misc]
    """A WhisperModel that hears one window, up to half a minute, and leaves it to the caller to go on.

    WhisperModel goes on by itself from the last word to the end of the sound, however little is left: it
    makes another half minute's work of the breath after the last word, and hears things in it. And it recalls
    up to 223 tokens of what went before, which with a vocabulary leave too few of its 448 for the answer.
    """

    def get_prompt(self, tokenizer: Any, previous_tokens: list[int], *others: Any, **more: Any) -> list[int]:
        """The tokens that stand before the answer: vocabulary, the last words heard, and the task."""
        prompt: list[int] = super().get_prompt(tokenizer, previous_tokens[-BEFORE_TOKENS:], *others, **more)
        return prompt

    def _split_segments_by_timestamps(self, **window: Any) -> tuple[list[Any], int, bool]:
        # Called by faster-whisper (1.1 and 1.2) with the tokens of a window; gives the segments, the frame to
        # go on from, and whether the window is done with to its end. Were it called no more, the breath after
        # the last word would be heard as before, and what is invented there fall to the guards.
        segments, _, _ = super()._split_segments_by_timestamps(**window)
        return segments, window["seek"] + window["segment_size"], True
