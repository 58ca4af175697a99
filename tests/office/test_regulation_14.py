"""What a VAT invoice must hold: regulation 14(1) of the Value Added Tax Regulations 1995 (SI 1995/2518), and
for credit notes regulation 15C. The items are given from memory of legislation.gov.uk; (f) and (k) are
revoked, and (n) is for margin schemes, which the program does not have."""

from __future__ import annotations

import re

import documents
import pytest
from lxml import etree
from test_invoice_paper import text_of

from jobnotes.paper.invoice import invoice_html


@pytest.fixture
def text() -> str:
    return text_of("standard")


def test_a_a_number_from_a_series_that_is_the_documents_own(text: str) -> None:
    assert re.search(r"INVOICE HL-1042\b", text)


def test_b_the_time_of_the_supply(text: str) -> None:
    assert "Tax point (time of supply) 13 March 2026" in text


def test_c_the_date_of_issue(text: str) -> None:
    assert "Date 16 March 2026" in text


def test_d_the_suppliers_name_address_and_registration_number(text: str) -> None:
    assert "Harrow Lane Plant Repairs Unit 4, Brackenfold Yard, Brackmere BK4 7QT" in text
    assert "VAT number GB913204756" in text


def test_e_the_customers_name_and_address(text: str) -> None:
    assert "Ostrey Stone Products The Weighbridge Office Penny Moor Quarry Ostrey OS2 1PM" in text


def test_g_a_description_that_tells_what_was_supplied(text: str) -> None:
    for words in ("Labour, normal hours", "Travel", "Coolant temperature sensor", "Coolant, ready mixed"):
        assert words in text
    assert "Fan runs flat out all day and the coolant warning comes and goes" in text


LINES = [
    ("standard", "Labour, normal hours", "3 h 15 min", "58.00 per h", "20%", "188.50"),
    ("standard", "Coolant temperature sensor", "1", "41.37", "20%", "41.37"),
    ("mixed", "Safety handbook", "2", "14.95", "0%", "29.90"),
    ("mixed", "Heating oil for the bench", "20 L", "1.049 per L", "5%", "20.98"),
    ("minutes", "Labour, evening", "20 min", "87.00 per h", "20%", "29.00"),
]


@pytest.mark.parametrize(("name", "words", "quantity", "price", "rate", "net"), LINES)
def test_h_for_each_description_quantity_rate_and_amount_without_vat(
    name: str, words: str, quantity: str, price: str, rate: str, net: str
) -> None:

    rows = [
        [" ".join("".join(cell.itertext()).split()) for cell in row.iterfind("td")]
        for row in etree.HTML(invoice_html(documents.KINDS[name]())).iter("tr")
    ]
    (row,) = [row for row in rows if row and row[0].startswith(words)]
    assert row[1:] == [quantity, price, rate, net]
    for figure in (quantity, price, rate, net):
        assert figure in text_of(name)


def test_i_the_gross_total_without_vat(text: str) -> None:
    assert re.search(r"Total excluding VAT .*£281\.14", text)


def test_j_the_rate_of_any_cash_discount(text: str) -> None:
    assert "No discount is given for prompt payment." in text


def test_l_the_total_of_vat_in_sterling(text: str) -> None:
    assert re.search(r"Total VAT in sterling .*£56\.23", text)


@pytest.mark.parametrize("price", ["58.00 per h", "0.55 per mile", "41.37", "3.90 per L"])
def test_m_the_unit_price(text: str, price: str) -> None:
    assert price in text
    assert "Unit price, £" in text


def test_o_a_reference_where_the_customer_is_to_pay_the_vat() -> None:
    reverse = text_of("reverse_charge")
    assert "Reverse charge: customer to account to HMRC for the VAT" in reverse
    assert re.search(r"Total VAT in sterling .*£0\.00", reverse)  # and none is charged


# Regulation 15C: what a credit note must hold


@pytest.fixture
def credit() -> str:
    return text_of("credit_part")


def test_15c_its_own_number_and_date(credit: str) -> None:
    assert "CREDIT NOTE HL-1047" in credit
    assert "Date 30 March 2026" in credit


def test_15c_supplier_and_customer(credit: str) -> None:
    assert "Harrow Lane Plant Repairs Unit 4, Brackenfold Yard, Brackmere BK4 7QT" in credit
    assert "VAT number GB913204756" in credit
    assert "Ostrey Stone Products The Weighbridge Office Penny Moor Quarry Ostrey OS2 1PM" in credit


def test_15c_number_and_date_of_the_invoice(credit: str) -> None:
    assert "Invoice HL-1042 of 16 March 2026" in credit


def test_15c_what_is_credited_and_why(credit: str) -> None:
    assert "Labour, normal hours" in credit
    assert "Coolant temperature sensor" in credit
    assert "The sensor was supplied under warranty" in credit


def test_15c_amount_rate_and_vat_credited(credit: str) -> None:
    assert re.search(r"Total excluding VAT .*£113\.87", credit)
    assert re.search(r"Total VAT in sterling .*£22\.77", credit)
    assert "Standard rate 20%" in credit
    assert "£136.64" in credit
