"""Drafts: looked at, corrected, sent back, until they are signed. Every edit goes through one function."""

from __future__ import annotations

import json
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from jobnotes.errors import JobnotesError
from jobnotes.store import operations as do
from jobnotes.store.audit import note
from jobnotes.store.comments import add_comment, comments_on
from jobnotes.store.database import Database
from jobnotes.store.draft_rows import (
    corrections,
    document_at,
    draft_of,
    draft_row,
    line_of,
    names_of,
    next_version,
    version_row,
)
from jobnotes.store.editing import Change, edited
from jobnotes.store.errors import ConflictError, InvalidEditError, NotAllowedError
from jobnotes.store.moments import now
from jobnotes.store.people import person_of
from jobnotes.store.rights import (
    id_of,
    is_office,
    refuse_all_but_office,
    refuse_editing,
    refuse_reading,
)
from jobnotes.store.tables import CorrectionRow, DraftRow, MemoRow, PersonRow
from jobnotes.store.values import Comment, Correction, Draft, DraftLine, DraftState, Person

OF_WHOLE_JOBS = (do.SplitJob, do.JoinJobs, do.AddJob, do.RemoveJob)


class Drafts:
    """The drafts of a workshop."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def get(self, number: int, who: Person) -> Draft:
        """The draft in its newest version. Raises MissingError, and NotAllowedError where it is another
        engineer's."""
        with self._database.reading() as session:
            row = draft_row(session, number)
            refuse_reading(who, row.engineer_id)
            return draft_of(session, row)

    def lines(self, who: Person, state: DraftState | None = "open") -> list[DraftLine]:
        """The drafts of a state, the oldest first: all for the office, for an engineer their own and those
        that are nobody's yet."""
        query = select(DraftRow).order_by(DraftRow.id)
        if state is not None:
            query = query.where(DraftRow.state == state)
        if not is_office(who):
            query = query.where((DraftRow.engineer_id == who.id) | DraftRow.engineer_id.is_(None))
        with self._database.reading() as session:
            names = names_of(session)
            return [line_of(row, names) for row in session.scalars(query)]

    def edit(self, number: int, version: int, who: Person, operation: do.Operation) -> Draft:
        """Does one operation to the draft, and gives its next version.

        Raises ConflictError where `version` is no longer the newest, InvalidEditError where the operation
        can't be done, NotAllowedError where the draft is not the person's or not open.
        """
        with self._database.writing() as session:
            row = draft_row(session, number)
            refuse_editing(who, row.engineer_id)
            _refuse_closed(row)
            refuse_stale(session, row, version)
            if row.amends is not None and isinstance(operation, OF_WHOLE_JOBS):
                raise InvalidEditError("An amendment is of one sheet, so of one job: no more, no less.")
            if isinstance(operation, do.Undo):
                _undo(session, row, who)
            elif isinstance(operation, do.Redo):
                _redo(session, row, who)
            else:
                _do(session, row, who, operation)
            return draft_of(session, row)

    def history(self, number: int, who: Person) -> list[Correction]:
        """All corrections of the draft, the oldest first."""
        with self._database.reading() as session:
            refuse_reading(who, draft_row(session, number).engineer_id)
            return corrections(session, number)

    def comment(self, number: int, who: Person, text: str) -> Comment:
        """Writes a word to the draft: the office, or its engineer."""
        with self._database.writing() as session:
            refuse_reading(who, draft_row(session, number).engineer_id)
            return add_comment(session, who, text, draft_id=number)

    def send_back(self, number: int, who: Person, text: str) -> Comment:
        """Sends an open draft back to its engineer with a word. Raises NotAllowedError for an engineer."""
        refuse_all_but_office(who, "sends drafts back")
        with self._database.writing() as session:
            row = draft_row(session, number)
            _refuse_closed(row)
            row.returned = True
            note(session, who, "sent a draft back", f"draft {number}", text)
            return add_comment(session, who, text, draft_id=number, returned=True)

    def comments(self, number: int, who: Person) -> list[Comment]:
        """What was written to the draft, the oldest first."""
        with self._database.reading() as session:
            refuse_reading(who, draft_row(session, number).engineer_id)
            return comments_on(session, draft_id=number)

    def assign(self, number: int, engineer: Person, who: Person) -> Draft:
        """Gives an open draft to an engineer: the office any, an engineer themselves one that is nobody's.

        Raises NotAllowedError, and JobnotesError for somebody who signs no sheets.
        """
        with self._database.writing() as session:
            row = draft_row(session, number)
            _refuse_closed(row)
            person = session.get(PersonRow, engineer.id)
            if person is None or not person.active or person_of(person).role == "office":
                raise JobnotesError(f"{engineer.display_name} signs no sheets, so has no drafts.")
            if not is_office(who) and not (row.engineer_id is None and engineer.id == who.id):
                raise NotAllowedError("Only the office gives a draft to another engineer.")
            row.engineer_id = engineer.id
            if row.memo_id is not None and (memo := session.get(MemoRow, row.memo_id)) is not None:
                memo.engineer_id = engineer.id
            note(session, who, "gave a draft to", f"draft {number}", engineer.name)
            return draft_of(session, row)

    def withdraw(self, number: int, who: Person, reason: str) -> Draft:
        """Puts an open draft aside for good: its engineer, or the office. Raises JobnotesError without a
        reason."""
        with self._database.writing() as session:
            row = draft_row(session, number)
            refuse_reading(who, row.engineer_id)
            _refuse_closed(row)
            add_comment(session, who, reason, draft_id=number)
            row.state, row.changed_at = "withdrawn", now()
            note(session, who, "withdrew a draft", f"draft {number}", reason)
            return draft_of(session, row)


