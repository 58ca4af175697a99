"""A memo in, jobs with evidence out."""

from __future__ import annotations

from datetime import datetime

from jobnotes.jobs import Job, ReadMemo, Transcript
from jobnotes.language.context import Context
from jobnotes.language.decode import Marked
from jobnotes.language.doubts import mark_doubts, shared_between
from jobnotes.language.evidence import EvidenceBook
from jobnotes.language.findings import findings
from jobnotes.language.identity import fill_identity
from jobnotes.language.lexicon import word_set
from jobnotes.language.machine_rows import alike, type_of
from jobnotes.language.names import machine_types
from jobnotes.language.parts import fill_parts
from jobnotes.language.phrases import plain
from jobnotes.language.pipeline import pipeline
from jobnotes.language.readings import fill_readings
from jobnotes.language.segments import ORDINALS, Segment, segments
from jobnotes.language.story import fill_story
from jobnotes.language.times import fill_times
from jobnotes.language.tokens import lower, word_of_token
from jobnotes.register import Lookup, MachineRow, Register

# Values that may be told in another job's stretch.
LATE = frozenset({"hours", "labour", "travel", "dist", "arrived", "left"})


class Reader:
    """Reads memos against one register. Building it loads the pipeline; reading is fast."""

    def __init__(self, register: Register) -> None:
        self.lookup = Lookup(register)
        self.nlp = pipeline(self.lookup)

    def read(self, transcript: Transcript, memo: str, recorded_at: datetime) -> ReadMemo:
        """The jobs of a memo, with evidence. `recorded_at` is the local time at the end of the recording. Any
        text gives a valid object."""
        doc = self.nlp.make_doc(transcript.text)
        doc.user_data["heard"] = any(w.probability is not None for w in transcript.words)
        doc = self.nlp(doc)
        book = EvidenceBook(doc, word_of_token(doc, transcript.words), transcript)
        found = findings(doc)
        c = Context(doc, lower(doc), [t.text for t in doc], found, self.lookup, recorded_at, book)
        out = ReadMemo(
            memo=memo,
            recorded_at=recorded_at.replace(tzinfo=None).isoformat(timespec="seconds"),
            transcript=transcript,
        )
        spoken = segments(found, self.lookup)
        move_late_facts(c, spoken)
        rows = []
        for number, segment in enumerate(spoken):
            job, row = self.job(c, segment, number)
            out.jobs.append(job)
            rows.append(row)
        share_site(c, out.jobs)
        for number, segment in enumerate(spoken):
            mark_doubts(c, segment, out.jobs[number], f"/jobs/{number}", rows[number])
        shared_between(c, out.jobs)
        for mark in found.marks:
            if mark.group == "note" and mark.confidence > 0.4 and (text := plain(c, mark)):
                out.notes.append(text)
        out.evidence = book.entries
        return out

    def job(self, c: Context, segment: Segment, number: int) -> tuple[Job, MachineRow | None]:
        """One job of the memo, and the register's row of its machine."""
        job = Job()
        base = c.base = f"/jobs/{number}"
        row = fill_identity(c, segment, job, base)
        fill_times(c, segment, job, base)
        fill_readings(c, segment, job, base)
        fill_parts(c, segment, job, base, row)
        fill_story(c, segment, job, base)
        return job, row


def move_late_facts(c: Context, jobs: list[Segment]) -> None:
    """Gives hours, times and miles that are told in one job's stretch but of another's machine ("put the
    miles on the telehandler") to that other job."""
    if len(jobs) < 2:
        return
    kinds = [type_of(c, s)[0] for s in jobs]
    for mark in c.found.marks:
        if mark.group != "value" or mark.label not in LATE:
            continue
        here = next((n for n, s in enumerate(jobs) if s.holds(mark.first)), None)
        there = spoken_of(c, mark, kinds, len(jobs))
        if here is not None and there is not None and here != there:
            jobs[here].lost.add(mark)
            jobs[there].gained.add(mark)


def spoken_of(c: Context, mark: Marked, kinds: list[str | None], jobs: int) -> int | None:
    """The job that the words beside a mark name: by its kind of machine, or as the first or second."""
    first, last = c.token_span(mark)
    begin, end = c.sentence(first)
    others = [c.token_span(m) for m in c.found.marks if m.group == "value" and m is not mark]
    rest = c.tokens[last + 1 : end + 1]
    if {"both", "all"} & set(rest):
        others = [o for o in others if o[0] < last or o[0] > last + 8]
    after = min([end, last + 10] + [a - 1 for a, _ in others if a > last])
    before = max([begin, first - 7] + [b + 1 for _, b in others if b < first])
    for span in ((last + 1, after), (before, first - 1)):
        words = c.tokens[span[0] : span[1] + 1]
        if not words:
            continue
        named = {n.value for n in machine_types(words)}
        fits = [
            n
            for n, kind in enumerate(kinds)
            if kind is not None and any(kind == v or alike(kind, v) for v in named)
        ]
        if len(fits) == 1:
            return fits[0]
        for n, word in enumerate(words):
            if (
                word in ORDINALS
                and ORDINALS[word] < jobs
                and (n + 1 >= len(words) or words[n + 1] in ("one", "job", "machine", ".", ",", "of"))
            ):
                return ORDINALS[word]
    return None


def share_site(c: Context, jobs: list[Job]) -> None:
    """Several jobs at one site: site, customer and order number stand in each, though said once."""
    for number, job in enumerate(jobs):
        others = [(n, o) for n, o in enumerate(jobs) if n != number]
        before = [(n, o) for n, o in others if n < number][::-1] + [(n, o) for n, o in others if n > number]
        if job.site is None:
            for n, other in before:
                strangers = bool(job.customer and other.customer and job.customer != other.customer)
                if other.site is None or (strangers and not covers_all(c, n, "site")):
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
                same = other.customer == job.customer or covers_all(c, n, "order_number")
                if other.order_number is not None and other.site == job.site and same:
                    job.order_number = other.order_number
                    copy(c, n, number, "order_number")
                    break
    # a day told before the first machine is the day of all that follows
    told = "/jobs/0/date" in c.book.entries
    for number, job in enumerate(jobs[1:], 1):
        if told and f"/jobs/{number}/date" not in c.book.entries:
            job.date = jobs[0].date
            copy(c, 0, number, "date")


def covers_all(c: Context, number: int, field: str) -> bool:
    """Whether a field of a job was said to hold for the others too."""
    entry = c.book.entries.get(f"/jobs/{number}/{field}")
    if entry is None or entry.first is None:
        return False
    place = next((i for i, w in enumerate(c.book.places) if w >= entry.first), 0)
    first, last = c.sentence(place)
    return not word_set("cues", "jobs", "order_for_all").isdisjoint(c.tokens[first : last + 1])


def copy(c: Context, source: int, target: int, field: str) -> None:
    """The evidence of a shared field."""
    entry = c.book.entries.get(f"/jobs/{source}/{field}")
    if entry is not None:
        c.book.entries[f"/jobs/{target}/{field}"] = entry
