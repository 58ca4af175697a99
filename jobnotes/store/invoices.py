"""Invoices and credit notes: one series of numbers without gaps, each approved document in the chain."""

from __future__ import annotations

import datetime
import json
from collections.abc import Iterator
from decimal import Decimal

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from jobnotes.errors import JobnotesError
from jobnotes.jobs.invoice import Invoice
from jobnotes.jobs.money import NOUGHT
from jobnotes.store import chain
from jobnotes.store.audit import note
from jobnotes.store.blobs import Blobs
from jobnotes.store.database import Database
from jobnotes.store.folder import Folder
from jobnotes.store.invoice_checks import (
    refuse_crediting,
    refuse_other_sheets,
    refuse_too_much,
    refuse_unfit,
)
from jobnotes.store.invoice_drafts import InvoiceDrafts
from jobnotes.store.invoice_rows import (
    charged,
    customer_key,
    invoice_draft_row,
    invoice_row,
    issued_lines,
    issued_of,
    next_number,
    refuse_changing,
    revisions_to_charge,
    sheets_of_draft,
)
from jobnotes.store.moments import now, written
from jobnotes.store.office_values import (
    InvoiceKind,
    IssuedInvoice,
    IssuedLine,
    MakeCredit,
    MakeInvoice,
    Outdated,
)
from jobnotes.store.rights import refuse_all_but_office
from jobnotes.store.signer import PDF
from jobnotes.store.tables import EntryRow, InvoiceRow, InvoiceSheetRow, SheetRow
from jobnotes.store.values import Person

FORMAT = 1


