"""Memos: taken in by their content, then heard, then read into a draft. What breaks off goes on."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from jobnotes.errors import JobnotesError
from jobnotes.files import reading
from jobnotes.jobs.model import ReadMemo, Transcript
from jobnotes.store.audit import note
from jobnotes.store.blobs import ENDING, Blobs, content_of
from jobnotes.store.database import Database
from jobnotes.store.draft_rows import new_draft
from jobnotes.store.errors import MissingError
from jobnotes.store.folder import Folder
from jobnotes.store.moments import now
from jobnotes.store.rights import TERMINAL, id_of
from jobnotes.store.tables import DraftRow, MemoRow, PersonRow
from jobnotes.store.values import Memo, MemoState, Person, Taken

LONGEST_NAME = 120


class Memos:
    """The memos of a workshop."""

    def __init__(self, database: Database, folder: Folder) -> None:
        self._database = database
        self._folder = folder
        self.blobs = Blobs(folder.recordings)

    def take(
        self,
        path: Path,
        *,
        file_name: str | None = None,
        engineer: Person | None = None,
        by: Person = TERMINAL,
        recorded_at: datetime | None = None,
    ) -> Taken:
        """Takes a file in. The same content is one memo, however often and under whatever name it comes; one
        that had failed waits again.

        The recording is whole on the disk before its row is written: a crash leaves nothing, or a memo that
        waits. `file_name` is what the memo is called where `path` is a temporary file. Without an engineer
        the memo is the one person's who works alone. `recorded_at` (local time, naive) says when it was
        recorded, whatever the file says; it is kept with the memo, since another process may be the one that
        hears it. Raises JobnotesError where the file can't be taken.
        """
        _refuse_no_file(path)
        named = file_name or path.name
        ending = _ending(named)
        given = None if recorded_at is None else recorded_at.isoformat()
        known = self._known(content_of(path).sha256, by, given)
        if known is not None:
            return Taken(known, new=False)
        with self._folder.lock("files", shared=True):
            changed_ns = path.stat().st_mtime_ns
            content = self.blobs.put_file(path, ending)
            if not content.size:
                self.blobs.remove(content.sha256, ending)
                raise JobnotesError(f"{path} is empty (0 bytes).")
            with self._database.writing() as session:
                row = session.scalar(select(MemoRow).where(MemoRow.sha256 == content.sha256))
                new = row is None
                if row is None:
                    row = MemoRow(
                        sha256=content.sha256,
                        name=_name(named),
                        file_name=_shown(named),
                        ending=ending,
                        size=content.size,
                        changed_ns=changed_ns,
                        engineer_id=_engineer(session, engineer),
                        taken_by=by.name,
                        taken_at=now(),
                        state="waiting",
                        recorded_at=given,
                    )
                    session.add(row)
                    session.flush()
                    note(session, by, "took a memo in", f"memo {row.id}", row.file_name)
                elif row.ending != ending:
                    # Somebody else took it in under another ending just now; theirs is kept.
                    self.blobs.remove(content.sha256, ending)
                return Taken(memo_of(session, row), new)

    def _known(self, sha256: str, by: Person, recorded_at: str | None) -> Memo | None:
        with self._database.reading() as session:
            row = session.scalar(select(MemoRow).where(MemoRow.sha256 == sha256))
            if row is None:
                return None
            memo = memo_of(session, row)
        if memo.state == "failed":
            memo = self.retry(memo.id, by)
        if memo.state == "waiting" and recorded_at is not None:
            with self._database.writing() as session:
                row = _row(session, memo.id)
                if row.state == "waiting":
                    row.recorded_at = recorded_at
                return memo_of(session, row)
        return memo

    def get(self, number: int) -> Memo:
        """The memo of that number. Raises MissingError."""
        with self._database.reading() as session:
            return memo_of(session, _row(session, number))

    def all(self, state: MemoState | None = None) -> list[Memo]:
        """All memos, the oldest first; of one state, if given."""
        query = select(MemoRow).order_by(MemoRow.id)
        if state is not None:
            query = query.where(MemoRow.state == state)
        with self._database.reading() as session:
            return [memo_of(session, row) for row in session.scalars(query)]

    def waiting(self) -> list[Memo]:
        """The memos that are neither read nor failed, the oldest first."""
        query = select(MemoRow).where(MemoRow.state.in_(("waiting", "heard"))).order_by(MemoRow.id)
        with self._database.reading() as session:
            return [memo_of(session, row) for row in session.scalars(query)]

    def recording(self, memo: Memo) -> Path:
        """Where the recording stands; its time of last change is that of the file that was taken in.

        Raises MissingError where it was deleted on purpose, JobnotesError where it is missing.
        """
        if memo.forgotten_at is not None:
            raise MissingError(
                f"The recording of {memo.name} was deleted on {memo.forgotten_at:%Y-%m-%d}; its sheets stay."
            )
        path = self.blobs.path(memo.sha256, memo.ending)
        if not path.is_file():
            raise JobnotesError(f"The recording of {memo.name} is missing: {path}.")
        with self._database.reading() as session:
            changed_ns = _row(session, memo.id).changed_ns
        # When a memo was recorded may hang on this; a copy of the folder need not have kept it.
        if path.stat().st_mtime_ns != changed_ns:
            os.utime(path, ns=(changed_ns, changed_ns))
        return path

    @contextmanager
    def working_on(self, memo: Memo) -> Iterator[Memo | None]:
        """Holds a memo, so that it is heard once only; gives its newest state, or None where another process
        has it. A process that dies lets go of it."""
        with self._folder.lock(f"memo-{memo.id}", wait=False) as had:
            yield self.get(memo.id) if had else None

    def heard(self, number: int, transcript: Transcript, recorded_at: str) -> Memo:
        """Keeps what was heard. `recorded_at` is local time, naive, ISO 8601."""
        with self._database.writing() as session:
            row = _row(session, number)
            if row.state == "waiting":
                row.transcript = transcript.model_dump_json()
                row.recorded_at = recorded_at
                row.state = "heard"
            return memo_of(session, row)

    def read(self, number: int, read: ReadMemo) -> int:
        """Makes the draft of a heard memo, once, and gives its number."""
        with self._database.writing() as session:
            row = _row(session, number)
            draft = session.scalar(select(DraftRow.id).where(DraftRow.memo_id == row.id))
            if draft is not None:
                return draft
            row.transcript = read.transcript.model_dump_json()
            row.recorded_at = read.recorded_at
            row.state, row.failure = "read", None
            return new_draft(session, read, memo=row, engineer_id=row.engineer_id)

    def failed(self, number: int, sentence: str) -> Memo:
        """Keeps why a memo could not be heard or read."""
        with self._database.writing() as session:
            row = _row(session, number)
            if row.state != "read":
                row.state, row.failure = "failed", sentence
            return memo_of(session, row)

    def retry(self, number: int, by: Person) -> Memo:
        """Lets a failed memo wait again."""
        with self._database.writing() as session:
            row = _row(session, number)
            if row.state == "failed":
                row.state, row.failure = ("waiting" if row.transcript is None else "heard"), None
                note(session, by, "let a failed memo wait again", f"memo {row.id}")
            return memo_of(session, row)

    def sweep(self) -> None:
        """Removes what broken-off work has left: copies that no row names, and recordings to be forgotten.

        Nothing is done while somebody takes a file in or signs: their files have no row yet.
        """
        with self._folder.lock("files", wait=False) as had:
            if not had:
                return
            with self._database.reading() as session:
                rows = session.execute(select(MemoRow.sha256, MemoRow.forgotten_at))
                kept = {sha256 for sha256, forgotten_at in rows if forgotten_at is None}
            self.blobs.keep_only(kept)


def memo_of(session: Session, row: MemoRow) -> Memo:
    """The row as a memo."""
    state: Any = row.state
    draft = session.scalar(select(DraftRow.id).where(DraftRow.memo_id == row.id, DraftRow.amends.is_(None)))
    return Memo(
        id=row.id,
        sha256=row.sha256,
        name=row.name,
        file_name=row.file_name,
        ending=row.ending,
        size=row.size,
        engineer_id=row.engineer_id,
        taken_at=row.taken_at,
        taken_by=row.taken_by,
        state=state,
        failure=row.failure,
        recorded_at=row.recorded_at,
        transcript=None if row.transcript is None else Transcript.model_validate_json(row.transcript),
        draft_id=draft,
        forgotten_at=row.forgotten_at,
    )


def _row(session: Session, number: int) -> MemoRow:
    row = session.get(MemoRow, number)
    if row is None:
        raise MissingError("There is no such memo.")
    return row


def _refuse_no_file(path: Path) -> None:
    """Raises JobnotesError for what is not there, a folder, and what would be waited for: a pipe, a
    device."""
    with reading(path):
        path.stat()
    if path.is_dir():
        raise JobnotesError(f"{path} is a folder; give the files in it.")
    if not path.is_file():
        raise JobnotesError(f"{path} is a pipe or a device, not a file.")


def _ending(file_name: str) -> str:
    ending = os.path.splitext(file_name)[1].lower()  # noqa: PTH122 (a client's name is no path)
    return ending if ENDING.fullmatch(ending) else ""


def _shown(file_name: str) -> str:
    """A file's name as text for people: its last part, no control characters, no bytes that are no UTF-8."""
    last = re.split(r"[/\\]", file_name)[-1]
    text = os.fsencode(last).decode("utf-8", "replace")
    return "".join(letter if letter.isprintable() else "�" for letter in text)[:LONGEST_NAME] or "memo"


def _name(file_name: str) -> str:
    shown = _shown(file_name)
    ending = _ending(shown)
    return (shown[: -len(ending)] if ending else shown) or "memo"


def _engineer(session: Session, engineer: Person | None) -> int | None:
    """Whose memo it is: the engineer's, else that of the one person who could be meant."""
    if engineer is not None:
        return id_of(engineer)
    people = session.scalars(
        select(PersonRow.id).where(PersonRow.active, PersonRow.role.in_(("engineer", "owner")))
    ).all()
    return people[0] if len(people) == 1 else None
