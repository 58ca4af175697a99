"""From sheets of a customer to the invoice as it would stand, with whatever keeps it from being approved.

Pure reckoning: the same sheets, register, rates, rules and adjustments give the same document.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Protocol
from zoneinfo import ZoneInfo

from jobnotes.jobs.invoice import ChargedSheet, Invoice, Line, Party, vat_sums
from jobnotes.jobs.money import NOUGHT
from jobnotes.office.adjusting import AdjustmentLike, Sentence
from jobnotes.office.credit import Left, credit_note, left_to_credit
from jobnotes.office.lines import draft_lines
from jobnotes.office.parties import (
    CUSTOMERS_FILE,
    MOST_PAYMENT_DAYS,
    buyer,
    buyer_stops,
    customer_row,
    seller_stops,
)
from jobnotes.office.rates import Rates, name_key
from jobnotes.office.settings import FILE as SETTINGS_FILE
from jobnotes.office.settings import OfficeSettings
from jobnotes.paper.words import day as day_in_words
from jobnotes.register import CustomerRow, Register

if TYPE_CHECKING:
    from jobnotes.office.visits import Visit

__all__ = ["DraftInvoice", "Left", "credit_note", "draft_invoice", "left_to_credit", "tax_point"]

MOST_DAYS_AWAY = 366
"""An invoice dated further from today than this is a slip of the year. Nor could it be credited before its
date came."""
TAX_POINT_DAYS = 14
"""An invoice within so many days of the supply is the tax point (VAT Act 1994, section 6(5), from memory)."""


class DraftLike(Protocol):
    """What the store keeps of a draft, as far as it is reckoned with."""

    @property
    def customer(self) -> str:
        """Its name, as in customers.csv."""

    @property
    def sheets(self) -> Sequence[int]:
        """The numbers of the sheets."""

    @property
    def adjustments(self) -> Sequence[AdjustmentLike]:
        """What the office changed by hand."""

    @property
    def issued(self) -> datetime.date | None:
        """The date given by hand, None for today's."""

    @property
    def note(self) -> str:
        """What is to stand below the lines."""


@dataclass(frozen=True)
class DraftInvoice:
    """A draft as a document. `invoice` is None only where there is no line at all.

    `stops` make its approval impossible; `unpriced` are those of them that say of a line, by the key that
    each carries, that nothing tells its price: the office gives it one, or leaves it out. `doubts` must each
    be confirmed first, by its key. `remarks` are for the office's eyes.
    """

    invoice: Invoice | None
    stops: tuple[str, ...]
    doubts: tuple[Sentence, ...]
    unpriced: tuple[Sentence, ...] = ()
    remarks: tuple[str, ...] = ()

    @property
    def ready(self) -> bool:
        """Whether it may be approved: nothing stops it, no doubt is open, every line was looked at."""
        return self.invoice is not None and not (self.stops or self.doubts or self.invoice.looks)


def draft_invoice(
    draft: DraftLike,
    all_visits: Sequence[Visit],
    register: Register,
    rates: Rates,
    settings: OfficeSettings,
    zone: ZoneInfo,
    *,
    today: datetime.date,
    number: int | None = None,
    approved_by: str = "",
    invoiced: Mapping[int, int] | None = None,
) -> DraftInvoice:
    """The invoice that a draft makes. `all_visits` are all sheets that hold, each in its newest revision.

    `number` is its number in the series, None while it is a draft; `invoiced` says which sheets are on an
    invoice already, and on which.
    """
    held = {visit.sheet: visit for visit in all_visits}
    visits = [held[sheet] for sheet in sorted(set(draft.sheets)) if sheet in held]
    visits.sort(key=lambda visit: (visit.date, visit.sheet))
    row = customer_row(register, draft.customer)
    made = draft_lines(visits, all_visits, register, rates, settings, zone, draft.adjustments, invoiced)
    issued = draft.issued or today
    doubts = [*made.doubts, *_late(draft, visits, issued), *_ahead(draft, issued, today)]
    stops = [
        *_date_stops(issued, today),
        *_sheet_stops(draft, held, invoiced or {}),
        *rates.problems,
        *seller_stops(settings.seller),
        *_customer_stops(draft.customer, row, made.lines),
        *_vat_stops(made.lines, settings),
        *made.stops,
    ]
    if not made.lines:
        return DraftInvoice(None, (*stops, "There is nothing to charge."), tuple(doubts), made.unpriced)
    invoice = _document(draft, visits, made.lines, row, settings, issued)
    if invoice.net <= 0 or invoice.gross <= 0:
        stops.append(f"There is nothing to charge: the lines come to {invoice.net}.")
    if number is not None:
        invoice = invoice.model_copy(
            update={
                "number": number,
                "printed_number": settings.printed_number(number),
                "approved_by": approved_by,
            }
        )
    return DraftInvoice(invoice, tuple(stops), tuple(doubts), made.unpriced, _remarks(visits, issued))


def tax_point(days: Sequence[datetime.date], issued: datetime.date) -> datetime.date:
    """The time of supply: the date of the invoice where every visit was at most 14 days before it, else the
    day of the latest visit.

    VAT Act 1994, section 6(4) and (5), from memory. Whether the firm has agreed on other days with HM Revenue
    and Customs, or continuous supplies are meant, its accountant decides.
    """
    if all((issued - day).days <= TAX_POINT_DAYS for day in days):
        return issued
    return max(days)