class Invoices(InvoiceDrafts):
    """The drafts of invoices, the approved invoices and the credit notes of a workshop.

    A number is used when the document's row is committed, together with its entry in the chain: a crash at
    any moment leaves a whole document or none, and no gap.
    """

    def __init__(self, database: Database, folder: Folder) -> None:
        super().__init__(database)
        self._folder = folder
        self.blobs = Blobs(folder.invoices)

    def approve(
        self, draft_id: int, version: int, who: Person, make: MakeInvoice, first: int = 1
    ) -> IssuedInvoice:
        """Approves a draft: the next number (`first` for the very first document), the document and the PDF
        that `make` gives, all of it kept or none.

        Raises NotAllowedError for an engineer, for a draft that is approved or dropped already, and for a
        sheet that can't be charged any more; ConflictError where the draft has gone on since `version` or a
        sheet was amended; JobnotesError where the document does not fit; and whatever `make` raises.
        """
        refuse_all_but_office(who, "approves invoices")
        # As for sheets: the PDF takes its time to set, so the chain is held meanwhile, the database is not.
        with self._folder.lock(chain.LOCK), self._folder.lock("files", shared=True):
            with self._database.reading() as session:
                revisions = self._to_approve(session, draft_id, version)
                number = next_number(session, first)
            document, pdf = make(number)
            refuse_unfit(document, "invoice", number)
            refuse_other_sheets(document, revisions, version)
            pdf_sha256 = self._put(pdf)
            with self._database.writing() as session:
                self._to_approve(session, draft_id, version)
                draft = invoice_draft_row(session, draft_id)
                row = self._keep(
                    session,
                    document,
                    number,
                    customer=draft.customer,
                    draft=(draft.id, draft.version),
                    credits=None,
                    pdf_sha256=pdf_sha256,
                    who=who,
                )
                draft.state, draft.invoice = "approved", number
                draft.changed_at, draft.changed_by = row.approved_at, who.display_name
                detail = f"invoice {number} ({document.printed_number}), {document.currency} {document.gross}"
                note(session, who, "approved", f"invoice draft {draft.id}", detail)
                note(session, who, "approved", f"invoice {number}", f"{row.customer}, {detail}")
                return issued_of(session, row)

    def credit(self, number: int, who: Person, make: MakeCredit, first: int = 1) -> IssuedInvoice:
        """Credits an invoice, or a part of it: the next number, the document and the PDF that `make` gives.

        `first` is as for `approve`; there is a document already, so it is never used. Raises NotAllowedError
        for an engineer, for a credit note and for an invoice that is wholly credited; JobnotesError where
        the document does not fit or credits more than is left; and whatever `make` raises.
        """
        refuse_all_but_office(who, "credits invoices")
        with self._folder.lock(chain.LOCK), self._folder.lock("files", shared=True):
            with self._database.reading() as session:
                row = invoice_row(session, number)
                original = issued_of(session, row)
                refuse_crediting(original, row.wholly_credited)
                earlier = self._credits(session, number)
                new = next_number(session, first)
            document, pdf = make(new, original, earlier)
            refuse_unfit(document, "credit_note", new)
            refuse_too_much(document, original, earlier)
            pdf_sha256 = self._put(pdf)
            with self._database.writing() as session:
                # Whoever credits holds the chain, so what was read of the invoice still stands.
                row = invoice_row(session, number)
                credited = Decimal(row.credited) + document.gross
                row.credited, row.wholly_credited = str(credited), credited == original.gross
                kept = self._keep(
                    session,
                    document,
                    new,
                    customer=row.customer,
                    draft=None,
                    credits=number,
                    pdf_sha256=pdf_sha256,
                    who=who,
                )
                detail = f"number {new} ({document.printed_number}), {document.currency} {document.gross}"
                note(session, who, "credited", f"invoice {number}", f"{detail}: {document.reason}")
                note(session, who, "approved", f"credit note {new}", f"of invoice {number}")
                return issued_of(session, kept)

    def get(self, number: int) -> IssuedInvoice:
        """The invoice or credit note of that number. Raises MissingError."""
        with self._database.reading() as session:
            return issued_of(session, invoice_row(session, number))

    def documents(self, after: int = 0) -> Iterator[tuple[int, Invoice]]:
        """The approved documents with a number above that, by number, each with its number."""
        query = select(InvoiceRow.number, EntryRow.content)
        query = query.join(EntryRow, EntryRow.number == InvoiceRow.entry).where(InvoiceRow.number > after)
        query = query.order_by(InvoiceRow.number)
        with self._database.reading() as session:
            for number, content in session.execute(query):
                yield number, Invoice.model_validate(json.loads(content)["invoice"])

    def newest(self) -> int:
        """The number of the newest invoice or credit note, 0 for none."""
        with self._database.reading() as session:
            return session.scalar(select(func.max(InvoiceRow.number))) or 0

    def all(
        self,
        customer: str | None = None,
        since: datetime.date | None = None,
        until: datetime.date | None = None,
        limit: int = 500,
    ) -> list[IssuedLine]:
        """Invoices and credit notes, the newest first: of one customer (capitals and spaces aside), issued
        from `since` to `until` (both inclusive), if given."""
        where = []
        if customer is not None:
            where.append(InvoiceRow.customer_key == customer_key(customer))
        if since is not None:
            where.append(InvoiceRow.issued >= since.isoformat())
        if until is not None:
            where.append(InvoiceRow.issued <= until.isoformat())
        with self._database.reading() as session:
            return issued_lines(session, *where, limit=limit)

    def credits_of(self, number: int) -> list[IssuedLine]:
        """The credit notes of an invoice, the oldest first. Raises MissingError."""
        with self._database.reading() as session:
            invoice_row(session, number)
            return issued_lines(session, InvoiceRow.credits == number, oldest_first=True)

    def of_sheet(self, sheet: int) -> list[IssuedLine]:
        """The invoices and credit notes that name a sheet, the newest first."""
        named = select(InvoiceSheetRow.invoice).where(InvoiceSheetRow.sheet == sheet)
        with self._database.reading() as session:
            return issued_lines(session, InvoiceRow.number.in_(named))

    def invoiced_sheets(self) -> dict[int, int]:
        """The sheets that are charged, each with the number of its invoice. Those of wholly credited invoices
        are not among them."""
        with self._database.reading() as session:
            return {row[0]: row[1] for row in session.execute(charged())}

    def outdated(self) -> list[Outdated]:
        """The sheets that were amended or withdrawn after they were invoiced, by invoice and sheet. Wholly
        credited invoices are left out: nothing of them is charged any more."""
        newest = (
            select(SheetRow.number, func.max(SheetRow.revision).label("revision"))
            .group_by(SheetRow.number)
            .subquery()
        )
        query = (
            select(InvoiceSheetRow.invoice, InvoiceSheetRow.sheet, InvoiceSheetRow.revision)
            .add_columns(SheetRow.revision, SheetRow.state)
            .join(InvoiceRow, InvoiceRow.number == InvoiceSheetRow.invoice)
            .join(newest, newest.c.number == InvoiceSheetRow.sheet)
            .join(SheetRow, (SheetRow.number == newest.c.number) & (SheetRow.revision == newest.c.revision))
            .where(InvoiceRow.kind == "invoice", InvoiceRow.wholly_credited.is_(False))
            .where((SheetRow.revision != InvoiceSheetRow.revision) | (SheetRow.state == "withdrawn"))
            .order_by(InvoiceSheetRow.invoice, InvoiceSheetRow.sheet)
        )
        with self._database.reading() as session:
            return [
                Outdated(invoice, sheet, revision, "withdrawn" if state == "withdrawn" else newest_revision)
                for invoice, sheet, revision, newest_revision, state in session.execute(query)
            ]

    def pdf(self, number: int) -> bytes:
        """The PDF as it was approved. Raises MissingError, and JobnotesError where the file is missing or was
        changed."""
        with self._database.reading() as session:
            sha256 = invoice_row(session, number).pdf_sha256
        if fault := self.blobs.fault(sha256, PDF):
            raise JobnotesError(f"The PDF of invoice {number} {fault}.")
        return self.blobs.path(sha256, PDF).read_bytes()

    def sweep(self) -> None:
        """Removes the PDFs of approvals that broke off. Nothing is done while somebody approves."""
        with self._folder.lock("files", wait=False) as had:
            if not had:
                return
            with self._database.reading() as session:
                kept = set(session.scalars(select(InvoiceRow.pdf_sha256)))
            self.blobs.keep_only(kept)

    def _to_approve(self, session: Session, draft_id: int, version: int) -> dict[int, int]:
        refuse_changing(invoice_draft_row(session, draft_id), version)
        return revisions_to_charge(session, sheets_of_draft(session, draft_id), draft_id)

    def _put(self, pdf: bytes) -> str:
        if not pdf:
            raise JobnotesError("The PDF that was made is empty. Nothing was approved.")
        return self.blobs.put_bytes(pdf, PDF).sha256

    def _credits(self, session: Session, number: int) -> list[IssuedInvoice]:
        query = select(InvoiceRow).where(InvoiceRow.credits == number).order_by(InvoiceRow.number)
        return [issued_of(session, row) for row in session.scalars(query)]

    def _keep(
        self,
        session: Session,
        document: Invoice,
        number: int,
        *,
        customer: str,
        draft: tuple[int, int] | None,
        credits: int | None,
        pdf_sha256: str,
        who: Person,
    ) -> InvoiceRow:
        _refuse_printed_twice(session, document.printed_number)
        kind: InvoiceKind = document.kind
        at = now()
        content = {
            "format": FORMAT,
            "number": number,
            "customer": customer,
            "draft": draft[0] if draft else None,
            "version": draft[1] if draft else None,
            "credits": credits,
            "approved_by": who.display_name,
            "account": who.name,
            "at": written(at),
            "pdf_sha256": pdf_sha256,
            "invoice": document.model_dump(mode="json"),
        }
        entry = chain.append(session, "invoice", content, at)
        row = InvoiceRow(
            number=number,
            kind=kind,
            customer=customer,
            customer_key=customer_key(customer),
            issued=document.issued.isoformat(),
            net=str(document.net),
            vat=str(document.vat),
            gross=str(document.gross),
            printed_number=document.printed_number,
            approved_by=who.display_name,
            approved_at=at,
            entry=entry.number,
            sha256=entry.sha256,
            pdf_sha256=pdf_sha256,
            draft_id=draft[0] if draft else None,
            credits=credits,
            credited=str(NOUGHT),
            wholly_credited=False,
        )
        session.add(row)
        session.flush()
        session.add_all(
            InvoiceSheetRow(invoice=number, sheet=each.sheet, revision=each.revision)
            for each in document.sheets
        )
        session.flush()
        return row


def _refuse_printed_twice(session: Session, printed_number: str) -> None:
    other = session.scalar(select(InvoiceRow.number).where(InvoiceRow.printed_number == printed_number))
    if other is not None:
        raise JobnotesError(
            f"The number {printed_number} is printed on another invoice or credit note already (number "
            f"{other}); give the invoices another prefix. Nothing was approved."
        )
