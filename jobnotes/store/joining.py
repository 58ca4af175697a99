"""Two jobs of a document made one. No value is lost: where both have one, the other's is told in a mark."""

from __future__ import annotations

import copy
from typing import Any

from jobnotes.jobs.model import Job
from jobnotes.store.pointers import put_under, renumber, taken_from, value_at

LISTS = ("ruled_out", "checks", "readings", "fault_codes", "parts", "work", "follow_up", "safety")
STORY = ("/complaint", "/cause")
"""Told in words, so that both can stand one behind the other."""
OBJECTS = ("machine", "times")


def single_values() -> list[str]:
    """Where the single values of a job stand, as pointers in the job. A size, a distance is one value."""
    names = [name for name in Job.model_fields if name not in LISTS and name not in OBJECTS]
    inside = [
        f"/{name}/{key}"
        for name, model in ((name, Job.model_fields[name].annotation) for name in OBJECTS)
        for key in getattr(model, "model_fields", {})
    ]
    return [f"/{name}" for name in names] + inside


def join(document: dict[str, Any], job: int, into: int) -> None:
    """Brings all of job `job` into job `into`, evidence too. The emptied job is left for the caller to
    remove."""
    source, target = f"/jobs/{job}", f"/jobs/{into}"
    evidence = document["evidence"]
    for name in LISTS:
        items, others = value_at(document, f"{target}/{name}"), value_at(document, f"{source}/{name}")
        before = len(items)
        items.extend(others)
        others.clear()
        renumber(evidence, f"{source}/{name}", lambda at, before=before: at + before)  # type: ignore[misc]
        put_under(evidence, f"{target}/{name}", taken_from(evidence, f"{source}/{name}"))
    for pointer in single_values():
        _single(document, source, target, pointer)
    # What is left speaks for a whole object or for the job.
    put_under(evidence, target, taken_from(evidence, source))


def _single(document: dict[str, Any], source: str, target: str, pointer: str) -> None:
    evidence = document["evidence"]
    ours, theirs = value_at(document, target + pointer), value_at(document, source + pointer)
    entries = taken_from(evidence, source + pointer)
    if theirs is None or ours == theirs:
        # Evidence of a value that could not be placed still says that something was heard.
        if not any(each.startswith(target + pointer) for each in evidence):
            put_under(evidence, target + pointer, entries)
        return
    if ours is None:
        if entries:
            taken_from(evidence, target + pointer)
        _put(document, target + pointer, copy.deepcopy(theirs))
        put_under(evidence, target + pointer, entries)
        return
    if pointer in STORY:
        _put(document, target + pointer, f"{ours}; {theirs}")
    _mark(evidence, target + pointer, entries.get(""), theirs, pointer in STORY)


def _mark(
    evidence: dict[str, Any], pointer: str, theirs: dict[str, Any] | None, value: Any, told: bool
) -> None:
    entry = evidence.get(pointer) or {
        **dict.fromkeys(("start", "end", "first", "last")),
        "text": "",
        "confidence": 1.0,
    }
    texts = [text for text in (entry["text"], theirs["text"] if theirs else "") if text]
    shown = f"{value['value']:g} {value['unit']}" if isinstance(value, dict) else str(value)
    why = "Two jobs were joined, and their words stand one behind the other."
    if not told:
        why = f"Two jobs were joined; the other one had {shown}."
    if entry.get("check") and entry.get("why"):
        why = f"{entry['why']}; {why}"
    evidence[pointer] = {**entry, "text": " … ".join(dict.fromkeys(texts)), "check": True, "why": why}


def _put(document: dict[str, Any], pointer: str, value: Any) -> None:
    above, _, last = pointer.rpartition("/")
    value_at(document, above)[last] = value
