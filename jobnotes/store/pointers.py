"""JSON Pointers (RFC 6901) into plain data, and the evidence that is keyed by them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

Evidence = dict[str, Any]
"""Evidence entries by pointer, plain data."""


class NoPlaceError(LookupError):
    """Nothing stands where a pointer leads."""


def steps(pointer: str) -> list[str]:
    """The steps of a pointer, unescaped. Raises NoPlaceError for what is no pointer."""
    if not pointer:
        return []
    if not pointer.startswith("/"):
        raise NoPlaceError(pointer)
    return [step.replace("~1", "/").replace("~0", "~") for step in pointer[1:].split("/")]


def index(step: str, length: int) -> int:
    """A step as a place in a list of that length. Raises NoPlaceError for one outside of it."""
    if not step.isascii() or not step.isdigit() or (step[0] == "0" and step != "0") or len(step) > 6:
        raise NoPlaceError(step)
    if int(step) >= length:
        raise NoPlaceError(step)
    return int(step)


def value_at(data: Any, pointer: str) -> Any:
    """What stands at the pointer. Raises NoPlaceError where nothing does."""
    for step in steps(pointer):
        if isinstance(data, list):
            data = data[index(step, len(data))]
        elif isinstance(data, dict) and step in data:
            data = data[step]
        else:
            raise NoPlaceError(pointer)
    return data


def parent(pointer: str) -> tuple[str, str]:
    """The pointer without its last step, and that step. Raises NoPlaceError for the whole document."""
    above, slash, last = pointer.rpartition("/")
    if not slash:
        raise NoPlaceError(pointer)
    return above, last.replace("~1", "/").replace("~0", "~")


def under(pointer: str, above: str) -> bool:
    """Whether the pointer leads to `above` or into it."""
    return pointer == above or pointer.startswith(above + "/")


def taken_from(evidence: Evidence, above: str) -> Evidence:
    """Takes the evidence at and under a pointer out, and gives it by what follows that pointer ("" for its
    own)."""
    found = [pointer for pointer in evidence if under(pointer, above)]
    return {pointer[len(above) :]: evidence.pop(pointer) for pointer in found}


def put_under(evidence: Evidence, above: str, entries: Mapping[str, Any]) -> None:
    """Puts what `taken_from` gave under another pointer. An entry that is there already stays."""
    for rest, entry in entries.items():
        evidence.setdefault(above + rest, entry)


def renumber(evidence: Evidence, list_pointer: str, new: Callable[[int], int]) -> None:
    """Gives the evidence of a list's items the items' new places: `new` gives it for each old one."""
    moved = {}
    for pointer in [pointer for pointer in evidence if pointer.startswith(list_pointer + "/")]:
        step, slash, rest = pointer[len(list_pointer) + 1 :].partition("/")
        if step.isascii() and step.isdigit():
            moved[f"{list_pointer}/{new(int(step))}{slash}{rest}"] = evidence.pop(pointer)
    evidence.update(moved)


def open_gap(evidence: Evidence, list_pointer: str, place: int) -> None:
    """Makes room for an item at `place`: evidence from there on moves one up."""
    renumber(evidence, list_pointer, lambda at: at + 1 if at >= place else at)


def close_gap(evidence: Evidence, list_pointer: str, place: int) -> None:
    """After the item at `place` went, its evidence too: what stood behind it moves one down."""
    renumber(evidence, list_pointer, lambda at: at - 1 if at > place else at)
