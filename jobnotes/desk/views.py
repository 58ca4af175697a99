"""A draft, or a signed sheet, as a page shows it: the values in the order of the paper, each with the words
behind it and what is to be said of it."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from jobnotes.jobs.fmi import fmi_meaning
from jobnotes.jobs.model import Evidence, Job
from jobnotes.paper import cautions, words
from jobnotes.paper.cautions import Caution
from jobnotes.store import Problem

Evidences = dict[str, Evidence]

FACTS = ("/customer", "/site", "/order_number", "/date")
MACHINE = ("/machine/make", "/machine/model", "/machine/size", "/machine/serial_number", "/machine/hours")
TIMES = ("/times/arrived", "/times/left", "/times/labour_min", "/times/travel_min", "/distance")
CODES = {"/order_number", "/machine/fleet_number", "/machine/serial_number", "/fault_codes/*"}


@dataclass(frozen=True)
class Said:
    """The words behind a value: their text, their places in the transcript and their seconds."""

    text: str
    first: int | None
    last: int | None
    start: float | None
    end: float | None


@dataclass(frozen=True)
class Mark:
    """A place that a person has to look at, numbered from 1 in the order of the sheet."""

    number: int
    pointer: str
    name: str
    row: str
    value: str
    why: str
    said: Said | None
    job: int | None


@dataclass(frozen=True)
class Place:
    """A value on the sheet. `text` is empty where there is none. `doubts` are sentences."""

    pointer: str
    name: str
    text: str
    said: Said | None = None
    marks: tuple[int, ...] = ()
    doubts: tuple[str, ...] = ()
    code: bool = False
    more: str = ""

    @property
    def id(self) -> str:
        """The value's name in the page."""
        return "v" + self.pointer.replace("/", "-")


@dataclass(frozen=True)
class Row:
    """An item of a list with several values: a check, a reading or a part."""

    place: Place
    cells: dict[str, Place]
    kind: str = ""
    note: str = ""


@dataclass
class JobView:
    """One job, in the order of the paper. `at` is its place in the draft, from 0."""

    at: int
    pointer: str
    title: str
    mark: Place
    facts: list[Place] = field(default_factory=list)
    fleet: Place | None = None
    type: Place | None = None
    machine: list[Place] = field(default_factory=list)
    outcome: Place | None = None
    state: Place | None = None
    out_of_service: bool = False
    complaint: Place | None = None
    cause: Place | None = None
    lists: dict[str, list[Place]] = field(default_factory=dict)
    heads: dict[str, Place] = field(default_factory=dict)
    checks: list[Row] = field(default_factory=list)
    readings: list[Row] = field(default_factory=list)
    parts: list[Row] = field(default_factory=list)
    times: list[Place] = field(default_factory=list)
    cautions: list[Caution] = field(default_factory=list)


@dataclass
class SheetView:
    """All jobs, and all that a person has to look at: in the order of the sheet, what has no place on it at
    the end."""

    jobs: list[JobView]
    marks: list[Mark]
    notes: list[Place]
    base: str = ""
    """The address of the draft's page, to which links to places are added."""

    def mark_at(self, pointer: str | None) -> Mark | None:
        """The mark at a place, the first one where there is none there."""
        for mark in self.marks:
            if mark.pointer == pointer:
                return mark
        return self.marks[0] if self.marks else None


def said_of(evidence: Evidences, pointer: str) -> Said | None:
    """The words behind a value: its own, all of those within it, else those of the item that it is in."""
    own = evidence.get(pointer)
    if own is None or (own.first is None and not own.text):
        inside = [each for place, each in evidence.items() if place.startswith(pointer + "/")]
        above = pointer
        while not inside and above.count("/") > 3:
            above = above.rpartition("/")[0]
            if above in evidence:
                inside = [evidence[above]]
        inside = [each for each in inside if each.text or each.first is not None]
        if not inside:
            return None
        return _joined(inside)
    return Said(own.text, own.first, own.last, own.start, own.end)


def _joined(entries: list[Evidence]) -> Said:
    def least(values: Iterable[Any]) -> Any:
        return min((each for each in values if each is not None), default=None)

    def most(values: Iterable[Any]) -> Any:
        return max((each for each in values if each is not None), default=None)

    ordered = sorted(entries, key=lambda each: -1 if each.first is None else each.first)
    return Said(
        " … ".join(dict.fromkeys(each.text for each in ordered if each.text)),
        least(each.first for each in entries),
        most(each.last for each in entries),
        least(each.start for each in entries),
        most(each.end for each in entries),
    )


