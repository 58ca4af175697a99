"""Memos taken in one by one: from a file to a transcript or to jobs, and what became of each."""

from jobnotes.intake.batch import Batch, Row
from jobnotes.intake.captions import webvtt
from jobnotes.intake.memos import Heard, Intake
from jobnotes.intake.names import memo_names
from jobnotes.intake.read_files import load_read
from jobnotes.intake.recorded import given_time, time_zone

__all__ = [
    "Batch",
    "Heard",
    "Intake",
    "Row",
    "given_time",
    "load_read",
    "memo_names",
    "time_zone",
    "webvtt",
]
