"""Drafts as rows: how one is begun, how the next version is written, how it is read back."""

from __future__ import annotations

import json
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from jobnotes.jobs.model import ReadMemo, Transcript
from jobnotes.store.documents import document_of, marked, read_memo, titles, written
from jobnotes.store.errors import MissingError
from jobnotes.store.finding import index_draft
from jobnotes.store.moments import now
from jobnotes.store.tables import CorrectionRow, DraftRow, MemoRow, PersonRow, VersionRow
from jobnotes.store.values import Correction, Draft, DraftLine


def new_draft(
    session: Session,
    read: ReadMemo,
    *,
    memo: MemoRow | None,
    engineer_id: int | None,
    amends: int | None = None,
) -> int:
    """Writes a draft's first version, and gives the draft's number."""
    document, at = document_of(read), now()
    row = DraftRow(
        memo_id=memo.id if memo is not None else None,
        memo=read.memo,
        engineer_id=engineer_id,
        version=1,
        state="open",
        created_at=at,
        changed_at=at,
        amends=amends,
        returned=False,
        marked=len(marked(document)),
        jobs=json.dumps(titles(document)),
    )
    session.add(row)
    session.flush()
    session.add(
        VersionRow(
            draft_id=row.id,
            version=1,
            document=written(document),
            operation="null",
            person_id=None,
            at=at,
            back=None,
            forward=None,
            origin=1,
        )
    )
    index_draft(session, row.id, document, read.transcript.text)
    return row.id


def next_version(
    session: Session,
    row: DraftRow,
    document: dict[str, Any],
    *,
    operation: str,
    person_id: int | None,
    at: datetime,
    back: int | None,
    forward: int | None,
    origin: int | None = None,
) -> None:
    """Writes the draft's next version, and what lists show of it. Without `origin` the state is a new one."""
    number = row.version + 1
    session.add(
        VersionRow(
            draft_id=row.id,
            version=number,
            document=written(document),
            operation=operation,
            person_id=person_id,
            at=at,
            back=back,
            forward=forward,
            origin=origin or number,
        )
    )
    row.version, row.changed_at, row.returned = number, at, False
    row.marked, row.jobs = len(marked(document)), json.dumps(titles(document))
    index_draft(session, row.id, document, _transcript(session, row).text)


def draft_row(session: Session, number: int) -> DraftRow:
    """The row of a draft. Raises MissingError."""
    row = session.get(DraftRow, number)
    if row is None:
        raise MissingError("There is no such draft.")
    return row


def version_row(session: Session, draft_id: int, version: int) -> VersionRow:
    """One state of a draft. Raises MissingError."""
    row = session.get(VersionRow, (draft_id, version))
    if row is None:
        raise MissingError(f"The draft has no version {version}.")
    return row


def document_at(session: Session, draft_id: int, version: int) -> dict[str, Any]:
    """The document of one state."""
    document: dict[str, Any] = json.loads(version_row(session, draft_id, version).document)
    return document


def draft_of(session: Session, row: DraftRow) -> Draft:
    """The row as a draft, with its document."""
    state: Any = row.state
    newest = version_row(session, row.id, row.version)
    read = read_memo(
        json.loads(newest.document), row.memo, _recorded_at(session, row), _transcript(session, row)
    )
    return Draft(
        id=row.id,
        version=row.version,
        state=state,
        memo_id=row.memo_id,
        engineer_id=row.engineer_id,
        engineer=name_of(session, row.engineer_id),
        created_at=row.created_at,
        changed_at=row.changed_at,
        amends=row.amends,
        returned=row.returned,
        marked=row.marked,
        can_undo=state == "open" and newest.back is not None,
        can_redo=state == "open" and newest.forward is not None,
        read=read,
    )


def line_of(row: DraftRow, names: dict[int, str]) -> DraftLine:
    """The row as a list shows it."""
    state: Any = row.state
    return DraftLine(
        id=row.id,
        version=row.version,
        state=state,
        memo=row.memo,
        engineer_id=row.engineer_id,
        engineer=names.get(row.engineer_id or 0, ""),
        created_at=row.created_at,
        changed_at=row.changed_at,
        amends=row.amends,
        returned=row.returned,
        marked=row.marked,
        jobs=tuple(json.loads(row.jobs)),
    )


def names_of(session: Session) -> dict[int, str]:
    """The names on the sheets of all people."""
    return {row.id: row.display_name for row in session.scalars(select(PersonRow))}


def name_of(session: Session, person_id: int | None) -> str:
    """The name on the sheets, empty for nobody."""
    person = session.get(PersonRow, person_id) if person_id is not None else None
    return person.display_name if person is not None else ""


def correction_of(row: CorrectionRow) -> Correction:
    """The row as a correction."""
    return Correction(
        draft_id=row.draft_id,
        version=row.version,
        at=row.at,
        who=row.who,
        kind=row.kind,
        pointer=row.pointer,
        old=json.loads(row.old),
        new=json.loads(row.new),
        heard=row.heard,
        undone=row.undone,
    )


def corrections(session: Session, draft_id: int, after: int = 0) -> list[Correction]:
    """The corrections of a draft made after a version, oldest first."""
    query = (
        select(CorrectionRow)
        .where(CorrectionRow.draft_id == draft_id, CorrectionRow.version > after)
        .order_by(CorrectionRow.id)
    )
    return [correction_of(row) for row in session.scalars(query)]


def _memo(session: Session, row: DraftRow) -> MemoRow | None:
    return session.get(MemoRow, row.memo_id) if row.memo_id is not None else None


def _transcript(session: Session, row: DraftRow) -> Transcript:
    memo = _memo(session, row)
    if memo is None or memo.transcript is None:
        return Transcript(text="")
    return Transcript.model_validate_json(memo.transcript)


def _recorded_at(session: Session, row: DraftRow) -> str:
    memo = _memo(session, row)
    return memo.recorded_at or "" if memo is not None else ""
