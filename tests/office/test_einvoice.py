"""The e-invoice against the official rules: XSD, EN 16931 as CEN publishes it, Peppol BIS Billing 3.0."""

from __future__ import annotations

import datetime
import json
import tomllib
from decimal import Decimal
from pathlib import Path
from typing import Any

import documents
import pycountry
import pytest
from documents import KINDS
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree
from rules_of_standards import NAMESPACES, SUMMATION, broken, check_xsd, names, only, texts

from jobnotes.errors import JobnotesError
from jobnotes.jobs.invoice import Bank, Invoice
from jobnotes.office.credit import credit_note
from jobnotes.office.einvoice import cii_xml, is_peppol, terms_of, ubl_xml

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(params=list(KINDS))
def invoice(request: pytest.FixtureRequest) -> Invoice:
    return KINDS[request.param]()


# The official rules


def test_every_kind_of_document_is_valid_as_cii(invoice: Invoice) -> None:
    xml = cii_xml(invoice)
    check_xsd(xml)
    assert broken("cii", xml) == []


def test_every_kind_of_document_is_valid_as_ubl(invoice: Invoice) -> None:
    xml = ubl_xml(invoice)
    check_xsd(xml)
    assert broken("ubl", xml) == []


@pytest.mark.parametrize("name", [name for name in KINDS if name.startswith("peppol")])
def test_documents_with_electronic_addresses_hold_by_peppol(name: str) -> None:
    xml = ubl_xml(KINDS[name]())
    assert broken("peppol", xml) == []
    assert only(xml, "/*/cbc:CustomizationID").endswith("urn:fdc:peppol.eu:2017:poacc:billing:3.0")
    assert only(xml, "/*/cbc:ProfileID") == "urn:fdc:peppol.eu:2017:poacc:billing:01:1.0"
    assert texts(xml, "//cbc:EndpointID/@schemeID") == ["9932", "9932"]


def changed(xml: bytes, path: str, text: str | None) -> bytes:
    """The document with another text at a path, or with what stands there taken out."""
    root = etree.fromstring(xml)
    (element,) = root.xpath(path, namespaces=NAMESPACES)
    if text is None:
        element.getparent().remove(element)
    else:
        element.text = text
    return bytes(etree.tostring(root))


@pytest.mark.parametrize(
    ("make", "path", "text", "rule"),
    [
        ("standard", "//cbc:TaxInclusiveAmount", "1.00", "BR-CO-15"),
        ("standard", "//cac:LegalMonetaryTotal/cbc:LineExtensionAmount", "1.00", "BR-CO-10"),
        ("standard", "//cac:LegalMonetaryTotal/cbc:TaxExclusiveAmount", "1.00", "BR-CO-13"),
        ("standard", "/*/cac:TaxTotal/cbc:TaxAmount", "1.00", "BR-CO-14"),
        ("standard", "//cac:AccountingSupplierParty//cac:PartyTaxScheme", None, "BR-S-02"),
        ("zero", "//cac:AccountingSupplierParty//cac:PartyTaxScheme", None, "BR-Z-02"),
        ("reverse_charge", "//cac:AccountingCustomerParty//cac:PartyTaxScheme", None, "BR-AE-02"),
        ("exempt", "//cbc:TaxExemptionReason", None, "BR-E-10"),
        ("standard", "//cac:PayeeFinancialAccount", None, "BR-61"),
        ("standard", "//cbc:DocumentCurrencyCode", "QQQ", "BR-CL-04"),
        ("standard", "//cac:AccountingCustomerParty//cbc:IdentificationCode", "UK", "BR-CL-14"),
    ],
)
def test_the_check_of_ubl_can_fail(make: str, path: str, text: str | None, rule: str) -> None:
    assert rule in names("ubl", changed(ubl_xml(KINDS[make]()), path, text))


@pytest.mark.parametrize(
    ("path", "text", "rule"),
    [
        (f"{SUMMATION}/ram:GrandTotalAmount", "1.00", "BR-CO-15"),
        (f"{SUMMATION}/ram:LineTotalAmount", "1.00", "BR-CO-10"),
        ("//ram:SellerTradeParty/ram:SpecifiedTaxRegistration", None, "BR-S-02"),
    ],
)
def test_the_check_of_cii_can_fail(path: str, text: str | None, rule: str) -> None:
    assert rule in names("cii", changed(cii_xml(documents.standard()), path, text))


