"""How the values of an invoice are put in words and figures: on paper, and as text in the e-invoice."""

from __future__ import annotations

import datetime
import re
import tomllib
from decimal import Decimal
from functools import cache
from importlib.resources import files
from typing import Any

from jobnotes.errors import JobnotesError
from jobnotes.jobs.invoice import ChargedSheet, Invoice, Line, Party, VatSum
from jobnotes.paper import words

MINUTES_OF: dict[str, int] = {"HUR": 60, "MIN": 1}
"""The units of Recommendation 20 that are time, with their length in min."""

VAT_PREFIX = re.compile(r"[A-Z]{2}")
KEY_OF_SHEET = re.compile(r"([1-9][0-9]*)/")


@cache
def invoice_words() -> dict[str, dict[str, Any]]:
    """The sections of `invoice.toml`."""
    table: dict[str, dict[str, Any]] = tomllib.loads(
        files("jobnotes.paper").joinpath("invoice.toml").read_text(encoding="utf-8")
    )
    return table


@cache
def countries() -> dict[str, str]:
    """The names of countries by their ISO 3166-1 alpha-2 codes, from `countries.toml`."""
    table: dict[str, str] = tomllib.loads(
        files("jobnotes.paper").joinpath("countries.toml").read_text(encoding="utf-8")
    )
    return table


def phrase(key: str) -> str:
    """A phrase of `invoice.toml`."""
    return str(invoice_words()["phrase"][key])


def title(invoice: Invoice) -> str:
    """What the document is: "Invoice", "Credit note", "Draft invoice", "Draft credit note"."""
    draft = "draft_" if invoice.number is None else ""
    return str(invoice_words()["title"][draft + invoice.kind])


def document_number(invoice: Invoice) -> str:
    """The number as it stands on paper; empty for a draft."""
    if invoice.number is None:
        return ""
    return invoice.printed_number or str(invoice.number)


def country_name(code: str) -> str:
    """The name of a country (ISO 3166-1). Raises JobnotesError where the standard has no such code."""
    name = countries().get(code)
    if name is None:
        raise JobnotesError(
            f"There is no country {code!r}: a country is a code of two letters, such as GB or IE."
        )
    return name


def date_text(value: datetime.date) -> str:
    """A date in full: "9 March 2026"."""
    return f"{value.day} {words.MONTHS[value.month - 1]} {value.year}"


def figure(value: Decimal, decimals: int = 0) -> str:
    """A number without needless noughts or exponent, with so many decimals at least: 58 with 2 is "58.00"."""
    text = format(value, "f")
    whole, _, rest = text.partition(".")
    rest = rest.rstrip("0").ljust(decimals, "0")
    return f"{whole}.{rest}" if rest else whole


def money(value: Decimal) -> str:
    """An amount to the penny with its thousands parted: "1,234.50"; prices keep all decimals they have."""
    sign, text = ("-", figure(-value, 2)) if value < 0 else ("", figure(value, 2))
    whole, _, rest = text.partition(".")
    return f"{sign}{int(whole):,}.{rest}"


def currency_mark(currency: str) -> str:
    """What stands before an amount: "£", and "CHF " where the currency has no sign here."""
    return str(invoice_words()["currency"].get(currency, f"{currency} "))


def quantity_text(line: Line) -> str:
    """The quantity in words: "1 h 45 min", "2", "52 miles", "4.5 L"."""
    if line.unit in MINUTES_OF:
        minutes = line.quantity * MINUTES_OF[line.unit]
        if minutes == minutes.to_integral_value() and minutes >= 0:
            return words.minutes(int(minutes))
        return f"{figure(line.quantity)} {'h' if line.unit == 'HUR' else 'min'}"
    names = invoice_words()["unit"].get(line.unit)
    if names is None:
        return figure(line.quantity)
    return f"{figure(line.quantity)} {names[0] if line.quantity == 1 else names[1]}"


def price_text(line: Line) -> str:
    """The unit price in words, without its currency: "58.00 per h", "0.55 per mile", "12.40"."""
    per = invoice_words()["per"]
    if line.unit == "MIN" and line.price_quantity == 60:
        return f"{money(line.price)} {per['HUR']}"
    if line.price_quantity != 1:
        asked = line.model_copy(update={"quantity": line.price_quantity})
        return f"{money(line.price)} per {quantity_text(asked)}"
    if line.unit == "MIN":
        return f"{money(line.price)} per min"
    return f"{money(line.price)} {per[line.unit]}" if line.unit in per else money(line.price)


def rate_text(line: Line) -> str:
    """The VAT rate of a line: "20%", "0%", "exempt", "reverse charge"."""
    return str(invoice_words()["category"].get(line.vat_category, f"{figure(line.vat_rate)}%"))


def rate_name(vat_sum: VatSum) -> str:
    """A row of the VAT table: "Standard rate 20%", "Zero rate 0%", "Exempt"."""
    name = str(invoice_words()["category_long"][vat_sum.category])
    return name if vat_sum.category in invoice_words()["category"] else f"{name} {figure(vat_sum.rate)}%"


def reason_text(vat_sum: VatSum) -> str:
    """Why no VAT is charged (EN 16931, BT-120): the document's own words, else those of `invoice.toml`.

    Empty for the standard and the zero rate, which may not give one (BR-S-10, BR-Z-10).
    """
    reasons = invoice_words()["reason"]
    if vat_sum.category not in reasons:
        return ""
    return vat_sum.reason or str(reasons[vat_sum.category])


def vat_number(party: Party) -> str:
    """The VAT number with its country's letters and nothing between: "GB 123 4567 89" is "GB123456789".

    EN 16931, BR-CO-9, asks for the letters; a number written without them takes those of the party's
    country.
    """
    plain = re.sub(r"[^A-Z0-9]", "", party.vat_number.upper())
    if not plain or VAT_PREFIX.match(plain):
        return plain
    return party.country + plain


def sort_code(text: str) -> str:
    """A UK sort code as written on paper, "12-34-56"; anything but six digits stays as it is."""
    digits = re.sub(r"[\s-]", "", text)
    if re.fullmatch(r"[0-9]{6}", digits):
        return f"{digits[:2]}-{digits[2:4]}-{digits[4:]}"
    return text


def sheet_of(line: Line, invoice: Invoice) -> ChargedSheet | None:
    """The sheet of the document that a line belongs to: its first source's, else the one its key begins
    with; None for a line of no visit."""
    by_number = {charged.sheet: charged for charged in invoice.sheets}
    for source in line.sources:
        if source.sheet in by_number:
            return by_number[source.sheet]
    found = KEY_OF_SHEET.match(line.key)
    return by_number.get(int(found[1])) if found else None


def visit_text(charged: ChargedSheet) -> str:
    """A visit in one line: "Sheet 12, 9 March 2026, Penny Moor Quarry, wheeled excavator, fleet WX 31"."""
    fleet = f"fleet {charged.fleet_number}" if charged.fleet_number else ""
    parts = (f"Sheet {charged.sheet}", date_text(charged.day), charged.site, charged.machine, fleet)
    return ", ".join(part for part in parts if part)
