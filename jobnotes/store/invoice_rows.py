"""Invoices and their drafts as rows, and read back."""

from __future__ import annotations

import datetime
import json
from collections import defaultdict
from decimal import Decimal, InvalidOperation
from typing import Any

from sqlalchemy import ColumnElement, Select, String, func, select, type_coerce
from sqlalchemy.orm import Session

from jobnotes.errors import JobnotesError
from jobnotes.jobs.invoice import Invoice
from jobnotes.store.chain import content_of_entry
from jobnotes.store.errors import ConflictError, InvalidEditError, MissingError, NotAllowedError
from jobnotes.store.moments import moment_of
from jobnotes.store.office_values import Adjustment, InvoiceDraft, IssuedInvoice, IssuedLine
from jobnotes.store.sheet_rows import entry_at, newest_row
from jobnotes.store.tables import (
    AdjustmentRow,
    InvoiceDraftRow,
    InvoiceDraftSheetRow,
    InvoiceRow,
    InvoiceSheetRow,
    Table,
)

_INVOICE = Table.metadata.tables["invoice"].c
_SHEET = Table.metadata.tables["invoice_sheet"].c
LIST_COLUMNS = (
    *(_INVOICE[name] for name in ("number", "kind", "customer", "issued", "net", "vat", "gross")),
    *(_INVOICE[name] for name in ("printed_number", "approved_by")),
    type_coerce(_INVOICE.approved_at, String),
    *(_INVOICE[name] for name in ("entry", "sha256", "pdf_sha256", "draft_id", "credits", "credited")),
)
"""In the order of IssuedLine."""
MOST_DIGITS = 12


def customer_key(name: str) -> str:
    """A customer's name without regard to capitals and spaces."""
    return "".join(name.casefold().split())


def decimal_of(text: object, what: str) -> Decimal:
    """The decimal number. Raises JobnotesError for what is none, or has more than MOST_DIGITS digits before
    or behind its point."""
    try:
        number = Decimal(str(text).strip())
    except InvalidOperation:
        raise JobnotesError(f"{what} has to be a number, not {str(text)[:40]!r}.") from None
    if not number.is_finite():
        raise JobnotesError(f"{what} has to be a number, not {number}.")
    exponent = number.as_tuple().exponent
    assert isinstance(exponent, int)  # it is finite
    if number.adjusted() >= MOST_DIGITS or exponent < -MOST_DIGITS:
        raise JobnotesError(f"{what} has more digits than anything that is charged or stored.")
    return number


def plain(number: Decimal) -> str:
    """The number as text without an exponent, to the last digit that says something: 2.50 is 2.5."""
    text = format(number, "f")
    return (text.rstrip("0").rstrip(".") if "." in text else text) or "0"


def invoice_draft_row(session: Session, number: int) -> InvoiceDraftRow:
    """The row of a draft of an invoice. Raises MissingError."""
    row = session.get(InvoiceDraftRow, number)
    if row is None:
        raise MissingError("There is no such draft of an invoice.")
    return row


def sheets_of_draft(session: Session, number: int) -> tuple[int, ...]:
    """The sheets of a draft of an invoice, in order."""
    query = select(InvoiceDraftSheetRow.sheet).where(InvoiceDraftSheetRow.draft_id == number)
    return tuple(session.scalars(query.order_by(InvoiceDraftSheetRow.sheet)))


def invoice_draft_of(session: Session, row: InvoiceDraftRow) -> InvoiceDraft:
    """The row as a draft, with its sheets and adjustments in the order in which they were made."""
    state: Any = row.state
    adjustments = session.scalars(
        select(AdjustmentRow).where(AdjustmentRow.draft_id == row.id).order_by(AdjustmentRow.id)
    )
    return InvoiceDraft(
        id=row.id,
        version=row.version,
        state=state,
        customer=row.customer,
        sheets=sheets_of_draft(session, row.id),
        adjustments=tuple(adjustment_of(each) for each in adjustments),
        issued=None if row.issued is None else datetime.date.fromisoformat(row.issued),
        note=row.note,
        created_by=row.created_by,
        created_at=row.created_at,
        changed_at=row.changed_at,
        invoice=row.invoice,
    )


def adjustment_of(row: AdjustmentRow) -> Adjustment:
    """The row as an adjustment."""
    kind: Any = row.kind
    return Adjustment(kind, row.key, json.loads(row.given), row.reason, row.who, row.at)


