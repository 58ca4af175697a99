"""The office at work: sheets, register, rates and settings brought together, and invoices made of them."""

from __future__ import annotations

import datetime
import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from jobnotes.errors import JobnotesError
from jobnotes.jobs.invoice import Invoice
from jobnotes.office.adjusting import check_adjustment
from jobnotes.office.drafting import DraftInvoice, credit_note, draft_invoice
from jobnotes.office.einvoice import cii_xml, ubl_xml
from jobnotes.office.orders import Wanted
from jobnotes.office.parties import seller_stops
from jobnotes.office.rates import name_key
from jobnotes.office.stock import StockTake
from jobnotes.office.visits import Visit
from jobnotes.paper.invoice import invoice_pdf
from jobnotes.paper.order import OrderGroup, OrderRow, order_pdf
from jobnotes.register import PartRow
from jobnotes.register.lookup import code_key
from jobnotes.store import (
    ConflictError,
    InvoiceDraft,
    IssuedInvoice,
    NewStock,
    NotReadyError,
    Person,
)
from jobnotes.workshop.reckoned import Reckoned

FileKind = Literal["pdf", "cii", "ubl"]
ENDINGS: dict[FileKind, str] = {"pdf": ".pdf", "cii": "-cii.xml", "ubl": "-ubl.xml"}
NO_RULES = (
    "There is no office.toml in the workshop's folder yet: `jobnotes office start` puts one there, to be "
    "filled in with the firm's address and VAT number; docs/office.md tells how."
)
NO_RATES = (
    "There is no rates.csv in the workshop's folder yet: `jobnotes office start` puts one there, to be "
    "filled in with what labour, travel and call-outs cost; docs/office.md tells how."
)
MOST_PROBLEMS = 10
EMPTY_RATES = "rates.csv has no rates yet; docs/office.md tells how they are written."


@dataclass(frozen=True)
class ToInvoice:
    """A customer's sheets that are on no invoice and in no draft of one, the oldest first."""

    customer: str
    visits: tuple[Visit, ...]