def sheet_view(
    jobs: list[Job], notes: list[str], evidence: Evidences, problems: Iterable[Problem] = ()
) -> SheetView:
    """The view of a draft's document. For a signed sheet its one job, its evidence moved to "/jobs/0"."""
    maker = _Maker(jobs, evidence, list(problems))
    views = [maker.job(at) for at in range(len(jobs))]
    shown = [maker.place(f"/notes/{at}", "Note", text) for at, text in enumerate(notes)]
    maker.rest()
    return SheetView(views, maker.marks, shown)


class _Maker:
    """Makes the places in the order of the sheet, and numbers the marks as it meets them."""

    def __init__(self, jobs: list[Job], evidence: Evidences, problems: list[Problem]) -> None:
        self._jobs = jobs
        self._data = [job.model_dump(mode="json") for job in jobs]
        self._evidence = evidence
        self._open = {pointer: each for pointer, each in evidence.items() if each.check}
        self._doubts: dict[str, list[str]] = {}
        for problem in problems:
            if problem.kind == "doubt":
                self._doubts.setdefault(problem.pointer, []).append(problem.why)
        self.marks: list[Mark] = []

    def place(self, pointer: str, name: str, text: str, *also: str, row: str = "", more: str = "") -> Place:
        """A value; marks and doubts at `also` are shown with it too."""
        numbers, doubts = [], []
        for each in (pointer, *also):
            if each in self._open:
                numbers.append(self._mark(each, name, text, row))
            doubts += self._doubts.pop(each, [])
        pattern = words.pattern(pointer.partition("/jobs/")[2].partition("/")[2])
        return Place(
            pointer,
            name,
            text,
            said_of(self._evidence, pointer),
            tuple(numbers),
            tuple(doubts),
            "/" + pattern in CODES or pattern.endswith("part_number"),
            more,
        )

    def rest(self) -> None:
        """Marks of what the sheet has no place for."""
        for pointer in list(self._open):
            inside = pointer.startswith("/jobs/")
            field = "/" + pointer.split("/", 3)[3] if pointer.count("/") > 2 else ""
            name = words.said("field", words.pattern(field)) if field else "This job"
            self._mark(pointer, name if inside else "Heard, not placed", "", "")

    def _mark(self, pointer: str, name: str, value: str, row: str) -> int:
        entry = self._open.pop(pointer)
        steps = pointer.split("/")
        job = int(steps[2]) if steps[1] == "jobs" and len(steps) > 2 and steps[2].isdecimal() else None
        said = said_of(self._evidence, pointer)
        why = entry.why or "The reader was not sure."
        self.marks.append(Mark(len(self.marks) + 1, pointer, name, row, value, why, said, job))
        return len(self.marks)

    def job(self, at: int) -> JobView:
        """One job."""
        job, data, base = self._jobs[at], self._data[at], f"/jobs/{at}"

        def fact(field: str, *also: str) -> Place:
            text = shown(data, field)
            return self.place(base + field, _name(field), text, *(base + each for each in also))

        line = words.machine_line(job.machine)
        view = JobView(at, base, line or "a machine not named", self.place(base, "This job", ""))
        view.facts = [fact(field) for field in FACTS]
        view.fleet = fact("/machine/fleet_number")
        view.type = fact("/machine/type", "/machine")
        view.machine = [
            fact(field, *([f"{field}/value", f"{field}/unit"] if field.endswith("size") else []))
            for field in MACHINE
        ]
        view.outcome, view.state = fact("/outcome"), fact("/machine_state")
        view.out_of_service = job.machine_state == "out_of_service"
        view.complaint, view.cause = fact("/complaint"), fact("/cause")
        for name in ("ruled_out", "fault_codes"):
            self._list(view, data, name)
        view.heads["checks"] = self._head(base, "checks")
        view.checks = [self._check(base, number, each) for number, each in enumerate(job.checks)]
        view.heads["readings"] = self._head(base, "readings")
        view.readings = [self._reading(base, number, each) for number, each in enumerate(job.readings)]
        self._list(view, data, "work")
        view.heads["parts"] = self._head(base, "parts")
        order = list(words.words()["part_status"])
        placed = sorted(enumerate(job.parts), key=lambda each: order.index(each[1].status))
        view.parts = [self._part(base, number, each) for number, each in placed]
        self._list(view, data, "follow_up")
        view.times = [
            fact(field, *(["/distance/value", "/distance/unit"] if field == "/distance" else ["/times"]))
            for field in TIMES
        ]
        self._list(view, data, "safety")
        view.cautions = cautions.cautions_for(job)
        return view

    def _head(self, base: str, name: str) -> Place:
        return self.place(f"{base}/{name}", _name(f"/{name}"), "")

    def _list(self, view: JobView, data: dict[str, Any], name: str) -> None:
        view.heads[name] = self._head(view.pointer, name)
        view.lists[name] = [
            self.place(
                f"{view.pointer}/{name}/{number}",
                _name(f"/{name}/*"),
                text if name == "fault_codes" else words.capital(text),
                more=(fmi_meaning(text) or "") if name == "fault_codes" else "",
            )
            for number, text in enumerate(data[name])
        ]

    def _row(
        self, base: str, name: str, number: int, title: str, cells: dict[str, str], whole: str = ""
    ) -> Row:
        # Whoever calls a whole row right has to see the whole of it.
        pointer = f"{base}/{name}/{number}"
        place = self.place(pointer, _name(f"/{name}/*"), whole or title)
        made = {
            key: self.place(f"{pointer}/{key}", _name(f"/{name}/*/{key}"), text, row=title)
            for key, text in cells.items()
        }
        return Row(place, made)

    def _check(self, base: str, number: int, check: Any) -> Row:
        cells = {"what": words.capital(check.what), "result": words.said("verdict", check.result)}
        title = words.capital(check.what)
        row = self._row(base, "checks", number, title, cells, f"{title}: {cells['result']}")
        return Row(row.place, row.cells, check.result)

    def _reading(self, base: str, number: int, reading: Any) -> Row:
        at = reading.at or ""
        name = words.capital(at or reading.quantity)
        if at and reading.quantity not in at:
            name = f"{name} ({reading.quantity})"
        expected = reading.expected
        cells = {
            "at": name,
            "value": words.number(reading.value),
            "unit": words.unit(reading.unit),
            "expected": "" if expected is None else words.number(expected),
            "stage": words.said("stage", reading.stage),
        }
        title = f"{name}: {cells['value']} {cells['unit']}"
        row = self._row(base, "readings", number, title, cells)
        note = "" if expected is None else words.difference(reading.value, expected, reading.unit)
        return Row(row.place, row.cells, reading.stage, note)

    def _part(self, base: str, number: int, part: Any) -> Row:
        cells = {
            "status": words.said("part_status", part.status),
            "quantity": words.number(part.quantity),
            "unit": words.unit(part.unit),
            "description": words.capital(part.description),
            "part_number": part.part_number or "",
        }
        amount = f"{cells['quantity']} {cells['unit']}"
        said = (cells["description"], cells["part_number"] or "no number", amount, cells["status"].lower())
        title = cells["description"] or "Part"
        row = self._row(base, "parts", number, title, cells, ", ".join(each for each in said if each))
        return Row(row.place, row.cells, part.status)


