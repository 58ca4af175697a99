"""What is not right with a draft, in words: what waits for a look, and what is hardly plausible."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from jobnotes.jobs.model import Job
from jobnotes.jobs.plausible import Doubt, doubts
from jobnotes.register import Register
from jobnotes.register.lookup import code_key
from jobnotes.store import operations as do
from jobnotes.store.documents import document_of
from jobnotes.store.editing import edited
from jobnotes.store.errors import InvalidEditError
from jobnotes.store.pointers import under
from jobnotes.store.values import Draft, Problem


def problems(draft: Draft, register: Register) -> list[Problem]:
    """Everything to say of a draft: marked values in the order of its evidence, then doubts."""
    document = document_of(draft.read)
    marked = {pointer: entry for pointer, entry in document["evidence"].items() if entry["check"]}
    found = [
        Problem(pointer, "marked", entry["why"] or "The reader was not sure.")
        for pointer, entry in marked.items()
    ]
    if not draft.read.jobs:
        found.append(Problem("/jobs", "missing", "There is no job in it, so there is nothing to sign."))
    found += [
        Problem(pointer, "doubt", doubt.why)
        for pointer, doubt in _doubts(draft.read.jobs, draft.read.recorded_at, register)
        if pointer not in marked
    ]
    return found


def check(draft: Draft, register: Register, pointer: str, value: Any, *, added: bool = False) -> list[str]:
    """What would be wrong with a value at a pointer, in sentences; with `added`, with an item added to the
    list there. Nothing is changed."""
    operation = (
        do.AddItem(pointer=pointer, value=value) if added else do.SetValue(pointer=pointer, value=value)
    )
    try:
        after, changes = edited(document_of(draft.read), operation)
    except InvalidEditError as error:
        return [str(error)]
    pointer = changes[0].pointer
    jobs = [Job.model_validate(job) for job in after["jobs"]]
    return [
        doubt.why
        for place, doubt in _doubts(jobs, draft.read.recorded_at, register)
        if under(pointer, place) or under(place, pointer)
    ]


def _doubts(jobs: list[Job], recorded_at: str, register: Register) -> list[tuple[str, Doubt]]:
    try:
        recorded = datetime.fromisoformat(recorded_at)
    except ValueError:
        return []
    return [
        (f"/jobs/{number}{doubt.pointer}", doubt)
        for number, job in enumerate(jobs)
        for doubt in doubts(
            job,
            recorded,
            last_hours=_last_hours(job, register),
            miles_from_depot=_miles(job, register),
        )
    ]


def _last_hours(job: Job, register: Register) -> float | None:
    if job.machine.fleet_number is None:
        return None
    key = code_key(job.machine.fleet_number)
    return next((row.last_hours for row in register.machines if code_key(row.fleet_number) == key), None)


def _miles(job: Job, register: Register) -> float | None:
    if job.site is None:
        return None
    name = job.site.casefold()
    return next((row.miles_from_depot for row in register.sites if row.site.casefold() == name), None)
