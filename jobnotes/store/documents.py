"""A draft's document: the jobs, notes and evidence of a read memo. What was heard stays with the memo."""

from __future__ import annotations

import json
from typing import Any

from pydantic import Field, ValidationError

from jobnotes.errors import JobnotesError
from jobnotes.jobs.model import Evidence, Job, ReadMemo, Strict, Transcript
from jobnotes.store.canonical import canonical
from jobnotes.store.errors import InvalidEditError

LONGEST_TEXT = 2_000
"""Characters of one value. A sheet is no novel, and its PDF has to be set."""
MOST_ITEMS = 500
"""Jobs, or items in one list."""
WHITE = "\t\n"


class Document(Strict):
    """Jobs, notes and evidence."""

    jobs: list[Job] = Field(default_factory=list)
    notes: list[str] = Field(default_factory=list)
    evidence: dict[str, Evidence] = Field(default_factory=dict)


def document_of(read: ReadMemo) -> dict[str, Any]:
    """The document of a read memo, as plain data."""
    data = read.model_dump(mode="json")
    return {"jobs": data["jobs"], "notes": data["notes"], "evidence": data["evidence"]}


def read_memo(document: dict[str, Any], memo: str, recorded_at: str, transcript: Transcript) -> ReadMemo:
    """The read memo with that document."""
    return ReadMemo.model_validate(
        {"memo": memo, "recorded_at": recorded_at, "transcript": transcript, **document}
    )


def checked(document: dict[str, Any]) -> dict[str, Any]:
    """The document as the model writes it. Raises InvalidEditError where it is none, in words."""
    try:
        whole = Document.model_validate(document)
    except ValidationError as error:
        raise InvalidEditError(in_words(error)) from error
    data = whole.model_dump(mode="json")
    for where, text in _texts({"jobs": data["jobs"], "notes": data["notes"]}, ""):
        if len(text) > LONGEST_TEXT:
            raise InvalidEditError(f"{where} has {len(text)} characters; {LONGEST_TEXT} are the most.")
        if any(ord(letter) < 32 and letter not in WHITE for letter in text):
            raise InvalidEditError(f"{where} holds a control character, which no sheet can show.")
    for where, items in _lists({"jobs": data["jobs"], "notes": data["notes"]}, ""):
        if len(items) > MOST_ITEMS:
            raise InvalidEditError(f"{where} has {len(items)} items; {MOST_ITEMS} are the most.")
    try:
        canonical(data)
    except JobnotesError as error:
        raise InvalidEditError(str(error)) from error
    return data


def in_words(error: ValidationError) -> str:
    """The first thing that is wrong, as a sentence that names the place."""
    first = error.errors(include_url=False)[0]
    # The library names the kind of a union's member as a step too.
    where = "/" + "/".join(str(step) for step in first["loc"])
    message = first["msg"].removeprefix("Value error, ")
    limits = first.get("ctx", {})
    match first["type"]:
        case "greater_than_equal":
            message = f"it has to be {limits['ge']:g} or more"
        case "greater_than":
            message = f"it has to be more than {limits['gt']:g}"
        case "string_too_short":
            message = "something has to stand there"
        case "string_pattern_mismatch" if first["loc"][-2:-1] == ("times",):
            message = "it has to be a time of day such as 16:25"
    return f"At {where}: {message[:1].lower()}{message[1:]}."


def written(document: dict[str, Any]) -> str:
    """The document as the text that is stored."""
    return json.dumps(document, ensure_ascii=False, separators=(",", ":"))


def marked(document: dict[str, Any]) -> list[str]:
    """The pointers of all that a person has still to look at."""
    return [pointer for pointer, entry in document["evidence"].items() if entry["check"]]


def titles(document: dict[str, Any]) -> list[str]:
    """A line for each job: machine, then customer and site."""
    lines = []
    for job in document["jobs"]:
        machine = job["machine"]
        name = " ".join(
            str(machine[key]) for key in ("fleet_number", "make", "model", "type") if machine[key]
        )
        place = ", ".join(str(job[key]) for key in ("customer", "site") if job[key])
        lines.append(": ".join(part for part in (name, place) if part) or "a machine not named")
    return lines


def _texts(data: Any, where: str) -> list[tuple[str, str]]:
    if isinstance(data, str):
        return [(where, data)]
    items = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    return [found for key, value in items for found in _texts(value, f"{where}/{key}")]


def _lists(data: Any, where: str) -> list[tuple[str, list[Any]]]:
    own = [(where, data)] if isinstance(data, list) else []
    items = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    return own + [found for key, value in items for found in _lists(value, f"{where}/{key}")]