def _name(field: str) -> str:
    return words.said("field", field)


def shown(job: dict[str, Any], field: str) -> str:
    """A single value of a job (plain data) in words and figures; empty where there is none."""
    value: Any = job
    for step in field.split("/")[1:]:
        value = value[step]
    if value is None:
        return ""
    if isinstance(value, dict):
        return f"{words.number(value['value'])} {words.unit(value['unit'])}"
    if field == "/date":
        return words.day(date.fromisoformat(value))
    if field == "/machine/hours":
        return f"{words.number(value)} h"
    if field.endswith("_min"):
        return words.minutes(value)
    if field in ("/outcome", "/machine_state"):
        return words.said(field[1:], value)
    if field in ("/complaint", "/cause", "/machine/type"):
        return words.capital(value)
    return str(value)


def named(pointer: str) -> str:
    """A place in a draft in words: "Hour meter" for "/jobs/0/machine/hours", with the job from the second
    on."""
    steps = pointer.split("/")
    if steps[1:2] == ["notes"]:
        return "Note"
    if len(steps) < 3 or not steps[2].isdecimal():
        return "the jobs"
    of = "" if steps[2] == "0" else f", job {int(steps[2]) + 1}"
    if len(steps) == 3:
        return f"Job {int(steps[2]) + 1}"
    field = words.pattern("/" + "/".join(steps[3:]))
    name = words.said("field", field)
    return f"{field.strip('/') if name == field else name}{of}"


def in_words(sentence: str) -> str:
    """A sentence of the store for people: the places that it names by pointers called by their names."""
    called = re.sub(
        r"(?:^At )?/(?:jobs|notes)(?:/\w+)*", lambda found: named(found[0].removeprefix("At ")), sentence
    )
    return words.capital(called)
