"""Invoices held against the chain, their drafts, their PDFs and the sheets; stock, orders and closings held
against what they name."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from pydantic import ValidationError
from sqlalchemy import select
from sqlalchemy.orm import Session

from jobnotes.jobs.invoice import Invoice
from jobnotes.jobs.money import NOUGHT
from jobnotes.store import chain
from jobnotes.store.faults import Fault
from jobnotes.store.invoice_checks import fault_in_sums
from jobnotes.store.invoice_rows import charged, customer_key
from jobnotes.store.signer import PDF
from jobnotes.store.tables import (
    ClosingRow,
    InvoiceDraftRow,
    InvoiceDraftSheetRow,
    InvoiceRow,
    InvoiceSheetRow,
    OrderRow,
    SheetRow,
    StockRow,
)
from jobnotes.store.values import Entry

if TYPE_CHECKING:
    from jobnotes.store.workshop import Workshop


@dataclass(frozen=True)
class _Approved:
    """A document of the chain."""

    entry: Entry
    content: dict[str, Any]
    document: Invoice


def office_faults(workshop: Workshop, session: Session, known: Mapping[int, Entry]) -> Iterator[Fault]:
    """All that does not fit in the office's part of a workshop; `known` are the entries of the chain."""
    approved: dict[int, _Approved] = {}
    yield from _numbers(known, approved)
    credits: dict[int, list[Invoice]] = defaultdict(list)
    yield from _credits(approved, credits)
    rows = {row.number: row for row in session.scalars(select(InvoiceRow).order_by(InvoiceRow.number))}
    yield from _lists(session, approved, credits, rows)
    for row in rows.values():
        if fault := workshop.invoices.blobs.fault(row.pdf_sha256, PDF):
            yield Fault(f"PDF of invoice {row.number}", f"The PDF of invoice {row.number} {fault}.")
    yield from _drafts(session, approved)
    sheets = _revisions(session)
    yield from _sheets(session, sheets)
    yield from _orders(session, sheets)
    yield from _closings(session, sheets, known)


def _numbers(known: Mapping[int, Entry], approved: dict[int, _Approved]) -> Iterator[Fault]:
    """Whether the numbers follow on each other, and each document is one; `approved` is filled."""
    expected: int | None = None
    for entry in known.values():
        if entry.kind != "invoice":
            continue
        where, content = f"chain entry {entry.number}", chain.content_of_entry(entry)
        try:
            document = Invoice.model_validate(content.get("invoice"))
        except ValidationError:
            yield Fault(where, f"What chain entry {entry.number} approves is no invoice.")
            continue
        number = content.get("number")
        if not isinstance(number, int) or document.number != number:
            yield Fault(where, f"The invoice of chain entry {entry.number} has no number of its own.")
            continue
        if number in approved:
            yield Fault(where, f"The chain has the invoice number {number} twice.")
            continue
        if expected is not None and number != expected:
            yield Fault(where, f"At invoice {number} of the chain there is a gap: {expected} should come.")
        expected = number + 1
        if fault := fault_in_sums(document):
            yield Fault(f"invoice {number}", f"Invoice {number} does not add up: {fault}.")
        approved[number] = _Approved(entry, content, document)


def _credits(approved: Mapping[int, _Approved], credits: dict[int, list[Invoice]]) -> Iterator[Fault]:
    """Whether every credit note credits an earlier invoice, and no more than it; `credits` is filled."""
    for number, each in approved.items():
        credited = each.content.get("credits")
        if each.document.kind != "credit_note":
            if credited is not None:
                yield Fault(f"invoice {number}", f"Invoice {number} is no credit note, and credits another.")
            continue
        original = approved.get(credited) if isinstance(credited, int) and credited < number else None
        if credited is None or original is None or original.document.kind != "invoice":
            yield Fault(f"credit note {number}", f"Credit note {number} credits no earlier invoice.")
            continue
        credits[credited].append(each.document)
        if sum((note.gross for note in credits[credited]), NOUGHT) > original.document.gross:
            yield Fault(
                f"invoice {credited}",
                f"More is credited of invoice {credited} than it came to (at {number}).",
            )