def _late(draft: DraftLike, visits: Sequence[Visit], issued: datetime.date) -> list[Sentence]:
    """Visits after the date of the invoice, but those that were confirmed."""
    confirmed = {adjustment.key for adjustment in draft.adjustments if adjustment.kind == "confirm"}
    return [
        Sentence(f"Sheet {visit.sheet} is of {day_in_words(visit.date)}, after the invoice's date.", key)
        for visit in visits
        if visit.date > issued and (key := f"{visit.sheet}/issued") not in confirmed
    ]


def _ahead(draft: DraftLike, issued: datetime.date, today: datetime.date) -> list[Sentence]:
    """An invoice dated ahead, unless that was confirmed: until then no credit note can be made of it."""
    key = f"{issued.isoformat()}/issued"
    if issued <= today or any((each.kind, each.key) == ("confirm", key) for each in draft.adjustments):
        return []
    return [Sentence(f"The invoice is dated {day_in_words(issued)}, which is still to come.", key)]


def _date_stops(issued: datetime.date, today: datetime.date) -> list[str]:
    if abs((issued - today).days) <= MOST_DAYS_AWAY:
        return []
    return [f"The invoice is dated {day_in_words(issued)}, more than a year from today: give another date."]


def _remarks(visits: Sequence[Visit], issued: datetime.date) -> tuple[str, ...]:
    days = [visit.date for visit in visits]
    if tax_point(days, issued) == issued:
        return ()
    return (
        f"The tax point is {day_in_words(max(days))}, the day of the latest visit, since a visit is more "
        f"than {TAX_POINT_DAYS} days before the invoice; your accountant decides whether that is right.",
    )


def _sheet_stops(draft: DraftLike, held: Mapping[int, Visit], invoiced: Mapping[int, int]) -> list[str]:
    stops = []
    for sheet in sorted(set(draft.sheets)):
        visit = held.get(sheet)
        if visit is None:
            stops.append(f"Sheet {sheet} does not hold (any more): take it out of the draft.")
        elif name_key(visit.customer) != name_key(draft.customer):
            whose = f"is of {visit.customer}" if visit.customer else "names no customer"
            stops.append(f"Sheet {sheet} {whose}, not of {draft.customer}.")
        if sheet in invoiced:
            stops.append(f"Sheet {sheet} is on invoice {invoiced[sheet]} already.")
    return stops


def _customer_stops(customer: str, row: CustomerRow | None, lines: Sequence[Line]) -> list[str]:
    if row is None:
        return [f"{CUSTOMERS_FILE}: there is no customer {customer!r}."]
    return buyer_stops(row, {line.vat_category for line in lines})


def _vat_stops(lines: Sequence[Line], settings: OfficeSettings) -> list[str]:
    """No VAT without a reason why (EN 16931, BR-E-10)."""
    if settings.vat.exempt_reason or all(line.vat_category != "exempt" for line in lines):
        return []
    return [f"{SETTINGS_FILE}, [vat]: exempt_reason is missing, and a line is exempt."]


def _document(
    draft: DraftLike,
    visits: Sequence[Visit],
    lines: Sequence[Line],
    row: CustomerRow | None,
    settings: OfficeSettings,
    issued: datetime.date,
) -> Invoice:
    """The document with its sums (EN 16931, BR-CO-10, 13, 14, 15, 16): no allowances, nothing paid before."""
    sums = vat_sums(lines, settings.vat.reasons)
    net = sum((line.net for line in lines), NOUGHT)
    vat: Decimal = sum((total.vat for total in sums), NOUGHT)
    days = row.payment_days if row and row.payment_days is not None else settings.invoice.payment_days
    orders = {visit.order_number for visit in visits}
    # The calendar ends; a date so far away is told as a stop, not as a failure.
    days = min(days, MOST_PAYMENT_DAYS, (datetime.date.max - issued).days)
    return Invoice(
        currency=settings.currency,
        issued=issued,
        tax_point=tax_point([visit.date for visit in visits], issued),
        due=issued + datetime.timedelta(days=days),
        seller=settings.seller,
        buyer=buyer(row) if row else Party(name=draft.customer or "?"),
        bank=settings.bank_details,
        buyer_reference=row.extra.get("buyer_reference", "").strip() if row else "",
        order_number=orders.pop() if len(orders) == 1 else "",
        terms=settings.invoice.terms,
        note="\n".join(filter(None, (draft.note.strip(), settings.invoice.note))),
        sheets=tuple(map(_charged, visits)),
        lines=tuple(lines),
        vat_sums=sums,
        net=net,
        vat=vat,
        gross=net + vat,
    )


def _charged(visit: Visit) -> ChargedSheet:
    return ChargedSheet(
        sheet=visit.sheet,
        revision=visit.revision,
        day=visit.date,
        engineer=visit.engineer,
        site=visit.site,
        machine=visit.machine,
        fleet_number=visit.fleet_number,
        order_number=visit.order_number,
        complaint=visit.complaint,
    )
