"""The invoice and the credit note on paper: HTML, and a PDF/A-3 with the e-invoice inside (Factur-X)."""

from __future__ import annotations

import datetime
import io
import re
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from functools import cache

from jinja2 import Environment

from jobnotes.jobs.invoice import ChargedSheet, Invoice, Line
from jobnotes.jobs.money import NOUGHT
from jobnotes.paper import invoice_words as said
from jobnotes.paper import words
from jobnotes.paper.letterhead import Firm
from jobnotes.paper.marks import shorten
from jobnotes.paper.pages import environment
from jobnotes.paper.pdf import set_page

ATTACHED_XML = "factur-x.xml"
LONGEST_NAME = 60  # characters of a name at the head of a page
MADE_WITH = "jobnotes"
XMP_DATE = re.compile(rb"(<xmp:(?:Create|Modify)Date>)[^<]*(<)")
XMP_TOOL = re.compile(rb"(<(?:xmp:CreatorTool|pdf:Producer)>)[^<]*(<)")


@dataclass(frozen=True)
class Group:
    """The lines of one visit, or, with no sheet, those of none."""

    sheet: ChargedSheet | None
    lines: tuple[Line, ...]

    @property
    def net(self) -> Decimal:
        """What the lines come to."""
        return sum((line.net for line in self.lines), NOUGHT)


def visit_groups(invoice: Invoice) -> list[Group]:
    """The lines by visit, in the order of the document's sheets; those of no visit come last."""
    lines: dict[int | None, list[Line]] = {}
    for line in invoice.lines:
        charged = said.sheet_of(line, invoice)
        lines.setdefault(charged.sheet if charged else None, []).append(line)
    groups = [
        Group(charged, tuple(lines[charged.sheet])) for charged in invoice.sheets if charged.sheet in lines
    ]
    return [*groups, Group(None, tuple(lines[None]))] if None in lines else groups


@cache
def _environment() -> Environment:
    made = environment()
    filters: dict[str, Callable[..., str]] = {
        "country": said.country_name,
        "date": said.date_text,
        "day": words.day,
        "money": said.money,
        "price": said.price_text,
        "quantity": said.quantity_text,
        "rate": said.rate_text,
        "rate_name": said.rate_name,
        "short": shorten,
    }
    made.filters.update(filters)
    return made


def document_title(invoice: Invoice) -> str:
    """The document's title: "Invoice HL-1042: Ostrey Stone Products"."""
    return words.shown(f"{_running(invoice)}: {shorten(words.shown(invoice.buyer.name), LONGEST_NAME)}")


def _running(invoice: Invoice) -> str:
    return words.shown(f"{said.title(invoice)} {shorten(said.document_number(invoice), LONGEST_NAME)}")


def _amount(value: Decimal, currency: str) -> str:
    mark = said.currency_mark(currency)
    return f"-{mark}{said.money(-value)}" if value < 0 else f"{mark}{said.money(value)}"


def _terms(invoice: Invoice) -> str:
    """The terms in words. That no discount is offered is said too (VAT Regulations 1995, reg. 14(1)(j))."""
    if invoice.kind == "credit_note":
        return invoice.terms or said.phrase("credit_terms")
    terms = invoice.terms or ("" if invoice.due else said.phrase("on_receipt"))
    return f"{terms} {said.phrase('no_discount')}".strip()


def _subject(invoice: Invoice) -> str:
    return words.shown(
        f"{_running(invoice)}, {said.date_text(invoice.issued)}, {_amount(invoice.gross, invoice.currency)}"
    )


def _moment(invoice: Invoice) -> datetime.datetime:
    """When the document counts as made: a date has no time of day, and the same document gives the same
    bytes."""
    return datetime.datetime.combine(invoice.issued, datetime.time(), datetime.UTC)