def refuse_changing(row: InvoiceDraftRow, version: int) -> None:
    """Raises NotAllowedError where the draft is approved or dropped, ConflictError where it has gone on since
    `version`."""
    if row.state == "approved":
        raise NotAllowedError(f"The draft was approved as number {row.invoice}, so it can't be changed.")
    if row.state != "open":
        raise NotAllowedError(f"The draft is {row.state}, so it can't be changed.")
    if version > row.version or version < 1:
        raise InvalidEditError(f"The draft has no version {version}; its newest is {row.version}.")
    if version != row.version:
        raise ConflictError(
            f"{row.changed_by} changed the draft meanwhile. Nothing of that was touched; look again.",
            row.version,
            (),
        )


def revisions_to_charge(
    session: Session, sheets: tuple[int, ...], draft_id: int | None = None
) -> dict[int, int]:
    """The newest revision of each sheet, where all may be charged by that draft.

    Raises MissingError for a sheet that is not there, NotAllowedError, which names it, for one that is
    withdrawn, in another open draft or on an invoice that is not wholly credited.
    """
    revisions = {}
    for sheet in sheets:
        row = newest_row(session, sheet)
        if row.state != "signed":
            raise NotAllowedError(f"Sheet {sheet} is {row.state}, so it can't be invoiced.")
        revisions[sheet] = row.revision
    in_drafts = (
        select(InvoiceDraftSheetRow.sheet, InvoiceDraftSheetRow.draft_id)
        .join(InvoiceDraftRow)
        .where(InvoiceDraftRow.state == "open", InvoiceDraftSheetRow.sheet.in_(sheets))
    )
    for sheet, other in session.execute(in_drafts):
        if other != draft_id:
            raise NotAllowedError(f"Sheet {sheet} is in another draft of an invoice already (draft {other}).")
    for sheet, invoice in session.execute(charged().where(InvoiceSheetRow.sheet.in_(sheets))):
        raise NotAllowedError(f"Sheet {sheet} is on invoice {invoice} already, which is not wholly credited.")
    return revisions


def charged() -> Select[int, int]:
    """Sheets that are charged, each with the invoice: a wholly credited one lets its sheets go."""
    return (
        select(InvoiceSheetRow.sheet, InvoiceSheetRow.invoice)
        .join(InvoiceRow, InvoiceRow.number == InvoiceSheetRow.invoice)
        .where(InvoiceRow.kind == "invoice", InvoiceRow.wholly_credited.is_(False))
    )


def next_number(session: Session, first: int) -> int:
    """The number that the next document has: `first` for the very first. Whoever asks holds the chain's
    lock."""
    if first < 1:
        raise JobnotesError(f"The first number of invoices can't be {first}; it has to be 1 or more.")
    newest = session.scalar(select(func.max(InvoiceRow.number)))
    return first if newest is None else newest + 1


def invoice_row(session: Session, number: int) -> InvoiceRow:
    """The row of an invoice or credit note. Raises MissingError."""
    row = session.get(InvoiceRow, number)
    if row is None:
        raise MissingError(f"There is no invoice or credit note {number}.")
    return row


def issued_lines(
    session: Session, *where: ColumnElement[bool], limit: int | None = None, oldest_first: bool = False
) -> list[IssuedLine]:
    """The rows of which all that holds, the newest first unless told. No document is read."""
    order = InvoiceRow.number if oldest_first else InvoiceRow.number.desc()
    # Past the session: its way from row to object takes longer than all the rest of a long list.
    connection = session.connection()
    rows = connection.execute(select(*LIST_COLUMNS).where(*where).order_by(order).limit(limit)).all()
    sheets: dict[int, list[tuple[int, int]]] = defaultdict(list)
    if rows:
        first, last = sorted((rows[0][0], rows[-1][0]))
        query = select(_SHEET.invoice, _SHEET.sheet, _SHEET.revision)
        query = query.where(_SHEET.invoice.between(first, last)).order_by(_SHEET.invoice, _SHEET.sheet)
        for invoice, sheet, revision in connection.execute(query):
            sheets[invoice].append((sheet, revision))
    return [_line(row, tuple(sheets.get(row[0], ()))) for row in rows]


def issued_of(session: Session, row: InvoiceRow) -> IssuedInvoice:
    """The row as an invoice, with the document that was approved."""
    content = content_of_entry(entry_at(session, row.entry))
    (line,) = issued_lines(session, InvoiceRow.number == row.number)
    return IssuedInvoice(**vars(line), document=Invoice.model_validate(content["invoice"]))


def _line(row: Any, sheets: tuple[tuple[int, int], ...]) -> IssuedLine:
    number, kind, customer, issued, net, vat, gross, printed, who, at, entry, *ids, credited = row
    day, moment = datetime.date.fromisoformat(issued), moment_of(at)
    sums = (Decimal(net), Decimal(vat), Decimal(gross))
    given: list[Any] = [number, kind, customer, day, *sums, printed, who, moment, entry, *ids]
    given += [Decimal(credited), sheets]
    return IssuedLine(*given)
