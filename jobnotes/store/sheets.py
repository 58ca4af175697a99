"""Signed sheets: made from drafts, amended by new revisions, withdrawn with a reason, never changed."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import select

from jobnotes.errors import JobnotesError
from jobnotes.jobs.model import ReadMemo, Transcript
from jobnotes.store import chain
from jobnotes.store.audit import note
from jobnotes.store.blobs import Blobs
from jobnotes.store.comments import add_comment, comments_on, needed
from jobnotes.store.database import Database
from jobnotes.store.draft_rows import draft_of, draft_row, new_draft
from jobnotes.store.errors import MissingError, NotAllowedError
from jobnotes.store.folder import Folder
from jobnotes.store.moments import now, written
from jobnotes.store.people import People
from jobnotes.store.rights import is_office, refuse_all_but_office, refuse_editing
from jobnotes.store.sheet_rows import (
    entry_at,
    newest_row,
    read_sheet,
    sheet_of,
    sheet_row,
    sheets_with_entries,
)
from jobnotes.store.signer import PDF, Signer
from jobnotes.store.signing import MakePdf, Signed
from jobnotes.store.tables import DraftRow, MemoRow, SheetRow
from jobnotes.store.values import Comment, Draft, Person, SheetState, SignedSheet


class Sheets:
    """The signed sheets of a workshop."""

    def __init__(self, database: Database, folder: Folder, people: People) -> None:
        self._database = database
        self._folder = folder
        self.blobs = Blobs(folder.sheets)
        self._signer = Signer(database, folder, people, self.blobs)

    def sign(
        self,
        draft_id: int,
        version: int,
        who: Person,
        password: str,
        signature: Signed,
        *,
        make_pdf: MakePdf,
        zone: ZoneInfo,
        customer: Signed | None = None,
    ) -> list[SignedSheet]:
        """Signs a draft: a sheet for each of its jobs, all of them or none. Raises as `Signer.sign` does."""
        return self._signer.sign(
            draft_id, version, who, password, signature, make_pdf=make_pdf, zone=zone, customer=customer
        )

    def get(self, number: int, revision: int | None = None) -> SignedSheet:
        """The sheet of that number, in its newest revision unless another is asked for. Raises
        MissingError."""
        with self._database.reading() as session:
            return sheet_of(session, sheet_row(session, number, revision))

    def revisions(self, number: int) -> list[SignedSheet]:
        """All revisions of a sheet, the first one first. Raises MissingError."""
        with self._database.reading() as session:
            sheet_row(session, number, None)
            query = select(SheetRow).where(SheetRow.number == number).order_by(SheetRow.revision)
            return [sheet_of(session, row) for row in session.scalars(query)]

    def lines(
        self,
        state: SheetState | None = None,
        *,
        fleet_number: str | None = None,
        limit: int = 500,
        skip: int = 0,
    ) -> list[SignedSheet]:
        """Sheets, the newest first and `skip` of them passed over: of one state, of one machine, if given. A
        fleet number's spaces, dashes and capitals make no difference."""
        query = sheets_with_entries().order_by(SheetRow.entry.desc()).limit(limit).offset(skip)
        if state is not None:
            query = query.where(SheetRow.state == state)
        with self._database.reading() as session:
            if fleet_number is not None:
                key = _code(fleet_number)
                names = session.scalars(select(SheetRow.fleet_number).distinct())
                query = query.where(SheetRow.fleet_number.in_([each for each in names if _code(each) == key]))
            return [read_sheet(*rows) for rows in session.execute(query)]

    def any(self) -> bool:
        """Whether anything has been signed yet."""
        with self._database.reading() as session:
            return session.scalar(select(SheetRow.id).limit(1)) is not None

    def newest_entry(self) -> int:
        """The number of the chain's newest entry, 0 for none. Whatever changes a sheet makes an entry."""
        with self._database.reading() as session:
            return chain.next_place(session)[0] - 1

    def since(self, entry: int) -> Iterator[SignedSheet]:
        """Every revision that was signed or withdrawn by a later entry than that, in the order in which they
        were signed."""
        query = (
            sheets_with_entries()
            .where((SheetRow.entry > entry) | (SheetRow.withdrawn_entry > entry))
            .order_by(SheetRow.entry)
        )
        with self._database.reading() as session:
            for rows in session.execute(query):
                yield read_sheet(*rows)

    def of_memo(self, memo_id: int) -> list[SignedSheet]:
        """The sheets made from a memo, in the order in which they were signed."""
        query = select(SheetRow).where(SheetRow.memo_id == memo_id).order_by(SheetRow.entry)
        with self._database.reading() as session:
            return [sheet_of(session, row) for row in session.scalars(query)]

    def pdf(self, sheet: SignedSheet) -> bytes:
        """The sheet's sealed PDF. Raises JobnotesError where it is missing or was changed."""
        if fault := self.blobs.fault(sheet.pdf_sha256, PDF):
            raise JobnotesError(f"The PDF of sheet {sheet.number}, revision {sheet.revision}, {fault}.")
        return self.blobs.path(sheet.pdf_sha256, PDF).read_bytes()

    def amend(self, number: int, who: Person) -> Draft:
        """A draft to amend a sheet with: the one that is open, else a new one with the sheet's job.

        Raises NotAllowedError where the sheet is withdrawn or another's.
        """
        with self._database.writing() as session:
            old = newest_row(session, number)
            refuse_editing(who, old.engineer_id)
            if old.state != "signed":
                raise NotAllowedError(f"Sheet {number} is {old.state}, so it can't be amended.")
            query = select(DraftRow).where(DraftRow.amends == number, DraftRow.state == "open")
            row = session.scalar(query)
            if row is None:
                memo = session.get(MemoRow, old.memo_id) if old.memo_id is not None else None
                read = _read_of(chain.content_of_entry(entry_at(session, old.entry)), memo)
                draft_id = new_draft(session, read, memo=memo, engineer_id=old.engineer_id, amends=number)
                row = draft_row(session, draft_id)
                note(session, who, "began an amendment", f"sheet {number}", f"draft {row.id}")
            return draft_of(session, row)

    def withdraw(self, number: int, who: Person, reason: str) -> SignedSheet:
        """Says of a signed sheet that it no longer holds, in a chain entry of its own: its engineer, or the
        office. The sheet itself stays as it was signed."""
        reason = needed(reason, "a reason")
        if len(reason) > 200:
            raise JobnotesError(f"The reason has {len(reason)} characters; a sheet has room for 200.")
        at = now()
        with self._folder.lock(chain.LOCK), self._database.writing() as session:
            row = newest_row(session, number)
            if not is_office(who) and row.engineer_id != who.id:
                raise NotAllowedError("Only its engineer or the office withdraws a sheet.")
            if row.state != "signed":
                raise NotAllowedError(f"Sheet {number} is {row.state} already.")
            content = {
                "format": 1,
                "sheet": row.number,
                "revision": row.revision,
                "sha256": entry_at(session, row.entry).sha256,
                "reason": reason,
                "by": who.display_name,
                "at": written(at),
            }
            entry = chain.append(session, "withdrawal", content, at)
            row.state, row.withdrawn_entry, row.withdrawn_why = "withdrawn", entry.number, reason
            for draft in session.scalars(
                select(DraftRow).where(DraftRow.amends == number, DraftRow.state == "open")
            ):
                draft.state, draft.changed_at = "withdrawn", at
            note(session, who, "withdrew", f"sheet {number}", reason)
            return sheet_of(session, row)

    def withdrawal(self, sheet: SignedSheet) -> tuple[str, datetime]:
        """Who withdrew the sheet, and when. Raises MissingError where nobody did."""
        with self._database.reading() as session:
            row = sheet_row(session, sheet.number, sheet.revision)
            if row.withdrawn_entry is None:
                raise MissingError(f"Sheet {sheet.number} is not withdrawn.")
            entry = entry_at(session, row.withdrawn_entry)
            return str(chain.content_of_entry(entry)["by"]), entry.at

    def sweep(self) -> None:
        """Removes the PDFs of signings that broke off. Nothing is done while somebody signs."""
        with self._folder.lock("files", wait=False) as had:
            if not had:
                return
            with self._database.reading() as session:
                kept = set(session.scalars(select(SheetRow.pdf_sha256)))
            self.blobs.keep_only(kept)

    def comment(self, number: int, who: Person, text: str) -> Comment:
        """Writes a word to a sheet: its engineer, or the office. Raises NotAllowedError for others."""
        with self._database.writing() as session:
            if not is_office(who) and newest_row(session, number).engineer_id != who.id:
                raise NotAllowedError("Only its engineer or the office comments on a sheet.")
            newest_row(session, number)
            return add_comment(session, who, text, sheet=number)

    def send_back(self, number: int, who: Person, text: str) -> Comment:
        """Asks the engineer for an amendment. Raises NotAllowedError for an engineer."""
        refuse_all_but_office(who, "sends sheets back")
        with self._database.writing() as session:
            row = newest_row(session, number)
            if row.state != "signed":
                raise NotAllowedError(f"Sheet {number} is {row.state}.")
            row.returned = True
            note(session, who, "sent a sheet back", f"sheet {number}", text)
            return add_comment(session, who, text, sheet=number, returned=True)

    def comments(self, number: int) -> list[Comment]:
        """What was written to a sheet, the oldest first."""
        with self._database.reading() as session:
            return comments_on(session, sheet=number)


def _read_of(content: dict[str, Any], memo: MemoRow | None) -> ReadMemo:
    transcript = Transcript(text="")
    if memo is not None and memo.transcript is not None:
        transcript = Transcript.model_validate_json(memo.transcript)
    return ReadMemo.model_validate(
        {
            "memo": content["memo"],
            "recorded_at": content["recorded_at"],
            "transcript": transcript,
            "jobs": [content["job"]],
            "evidence": {
                re.sub(r"^/job(?=/|$)", "/jobs/0", pointer): entry
                for pointer, entry in content["evidence"].items()
            },
        }
    )


def _code(text: str) -> str:
    return re.sub(r"[^A-Z0-9]", "", text.upper())
