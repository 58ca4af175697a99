"""The chain: every signed sheet, withdrawal, forgotten recording and invoice in order, each naming the one
before.

What is hashed is canonical JSON (RFC 8785), which holds the hash of the entry before it. So no entry can be
changed, left out or put in between without every later hash being another.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from jobnotes.store.canonical import canonical, is_canonical, sha256
from jobnotes.store.tables import EntryRow
from jobnotes.store.values import Entry

BEGINNING = "0" * 64
"""What the first entry names as the one before it."""
LOCK = "signing"
"""The lock that whoever adds an entry holds, from looking at the last one on."""


def next_place(session: Session) -> tuple[int, str]:
    """The number that the next entry has, and the hash that it names."""
    last = session.scalar(select(EntryRow).order_by(EntryRow.number.desc()).limit(1))
    return (1, BEGINNING) if last is None else (last.number + 1, last.sha256)


def append(session: Session, kind: str, content: dict[str, Any], at: datetime) -> Entry:
    """Adds an entry with its number and the hash before it, within the caller's transaction.

    The caller holds LOCK. Where `content` has been given both already, they must be the next.
    """
    number, previous = next_place(session)
    content = {**content, "kind": kind, "entry": number, "previous": previous}
    data = canonical(content)
    row = EntryRow(number=number, kind=kind, content=data, sha256=sha256(data), previous=previous, at=at)
    session.add(row)
    session.flush()
    return entry_of(row)


def entry_of(row: EntryRow) -> Entry:
    """The row as an entry."""
    return Entry(row.number, row.kind, row.content, row.sha256, row.previous, row.at)


def entries(session: Session) -> Iterator[Entry]:
    """All entries in order."""
    for row in session.scalars(select(EntryRow).order_by(EntryRow.number)):
        yield entry_of(row)


def content_of_entry(entry: Entry) -> dict[str, Any]:
    """What the entry says. Raises ValueError where it is no JSON object."""
    content = json.loads(entry.content)
    if not isinstance(content, dict):
        raise ValueError("no object")
    return content


def fault_in(entry: Entry, number: int, previous: str) -> str | None:
    """What does not fit with an entry that should have that number and name that hash; None where all
    does."""
    if entry.number != number:
        return f"entry {number} is missing"
    if sha256(entry.content) != entry.sha256:
        return "its content is not what its hash was made of"
    if not is_canonical(entry.content):
        return "its content is not canonical JSON"
    try:
        content = content_of_entry(entry)
    except ValueError:
        return "its content is no JSON object"
    if entry.previous != previous or content.get("previous") != previous:
        return "it does not name the entry before it"
    if content.get("entry") != number or content.get("kind") != entry.kind:
        return "its number or kind is not what its content says"
    return None
