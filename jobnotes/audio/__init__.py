"""A sound file of any common kind, as 16 kHz mono samples with its levels and what is wrong with it."""

from jobnotes.audio.load import load
from jobnotes.audio.sound import RATE, Sound

__all__ = ["RATE", "Sound", "load"]