def refuse_stale(session: Session, row: DraftRow, version: int) -> None:
    """Raises ConflictError, which names who changed what, where the draft has gone on since `version`."""
    if version == row.version:
        return
    if version > row.version or version < 1:
        raise InvalidEditError(f"The draft has no version {version}; its newest is {row.version}.")
    since = corrections(session, row.id, after=version)
    told = "; ".join(each.in_words() for each in since[-3:])
    before = f"{len(since) - 3} changes, then " if len(since) > 3 else ""
    raise ConflictError(
        f"The draft was changed meanwhile: {before}{told}. Nothing of that was touched; look again.",
        row.version,
        since,
    )


def _refuse_closed(row: DraftRow) -> None:
    if row.state != "open":
        raise NotAllowedError(f"The draft is {row.state}, so it can't be changed.")


def _do(session: Session, row: DraftRow, who: Person, operation: do.Change) -> None:
    at, before = now(), row.version
    document, changes = edited(document_at(session, row.id, before), operation)
    next_version(
        session,
        row,
        document,
        operation=operation.model_dump_json(),
        person_id=id_of(who),
        at=at,
        back=before,
        forward=None,
    )
    _keep(session, row, who, at, changes)


def _undo(session: Session, row: DraftRow, who: Person) -> None:
    here = version_row(session, row.id, row.version)
    if here.back is None:
        raise InvalidEditError("There is nothing to undo.")
    there = version_row(session, row.id, here.back)
    _go(session, row, who, "undo", there.version, back=there.back, forward=here.version, changed=here.origin)


def _redo(session: Session, row: DraftRow, who: Person) -> None:
    here = version_row(session, row.id, row.version)
    if here.forward is None:
        raise InvalidEditError("There is nothing to do again.")
    there = version_row(session, row.id, here.forward)
    _go(session, row, who, "redo", there.version, here.version, there.forward, changed=there.origin)


def _go(
    session: Session,
    row: DraftRow,
    who: Person,
    kind: str,
    to: int,
    back: int | None,
    forward: int | None,
    changed: int,
) -> None:
    """Makes an earlier state the newest. `changed` is the version whose changes go, or come again."""
    at = now()
    next_version(
        session,
        row,
        document_at(session, row.id, to),
        operation=json.dumps({"kind": kind}),
        person_id=id_of(who),
        at=at,
        back=back,
        forward=forward,
        origin=version_row(session, row.id, to).origin,
    )
    query = select(CorrectionRow).where(CorrectionRow.draft_id == row.id, CorrectionRow.version == changed)
    made = session.scalars(query.order_by(CorrectionRow.id)).all()
    turned = []
    for each in made:
        each.undone = kind == "undo"
        old, new = json.loads(each.old), json.loads(each.new)
        if kind == "undo":
            old, new = new, old
        turned.append(Change(kind, each.pointer, old, new, each.heard))
    _keep(session, row, who, at, turned)


def _keep(session: Session, row: DraftRow, who: Person, at: datetime, changes: list[Change]) -> None:
    session.add_all(
        CorrectionRow(
            draft_id=row.id,
            version=row.version,
            at=at,
            person_id=id_of(who),
            who=who.display_name,
            kind=change.kind,
            pointer=change.pointer,
            old=json.dumps(change.old, ensure_ascii=False),
            new=json.dumps(change.new, ensure_ascii=False),
            heard=change.heard,
            undone=False,
        )
        for change in changes
    )
    session.flush()
