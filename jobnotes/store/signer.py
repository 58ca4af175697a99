"""A draft signed: its documents chained, its PDFs made, all of it kept in one transaction or none of it."""

from __future__ import annotations

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from jobnotes.errors import JobnotesError
from jobnotes.store import chain
from jobnotes.store.audit import note
from jobnotes.store.blobs import Blobs
from jobnotes.store.canonical import canonical, sha256
from jobnotes.store.database import Database
from jobnotes.store.draft_rows import document_at, draft_row
from jobnotes.store.drafts import refuse_stale
from jobnotes.store.errors import NotAllowedError, NotReadyError
from jobnotes.store.finding import index_sheet
from jobnotes.store.folder import Folder
from jobnotes.store.moments import now
from jobnotes.store.people import People
from jobnotes.store.rights import id_of
from jobnotes.store.sheet_rows import entry_at, newest_row, sheet_of
from jobnotes.store.signing import MakePdf, Signed, digest_of_corrections, refuse_unready, sheet_document
from jobnotes.store.tables import DraftRow, MemoRow, SheetRow
from jobnotes.store.values import Person, SignedSheet

PDF = ".pdf"


class Signer:
    """Makes signed sheets of drafts."""

    def __init__(self, database: Database, folder: Folder, people: People, blobs: Blobs) -> None:
        self._database = database
        self._folder = folder
        self._people = people
        self._blobs = blobs

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
        """Signs a draft: a sheet for each of its jobs, all of them or none.

        `zone` is that in which `signed_at` is written. Raises NotReadyError while a marked value has been
        looked at by nobody, WrongPasswordError and TooManyTriesError as `People.check` does, ConflictError
        where the draft has gone on since `version`, NotAllowedError where it is not the person's own, and
        whatever `make_pdf` raises; nothing is signed then.
        """
        if id_of(who) is None or who.role == "office":
            raise NotAllowedError("A sheet is signed by its engineer, with the password of their account.")
        with self._database.reading() as session:
            self._signable(session, draft_id, version, who)
        signatures = (signature.as_data("your"), customer.as_data("the customer's") if customer else None)
        self._people.check(who.name, password, inside=True)
        # The PDFs take seconds to set, so the database is not held meanwhile: only the chain is.
        with self._folder.lock(chain.LOCK), self._folder.lock("files", shared=True):
            at = now()
            with self._database.reading() as session:
                row, document = self._signable(session, draft_id, version, who)
                documents = self._documents(session, row, document, who, at, zone, signatures)
            # An entry's hash covers the PDF's document, and the document names the entry before.
            contents = self._chained(documents)
            pdfs = [self._blobs.put_bytes(make_pdf(content), PDF).sha256 for content in contents]
            with self._database.writing() as session:
                row, _ = self._signable(session, draft_id, version, who)
                signed = [
                    self._keep(session, row, content, pdf, who, at)
                    for content, pdf in zip(contents, pdfs, strict=True)
                ]
                row.state, row.changed_at = "signed", at
                note(
                    session,
                    who,
                    "signed",
                    f"draft {draft_id}",
                    ", ".join(f"sheet {each.number} revision {each.revision}" for each in signed),
                )
                return [sheet_of(session, each) for each in signed]

    def _signable(
        self, session: Session, draft_id: int, version: int, who: Person
    ) -> tuple[DraftRow, dict[str, Any]]:
        row = draft_row(session, draft_id)
        if row.engineer_id != who.id:
            raise NotAllowedError("A sheet is signed by its engineer, and this draft is not yours.")
        if row.state != "open":
            raise NotAllowedError(f"The draft is {row.state} already.")
        refuse_stale(session, row, version)
        document = document_at(session, row.id, row.version)
        refuse_unready(document)
        if row.amends is not None:
            if len(document["jobs"]) != 1:
                raise NotReadyError("An amendment is of one sheet, so of one job.")
            if newest_row(session, row.amends).state != "signed":
                raise NotAllowedError(f"Sheet {row.amends} is withdrawn, so it can't be amended.")
        return row, document

    def _documents(
        self,
        session: Session,
        row: DraftRow,
        document: dict[str, Any],
        who: Person,
        at: datetime,
        zone: ZoneInfo,
        signatures: tuple[dict[str, Any], dict[str, Any] | None],
    ) -> list[dict[str, Any]]:
        memo = session.get(MemoRow, row.memo_id) if row.memo_id is not None else None
        old = newest_row(session, row.amends) if row.amends is not None else None
        before = chain.content_of_entry(entry_at(session, old.entry)) if old is not None else {}
        number = (session.scalar(select(func.max(SheetRow.number))) or 0) + 1
        digest = digest_of_corrections(session, row.id)
        return [
            sheet_document(
                number=number + place if old is None else old.number,
                revision=1 if old is None else old.revision + 1,
                replaces=old,
                replaced_sha256=None if old is None else entry_at(session, old.entry).sha256,
                memo=memo,
                memo_name=row.memo,
                job_number=before.get("job_number", place + 1),
                jobs_in_memo=before.get("jobs_in_memo", len(document["jobs"])),
                document=document,
                place=place,
                who=who,
                at=at,
                zone=zone,
                engineer=signatures[0],
                customer=signatures[1],
                draft=row.id,
                version=row.version,
                corrections_sha256=digest,
            )
            for place in range(len(document["jobs"]))
        ]

    def _chained(self, documents: list[dict[str, Any]]) -> list[dict[str, Any]]:
        """The documents with the entries' numbers and the hashes before them. LOCK is held, so they hold."""
        with self._database.reading() as session:
            number, previous = chain.next_place(session)
        contents = []
        for document in documents:
            contents.append({**document, "entry": number, "previous": previous})
            number, previous = number + 1, sha256(canonical(contents[-1]))
        return contents

    def _keep(
        self,
        session: Session,
        draft: DraftRow,
        content: dict[str, Any],
        pdf_sha256: str,
        who: Person,
        at: datetime,
    ) -> SheetRow:
        entry = chain.append(session, "sheet", content, at)
        # Were they others, the PDF would carry a document that is not the entry's.
        if (entry.number, entry.previous) != (content["entry"], content["previous"]):
            raise JobnotesError("Somebody else signed at the same moment; sign again.")
        if content["replaces"] is not None:
            old = newest_row(session, content["sheet"])
            old.state, old.returned = "replaced", False
        job = content["job"]
        row = SheetRow(
            number=content["sheet"],
            revision=content["revision"],
            entry=entry.number,
            draft_id=draft.id,
            memo_id=draft.memo_id,
            engineer_id=who.id,
            engineer=who.display_name,
            signed_at=at,
            pdf_sha256=pdf_sha256,
            state="signed",
            returned=False,
            fleet_number=job["machine"]["fleet_number"] or "",
            customer=job["customer"] or "",
            site=job["site"] or "",
            date=job["date"] or "",
        )
        session.add(row)
        session.flush()
        index_sheet(session, row.id, job)
        return row
