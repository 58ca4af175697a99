"""The invoice on paper, read back from the HTML and from the finished PDF."""

from __future__ import annotations

import io
import re
import time
from decimal import Decimal
from functools import cache
from typing import Any

import documents
import pikepdf
import pytest
from documents import KINDS
from facturx import get_facturx_xml_from_pdf
from lxml import etree
from pdfminer.high_level import extract_pages, extract_text
from pdfminer.layout import LTChar, LTTextContainer
from rules_of_standards import NAMESPACES, SUMMATION, amounts, names, texts

from jobnotes.errors import JobnotesError
from jobnotes.jobs.invoice import Bank, Invoice, Party
from jobnotes.office.einvoice import cii_xml
from jobnotes.paper import Firm
from jobnotes.paper.invoice import invoice_html, invoice_pdf, visit_groups
from jobnotes.paper.invoice_words import money, price_text, quantity_text


@cache
def pdf_of(name: str) -> bytes:
    invoice = KINDS[name]()
    return invoice_pdf(invoice, cii_xml(invoice))


@cache
def text_of(name: str) -> str:
    """The words of the PDF, white space single."""
    return " ".join(extract_text(io.BytesIO(pdf_of(name))).split())


def words_of_html(invoice: Invoice, **options: Any) -> str:
    """The words of the page as a reader sees them."""
    body = etree.HTML(invoice_html(invoice, **options)).find("body")
    return " ".join(" ".join(body.itertext()).split())


def pages(pdf: bytes) -> list[str]:
    return [
        " ".join(" ".join(box.get_text() for box in page if isinstance(box, LTTextContainer)).split())
        for page in extract_pages(io.BytesIO(pdf))
    ]


# The file: PDF/A-3 (ISO 19005-3) and Factur-X 1.0


@pytest.mark.parametrize("name", ["standard", "several_visits", "credit_part"])
def test_pdf_claims_pdfa_3b_and_keeps_what_the_sheet_has(name: str) -> None:
    with pikepdf.open(io.BytesIO(pdf_of(name))) as document:
        with document.open_metadata() as metadata:
            assert metadata.pdfa_status == "3B"
            assert metadata["dc:title"] == document.docinfo["/Title"]
        root = document.Root
        assert str(root.Lang) == "en-GB"
        assert bool(root.MarkInfo.Marked)
        assert bool(root.ViewerPreferences.DisplayDocTitle)
        intent = root.OutputIntents[0]
        assert str(intent.S) == "/GTS_PDFA1"
        assert len(intent.DestOutputProfile.read_bytes()) > 300
        assert not document.is_encrypted
        assert len(document.trailer.ID) == 2
        kinds = {
            str(thing.S)
            for thing in document.objects
            if isinstance(thing, pikepdf.Dictionary) and "/S" in thing and "/P" in thing and "/K" in thing
        }
        assert {"/H1", "/H2", "/Table", "/TR", "/TH", "/TD"} <= kinds


def test_pdf_has_nothing_that_pdfa_forbids() -> None:
    # ISO 19005-3, 6.1.3 and 6.5 and 6.6: no encryption, scripts, launching, sound, film
    with pikepdf.open(io.BytesIO(pdf_of("standard"))) as document:
        assert "/Encrypt" not in document.trailer
        for thing in document.objects:
            if isinstance(thing, pikepdf.Dictionary | pikepdf.Stream):
                assert "/JS" not in thing
                assert str(thing.get("/S", "")) not in ("/JavaScript", "/Launch", "/Sound", "/Movie", "/URI")


def test_all_fonts_are_inside() -> None:
    with pikepdf.open(io.BytesIO(pdf_of("mixed"))) as document:
        faces = [
            thing
            for thing in document.objects
            if isinstance(thing, pikepdf.Dictionary) and thing.get("/Type") == "/FontDescriptor"
        ]
        assert len(faces) >= 3
        assert all({"/FontFile2", "/FontFile3"} & set(face.keys()) for face in faces)


def test_the_xml_is_inside_as_factur_x_has_it() -> None:
    xml = cii_xml(documents.standard())
    name, found = get_facturx_xml_from_pdf(pdf_of("standard"), check_xsd=True)
    assert (name, found) == ("factur-x.xml", xml)
    with pikepdf.open(io.BytesIO(pdf_of("standard"))) as document:
        (attached,) = document.Root.AF
        assert str(attached.UF) == str(attached.F) == "factur-x.xml"
        assert str(attached.AFRelationship) == "/Alternative"
        assert str(attached.EF.F.Subtype) == "/text/xml"
        assert int(attached.EF.F.Params.Size) == len(xml)
        assert list(document.attachments) == ["factur-x.xml"]


