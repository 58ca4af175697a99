"""Operations done to a document: plain functions from one document to the next, evidence moved along.

Nothing here knows who edits, or of a database. Evidence pointers that led somewhere lead to the same value
afterwards, wherever it went.
"""

from __future__ import annotations

import copy
from dataclasses import dataclass
from typing import Any

from jobnotes.jobs.model import Job
from jobnotes.store import operations as do
from jobnotes.store.documents import checked
from jobnotes.store.errors import InvalidEditError
from jobnotes.store.joining import join
from jobnotes.store.moving import insert_item, move_value, take_item
from jobnotes.store.pointers import (
    NoPlaceError,
    index,
    parent,
    steps,
    under,
    value_at,
)

SHARED = ("date", "customer", "site", "order_number")
"""What a job that is split off has in common with the one it came from."""
BARE = {
    "text": "",
    "start": None,
    "end": None,
    "first": None,
    "last": None,
    "confidence": 1.0,
    "check": False,
    "why": None,
}
"""Evidence of a value that nobody said: a person put it there."""
Document = dict[str, Any]


@dataclass(frozen=True)
class Change:
    """One change that an operation made. `heard` is the text of the evidence behind the value."""

    kind: str
    pointer: str
    old: Any
    new: Any
    heard: str = ""


def edited(before: Document, operation: do.Change) -> tuple[Document, list[Change]]:
    """The document after the operation, and what was changed. `before` stays as it is.

    Raises InvalidEditError where the place is not there or the value can't stand there.
    """
    document = copy.deepcopy(before)
    try:
        changes = _apply(document, operation)
    except NoPlaceError as error:
        raise InvalidEditError(f"The draft has no place {error}; it may have moved.") from error
    after = checked(document)
    return after, [_as_stored(change, after) for change in changes]


def _apply(document: Document, operation: do.Change) -> list[Change]:
    match operation:
        case do.SetValue():
            return _set(document, operation.pointer, operation.value)
        case do.Confirm():
            return _confirm(document, operation.pointer)
        case do.AddItem():
            return _add(document, operation.pointer, operation.value, operation.place)
        case do.RemoveItem():
            return _remove(document, operation.pointer)
        case do.MoveItem():
            return _move(document, operation.pointer, operation.to, operation.place)
        case do.SplitJob():
            return _split(document, operation.job, operation.pointers)
        case do.JoinJobs():
            return _join(document, operation.job, operation.into)
        case do.AddJob():
            place = _gap(operation.place, len(document["jobs"]), "/jobs")
            insert_item(document, "/jobs", place, Job().model_dump(mode="json"), {})
            return [Change("add", f"/jobs/{place}", None, document["jobs"][place])]
        case do.RemoveJob():
            job, _ = take_item(document, f"/jobs/{operation.job}")
            return [Change("remove", f"/jobs/{operation.job}", job, None)]


def _as_stored(change: Change, after: Document) -> Change:
    """The change with the new value as the model writes it: 12 hours become 12.0."""
    if change.kind not in ("set", "add"):
        return change
    return Change(change.kind, change.pointer, change.old, value_at(after, change.pointer), change.heard)


def _set(document: Document, pointer: str, value: Any) -> list[Change]:
    _refuse_outside(pointer)
    old = value_at(document, pointer)
    if isinstance(old, list) or isinstance(value, list):
        raise InvalidEditError(f"{pointer} is a list; add, remove or change its items one by one.")
    evidence = document["evidence"]
    heard = heard_at(evidence, pointer)
    above, last = parent(pointer)
    holder = value_at(document, above)
    holder[index(last, len(holder)) if isinstance(holder, list) else last] = value
    below = [each for each in evidence if under(each, pointer)]
    if pointer not in evidence:
        evidence[pointer] = copy.deepcopy(_nearest(evidence, pointer, below))
    for each in {*below, pointer}:
        if _leads_somewhere(document, each):
            evidence[each] = {**evidence[each], "confidence": 1.0, "check": False, "why": None}
        else:
            del evidence[each]
    return [Change("confirm" if old == value else "set", pointer, old, value, heard)]


def heard_at(evidence: dict[str, Any], pointer: str) -> str:
    """The words behind a value: those of its own evidence, else of what is nearest above it."""
    while pointer:
        if pointer in evidence:
            return str(evidence[pointer]["text"])
        pointer, _ = parent(pointer)
    return ""


def _nearest(evidence: dict[str, Any], pointer: str, below: list[str]) -> dict[str, Any]:
    """The evidence that a value without its own takes over: the first below it, else the nearest above."""
    if below:
        return dict(evidence[below[0]])
    above, _ = parent(pointer)
    # A whole job's evidence says nothing of one value.
    while len(steps(above)) > 2:
        if above in evidence:
            return dict(evidence[above])
        above, _ = parent(above)
    return dict(BARE)