def test_the_checks_of_peppol_and_the_schema_can_fail() -> None:
    xml = ubl_xml(documents.peppol_one_visit())
    order = changed(xml, "//cac:OrderReference", None)
    assert "PEPPOL-EN16931-R003" in names("peppol", order)
    with pytest.raises(Exception, match="not valid"):
        check_xsd(changed(xml, "/*/cbc:ID", None))


VALUES = st.tuples(
    st.decimals("0.01", 500, places=2),
    st.decimals("0.001", 900, places=3),
    st.sampled_from(["C62", "HUR", "MIN", "SMI", "LTR", "MTR", "KGM", "SET"]),
    st.sampled_from(["1", "60", "100"]),
    st.sampled_from(
        [("standard", "20"), ("standard", "5"), ("zero", "0"), ("exempt", "0"), ("reverse_charge", "0")]
    ),
)


@settings(max_examples=25, deadline=None)
@given(st.lists(VALUES, min_size=1, max_size=8))
def test_whatever_is_charged_the_documents_are_valid(values: list[Any]) -> None:
    lines = [
        documents.line(
            12, f"Line {place}", str(quantity), unit, str(price), per=per, category=kind, rate=rate
        )
        for place, (quantity, price, unit, per, (kind, rate)) in enumerate(values)
    ]
    parties = documents.peppol()
    made = documents.document(lines, [documents.sheet(12)], seller=parties.seller, buyer=parties.buyer)
    assert broken("cii", cii_xml(made)) == []
    xml = ubl_xml(made)
    assert broken("ubl", xml) == broken("peppol", xml) == []


def test_credit_notes_to_the_last_penny_are_valid() -> None:
    """As the office makes them: a quantity, an amount, then all that is left."""
    parties = documents.peppol()
    original = documents.pennies().model_copy(update={"seller": parties.seller, "buyer": parties.buyer})
    first, second, *_ = (line.key for line in original.lines)
    notes: list[Invoice] = []
    for chosen in ({"lines": {first: Decimal(2)}}, {"amounts": {second: Decimal("0.37")}}, {}):
        notes.append(
            credit_note(
                original,
                notes,
                issued=datetime.date(2026, 3, 30),
                reason="Returned",
                number=1047 + len(notes),
                printed_number=f"HL-{1047 + len(notes)}",
                **chosen,
            )
        )
        assert broken("cii", cii_xml(notes[-1])) == []
        xml = ubl_xml(notes[-1])
        assert broken("ubl", xml) == broken("peppol", xml) == []
        assert only(xml, "//cac:PaymentTerms/cbc:Note") == notes[-1].terms
    assert original.gross == sum(note.gross for note in notes)


# What stands where


def test_what_an_invoice_tells_in_cii() -> None:
    xml = cii_xml(documents.standard(buyer_reference="Quarry workshop", note="Thank you."))
    assert only(xml, "//ram:GuidelineSpecifiedDocumentContextParameter/ram:ID") == "urn:cen.eu:en16931:2017"
    assert only(xml, "//rsm:ExchangedDocument/ram:ID") == "HL-1042"  # BT-1
    assert only(xml, "//rsm:ExchangedDocument/ram:TypeCode") == "380"  # BT-3
    assert only(xml, "//ram:IssueDateTime/udt:DateTimeString") == "20260316"  # BT-2
    assert only(xml, "//ram:TaxPointDate/udt:DateString") == "20260313"  # BT-7
    assert only(xml, "//ram:DueDateDateTime/udt:DateTimeString") == "20260415"  # BT-9
    assert only(xml, "//ram:BuyerReference") == "Quarry workshop"  # BT-10
    assert only(xml, "//ram:BuyerOrderReferencedDocument/ram:IssuerAssignedID") == "PO 88-2041"  # BT-13
    assert only(xml, "//ram:SpecifiedTradePaymentTerms/ram:Description").startswith("Payment within")  # BT-20
    assert only(xml, "//ram:IncludedNote/ram:Content") == "Thank you."  # BT-22
    assert only(xml, "//ram:OccurrenceDateTime/udt:DateTimeString") == "20260310"  # BT-72
    assert only(xml, "//ram:ShipToTradeParty/ram:Name") == "Penny Moor Quarry"  # BT-70
    assert texts(xml, "//ram:BillingSpecifiedPeriod") == []
    assert only(xml, "//ram:BuyerTradeParty/ram:ID") == "OST-014"  # BT-46
    assert only(xml, "//ram:AdditionalReferencedDocument/ram:IssuerAssignedID") == "Sheet 12, revision 1"


