"""Recordings deleted when they have served: the sheets stay, and the chain says what was deleted and why."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from sqlalchemy import select
from sqlalchemy.orm import Session

from jobnotes.errors import JobnotesError
from jobnotes.store import chain
from jobnotes.store.audit import note
from jobnotes.store.comments import needed
from jobnotes.store.errors import MissingError, NotAllowedError
from jobnotes.store.moments import now, written
from jobnotes.store.rights import refuse_all_but_office
from jobnotes.store.tables import DraftRow, MemoRow, SheetRow
from jobnotes.store.values import Memo, Person

if TYPE_CHECKING:
    from jobnotes.store.workshop import Workshop


def forget(workshop: Workshop, memo: Memo, who: Person, reason: str) -> None:
    """Deletes a memo's recording for good. Its words stay with the draft, and its sheets as they are.

    The chain's entry comes first: a crash in between leaves a recording that is deleted at the next start.
    Raises NotAllowedError for an engineer and while one of its drafts is neither signed nor withdrawn,
    MissingError where it is deleted already, JobnotesError without a reason.
    """
    refuse_all_but_office(who, "deletes recordings")
    reason, at = needed(reason, "a reason"), now()
    folder, database = workshop.folder, workshop.database
    with folder.lock(chain.LOCK), folder.lock("files"):
        with database.writing() as session:
            row = session.get(MemoRow, memo.id)
            if row is None:
                raise MissingError("There is no such memo.")
            if row.forgotten_at is not None:
                raise MissingError(f"The recording of {row.name} is deleted already.")
            _refuse_unsettled(session, row)
            content = {
                "format": 1,
                "memo": row.name,
                "memo_sha256": row.sha256,
                "reason": reason,
                "by": who.display_name,
                "at": written(at),
                "sheets": _sheets(session, row.id),
            }
            chain.append(session, "forgotten", content, at)
            row.forgotten_at = at
            note(session, who, "deleted a recording", f"memo {row.id}", reason)
        workshop.memos.blobs.remove(memo.sha256, memo.ending)


def forget_older(workshop: Workshop, days: int, who: Person, reason: str | None = None) -> list[Memo]:
    """Deletes the recordings of all memos that were settled (signed or withdrawn) more than `days` days ago,
    and gives the memos. Others are left alone. Raises JobnotesError for less than 0 days."""
    if days < 0:
        raise JobnotesError(f"{days} days lie in the future.")
    refuse_all_but_office(who, "deletes recordings")
    before = now() - timedelta(days=days)
    with workshop.database.reading() as session:
        rows = session.scalars(select(MemoRow).where(MemoRow.forgotten_at.is_(None)).order_by(MemoRow.id))
        old = []
        for row in rows:
            drafts = session.scalars(select(DraftRow).where(DraftRow.memo_id == row.id)).all()
            if drafts and all(d.state != "open" and d.changed_at <= before for d in drafts):
                old.append(row.id)
    forgotten = []
    for number in old:
        memo = workshop.memos.get(number)
        forget(workshop, memo, who, reason or f"older than {days} days")
        forgotten.append(workshop.memos.get(number))
    return forgotten


def _refuse_unsettled(session: Session, row: MemoRow) -> None:
    drafts = session.scalars(select(DraftRow).where(DraftRow.memo_id == row.id)).all()
    if row.state in ("waiting", "heard") or any(draft.state == "open" for draft in drafts):
        raise NotAllowedError(
            f"The recording of {row.name} is still needed: sign or withdraw what was made of it first."
        )


def _sheets(session: Session, memo_id: int) -> list[dict[str, int]]:
    rows = session.scalars(select(SheetRow).where(SheetRow.memo_id == memo_id).order_by(SheetRow.entry))
    return [{"sheet": row.number, "revision": row.revision} for row in rows]
