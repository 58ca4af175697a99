"""The marks beside values that a person should look at, and the list that tells why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from jobnotes.jobs.model import Evidence, ReadMemo, Word
from jobnotes.paper import words


@dataclass(frozen=True)
class Look:
    """One line of the list "to be looked at".

    `row` names the row of a table, and `value` is empty where something was heard but not placed.
    """

    number: int
    field: str
    row: str
    value: str
    heard: str
    at: str
    why: str


def job_evidence(read: ReadMemo, place: int) -> dict[str, Evidence]:
    """The evidence of the job at `place` (0-based), its pointers starting at the job ("/machine/hours")."""
    prefix = f"/jobs/{place}"
    return {
        pointer.removeprefix(prefix): evidence
        for pointer, evidence in read.evidence.items()
        if pointer == prefix or pointer.startswith(prefix + "/")
    }


def set_right(heard: Sequence[Word], evidence: Evidence) -> list[str]:
    """What was set right among the words behind a value, both spellings: "air tea" was set right to "80"."""
    if evidence.first is None or evidence.last is None:
        return []
    behind = heard[evidence.first : evidence.last + 1]
    return [
        f"“{shorten(word.heard, 40)}” was heard, and set right to “{shorten(word.text.strip('.,;:'), 40)}”"
        for word in behind
        if word.heard and word.heard != word.text
    ]


def shorten(text: str, longest: int) -> str:
    """The text, or its beginning with "…" where it has more than `longest` characters."""
    return text if len(text) <= longest else text[: longest - 1].rstrip() + "…"


def _value_at(data: Any, pointer: str) -> Any:
    """What stands at a JSON Pointer (RFC 6901) in plain data, None where nothing does."""
    for step in pointer.split("/")[1:]:
        step = step.replace("~1", "/").replace("~0", "~")
        if isinstance(data, list):
            data = data[int(step)] if step.isdecimal() and int(step) < len(data) else None
        elif isinstance(data, dict):
            data = data.get(step)
        else:
            return None
    return data


def _row_name(data: Any, pointer: str) -> str:
    """What the row is called that a pointer leads into ("/readings/2/value"), empty for any other pointer."""
    steps = pointer.split("/")
    if len(steps) != 4:
        return ""
    row = _value_at(data, "/".join(steps[:3]))
    if not isinstance(row, dict):
        return ""
    # A check, a part, a reading; a part's quantity is a number, a reading's is its name where `at` is empty.
    named = next((k for k in ("what", "description", "at", "quantity") if isinstance(row.get(k), str)), None)
    return row[named] if named and named != steps[3] else ""


def _in_words(value: Any, pointer: str) -> str:
    """A value of the model in words; a row of a list by its main text."""
    kind = {"/checks/*/result": "verdict", "/readings/*/stage": "stage", "/parts/*/status": "part_status"}
    if value is None or value == []:
        return ""
    if isinstance(value, int) and pointer.endswith("_min"):
        return words.minutes(value)
    if isinstance(value, int | float):
        return words.number(value)
    if isinstance(value, str):
        key = pointer.strip("/")
        section = kind.get(words.pattern(pointer), key if key in ("outcome", "machine_state") else "")
        if pointer.endswith("/unit"):
            section = "unit"
        return words.said(section, value)
    if isinstance(value, dict) and value.get("value") is not None:
        name = value.get("at") or value.get("quantity") or ""
        return f"{name} {words.number(value['value'])} {words.unit(str(value.get('unit', '')))}".strip()
    if isinstance(value, dict):
        return str(value.get("what") or value.get("description") or "")
    return ""


class Marks:
    """Numbers the places to be looked at in the order in which the sheet shows them.

    The template asks `at(pointer, ...)` wherever it prints a value and gets the marks for it; `looks()`
    afterwards gives the list, with what the template had no place for at its end. Memo-wide evidence (outside
    all jobs) counts only for a draft: nobody has yet settled where it belongs.
    """

    def __init__(self, read: ReadMemo, place: int, *, draft: bool) -> None:
        self._data = read.jobs[place].model_dump(mode="json")
        self._open = {p: e for p, e in job_evidence(read, place).items() if e.check}
        self._elsewhere = [
            evidence
            for pointer, evidence in read.evidence.items()
            if evidence.check and draft and not pointer.startswith("/jobs/")
        ]
        self._words = read.transcript.words
        self._looks: list[Look] = []
        self.unfounded = not job_evidence(read, place) and bool(
            read.jobs[place].model_dump(exclude_defaults=True)
        )
        """Whether the job holds values and nothing tells where they come from, so none could be marked."""
        self.count = len(self._open) + len(self._elsewhere)

    def _add(self, evidence: Evidence, pointer: str | None) -> int:
        number = len(self._looks) + 1
        if pointer is None:
            field, row, value = "Heard, not placed", "", ""
        else:
            field = words.said("field", words.pattern(pointer)) if pointer else "This job"
            row = _row_name(self._data, pointer)
            value = _in_words(_value_at(self._data, pointer), pointer)
        at = words.second(evidence.start) if evidence.start is not None else ""
        why = evidence.why or "The reader was not sure."
        if spellings := set_right(self._words, evidence):
            why = "; ".join([why.rstrip("."), *spellings])
        # The value stands in full at its mark; in the list its beginning tells which one is meant.
        row, value, heard = shorten(row, 50), shorten(value, 70), shorten(evidence.text, 160)
        self._looks.append(Look(number, field, row, value, heard, at, why))
        return number

    def at(self, *pointers: str) -> Markup:
        """The marks for these places of the job, empty where none is to be looked at."""
        marks = Markup()
        for pointer in pointers:
            evidence = self._open.pop(pointer, None)
            if evidence is None:
                continue
            number = self._add(evidence, pointer)
            marks += Markup('<a class="look" href="#look-{0}">?{0}</a>').format(number)
        return marks

    def looks(self) -> list[Look]:
        """All that is to be looked at. Asked last, when every place on the sheet has had its marks."""
        for pointer in list(self._open):
            self._add(self._open.pop(pointer), pointer)
        while self._elsewhere:
            self._add(self._elsewhere.pop(0), None)
        return self._looks
