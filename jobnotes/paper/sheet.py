"""One job's sheet as HTML."""

from __future__ import annotations

from datetime import UTC, date
from functools import cache
from typing import Any

from jinja2 import Environment

from jobnotes.errors import JobnotesError
from jobnotes.jobs.fmi import fmi_meaning
from jobnotes.jobs.model import Job, ReadMemo
from jobnotes.paper import cautions, words
from jobnotes.paper.letterhead import Firm, Signatures
from jobnotes.paper.marks import Marks
from jobnotes.paper.pages import environment
from jobnotes.paper.signed_state import SignedState
from jobnotes.paper.strokes import as_drawing

TOO_POOR = ("The recording is poor:", "The words are hard to make out throughout")
"""Remarks on a recording that begin so stand at the top of a draft: little of it can be trusted (see
speech.recogniser). All others stand at its end."""


@cache
def _environment() -> Environment:
    made = environment()
    made.filters.update(
        number=words.number,
        unit=words.unit,
        amount=words.amount,
        minutes=words.minutes,
        capital=words.capital,
        moment=words.moment,
        zoned=words.zoned,
        drawing=as_drawing,
        groups=words.in_groups,
    )
    made.globals.update(said=words.said, difference=words.difference, fmi_meaning=fmi_meaning)
    return made


def _parts_in_order(job: Job) -> list[tuple[int, Any]]:
    """The parts with their places in the job, by status in the order of `words.toml`."""
    order = list(words.words()["part_status"])
    return sorted(enumerate(job.parts), key=lambda placed: order.index(placed[1].status))


def chosen_job(read: ReadMemo, number: int) -> Job:
    """Job `number` of the memo, counted from 1. Raises JobnotesError where the memo has no such job."""
    if not 1 <= number <= len(read.jobs):
        raise JobnotesError(f"The memo {read.memo!r} has {len(read.jobs)} jobs, so there is no job {number}.")
    return read.jobs[number - 1]


def sheet_title(read: ReadMemo, number: int, signed: SignedState | None = None) -> str:
    """The document's title: "Job sheet monday-late 1: roller Kelbrack R12, fleet RO 31"; of a signed sheet
    "Job sheet 27, revision 2: roller Kelbrack R12, fleet RO 31"."""
    line = words.machine_line(chosen_job(read, number).machine)
    which = f"{signed.sheet}, revision {signed.revision}" if signed else f"{read.memo} {number}"
    withdrawn = "WITHDRAWN: " if signed and signed.withdrawn else ""
    return words.shown(f"{withdrawn}Job sheet {which}" + (f": {line}" if line else ""))


def sheet_html(
    read: ReadMemo,
    number: int,
    *,
    firm: Firm | None = None,
    engineer: str | None = None,
    signatures: Signatures | None = None,
    signed: SignedState | None = None,
) -> str:
    """The sheet of job `number` (from 1) as one HTML page, its fonts relative to the templates folder.

    What is not known prints as a blank line to write on. The sheet says DRAFT until the engineer has signed.
    With `signed` it carries its number and revision among the workshop's sheets, what a receiver compares,
    and WITHDRAWN where it was; the job's number in the memo is then taken from there.
    A draft from a recording too poor to trust says so at the top.
    Values whose evidence says `check` carry a mark and stand in a list with the reason and the words heard.
    Raises JobnotesError for a number without a job and for a `recorded_at` that is no time.
    """
    job = chosen_job(read, number)
    names = signatures or Signatures()
    draft = names.engineer is None
    marks = Marks(read, number - 1, draft=draft)
    at = words.recorded_at(read)
    remarks = read.transcript.remarks
    return (
        _environment()
        .get_template("sheet.html")
        .render(
            memo=read.memo,
            number=signed.job_number if signed else number,
            jobs_in_memo=signed.jobs_in_memo if signed else len(read.jobs),
            title=sheet_title(read, number, signed),
            recorded=at,
            made_utc=(signed.made_at if signed else at).astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
            visit=words.day(date.fromisoformat(job.date)) if job.date else "",
            job=job,
            parts=_parts_in_order(job),
            marks=marks,
            cautions=cautions.cautions_for(job),
            cautions_introduction=cautions.introduction(),
            poor=[remark for remark in remarks if remark.startswith(TOO_POOR)],
            remarks=[remark for remark in remarks if not remark.startswith(TOO_POOR)],
            firm=firm or Firm(),
            engineer=engineer or (names.engineer.name if names.engineer else ""),
            signatures=names,
            signed=signed,
            draft=draft,
        )
    )