def test_what_a_line_tells() -> None:
    xml = cii_xml(documents.standard())
    line = "(//ram:IncludedSupplyChainTradeLineItem)[3]"
    assert only(xml, f"{line}//ram:LineID") == "3"  # BT-126
    assert only(xml, f"{line}//ram:SpecifiedTradeProduct/ram:Name") == "Coolant temperature sensor"  # BT-153
    assert only(xml, f"{line}//ram:SellerAssignedID") == "KB-77-1043"  # BT-155
    assert "Sheet 12, 10 March 2026" in only(xml, f"{line}//ram:SpecifiedTradeProduct/ram:Description")
    assert "fleet WX 31" in only(xml, f"{line}//ram:SpecifiedTradeProduct/ram:Description")  # BT-154
    assert only(xml, f"{line}//ram:CategoryCode") == "S"  # BT-151
    assert only(xml, f"{line}//ram:RateApplicablePercent") == "20"  # BT-152
    # UN/ECE Recommendation 20: hour, statute mile, one, litre
    assert texts(xml, "//ram:BilledQuantity/@unitCode") == ["HUR", "SMI", "C62", "LTR", "C62"]


def test_minutes_are_priced_for_sixty() -> None:
    xml = ubl_xml(documents.minutes())
    line = "(//cac:InvoiceLine)[1]"
    assert only(xml, f"{line}/cbc:InvoicedQuantity") == "100"
    assert only(xml, f"{line}/cac:Price/cbc:BaseQuantity") == "60"  # BT-149
    assert only(xml, f"{line}/cac:Price/cbc:BaseQuantity/@unitCode") == "MIN"  # BT-150
    assert only(xml, f"{line}/cac:Price/cbc:PriceAmount") == "58.00"  # for an hour
    assert only(xml, f"{line}/cbc:LineExtensionAmount") == "96.67"  # 100 min at 58.00 an hour


def test_visits_of_several_days_are_a_period() -> None:
    xml = ubl_xml(documents.several_visits())
    assert only(xml, "/*/cac:InvoicePeriod/cbc:StartDate") == "2026-03-10"  # BT-73
    assert only(xml, "/*/cac:InvoicePeriod/cbc:EndDate") == "2026-03-13"  # BT-74
    assert only(xml, "//cbc:ActualDeliveryDate") == "2026-03-13"  # BT-72
    assert texts(xml, "//cac:DeliveryParty") == []  # two sites
    days = texts(xml, "//cac:InvoiceLine/cac:InvoicePeriod/cbc:StartDate")  # BT-134
    assert days == ["2026-03-10"] * 5 + ["2026-03-12"] * 5 + ["2026-03-13"] * 5
    assert days == texts(xml, "//cac:InvoiceLine/cac:InvoicePeriod/cbc:EndDate")
    assert len(texts(xml, "//cac:AdditionalDocumentReference/cbc:ID")) == 3