def _lists(
    session: Session,
    approved: Mapping[int, _Approved],
    credits: Mapping[int, list[Invoice]],
    rows: Mapping[int, InvoiceRow],
) -> Iterator[Fault]:
    """Whether lists and chain tell the same."""
    sheets: dict[int, set[tuple[int, int]]] = defaultdict(set)
    for row in session.scalars(select(InvoiceSheetRow)):
        sheets[row.invoice].add((row.sheet, row.revision))
    for number, each in approved.items():
        name = f"invoice {number}"
        listed = rows.get(number)
        if listed is None:
            yield Fault(name, f"Invoice {number} (chain entry {each.entry.number}) is missing from the list.")
            continue
        if _as_row(listed) != _as_approved(each):
            yield Fault(name, f"What the list says of invoice {number} is not what was approved.")
        if sheets[number] != {(sheet.sheet, sheet.revision) for sheet in each.document.sheets}:
            yield Fault(name, f"The list names other sheets for invoice {number} than were approved.")
        credited = sum((note.gross for note in credits.get(number, ())), NOUGHT)
        wholly = bool(credits.get(number)) and credited == each.document.gross
        if (Decimal(listed.credited), listed.wholly_credited) != (credited, wholly):
            yield Fault(
                name,
                f"The list says that {listed.credited} of invoice {number} is credited; by the "
                f"chain it is {credited}.",
            )
    for number in rows:
        if number not in approved:
            yield Fault(f"invoice {number}", f"The chain has no entry for invoice {number}.")


def _as_row(row: InvoiceRow) -> tuple[Any, ...]:
    return (
        *(row.kind, row.customer, row.customer_key, row.issued, row.net, row.vat, row.gross),
        *(row.printed_number, row.approved_by, row.approved_at, row.entry, row.sha256, row.pdf_sha256),
        *(row.draft_id, row.credits),
    )


def _as_approved(each: _Approved) -> tuple[Any, ...]:
    document, content, entry = each.document, each.content, each.entry
    customer = str(content.get("customer"))
    return (
        *(document.kind, customer, customer_key(customer), document.issued.isoformat()),
        *(str(document.net), str(document.vat), str(document.gross), document.printed_number),
        *(content.get("approved_by"), entry.at, entry.number, entry.sha256, content.get("pdf_sha256")),
        *(content.get("draft"), content.get("credits")),
    )


def _drafts(session: Session, approved: Mapping[int, _Approved]) -> Iterator[Fault]:
    """Whether the drafts say of their invoices what the invoices say of them."""
    drafts = {row.id: row for row in session.scalars(select(InvoiceDraftRow))}
    told = {}
    for number, each in approved.items():
        if (draft_id := each.content.get("draft")) is None:
            continue
        told[draft_id] = number
        row = drafts.get(draft_id)
        if row is None or (row.state, row.invoice, row.version, row.customer) != (
            "approved",
            number,
            each.content.get("version"),
            each.content.get("customer"),
        ):
            yield Fault(
                f"draft of invoice {number}", f"The draft of invoice {number} is not what was approved."
            )
            continue
        query = select(InvoiceDraftSheetRow.sheet).where(InvoiceDraftSheetRow.draft_id == draft_id)
        if set(session.scalars(query)) != {sheet.sheet for sheet in each.document.sheets}:
            yield Fault(
                f"draft of invoice {number}",
                f"The draft of invoice {number} has other sheets than it charges.",
            )
    for draft_id, row in drafts.items():
        if (row.state == "approved" or row.invoice is not None) and draft_id not in told:
            yield Fault(
                f"invoice draft {draft_id}", f"Draft {draft_id} is called approved, and no invoice is of it."
            )