def test_xmp_tells_the_profile_and_describes_its_own_keys() -> None:
    # Factur-X 1.0, 6.2: the extension schema and its four values
    with pikepdf.open(io.BytesIO(pdf_of("standard"))) as document:
        xmp = etree.fromstring(document.Root.Metadata.read_bytes())
    spaces = {
        "fx": "urn:factur-x:pdfa:CrossIndustryDocument:invoice:1p0#",
        "pdfaSchema": "http://www.aiim.org/pdfa/ns/schema#",
        "pdfaProperty": "http://www.aiim.org/pdfa/ns/property#",
    }
    told = {
        key: xmp.xpath(f"string(//fx:{key})", namespaces=spaces)
        for key in ("DocumentType", "DocumentFileName", "Version", "ConformanceLevel")
    }
    assert told == {
        "DocumentType": "INVOICE",
        "DocumentFileName": "factur-x.xml",
        "Version": "1.0",
        "ConformanceLevel": "EN 16931",
    }
    assert xmp.xpath("string(//pdfaSchema:namespaceURI)", namespaces=spaces) == spaces["fx"]
    assert set(xmp.xpath("//pdfaProperty:name/text()", namespaces=spaces)) == set(told)


def test_the_same_document_gives_the_same_bytes_at_any_time() -> None:
    invoice = documents.standard()
    time.sleep(1.1)  # the library stamps with the second
    assert invoice_pdf(invoice, cii_xml(invoice)) == pdf_of("standard")
    with pikepdf.open(io.BytesIO(pdf_of("standard"))) as document:
        assert str(document.docinfo["/CreationDate"]).startswith("D:20260316")
        assert b"2026-03-16T00:00:00" in document.Root.Metadata.read_bytes()


# What it says


@pytest.mark.parametrize("name", [name for name in KINDS if name != "hostile"])
def test_amounts_on_paper_are_those_of_the_xml(name: str) -> None:
    (_, xml), text = get_facturx_xml_from_pdf(pdf_of(name)), text_of(name)
    for path in (
        f"{SUMMATION}/ram:TaxBasisTotalAmount",
        f"{SUMMATION}/ram:TaxTotalAmount",
        f"{SUMMATION}/ram:GrandTotalAmount",
        "//ram:SpecifiedTradeSettlementLineMonetarySummation/ram:LineTotalAmount",
        "//ram:ApplicableHeaderTradeSettlement/ram:ApplicableTradeTax/ram:BasisAmount",
        "//ram:ApplicableHeaderTradeSettlement/ram:ApplicableTradeTax/ram:CalculatedAmount",
    ):
        for amount in amounts(xml, path):
            assert re.search(rf"(?<![\d,]){re.escape(money(amount))}(?!\d)", text), (path, amount)
    assert texts(xml, "//rsm:ExchangedDocument/ram:ID")[0] in text
    for item in etree.fromstring(xml).iterfind(".//ram:SpecifiedTradeProduct/ram:Name", NAMESPACES):
        assert item.text in text


def test_an_invoice_says_who_what_and_how_to_pay() -> None:
    text = text_of("standard")
    for words in (
        "INVOICE HL-1042",
        "Date 16 March 2026",
        "To pay by 15 April 2026 £337.37",
        "Tax point (time of supply) 13 March 2026",
        "VAT number GB913204756",
        "Company number 09990417",
        "Ostrey Stone Products",
        "VAT number GB204881937",
        "PO 88-2041",
        "OST-014",
        "99-12-04",
        "00417733",
        "Payment within 30 days of the invoice.",
        "Page 1 of 1",
        "Invoice HL-1042",
    ):
        assert words in text, words


def test_a_visit_has_a_heading() -> None:
    text = text_of("several_visits")
    assert re.search(r"TH 07 ?Telehandler Dunmoor T35", text)
    assert "Thu 12 Mar 2026 · Sheet 15" in text
    assert "Owen Sallis" in text
    assert "Low Wood Yard: Fan runs flat out" in text
    assert "Order PO 88-2066" in text  # where it is not the invoice's own
    assert "Order PO 88-2041" not in text
    groups = visit_groups(documents.several_visits())
    assert [group.sheet.sheet if group.sheet else None for group in groups] == [12, 15, 19, None]
    assert [len(group.lines) for group in groups] == [5, 5, 5, 1]
    assert text.count("This visit 281.14") == 3


