"""What the store gives out of the office's work: plain, frozen values."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Literal, NamedTuple

from jobnotes.jobs.invoice import Invoice

InvoiceDraftState = Literal["open", "approved", "dropped"]
AdjustmentKind = Literal["set", "drop", "add", "confirm"]
InvoiceKind = Literal["invoice", "credit_note"]
StockKind = Literal["count", "received", "correction"]
OrderKind = Literal["ordered", "received", "cancelled"]


@dataclass(frozen=True)
class Adjustment:
    """What the office changed on a draft of an invoice, and why.

    `kind`: set (other values for a line), drop (a line left out), add (a line of its own, its key "added/1"
    and so on), confirm (a line was looked at). `values` are texts by name: text, quantity, unit, price,
    vat_category; numbers as decimals; for confirm, `look` may be the text that was looked at. There is one of
    a kind for each line.
    """

    kind: AdjustmentKind
    key: str
    values: dict[str, str]
    reason: str
    who: str
    at: datetime.datetime


@dataclass(frozen=True)
class InvoiceDraft:
    """Sheets of a customer on their way to be invoiced. `version` counts its states from 1.

    `sheets` are numbers, in order. `issued` is the date given by hand, None for the day of approval.
    `invoice` is the number that it got when it was approved.
    """

    id: int
    version: int
    state: InvoiceDraftState
    customer: str
    sheets: tuple[int, ...]
    adjustments: tuple[Adjustment, ...]
    issued: datetime.date | None
    note: str
    created_by: str
    created_at: datetime.datetime
    changed_at: datetime.datetime
    invoice: int | None


@dataclass(frozen=True)
class IssuedLine:
    """An approved invoice or credit note as a list shows it: no document. Sums are in its currency.

    `entry` is its place in the chain, `sha256` that entry's hash, `draft_id` the draft that an invoice came
    from. `credits` is the invoice that a credit note credits, and `credited` the gross of an invoice's credit
    notes so far. `sheets` are (number, revision) as they stood at approval.
    """

    number: int
    kind: InvoiceKind
    customer: str
    issued: datetime.date
    net: Decimal
    vat: Decimal
    gross: Decimal
    printed_number: str
    approved_by: str
    approved_at: datetime.datetime
    entry: int
    sha256: str
    pdf_sha256: str
    draft_id: int | None
    credits: int | None
    credited: Decimal
    sheets: tuple[tuple[int, int], ...]


@dataclass(frozen=True)
class IssuedInvoice(IssuedLine):
    """An approved invoice or credit note with its document."""

    document: Invoice = field(repr=False)


class Outdated(NamedTuple):
    """A sheet that says something else than when it was invoiced: `newest` is its newest revision."""

    invoice: int
    sheet: int
    revision: int
    newest: int | Literal["withdrawn"]


MakeInvoice = Callable[[int], tuple[Invoice, bytes]]
"""Given the number: the document and its PDF. It is called while the chain is held, so it must not sign,
withdraw, approve or credit anything itself."""
MakeCredit = Callable[[int, IssuedInvoice, list[IssuedInvoice]], tuple[Invoice, bytes]]
"""Given the number, the invoice that is credited and its credit notes so far, oldest first: the same."""


@dataclass(frozen=True)
class NewStock:
    """What is to be written of a part in a van, see StockEntry."""

    van: str
    kind: StockKind
    part_number: str
    description: str
    quantity: Decimal
    reason: str = ""


@dataclass(frozen=True)
class StockEntry:
    """What was written of a part in a van. `quantity` is in the part's unit: the level that a count found,
    else the change. `order` is the order that the part came from."""

    id: int
    at: datetime.datetime
    who: str
    van: str
    kind: StockKind
    part_number: str
    description: str
    quantity: Decimal
    reason: str
    order: int | None


@dataclass(frozen=True)
class OrderEntry:
    """An order for a part, or what became of one. `order` is the `id` of the order that it belongs to.

    `quantity` is what was ordered, came or was cancelled. `sheet` and `place` name the part that a sheet asks
    for: its place in the job's list, from 0. `reference` is the supplier's.
    """

    id: int
    at: datetime.datetime
    who: str
    kind: OrderKind
    order: int
    supplier: str
    part_number: str
    description: str
    quantity: Decimal
    unit: str
    van: str
    sheet: int | None
    place: int | None
    reference: str
    reason: str


@dataclass(frozen=True)
class Closing:
    """Work advised on a sheet (`text`, as it stands there) that needs nobody any more: done on the sheet
    `by_sheet`, or for a reason. `undone`: it was opened again."""

    id: int
    at: datetime.datetime
    who: str
    sheet: int
    text: str
    by_sheet: int | None
    reason: str
    undone: bool


def in_order(sheets: Iterable[int]) -> tuple[int, ...]:
    """Sheets by number, each once: the order in which they are given makes no difference."""
    return tuple(sorted(set(sheets)))
