"""The ledger: invoices and credit notes as one neutral CSV file for whatever keeps the books.

A row for each document and VAT rate, described in docs/office.md. UTF-8, commas, CR LF (RFC 4180);
amounts with a point and two decimals, dates YYYY-MM-DD (ISO 8601).
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from decimal import Decimal

from jobnotes.jobs.invoice import CATEGORY_CODES, Invoice
from jobnotes.paper.invoice_words import document_number, figure

COLUMNS = (
    "number",
    "kind",
    "date",
    "tax_point",
    "due",
    "customer",
    "account_number",
    "net",
    "vat",
    "gross",
    "category",
    "rate",
    "currency",
    "credited_number",
    "sheets",
)
RUN_AS_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n")
"""What a spreadsheet program takes for the beginning of a formula, or passes over before one."""


def harmless(text: str) -> str:
    """Text that no spreadsheet program runs: an apostrophe stands before what would be taken for a formula.

    The way of the OWASP notes on CSV injection (from memory). White space becomes single spaces.
    """
    plain = " ".join("".join(character if character.isprintable() else " " for character in text).split())
    return f"'{plain}" if plain.startswith(RUN_AS_FORMULA) or text.startswith(RUN_AS_FORMULA) else plain


def ledger_rows(invoices: Iterable[Invoice]) -> list[dict[str, str]]:
    """The rows of the ledger: a document's VAT sums in their order, the documents in the order given.

    Amounts of credit notes are negative, so that a column adds up. A draft has no rows.
    """
    rows = []
    for invoice in invoices:
        if invoice.number is None:
            continue
        sign = Decimal(-1) if invoice.kind == "credit_note" else Decimal(1)
        for vat_sum in invoice.vat_sums:
            rows.append(
                {
                    "number": harmless(document_number(invoice)),
                    "kind": invoice.kind,
                    "date": invoice.issued.isoformat(),
                    "tax_point": invoice.tax_point.isoformat(),
                    "due": invoice.due.isoformat() if invoice.due else "",
                    "customer": harmless(invoice.buyer.name),
                    "account_number": harmless(invoice.buyer.account_number),
                    "net": _signed(sign, vat_sum.base),
                    "vat": _signed(sign, vat_sum.vat),
                    "gross": _signed(sign, vat_sum.base + vat_sum.vat),
                    "category": CATEGORY_CODES[vat_sum.category],
                    "rate": figure(vat_sum.rate),
                    "currency": invoice.currency,
                    "credited_number": harmless(invoice.credits),
                    "sheets": " ".join(str(charged.sheet) for charged in invoice.sheets),
                }
            )
    return rows


def _signed(sign: Decimal, amount: Decimal) -> str:
    return figure(sign * amount if amount else amount, 2)


def ledger_csv(invoices: Iterable[Invoice]) -> bytes:
    """The ledger as the bytes of a CSV file with a header line."""
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, COLUMNS, lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(ledger_rows(invoices))
    return out.getvalue().encode()
