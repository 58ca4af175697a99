"""Seller and buyer of a document, and what is missing of them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from jobnotes.jobs.invoice import Party, VatCategory
from jobnotes.office import codes
from jobnotes.office.rates import name_key
from jobnotes.office.settings import FILE as SETTINGS_FILE
from jobnotes.office.settings import UNNAMED
from jobnotes.office.vat import category_in

if TYPE_CHECKING:
    from collections.abc import Iterable

    from jobnotes.register import CustomerRow, Register

CUSTOMERS_FILE = "customers.csv"
MOST_PAYMENT_DAYS = 3650


def customer_row(register: Register, customer: str) -> CustomerRow | None:
    """The row of a customer, by name without regard to capitals and spaces; None for one not known."""
    key = name_key(customer)
    return next((row for row in register.customers if name_key(row.customer) == key), None)


def buyer(row: CustomerRow) -> Party:
    """A customer as the buyer of a document, from the columns of customers.csv."""
    cell = {name: value.strip() for name, value in row.extra.items()}
    return Party(
        name=row.customer,
        address=tuple(line for name in ("address_1", "address_2") if (line := cell.get(name, ""))),
        town=cell.get("town", ""),
        postcode=cell.get("postcode", ""),
        country=codes.compact(cell.get("country", "")) or "GB",
        vat_number=codes.compact(cell.get("vat_number", "")),
        account_number=row.account_number,
        email=cell.get("email", ""),
        electronic_scheme=codes.compact(cell.get("electronic_scheme", "")),
        electronic_id=cell.get("electronic_id", ""),
    )


def seller_stops(seller: Party) -> list[str]:
    """What an invoice can't go out without (VAT Regulations 1995, regulation 14, from memory): the
    supplier's name, address and VAT number."""
    missing = [
        key
        for key, there in (
            ("name", seller.name != UNNAMED),
            ("address", bool(seller.address)),
            ("vat_number", bool(seller.vat_number)),
        )
        if not there
    ]
    return [f"{SETTINGS_FILE}, [seller]: {key} is missing." for key in missing]


def buyer_stops(row: CustomerRow, categories: Iterable[VatCategory]) -> list[str]:
    """What is missing or wrong in a customer's row, for a document with lines of these VAT categories."""
    party = buyer(row)
    faults = []
    if not party.address:
        faults.append("address_1 is empty")
    if party.country not in codes.countries():
        faults.append(f"country is {party.country!r}, not one of ISO 3166-1, such as GB")
    if party.vat_number and not codes.is_vat_number(party.vat_number):
        faults.append(f"vat_number is {party.vat_number!r}, which is none, such as GB and nine figures")
    try:
        category_in(row)
    except ValueError as error:
        faults.append(str(error))
    if "reverse_charge" in categories and not party.vat_number:
        faults.append("vat_number is empty, and the reverse charge needs it")
    if (row.payment_days or 0) > MOST_PAYMENT_DAYS:
        faults.append(f"payment_days is more than {MOST_PAYMENT_DAYS}")
    if bool(party.electronic_scheme) != bool(party.electronic_id):
        faults.append("electronic_scheme and electronic_id belong together")
    elif party.electronic_scheme and party.electronic_scheme not in codes.electronic_schemes():
        faults.append(f"electronic_scheme is {party.electronic_scheme!r}, not one of the EAS list")
    return [f"{CUSTOMERS_FILE}, {row.customer}: {fault}." for fault in faults]