def test_a_credit_note_names_what_it_credits() -> None:
    ubl, cii = ubl_xml(documents.credit_part()), cii_xml(documents.credit_part())
    assert etree.fromstring(ubl).tag.endswith("}CreditNote")
    assert (
        only(ubl, "/*/cbc:CreditNoteTypeCode") == only(cii, "//rsm:ExchangedDocument/ram:TypeCode") == "381"
    )
    assert only(ubl, "//cac:InvoiceDocumentReference/cbc:ID") == "HL-1042"  # BT-25
    assert only(ubl, "//cac:InvoiceDocumentReference/cbc:IssueDate") == "2026-03-16"  # BT-26
    assert only(cii, "//ram:InvoiceReferencedDocument/ram:IssuerAssignedID") == "HL-1042"
    assert only(cii, "//ram:InvoiceReferencedDocument//qdt:DateTimeString") == "20260316"
    assert only(ubl, "/*/cbc:Note") == "The sensor was supplied under warranty"
    assert texts(ubl, "//cbc:CreditedQuantity") == ["1.25", "1"]
    # Nothing is to be paid to the firm, so that no account is named.
    assert texts(ubl, "//cac:PaymentMeans") == texts(cii, "//ram:IBANID | //ram:ProprietaryID") == []


def test_the_account_to_pay_to() -> None:
    # BT-86 is the BIC or "a national clearing code where required" (EN 16931-1, from memory): the sort code
    xml = ubl_xml(documents.standard())
    assert only(xml, "//cbc:PaymentMeansCode") == "30"
    assert only(xml, "//cac:PayeeFinancialAccount/cbc:ID") == "00417733"
    assert only(xml, "//cac:FinancialInstitutionBranch/cbc:ID") == "991204"
    assert only(xml, "//cbc:PaymentID") == "HL-1042"
    xml = cii_xml(documents.with_iban())
    assert only(xml, "//ram:IBANID") == "GB33BUKB20201555555555"
    assert only(xml, "//ram:BICID") == "BUKBGB22"
    assert texts(ubl_xml(documents.no_bank()), "//cac:PaymentMeans") == []
    assert only(ubl_xml(documents.no_bank()), "//cac:PaymentTerms/cbc:Note") == "Payable on receipt."


def test_why_no_vat_is_charged() -> None:
    xml = ubl_xml(documents.reverse_charge())
    assert "customer to account to HMRC" in only(xml, "//cbc:TaxExemptionReason")
    assert only(xml, "//cbc:TaxExemptionReasonCode") == "VATEX-EU-AE"
    xml = ubl_xml(documents.exempt())
    assert only(xml, "//cbc:TaxExemptionReason") == documents.EXEMPT_REASON
    # The other codes name articles of a directive that does not hold in the United Kingdom.
    assert texts(xml, "//cbc:TaxExemptionReasonCode") == []


def test_a_reason_stands_even_where_the_document_gives_none() -> None:
    for make in (documents.exempt, documents.reverse_charge):
        bare = make().vat_sums[0].model_copy(update={"reason": ""})
        xml = ubl_xml(make().model_copy(update={"vat_sums": (bare,)}))
        assert names("ubl", xml) == set()
        assert only(xml, "//cbc:TaxExemptionReason")


@pytest.mark.parametrize("written", ["GB 913 2047 56", "gb913204756", "913 2047 56", "GB-913.2047.56"])
def test_vat_numbers_have_their_country(written: str) -> None:
    seller = documents.SELLER.model_copy(update={"vat_number": written})
    xml = ubl_xml(documents.standard(seller=seller))
    assert only(xml, "//cac:AccountingSupplierParty//cac:PartyTaxScheme/cbc:CompanyID") == "GB913204756"
    assert names("ubl", xml) == set()


def test_peppol_needs_both_addresses_and_a_reference() -> None:
    full = documents.peppol()
    assert is_peppol(full)
    assert not is_peppol(full.model_copy(update={"seller": documents.SELLER}))
    assert not is_peppol(full.model_copy(update={"buyer": documents.BUYER}))
    bare = full.model_copy(update={"buyer_reference": "", "order_number": ""})
    assert not is_peppol(bare)
    assert only(ubl_xml(bare), "/*/cbc:CustomizationID") == "urn:cen.eu:en16931:2017"
    assert is_peppol(full.model_copy(update={"buyer_reference": ""}))


def test_hostile_text_stays_text() -> None:
    for xml in (cii_xml(documents.hostile()), ubl_xml(documents.hostile())):
        assert texts(xml, "//*[local-name() = 'script']") == []
        assert b"<script" not in xml
        assert all(character >= " " or character in "\n\t" for character in xml.decode())
        assert any('<script>alert("x")</script>' in text for text in etree.fromstring(xml).itertext())
    # In UBL "#AAA#" at the front would be a code (BT-21).
    assert only(ubl_xml(documents.hostile()), "/*/cbc:Note").startswith("AAA#")