def _confirm(document: Document, pointer: str) -> list[Change]:
    entry = document["evidence"].get(pointer)
    if entry is None or not entry["check"]:
        raise InvalidEditError(f"Nothing at {pointer} is marked, so there is nothing to confirm.")
    document["evidence"][pointer] = {**entry, "check": False, "why": None}
    try:
        value = value_at(document, pointer)
    except NoPlaceError:
        value = None
    return [Change("confirm", pointer, value, value, entry["text"])]


def _add(document: Document, pointer: str, value: Any, place: int | None) -> list[Change]:
    items = _list_at(document, pointer)
    place = _gap(place, len(items), pointer)
    insert_item(document, pointer, place, value, {"": dict(BARE)})
    return [Change("add", f"{pointer}/{place}", None, value)]


def _remove(document: Document, pointer: str) -> list[Change]:
    above, _ = parent(pointer)
    _refuse_outside(pointer)
    if not isinstance(value_at(document, above), list):
        raise InvalidEditError(f"{pointer} stands in no list; set it to nothing instead.")
    heard = heard_at(document["evidence"], pointer)
    value, _ = take_item(document, pointer)
    return [Change("remove", pointer, value, None, heard)]


def _move(document: Document, pointer: str, to: str, place: int | None) -> list[Change]:
    _refuse_outside(pointer)
    _refuse_outside(to)
    above, _ = parent(pointer)
    heard = heard_at(document["evidence"], pointer)
    if isinstance(value_at(document, above), list):
        _list_at(document, above)
        _list_at(document, to)
        value, entries = take_item(document, pointer)
        place = _gap(place, len(_list_at(document, to)), to)
        insert_item(document, to, place, value, entries)
        return [Change("move", f"{to}/{place}", pointer, f"{to}/{place}", heard)]
    move_value(document, pointer, to)
    return [Change("move", to, pointer, to, heard)]


def _split(document: Document, job: int, pointers: list[str]) -> list[Change]:
    old = f"/jobs/{job}"
    source = value_at(document, old)
    if not pointers:
        raise InvalidEditError("Say what belongs to the new job.")
    if len(set(pointers)) != len(pointers):
        raise InvalidEditError("One thing can't go to the new job twice.")
    for pointer in pointers:
        if not under(pointer, old) or pointer == old:
            raise InvalidEditError(f"{pointer} is not of the job that is split.")
        value_at(document, pointer)
        if any(under(pointer, other) for other in pointers if other != pointer):
            raise InvalidEditError(f"{pointer} is named twice: alone, and with what it is part of.")
    fresh = Job().model_dump(mode="json")
    shared = {}
    for name in SHARED:
        fresh[name] = source[name]
        if f"{old}/{name}" in document["evidence"]:
            shared[f"/{name}"] = copy.deepcopy(document["evidence"][f"{old}/{name}"])
    new = f"/jobs/{job + 1}"
    insert_item(document, "/jobs", job + 1, fresh, shared)
    is_item = {each: isinstance(value_at(document, parent(each)[0]), list) for each in pointers}
    for pointer in (each for each in pointers if not is_item[each]):
        move_value(document, pointer, new + pointer[len(old) :])
    # The last first, so that the places of those before hold; each goes to the front of its new list.
    items = [each for each in pointers if is_item[each]]
    for pointer in sorted(items, key=lambda each: int(parent(each)[1]), reverse=True):
        value, entries = take_item(document, pointer)
        insert_item(document, new + parent(pointer)[0][len(old) :], 0, value, entries)
    return [Change("split", old, list(pointers), new)]


def _join(document: Document, job: int, into: int) -> list[Change]:
    if job == into:
        raise InvalidEditError("A job can't be joined to itself.")
    removed = copy.deepcopy(value_at(document, f"/jobs/{job}"))
    value_at(document, f"/jobs/{into}")
    join(document, job, into)
    take_item(document, f"/jobs/{job}")
    return [Change("join", f"/jobs/{job}", removed, f"/jobs/{into - (into > job)}")]


def _list_at(document: Document, pointer: str) -> list[Any]:
    """The list of a job, or the notes. The list of jobs has operations of its own."""
    _refuse_outside(pointer, most=1)
    items = value_at(document, pointer)
    if not isinstance(items, list) or pointer == "/jobs":
        raise InvalidEditError(f"{pointer} is no list of a job.")
    return items


def _refuse_outside(pointer: str, most: int = 2) -> None:
    """Only what stands in a job, or a note, is set and moved."""
    found = steps(pointer)
    if not (found[:1] == ["notes"] and len(found) <= 2) and not (found[:1] == ["jobs"] and len(found) > 2):
        raise InvalidEditError(f"{pointer} is no value of a job.")
    if most == 2 and found == ["notes"]:
        raise InvalidEditError(f"{pointer} is a list; add, remove or change its items one by one.")


def _gap(place: int | None, length: int, pointer: str) -> int:
    if place is None:
        return length
    if place > length:
        raise InvalidEditError(f"{pointer} has {length} items, so nothing can be put at place {place}.")
    return place


def _leads_somewhere(document: Document, pointer: str) -> bool:
    try:
        value_at(document, pointer)
    except NoPlaceError:
        return False
    return True
