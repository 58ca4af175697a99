"""Signed sheets as rows, read back with the record that was signed."""

from __future__ import annotations

import json
from typing import Any

from sqlalchemy import Select, select
from sqlalchemy.orm import Session

from jobnotes.store.chain import entry_of
from jobnotes.store.errors import MissingError
from jobnotes.store.tables import EntryRow, SheetRow
from jobnotes.store.values import Entry, SignedSheet


def sheet_row(session: Session, number: int, revision: int | None) -> SheetRow:
    """The row of a sheet, of its newest revision unless another is asked for. Raises MissingError."""
    query = select(SheetRow).where(SheetRow.number == number).order_by(SheetRow.revision.desc()).limit(1)
    if revision is not None:
        query = query.where(SheetRow.revision == revision)
    row = session.scalar(query)
    if row is None:
        raise MissingError(
            f"There is no sheet {number}" + (f", revision {revision}." if revision is not None else ".")
        )
    return row


def newest_row(session: Session, number: int) -> SheetRow:
    """The row of a sheet's newest revision. Raises MissingError."""
    return sheet_row(session, number, None)


def sheet_of(session: Session, row: SheetRow) -> SignedSheet:
    """The row as a sheet, with what was signed."""
    entry = entry_at(session, row.entry)
    return read_sheet(row, entry.sha256, entry.content)


def sheets_with_entries() -> Select[SheetRow, str | None, bytes | None]:
    """Sheets, each with its entry's hash and content, for `read_sheet`: many at once."""
    # An entry that is missing must not take its sheet out of a list unseen.
    query = select(SheetRow, EntryRow.sha256, EntryRow.content)
    return query.outerjoin(EntryRow, EntryRow.number == SheetRow.entry)


def read_sheet(row: SheetRow, sha256: str | None, content: bytes | None) -> SignedSheet:
    """The row as a sheet, with what was signed: the entry's hash and content. Raises MissingError where there
    is no entry."""
    if sha256 is None or content is None:
        raise MissingError(f"The chain has no entry {row.entry}.")
    state: Any = row.state
    return SignedSheet(
        id=row.id,
        number=row.number,
        revision=row.revision,
        state=state,
        draft_id=row.draft_id,
        memo_id=row.memo_id,
        engineer_id=row.engineer_id,
        engineer=row.engineer,
        signed_at=row.signed_at,
        entry=row.entry,
        sha256=sha256,
        pdf_sha256=row.pdf_sha256,
        fleet_number=row.fleet_number,
        customer=row.customer,
        site=row.site,
        date=row.date,
        withdrawn_why=row.withdrawn_why,
        returned=row.returned,
        record=json.loads(content),
    )


def entry_at(session: Session, number: int) -> Entry:
    """The entry of the chain with that number. Raises MissingError."""
    row = session.get(EntryRow, number)
    if row is None:
        raise MissingError(f"The chain has no entry {number}.")
    return entry_of(row)
