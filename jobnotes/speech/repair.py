"""What was heard, set right: codes, figures, names and the trade's words, in one window of the recording."""

from __future__ import annotations

from collections.abc import Sequence

from jobnotes.speech.code_repair import code_repairs
from jobnotes.speech.figure_repair import figure_repairs
from jobnotes.speech.knowledge import Knowledge
from jobnotes.speech.opinion import Hear, second_opinions
from jobnotes.speech.said import Ask, Said, applied, joined
from jobnotes.speech.weighing import figure_choices, word_choices
from jobnotes.speech.word_repair import word_repairs


def repaired(words: Sequence[Said], knowledge: Knowledge | None, ask: Ask, hear: Hear) -> list[Said]:
    """The words of a window, set right where the register, the trade's words and the sound agree.

    `ask` and `hear` ask the recogniser about the window's sound.
    """
    words = joined(words)
    words = applied(words, figure_repairs(words, ask))
    words = applied(words, figure_choices(words, ask))
    words = applied(words, code_repairs(words, knowledge, ask))
    words = applied(words, word_repairs(words, knowledge, ask))
    words = applied(words, word_choices(words, knowledge, ask))
    return second_opinions(words, hear)