def test_what_is_taken_off_is_a_quantity_below_nought() -> None:
    xml = ubl_xml(documents.taken_off())
    assert only(xml, "(//cac:InvoiceLine)[6]/cbc:InvoicedQuantity") == "-1"
    assert only(xml, "(//cac:InvoiceLine)[6]/cac:Price/cbc:PriceAmount") == "25.00"
    assert only(xml, "(//cac:InvoiceLine)[6]/cbc:LineExtensionAmount") == "-25.00"


def test_both_syntaxes_tell_the_same() -> None:
    for make in KINDS.values():
        invoice = make()
        cii, ubl = cii_xml(invoice), ubl_xml(invoice)
        for in_cii, in_ubl in (
            ("//rsm:ExchangedDocument/ram:ID", "/*/cbc:ID"),
            ("//ram:SpecifiedTradeProduct/ram:Name", "//cac:Item/cbc:Name"),
            (f"{SUMMATION}/ram:DuePayableAmount", "//cbc:PayableAmount"),
            ("//ram:BuyerTradeParty/ram:Name", "//cac:AccountingCustomerParty//cbc:RegistrationName"),
            ("//ram:NetPriceProductTradePrice/ram:ChargeAmount", "//cac:Price/cbc:PriceAmount"),
        ):
            assert texts(cii, in_cii) == texts(ubl, in_ubl) != []


def test_the_same_document_gives_the_same_bytes() -> None:
    invoice = documents.several_visits()
    assert cii_xml(invoice) == cii_xml(invoice)
    assert ubl_xml(invoice) == ubl_xml(invoice)
    read_again = Invoice.model_validate(json.loads(invoice.model_dump_json()))
    assert cii_xml(read_again) == cii_xml(invoice)


# What is refused


def test_a_draft_has_no_e_invoice() -> None:
    with pytest.raises(JobnotesError, match="draft"):
        terms_of(documents.standard(number=None, printed_number=""))


@pytest.mark.parametrize("key", ["net", "vat", "gross"])
def test_wrong_sums_are_refused(key: str) -> None:
    invoice = documents.standard()
    wrong = invoice.model_copy(update={key: getattr(invoice, key) + Decimal("0.01")})
    for make in (cii_xml, ubl_xml):
        with pytest.raises(JobnotesError, match="sums of HL-1042 do not add up"):
            make(wrong)


def test_codes_that_are_none_are_refused() -> None:
    for buyer, word in (
        ({"country": "UK"}, "country 'UK'"),
        (
            {"electronic_scheme": "GB:VAT", "electronic_id": "1"},
            "'GB:VAT' of the customer is no code of the EAS list",
        ),
    ):
        party = documents.BUYER.model_copy(update=buyer)
        with pytest.raises(JobnotesError, match=word):
            cii_xml(documents.standard(buyer=party))
    with pytest.raises(JobnotesError, match="QQQ"):
        ubl_xml(documents.standard(currency="QQQ"))


def test_nothing_is_asked_of_the_network(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_arguments: Any, **_options: Any) -> Any:
        raise AssertionError("the network was asked")

    monkeypatch.setattr("socket.socket.connect", refuse)
    monkeypatch.setattr("socket.getaddrinfo", refuse)
    cii_xml(documents.standard())
    ubl_xml(documents.standard())


def test_the_countries_are_those_of_iso_3166() -> None:
    table = tomllib.loads((ROOT / "jobnotes/paper/countries.toml").read_text(encoding="utf-8"))
    assert set(table) == {country.alpha_2 for country in pycountry.countries}
    assert table["GB"] == "United Kingdom"
    assert table["NO"] == "Norway"


def test_an_account_without_a_bank_name_is_enough() -> None:
    bare = documents.standard(bank=Bank(account="00417733"), issued=datetime.date(2026, 2, 28))
    assert names("ubl", ubl_xml(bare)) == names("cii", cii_xml(bare)) == set()