def test_part_numbers_are_set_in_the_face_for_codes() -> None:
    faces = {
        "".join(character.get_text() for character in line if isinstance(character, LTChar)): {
            character.fontname for character in line if isinstance(character, LTChar)
        }
        for page in extract_pages(io.BytesIO(pdf_of("standard")))
        for box in page
        if isinstance(box, LTTextContainer)
        for line in box
    }
    (found,) = [faces[line] for line in faces if "KB-77-1043" in line]
    assert any("Code" in face for face in found)


@pytest.mark.parametrize(
    ("quantity", "unit", "price", "per", "said", "each"),
    [
        ("1.75", "HUR", "58", "1", "1 h 45 min", "58.00 per h"),
        ("0.25", "HUR", "58", "1", "15 min", "58.00 per h"),
        ("1.333", "HUR", "58", "1", "1.333 h", "58.00 per h"),
        ("105", "MIN", "58", "60", "1 h 45 min", "58.00 per h"),
        ("2", "C62", "12.4", "1", "2", "12.40"),
        ("2.0", "H87", "0.125", "1", "2", "0.125"),
        ("30", "H87", "4.2", "100", "30", "4.20 per 100"),
        ("1", "SMI", "0.55", "1", "1 mile", "0.55 per mile"),
        ("52", "SMI", "0.55", "1", "52 miles", "0.55 per mile"),
        ("4.5", "LTR", "1234.5", "1", "4.5 L", "1,234.50 per L"),
        ("2", "SET", "9", "1", "2 sets", "9.00 per set"),
        ("1E+1", "KGM", "9", "1", "10 kg", "9.00 per kg"),
        ("3", "MTR", "9", "1", "3 m", "9.00 per m"),
    ],
)
def test_quantities_and_prices_in_words(
    quantity: str, unit: str, price: str, per: str, said: str, each: str
) -> None:
    line = documents.line(12, "Anything", quantity, unit, price, per=per)
    assert quantity_text(line) == said
    assert price_text(line) == each


def test_money_has_its_thousands_parted() -> None:
    assert [money(Decimal(text)) for text in ("0", "999.9", "1000", "1234567.891", "-1234.5")] == [
        "0.00",
        "999.90",
        "1,000.00",
        "1,234,567.891",
        "-1,234.50",
    ]


def test_each_line_tells_its_rate_and_the_table_sums_them() -> None:
    text = words_of_html(documents.mixed())
    for row in (
        "Standard rate 20% 281.14 56.23",
        "Standard rate 5% 20.98 1.05",
        "Zero rate 0% 29.90 0.00",
        "Exempt 60.00 0.00",
        "Reverse charge 310.00 0.00",
        "Safety handbook 2 14.95 0% 29.90",
        "Apprentice's training 1 h 30 min 40.00 per h exempt 60.00",
        "Wall of the wash bay 1 310.00 reverse charge 310.00",
        "Total excluding VAT £702.02",
        "Total VAT in sterling £57.28",
        "To pay £759.30",
    ):
        assert row in text, row


def test_reasons_are_told_where_no_vat_is_charged() -> None:
    assert documents.REVERSE_REASON in text_of("reverse_charge")
    assert documents.EXEMPT_REASON in text_of("exempt")
    assert "Reverse charge" not in text_of("standard")


def test_a_credit_note_says_so_and_asks_for_nothing() -> None:
    text = text_of("credit_part")
    for words in (
        "CREDIT NOTE HL-1047",
        "CREDITS Invoice HL-1042 of 16 March 2026.",
        "Reason The sensor was supplied under warranty",
        "Total credited",
        "£136.64",
        "1 h 15 min",
        "Nothing is to be paid on this credit note.",
    ):
        assert words in text, words
    assert "To pay" not in text
    assert "Sort code" not in text
    own = documents.credit_part().model_copy(update={"terms": "To be set against invoice HL-1042."})
    assert "Terms To be set against invoice HL-1042." in words_of_html(own)


def draft(**changed: Any) -> Invoice:
    invoice = documents.standard(number=None, printed_number="", **changed)
    looked = invoice.lines[0].model_copy(update={"look": "The sheet says 3 h, the clock 3 h 15 min"})
    return invoice.model_copy(update={"lines": (looked, *invoice.lines[1:])})