def invoice_html(invoice: Invoice, *, firm: Firm | None = None) -> str:
    """The document as one HTML page, its fonts relative to the templates folder.

    `firm` gives telephone and email where the seller has none. A document without a number says DRAFT
    on every page and lists the lines to be looked at. Raises JobnotesError for a country that is none.
    """
    seller, firm = invoice.seller, firm or Firm()
    bank = invoice.bank
    address = [*seller.address, f"{seller.town} {seller.postcode}".strip()]
    if seller.country != invoice.buyer.country or seller.country != "GB":
        address.append(said.country_name(seller.country))
    return (
        _environment()
        .get_template("invoice.html")
        .render(
            invoice=invoice,
            title=said.title(invoice),
            number=said.document_number(invoice),
            heading=document_title(invoice),
            description=_subject(invoice),
            running=_running(invoice),
            customer_short=shorten(words.shown(invoice.buyer.name), LONGEST_NAME),
            made_utc=_moment(invoice).strftime("%Y-%m-%dT%H:%M:%SZ"),
            draft=invoice.number is None,
            credit=invoice.kind == "credit_note",
            seller_name=seller.name,
            seller_address=[line for line in address if line],
            telephone=seller.telephone or firm.telephone,
            email=seller.email or firm.email,
            seller_vat=said.vat_number(seller),
            buyer_vat=said.vat_number(invoice.buyer),
            groups=visit_groups(invoice),
            looks=invoice.looks,
            mark=said.currency_mark(invoice.currency).strip(),
            amount=lambda value: _amount(value, invoice.currency),
            gross=_amount(invoice.gross, invoice.currency),
            sterling=said.invoice_words()["sterling"].get(invoice.currency, ""),
            reasons=[
                {"category": vat_sum.category, "text": text}
                for vat_sum in invoice.vat_sums
                if (text := said.reason_text(vat_sum))
            ],
            bank=invoice.kind == "invoice" and bool(bank.iban or bank.account),
            sort_code=said.sort_code(bank.sort_code),
            terms=_terms(invoice),
        )
    )


def invoice_pdf(invoice: Invoice, xml: bytes | None, *, firm: Firm | None = None) -> bytes:
    """The document as the bytes of a PDF/A-3b (ISO 19005-3), tagged, with its e-invoice inside.

    `xml` is the document as CII in the profile EN 16931; it goes in as "factur-x.xml", byte by byte, by
    Factur-X 1.0. None, for a draft, leaves it out. The same input gives the same bytes with the same
    libraries. Raises JobnotesError as `invoice_html` does, and where the library that sets the page is not
    complete on this machine.
    """
    page = set_page(invoice_html(invoice, firm=firm), None, _moment(invoice))
    if xml is None:
        return page
    from facturx import generate_from_binary

    hybrid = generate_from_binary(
        page,
        xml,
        flavor="factur-x",
        level="en16931",
        check_xsd=False,
        check_schematron=False,
        pdf_metadata={
            "author": words.shown(invoice.seller.name),
            "keywords": f"{said.title(invoice)}, Factur-X",
            "title": document_title(invoice),
            "subject": _subject(invoice),
        },
        lang="en-GB",
        afrelationship="alternative",
        xmp_compression=False,
    )
    return _dated(bytes(hybrid), _moment(invoice))


def _dated(pdf: bytes, at: datetime.datetime) -> bytes:
    """The same PDF as if made at `at`: the library puts in the time of day, and this takes it out again. What
    it was made with is told alike in both places that tell it."""
    import pikepdf

    stamp = at.strftime("D:%Y%m%d%H%M%S+00'00'")
    with pikepdf.open(io.BytesIO(pdf)) as document:
        metadata = document.Root.Metadata
        moment = at.strftime("%Y-%m-%dT%H:%M:%S+00:00").encode()
        xmp = XMP_DATE.sub(rb"\g<1>" + moment + rb"\g<2>", metadata.read_bytes())
        metadata.write(XMP_TOOL.sub(rb"\g<1>" + MADE_WITH.encode() + rb"\g<2>", xmp))
        for key in ("/CreationDate", "/ModDate"):
            document.docinfo[key] = pikepdf.String(stamp)
        for key in ("/Creator", "/Producer"):
            document.docinfo[key] = pikepdf.String(MADE_WITH)
        for attached in document.Root.AF:
            attached.EF.F.Params.ModDate = pikepdf.String(stamp)
        out = io.BytesIO()
        document.save(out, deterministic_id=True, object_stream_mode=pikepdf.ObjectStreamMode.disable)
    return out.getvalue()
