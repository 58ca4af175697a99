"""Who may do what. The engineer signs and edits their own drafts; the office reads, comments and sends back;
the owner does what the office does, and looks after accounts, words and the register."""

from __future__ import annotations

from datetime import UTC, datetime

from jobnotes.store.errors import NotAllowedError
from jobnotes.store.values import Person

TERMINAL = Person(0, "terminal", "at the terminal", "owner", True, datetime(1970, 1, 1, tzinfo=UTC))
"""Whoever types a command on the workshop's machine: with the folder open to them, nothing is shut to them.
Never the person of a request from elsewhere."""


def id_of(person: Person) -> int | None:
    """The account's number, None for the terminal."""
    return None if person.id == TERMINAL.id else person.id


def is_office(person: Person) -> bool:
    """Whether the person sees all drafts."""
    return person.role in ("office", "owner")


def refuse_reading(person: Person, engineer_id: int | None) -> None:
    """Raises NotAllowedError where a draft is another engineer's, and the person is not of the office."""
    if not is_office(person) and engineer_id not in (None, person.id):
        raise NotAllowedError("This draft is another engineer's.")


def refuse_editing(person: Person, engineer_id: int | None) -> None:
    """Raises NotAllowedError where the draft is not the person's own: the office sends it back instead."""
    if id_of(person) is None or engineer_id == person.id:
        return
    if is_office(person):
        raise NotAllowedError(
            "Only its engineer changes a draft; the office comments on it or sends it back."
        )
    raise NotAllowedError("This draft is another engineer's.")


def refuse_all_but_office(person: Person, what: str) -> None:
    """Raises NotAllowedError for engineers."""
    if not is_office(person):
        raise NotAllowedError(f"Only the office {what}.")


def refuse_all_but_owner(person: Person, what: str) -> None:
    """Raises NotAllowedError for all but the owner."""
    if person.role != "owner":
        raise NotAllowedError(f"Only the owner {what}.")
