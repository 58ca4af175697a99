"""A draft sheet of a recording that can't be trusted, and of words that were set right."""

from __future__ import annotations

from paper_example import example

from jobnotes.jobs.model import Evidence, Word
from jobnotes.paper import sheet_html
from jobnotes.paper.letterhead import Signature, Signatures

POOR = (
    "The recording is poor: the voice stands only 2 dB above the noise, and words may be misheard.",
    "The words are hard to make out throughout: hold them against the recording.",
)