class Billing(Reckoned):
    """The office at its work: what it reckons with, and what it does with it."""

    def lacks(self) -> tuple[str, ...]:
        """What office.toml and rates.csv lack, or have wrong, a sentence each: no invoice goes out before it
        is mended. Everything else of the office goes on meanwhile."""
        folder = self.workshop.folder
        found: list[str] = []
        if not folder.office_settings.exists():
            found.append(NO_RULES)
        else:
            try:
                found += seller_stops(self.rules.seller)
            except JobnotesError as error:
                found.append(str(error))
        if not folder.rates.exists():
            found.append(NO_RATES)
        else:
            try:
                found += self.rates.problems or ([] if self.rates.rows else [EMPTY_RATES])
            except JobnotesError as error:
                found.append(str(error))
        # Where the workshop stands on the disk says nothing to who reads this at the desk.
        return tuple(sentence.replace(f"{folder.path}/", "") for sentence in found)

    def to_invoice(self) -> list[ToInvoice]:
        """The customers with sheets to be invoiced, who waits longest first."""
        taken = set(self.workshop.invoices.invoiced_sheets())
        taken |= {sheet for draft in self.workshop.invoices.drafts() for sheet in draft.sheets}
        found: dict[str, list[Visit]] = {}
        for visit in self.visits.all():
            if visit.sheet not in taken:
                found.setdefault(name_key(visit.customer), []).append(visit)
        waiting = [
            ToInvoice(visits[0].customer, tuple(sorted(visits, key=lambda visit: (visit.date, visit.sheet))))
            for visits in found.values()
        ]
        return sorted(waiting, key=lambda each: (each.visits[0].date, each.customer))

    def reckon(
        self, draft: InvoiceDraft, *, number: int | None = None, approved_by: str = ""
    ) -> DraftInvoice:
        """The invoice that a draft comes to with today's register, rates and settings."""
        return draft_invoice(
            draft,
            self.visits.all(),
            self.register,
            self.rates,
            self.rules,
            self.settings.zone,
            today=self.today(),
            number=number,
            approved_by=approved_by,
            invoiced=self.workshop.invoices.invoiced_sheets(),
        )

    def change_line(
        self, number: int, version: int, key: str, values: Mapping[str, str], reason: str, who: Person
    ) -> InvoiceDraft:
        """Changes a line of a draft; what was changed on it before and is not named now stays so. Raises
        JobnotesError for values that no line can have, and as the store's `adjust` does."""
        draft = self.workshop.invoices.draft(number)
        before = next((each for each in draft.adjustments if (each.kind, each.key) == ("set", key)), None)
        whole = {**(before.values if before else {}), **values}
        check_adjustment("set", key, values, reason)
        return self.workshop.invoices.adjust(number, version, "set", key, whole, reason, who)

    def approve(self, draft_id: int, version: int, seen: str, who: Person) -> IssuedInvoice:
        """Makes the invoice of a draft: the next number, the document, its PDF with the e-invoice inside.

        `seen` is the `mark_of` what the person approved: were it another by now, as after a new price,
        ConflictError. Raises NotReadyError while something stops it or has been looked at by nobody, and as
        the store's `approve` does; no number is used then.
        """

        def make(number: int) -> tuple[Invoice, bytes]:
            draft = self.workshop.invoices.draft(draft_id)
            made = self.reckon(draft, number=number, approved_by=who.display_name)
            refuse_unready(made)
            assert made.invoice is not None
            if mark_of(made.invoice) != seen:
                raise ConflictError(
                    "The invoice has changed since you looked at it; look at it anew.", version, ()
                )
            return made.invoice, self.pdf(made.invoice)

        first = self.rules.invoice.first_number
        return self.workshop.invoices.approve(draft_id, version, who, make, first=first)

    def credit(
        self, number: int, reason: str, who: Person, amounts: Mapping[str, Decimal] | None = None
    ) -> IssuedInvoice:
        """Credits an invoice: all that is left of it, or of lines, by their keys, so much net.

        Raises JobnotesError where there is no reason, or more than is left.
        """
        if not reason.strip():
            raise JobnotesError("A credit note needs a reason; it stands on the note.")

        def make(
            new: int, original: IssuedInvoice, earlier: Sequence[IssuedInvoice]
        ) -> tuple[Invoice, bytes]:
            note = credit_note(
                original.document,
                [each.document for each in earlier],
                issued=self.today(),
                reason=" ".join(reason.split()),
                amounts=amounts,
                number=new,
                printed_number=self.rules.printed_number(new),
                approved_by=who.display_name,
            )
            return note, self.pdf(note)

        return self.workshop.invoices.credit(number, who, make, first=self.rules.invoice.first_number)

    def pdf(self, invoice: Invoice) -> bytes:
        """The document as PDF/A-3 with the e-invoice inside."""
        return invoice_pdf(invoice, cii_xml(invoice), firm=self.settings.firm)

    def draft_pdf(self, invoice: Invoice) -> bytes:
        """A draft as it would be printed, marked as one, without an e-invoice."""
        return invoice_pdf(invoice, None, firm=self.settings.firm)

    def van(self, name: str) -> str:
        """The van of that name: of an engineer who has signed, or has an account. Raises JobnotesError where
        there is none."""
        vans = {visit.engineer for visit in self.visits.all()}
        vans |= {each.display_name for each in self.workshop.people.all() if each.role != "office"}
        for van in sorted(vans):
            if name_key(van) == name_key(name):
                return van
        raise JobnotesError(
            f"There is no van of {name!r}; a van has its engineer's name: {', '.join(sorted(vans))}."
        )

    def part(self, number: str) -> PartRow | None:
        """The register's part of that number; spaces, dashes and capitals make no difference."""
        key = code_key(number)
        return next((row for row in self.register.parts if key and code_key(row.part_number) == key), None)

    def take_stock(self, van: str, take: StockTake, who: Person) -> None:
        """Writes a stock take down. Raises JobnotesError where a line of it can't be taken: then none is."""
        if take.problems:
            shown = take.problems[:MOST_PROBLEMS]
            more = (
                f" And {len(take.problems) - len(shown)} lines more."
                if len(take.problems) > len(shown)
                else ""
            )
            raise JobnotesError(f"{' '.join(shown)}{more} Nothing was taken over.")
        self.workshop.stock.add_all(
            [NewStock(van, "count", each.part_number, each.description, each.count) for each in take.counts],
            who,
        )

    def order(
        self, wanted: Sequence[Wanted], quantities: Mapping[str, Decimal], reference: str, who: Person
    ) -> None:
        """Writes down that parts were ordered, in the quantities by their `key_of`."""
        for each in wanted:
            self.workshop.orders.order(
                each.named_supplier,
                each.part_number,
                each.description,
                quantities.get(key_of(each), each.quantity),
                each.unit,
                who,
                van=each.van,
                sheet=each.sheet,
                place=each.place,
                reference=reference,
            )

    def order_pdf(self) -> bytes:
        """The order list on paper."""
        groups: dict[str, list[OrderRow]] = {}
        for each in self.wanted():
            groups.setdefault(each.named_supplier, []).append(
                OrderRow(
                    each.part_number,
                    each.supplier_part_number,
                    each.description,
                    each.quantity,
                    each.unit,
                    each.why,
                )
            )
        return order_pdf(
            "Parts to order",
            [OrderGroup(supplier, tuple(rows)) for supplier, rows in groups.items()],
            firm=self.settings.firm,
            at=datetime.datetime.now(self.settings.zone),
        )

    def file(self, issued: IssuedInvoice, kind: FileKind) -> tuple[str, bytes]:
        """A file that is given out of an approved document: its name, and what is in it."""
        make: dict[FileKind, Callable[[], bytes]] = {
            "pdf": lambda: self.workshop.invoices.pdf(issued.number),
            "cii": lambda: cii_xml(issued.document),
            "ubl": lambda: ubl_xml(issued.document),
        }
        return f"{file_name(issued)}{ENDINGS[kind]}", make[kind]()

    def files(self, issued: IssuedInvoice) -> dict[str, bytes]:
        """All that is given out of an approved document, by file name."""
        return dict(self.file(issued, kind) for kind in ENDINGS)


