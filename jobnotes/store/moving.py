"""Values and items put into a document and taken out of it, each with its evidence."""

from __future__ import annotations

from typing import Any

from jobnotes.jobs.model import Job
from jobnotes.store.errors import InvalidEditError
from jobnotes.store.pointers import close_gap, index, open_gap, parent, put_under, steps, taken_from, value_at

Document = dict[str, Any]


def move_value(document: Document, pointer: str, to: str) -> None:
    """Moves a single value, or the object it is, to the same field of another job.

    Raises InvalidEditError for any other target, NoPlaceError where one of them is not there.
    """
    source, target = steps(pointer), steps(to)
    if source[:1] != ["jobs"] or source[2:] != target[2:] or source == target or target[:1] != ["jobs"]:
        raise InvalidEditError(f"{pointer} can only go to the same field of another job, not to {to}.")
    value = value_at(document, pointer)
    value_at(document, to)
    if isinstance(value, list):
        raise InvalidEditError(f"{pointer} is a list; move its items one by one.")
    empty = value_at(Job().model_dump(mode="json"), "/" + "/".join(source[2:]))
    evidence = document["evidence"]
    entries = taken_from(evidence, pointer)
    taken_from(evidence, to)
    put_value(document, to, value)
    put_value(document, pointer, empty)
    put_under(evidence, to, entries)


def insert_item(
    document: Document, list_pointer: str, place: int, value: Any, entries: dict[str, Any]
) -> None:
    """Puts an item into a list before `place`; `entries` are its evidence as `taken_from` gives it."""
    value_at(document, list_pointer).insert(place, value)
    open_gap(document["evidence"], list_pointer, place)
    put_under(document["evidence"], f"{list_pointer}/{place}", entries)


def take_item(document: Document, pointer: str) -> tuple[Any, dict[str, Any]]:
    """Takes an item out of its list, and gives it and its evidence. Raises NoPlaceError where it is not
    there."""
    above, last = parent(pointer)
    holder = value_at(document, above)
    place = index(last, len(holder))
    entries = taken_from(document["evidence"], pointer)
    value = holder.pop(place)
    close_gap(document["evidence"], above, place)
    return value, entries


def put_value(document: Document, pointer: str, value: Any) -> None:
    """Puts a value at a pointer into an object."""
    above, last = parent(pointer)
    value_at(document, above)[last] = value