def _revisions(session: Session) -> dict[int, dict[int, SheetRow]]:
    sheets: dict[int, dict[int, SheetRow]] = defaultdict(dict)
    for row in session.scalars(select(SheetRow)):
        sheets[row.number][row.revision] = row
    return sheets


def _sheets(session: Session, sheets: Mapping[int, dict[int, SheetRow]]) -> Iterator[Fault]:
    """Whether invoices and drafts name sheets that are there, and each sheet is charged once."""
    for row in session.scalars(select(InvoiceSheetRow).order_by(InvoiceSheetRow.invoice)):
        if row.revision not in sheets.get(row.sheet, {}):
            yield Fault(
                f"invoice {row.invoice}",
                f"Invoice {row.invoice} names sheet {row.sheet}, revision {row.revision}, which is missing.",
            )
    charging: dict[int, str] = {}
    in_drafts = (
        select(InvoiceDraftSheetRow.sheet, InvoiceDraftSheetRow.draft_id)
        .join(InvoiceDraftRow)
        .where(InvoiceDraftRow.state == "open")
    )
    for sheet, name in (
        *((sheet, f"invoice {invoice}") for sheet, invoice in session.execute(charged())),
        *((sheet, f"invoice draft {draft}") for sheet, draft in session.execute(in_drafts)),
    ):
        if sheet in charging:
            yield Fault(name, f"Sheet {sheet} is charged twice: by {charging[sheet]} and by {name}.")
        charging.setdefault(sheet, name)
        if sheet not in sheets:
            yield Fault(name, f"The {name} charges sheet {sheet}, which is not there.")


def _orders(session: Session, sheets: Mapping[int, dict[int, SheetRow]]) -> Iterator[Fault]:
    orders = {row.id: row for row in session.scalars(select(OrderRow).order_by(OrderRow.id))}
    became: dict[int, Decimal] = defaultdict(Decimal)
    came: list[tuple[int, Decimal]] = []
    for number, row in orders.items():
        if row.sheet is not None and row.sheet not in sheets:
            yield Fault(f"order {number}", f"Order {number} is for sheet {row.sheet}, which is not there.")
        if row.kind == "ordered":
            continue
        of = orders.get(row.order_id or 0)
        if of is None or of.kind != "ordered":
            yield Fault(f"order {number}", f"What is told under {number} belongs to no order.")
            continue
        became[of.id] += Decimal(row.quantity)
        if row.kind == "received":
            came.append((of.id, Decimal(row.quantity)))
    for number, quantity in became.items():
        if quantity > Decimal(orders[number].quantity):
            yield Fault(f"order {number}", f"More came or was cancelled of order {number} than was ordered.")
    stocked = [
        (row.order_id, Decimal(row.quantity))
        for row in session.scalars(select(StockRow).where(StockRow.order_id.is_not(None)))
    ]
    for order in sorted({order for order, _ in [*came, *stocked] if order is not None}):
        if sorted(q for o, q in came if o == order) != sorted(q for o, q in stocked if o == order):
            yield Fault(
                f"order {order}", f"What came of order {order} is not what went into the stock of it."
            )


def _closings(
    session: Session, sheets: Mapping[int, dict[int, SheetRow]], known: Mapping[int, Entry]
) -> Iterator[Fault]:
    for row in session.scalars(select(ClosingRow).order_by(ClosingRow.id)):
        name = f"closing {row.id}"
        entries = [known[each.entry] for each in sheets.get(row.sheet, {}).values() if each.entry in known]
        if not any(row.text in chain.content_of_entry(each)["job"]["follow_up"] for each in entries):
            yield Fault(name, f"What closing {row.id} closes is advised by no revision of sheet {row.sheet}.")
        if row.by_sheet is not None and row.by_sheet not in sheets:
            yield Fault(name, f"Closing {row.id} names sheet {row.by_sheet}, which is not there.")