def refuse_unready(made: DraftInvoice) -> None:
    """Raises NotReadyError where something keeps the draft from being approved, in words."""
    for sentence in (*made.stops, *made.doubts):
        raise NotReadyError(sentence)
    if made.invoice is None:
        raise NotReadyError("There is nothing to charge.")
    for line in made.invoice.looks:
        raise NotReadyError(f"{line.text}: {line.look}; confirm or change it.")


def key_of(wanted: Wanted) -> str:
    """What names a part that is wanted, as long as it is."""
    if wanted.sheet is not None:
        return f"{wanted.sheet}/{wanted.place}"
    return f"{wanted.van}/{code_key(wanted.part_number)}"


def mark_of(invoice: Invoice) -> str:
    """A hash of all that a person looks at before approving: not of the number, or of dates that follow from
    the day."""
    seen = invoice.model_dump(
        mode="json", exclude={"number", "printed_number", "issued", "tax_point", "due", "approved_by"}
    )
    return hashlib.sha256(json.dumps(seen, sort_keys=True).encode()).hexdigest()


def file_name(issued: IssuedInvoice) -> str:
    """What the files of a document are called, without an ending."""
    kind = "credit-note" if issued.kind == "credit_note" else "invoice"
    safe = "".join(sign if sign.isalnum() or sign in "-." else "-" for sign in issued.printed_number)
    return f"{kind}-{safe}"