def test_a_draft_says_so_on_every_page_and_lists_what_to_look_at() -> None:
    pdf = invoice_pdf(draft(), None)
    (page,) = pages(pdf)
    assert "DRAFT: not to be paid" in page
    assert "DRAFT INVOICE" in page
    assert "No number yet" in page
    assert "1 line to be looked at" in page
    assert "The sheet says 3 h, the clock 3 h 15 min" in page
    with pikepdf.open(io.BytesIO(pdf)) as document:
        assert not list(document.attachments)
        with document.open_metadata() as metadata:
            assert metadata.pdfa_status == "3B"
    assert "DRAFT" not in text_of("standard")
    # An issued document prints no marks of the office.
    issued = draft().model_copy(update={"number": 1042, "printed_number": "HL-1042"})
    assert "the clock 3 h 15 min" not in words_of_html(issued)
    assert "?1" not in words_of_html(issued)
    assert "?1" in page


def test_the_draft_of_a_credit_note_is_none_of_an_invoice() -> None:
    credit = documents.credit_part().model_copy(update={"number": None, "printed_number": ""})
    assert "Draft credit note" in words_of_html(credit)


def test_long_tables_repeat_their_heads_and_number_their_pages() -> None:
    lines = [
        documents.line(12, f"Hose {size} mm", "2", "MTR", "7.35", part_number=f"HS-{size:04}")
        for size in range(1, 91)
    ]
    long = documents.document(lines, [documents.sheet(12)])
    found = pages(invoice_pdf(long, cii_xml(long)))
    assert len(found) >= 3
    for number, page in enumerate(found, 1):
        assert f"Page {number} of {len(found)}" in page
        assert "Invoice HL-1042" in page
        if "Hose" in page:
            assert "Description" in page
            assert "Unit price, £" in page
            assert "WX 31" in page
    together = " ".join(found)
    assert all(f"HS-{size:04}" in together for size in range(1, 91))


def test_the_firm_fills_what_the_seller_leaves_out() -> None:
    bare = documents.standard(seller=Party(name="Harrow Lane", address=("Unit 4",)))
    text = words_of_html(bare, firm=Firm("", (), "01632 960 144", "desk@harrowlane.example"))
    assert "Harrow Lane Unit 4" in text
    assert "01632 960 144 · desk@harrowlane.example" in text.replace("\xa0", " ").replace("  ", " ")


def test_a_country_is_named_where_it_is_not_the_same() -> None:
    assert "Ireland" in text_of("abroad")
    assert "United Kingdom" in text_of("abroad")
    assert "United Kingdom" not in text_of("standard")
    nowhere = documents.standard(buyer=documents.BUYER.model_copy(update={"country": "UK"}))
    with pytest.raises(JobnotesError, match="no country 'UK'"):
        invoice_html(nowhere)


def test_hostile_text_is_printed_and_never_run() -> None:
    html = invoice_html(documents.hostile())
    assert "<script" not in html
    assert "&lt;script&gt;" in html
    assert "{{ 7*7 }}" in html  # not worked out
    assert "\x00" not in html
    assert "\u202e" not in html  # would turn what follows it round
    pdf = pdf_of("hostile")
    for page in extract_pages(io.BytesIO(pdf)):
        for box in page:
            if isinstance(box, LTTextContainer):
                # The margins are 15 mm wide; no word runs out into them.
                assert box.x0 >= 42
                assert box.x1 <= page.width - 41
    _, xml = get_facturx_xml_from_pdf(pdf)
    assert names("cii", xml) == set()
    assert "337.37" not in text_of("hostile")
    assert "£349.37" in text_of("hostile")


def test_without_an_account_nothing_tells_how_to_pay() -> None:
    text = words_of_html(documents.standard(bank=Bank(account_name="Harrow Lane")))
    assert "How to pay" not in text
    assert "How to pay" in words_of_html(documents.with_iban())
    assert "GB33 BUKB 2020 1555 5555 55" in words_of_html(documents.with_iban())


def test_colours_are_not_needed() -> None:
    """Every filled field is light under dark words or dark under light words in a grey print too."""
    css = invoice_html(documents.standard())
    filled = re.findall(r"background: (#[0-9a-f]{6})", css)
    assert "#f4c53a" in filled  # the plate
    for colour in filled:
        red, green, blue = (int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5))
        grey = 0.2126 * red + 0.7152 * green + 0.0722 * blue  # Rec. ITU-R BT.709
        assert grey > 0.5 or grey < 0.15, colour
