"""A memo in, jobs with evidence out."""

from __future__ import annotations

from datetime import datetime

from jobnotes.jobs import Job, ReadMemo, Transcript
from jobnotes.language.context import Context
from jobnotes.language.evidence import EvidenceBook
from jobnotes.language.findings import findings
from jobnotes.language.identity import fill_identity
from jobnotes.language.parts import fill_parts
from jobnotes.language.pipeline import pipeline
from jobnotes.language.readings import fill_readings
from jobnotes.language.segments import Segment, segments
from jobnotes.language.phrases import plain
from jobnotes.language.story import fill_story
from jobnotes.language.times import fill_times
from jobnotes.language.tokens import lower, word_of_token
from jobnotes.register import Lookup, Register


class Reader:
    """Reads memos against one register. Building it loads the pipeline; reading is fast."""

    def __init__(self, register: Register) -> None:
        self.lookup = Lookup(register)
        self.nlp = pipeline(self.lookup)

    def read(self, transcript: Transcript, memo: str, recorded_at: datetime) -> ReadMemo:
        """The jobs of a memo. `recorded_at` is local time at the end of the recording. Any text gives a valid object."""
        doc = self.nlp(transcript.text)
        book = EvidenceBook(doc, word_of_token(doc, transcript.words), transcript)
        found = findings(doc)
        c = Context(doc, lower(doc), [t.text for t in doc], found, self.lookup, recorded_at, book)
        out = ReadMemo(memo=memo, recorded_at=recorded_at.replace(tzinfo=None).isoformat(timespec="seconds"), transcript=transcript)
        spoken = segments(found)
        for number, segment in enumerate(spoken):
            out.jobs.append(self.job(c, segment, number))
        share_site(c, out.jobs)
        for mark in found.marks:
            if mark.group == "note" and mark.confidence > 0.4 and (text := plain(c, mark)):
                out.notes.append(text)
        out.evidence = book.entries
        return out

    def job(self, c: Context, segment: Segment, number: int) -> Job:
        """One job of the memo."""
        job = Job()
        base = f"/jobs/{number}"
        row = fill_identity(c, segment, job, base)
        fill_times(c, segment, job, base)
        fill_readings(c, segment, job, base)
        fill_parts(c, segment, job, base, row)
        fill_story(c, segment, job, base)
        return job


def share_site(c: Context, jobs: list[Job]) -> None:
    """Several jobs at one site: site, customer and order number stand in each, though said once."""
    for number, job in enumerate(jobs):
        others = [(n, o) for n, o in enumerate(jobs) if n != number]
        before = [(n, o) for n, o in others if n < number][::-1] + [(n, o) for n, o in others if n > number]
        if job.site is None:
            for n, other in before:
                if other.site is None or (job.customer and other.customer and job.customer != other.customer):
                    continue
                job.site = other.site
                copy(c, n, number, "site")
                break
        if job.customer is None:
            for n, other in before:
                if other.customer is not None and other.site == job.site:
                    job.customer = other.customer
                    copy(c, n, number, "customer")
                    break
        if job.order_number is None:
            for n, other in before:
                if other.order_number is not None and other.site == job.site and other.customer == job.customer:
                    job.order_number = other.order_number
                    copy(c, n, number, "order_number")
                    break
    for number, job in enumerate(jobs):
        if job.date is None:
            job.date = c.recorded_at.date().isoformat()
        _ = number


def copy(c: Context, source: int, target: int, field: str) -> None:
    """The evidence of a shared field."""
    entry = c.book.entries.get(f"/jobs/{source}/{field}")
    if entry is not None:
        c.book.entries[f"/jobs/{target}/{field}"] = entry


__all__ = ["Reader", "Segment"]
