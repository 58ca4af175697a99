"""Samples to words: the recogniser, its weights and its vocabulary."""

from jobnotes.speech.recogniser import Recogniser
from jobnotes.speech.words import vocabulary

__all__ = ["Recogniser", "vocabulary"]
