"""The arithmetic of EN 16931-1:2017, 6.4.2, worked on the XML itself."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal

import pytest
from documents import KINDS
from lxml import etree
from rules_of_standards import NAMESPACES, SUMMATION, amounts

from jobnotes.jobs.invoice import Invoice
from jobnotes.office.einvoice import cii_xml, ubl_xml


@pytest.fixture(params=list(KINDS))
def invoice(request: pytest.FixtureRequest) -> Invoice:
    return KINDS[request.param]()


def test_the_arithmetic_of_cii_holds(invoice: Invoice) -> None:
    xml = cii_xml(invoice)
    lines = amounts(xml, "//ram:SpecifiedTradeSettlementLineMonetarySummation/ram:LineTotalAmount")
    (total,) = amounts(xml, f"{SUMMATION}/ram:LineTotalAmount")
    (net,) = amounts(xml, f"{SUMMATION}/ram:TaxBasisTotalAmount")
    (vat,) = amounts(xml, f"{SUMMATION}/ram:TaxTotalAmount")
    (gross,) = amounts(xml, f"{SUMMATION}/ram:GrandTotalAmount")
    (due,) = amounts(xml, f"{SUMMATION}/ram:DuePayableAmount")
    tax = "//ram:ApplicableHeaderTradeSettlement/ram:ApplicableTradeTax"
    bases, taxes = amounts(xml, f"{tax}/ram:BasisAmount"), amounts(xml, f"{tax}/ram:CalculatedAmount")
    rates = amounts(xml, f"{tax}/ram:RateApplicablePercent")
    agree(invoice, lines, total, net, vat, gross, due, bases, taxes, rates)
    quantities = amounts(xml, "//ram:BilledQuantity")
    prices = amounts(xml, "//ram:NetPriceProductTradePrice/ram:ChargeAmount")
    per = [
        Decimal(price.findtext("ram:BasisQuantity", "1", NAMESPACES))
        for price in etree.fromstring(xml).iterfind(".//ram:NetPriceProductTradePrice", NAMESPACES)
    ]
    assert lines == worked(quantities, prices, per)


def test_the_arithmetic_of_ubl_holds(invoice: Invoice) -> None:
    xml = ubl_xml(invoice)
    line = "//*[self::cac:InvoiceLine or self::cac:CreditNoteLine]"
    lines = amounts(xml, f"{line}/cbc:LineExtensionAmount")
    (total,) = amounts(xml, "//cac:LegalMonetaryTotal/cbc:LineExtensionAmount")
    (net,) = amounts(xml, "//cbc:TaxExclusiveAmount")
    (vat,) = amounts(xml, "/*/cac:TaxTotal/cbc:TaxAmount")
    (gross,) = amounts(xml, "//cbc:TaxInclusiveAmount")
    (due,) = amounts(xml, "//cbc:PayableAmount")
    bases, taxes = amounts(xml, "//cbc:TaxableAmount"), amounts(xml, "//cac:TaxSubtotal/cbc:TaxAmount")
    rates = amounts(xml, "//cac:TaxSubtotal//cbc:Percent")
    agree(invoice, lines, total, net, vat, gross, due, bases, taxes, rates)
    quantities = amounts(xml, f"{line}/*[self::cbc:InvoicedQuantity or self::cbc:CreditedQuantity]")
    prices = amounts(xml, "//cbc:PriceAmount")
    per = [
        Decimal(price.findtext("cbc:BaseQuantity", "1", NAMESPACES))
        for price in etree.fromstring(xml).iterfind(".//cac:Price", NAMESPACES)
    ]
    assert lines == worked(quantities, prices, per)


def worked(quantities: list[Decimal], prices: list[Decimal], per: list[Decimal]) -> list[Decimal]:
    """BT-131 from BT-129, BT-146 and BT-149."""
    assert min(prices) >= 0  # BR-27
    return [
        (quantity * price / base).quantize(Decimal("0.01"), ROUND_HALF_UP)
        for quantity, price, base in zip(quantities, prices, per, strict=True)
    ]


def agree(
    invoice: Invoice,
    lines: list[Decimal],
    total: Decimal,
    net: Decimal,
    vat: Decimal,
    gross: Decimal,
    due: Decimal,
    bases: list[Decimal],
    taxes: list[Decimal],
    rates: list[Decimal],
) -> None:
    assert total == sum(lines)  # BR-CO-10
    assert net == total  # BR-CO-13, no allowances or charges of the document (BR-CO-11, BR-CO-12)
    assert vat == sum(taxes)  # BR-CO-14
    assert gross == net + vat  # BR-CO-15
    assert due == gross  # BR-CO-16
    assert net == sum(bases)  # BR-S-08 and its like
    for base, tax, rate in zip(bases, taxes, rates, strict=True):  # BR-CO-17
        by_rate = (base * rate / 100).quantize(Decimal("0.01"), ROUND_HALF_UP)
        # The credit that takes the last of an invoice may be off the rate by the pennies of earlier ones.
        assert abs(tax - by_rate) <= (Decimal("0.01") if invoice.kind == "credit_note" else 0)
    assert [net, vat, gross] == [invoice.net, invoice.vat, invoice.gross]
