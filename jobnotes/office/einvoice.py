"""The e-invoice: an approved invoice or credit note by EN 16931-1:2017, in both of its syntaxes.

The factur-x library writes the XML from the standard's business terms (BT) and groups (BG); here stands what
goes into which term. Its two calls to a Schematron server are never used: nothing here asks the network.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from jobnotes.errors import JobnotesError
from jobnotes.jobs.invoice import CATEGORY_CODES, Invoice, Line, Party
from jobnotes.jobs.money import NOUGHT
from jobnotes.office.codes import electronic_schemes
from jobnotes.paper.invoice_words import (
    country_name,
    document_number,
    figure,
    phrase,
    reason_text,
    sheet_of,
    vat_number,
    visit_text,
)

LEVEL = "en16931"
TYPE_CODES = {"invoice": "380", "credit_note": "381"}
"""UNTDID 1001: commercial invoice, credit note."""
CREDIT_TRANSFER = "30"
"""UNTDID 4461."""
EXEMPTION_CODES = {"reverse_charge": "VATEX-EU-AE"}
"""The code list of BT-121. Only the code for reverse charge says nothing about the law of the Union; an
exemption is told in words alone, since the other codes name articles of Directive 2006/112/EC, which does not
hold in the United Kingdom."""

PEPPOL_CUSTOMISATION = "urn:cen.eu:en16931:2017#compliant#urn:fdc:peppol.eu:2017:poacc:billing:3.0"
PEPPOL_PROCESS = "urn:fdc:peppol.eu:2017:poacc:billing:01:1.0"
"""BT-24 and BT-23 of Peppol BIS Billing 3.0."""

NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""Characters that no XML document may hold (XML 1.0, 2.2)."""

CBC = "{urn:oasis:names:specification:ubl:schema:xsd:CommonBasicComponents-2}"


def exact(text: str) -> str:
    """Text as XML may hold it, white space single: a control character becomes a space."""
    return " ".join(NOT_XML.sub(" ", text).split())


def is_peppol(invoice: Invoice) -> bool:
    """Whether the UBL document goes by Peppol BIS Billing 3.0: both have an electronic address, and there is
    a buyer reference or an order number (PEPPOL-EN16931-R003). Else it is EN 16931 alone."""
    return (
        _has_address(invoice.seller)
        and _has_address(invoice.buyer)
        and bool(exact(invoice.buyer_reference) or exact(invoice.order_number))
    )


def _has_address(party: Party) -> bool:
    return bool(exact(party.electronic_scheme) and exact(party.electronic_id))


def _refuse_wrong_sums(invoice: Invoice) -> None:
    """An e-invoice whose sums don't add up is refused by every receiver (BR-CO-10, 13, 14, 15)."""
    sums = invoice.vat_sums
    right = (
        invoice.net == sum((line.net for line in invoice.lines), NOUGHT)
        and invoice.net == sum((vat_sum.base for vat_sum in sums), NOUGHT)
        and invoice.vat == sum((vat_sum.vat for vat_sum in sums), NOUGHT)
        and invoice.gross == invoice.net + invoice.vat
    )
    if not right:
        raise JobnotesError(f"The sums of {document_number(invoice)} do not add up, so it cannot be sent.")


def _party(party: Party, who: str) -> dict[str, Any]:
    """BG-4 or BG-7. `who` names the party in a complaint."""
    country_name(party.country)
    if party.electronic_scheme and party.electronic_scheme not in electronic_schemes():
        raise JobnotesError(
            f"The electronic scheme {party.electronic_scheme!r} of the {who} is no code of the EAS list,"
            " such as 9932 for a UK VAT number."
        )
    lines = [line for line in map(exact, party.address) if line]
    reached = {"phone": exact(party.telephone), "email": exact(party.email)}
    contact = {key: value for key, value in reached.items() if value}
    terms: dict[str, Any] = {
        "name": exact(party.name),
        # BT-30, BT-47: the list of schemes (ISO 6523) has none for Companies House, so that none is named.
        "legal_identifier": exact(party.company_number),
        "vat_identifier": vat_number(party),
        "addr_l1": lines[0] if lines else "",
        "addr_l2": lines[1] if len(lines) > 1 else "",
        "addr_l3": ", ".join(lines[2:]),
        "city": exact(party.town),
        "postcode": exact(party.postcode),
        "country_code": party.country,
        "contacts": [{key: value for key, value in contact.items() if value}]
        if any(contact.values())
        else [],
    }
    if _has_address(party):
        terms["einvoicing_addr"] = exact(party.electronic_id)
        terms["einvoicing_addr_schemeid"] = party.electronic_scheme
    if account := exact(party.account_number):
        terms["identifiers"] = {None: account}  # BT-46: as the seller knows the buyer
    return {key: value for key, value in terms.items() if value}


def _line(number: int, line: Line, invoice: Invoice, *, several_days: bool) -> dict[str, Any]:
    """BG-25."""
    quantity, price = line.quantity, line.price
    if price < 0:
        # BR-27 wants no price below nought: what is taken off is a quantity below nought.
        quantity, price = -quantity, -price
    charged = sheet_of(line, invoice)
    terms: dict[str, Any] = {
        "BT-126": str(number),
        "BT-129": figure(quantity),
        "BT-130": line.unit,
        "BT-131": figure(line.net, 2),
        "BT-146": figure(price, 2),
        "BT-151": CATEGORY_CODES[line.vat_category],
        "BT-152": figure(line.vat_rate),
        "BT-153": exact(line.text),
        "BT-154": exact(visit_text(charged)) if charged else "",
        "BT-155": exact(line.part_number or ""),
    }
    if line.price_quantity != 1:
        terms["BT-149"] = figure(line.price_quantity)
    if line.day and several_days:
        terms["BT-134"] = terms["BT-135"] = line.day
    return {key: value for key, value in terms.items() if value}


def _when_and_where(invoice: Invoice) -> dict[str, Any]:
    """BT-72 is the day of the last visit, the tax point where there was none; visits of several days have the
    period BG-14 as well. The site (BT-70) where there is but one."""
    days = {charged.day for charged in invoice.sheets} | {line.day for line in invoice.lines if line.day}
    terms: dict[str, Any] = {"BT-72": max(days, default=invoice.tax_point)}
    if len(days) > 1:
        terms["BT-73"], terms["BT-74"] = min(days), max(days)
    sites = {exact(charged.site) for charged in invoice.sheets}
    if len(sites) == 1 and (site := sites.pop()):
        terms["BG-13"] = {"name": site}
    return terms


def _payment(invoice: Invoice) -> dict[str, Any]:
    """BT-9, BT-20 and BG-16. A credit note asks for no payment, so that it names no account."""
    if invoice.kind == "credit_note":
        return {"BT-20": exact(invoice.terms) or phrase("credit_terms")}
    terms: dict[str, Any] = {"BT-20": exact(invoice.terms)}
    if invoice.due:
        terms["BT-9"] = invoice.due
    elif not terms["BT-20"]:
        terms["BT-20"] = phrase("on_receipt")
    bank = invoice.bank
    # BT-86 names the bank: by its BIC beside an IBAN, by the national clearing code, which is the sort code,
    # beside an account number.
    iban = re.sub(r"\s", "", exact(bank.iban)).upper()
    account = iban or exact(bank.account)
    if account:
        terms["BT-81"] = CREDIT_TRANSFER
        terms["BT-82"] = phrase("by_transfer")
        terms["BT-83"] = exact(document_number(invoice))
        terms["BT-84"] = account
        terms["BT-85"] = exact(bank.account_name)
        terms["BT-86"] = (
            re.sub(r"\s", "", exact(bank.bic)).upper()
            if iban
            else re.sub(r"[\s-]", "", exact(bank.sort_code))
        )
    return terms


def _note(invoice: Invoice) -> str:
    """BT-22: why it was credited, and the firm's note. One note, since Peppol takes but one."""
    note = " ".join(text for text in (exact(invoice.reason), exact(invoice.note)) if text)
    # "#ABC#text" would be read as a note with a code before it (BT-21 in UBL).
    return note.lstrip("# ") if note.startswith("#") else note


def terms_of(invoice: Invoice) -> dict[str, Any]:
    """The document in the business terms of EN 16931-1:2017, as the factur-x library takes them.

    Amounts are text to the penny, in the document's currency; dates are dates. Raises JobnotesError for a
    draft, and where the sums do not add up or a country or an electronic scheme is no code.
    """
    if invoice.number is None:
        raise JobnotesError("A draft is no invoice yet, so there is no e-invoice of it.")
    _refuse_wrong_sums(invoice)
    when = _when_and_where(invoice)
    terms: dict[str, Any] = {
        "BT-1": exact(document_number(invoice)),
        "BT-2": invoice.issued,
        "BT-3": TYPE_CODES[invoice.kind],
        "BT-5": invoice.currency,
        "BT-7": invoice.tax_point,
        "BT-10": exact(invoice.buyer_reference),
        "BT-13": exact(invoice.order_number),
        "BG-4": _party(invoice.seller, "firm"),
        "BG-7": _party(invoice.buyer, "customer"),
        "BT-106": figure(invoice.net, 2),
        "BT-109": figure(invoice.net, 2),
        "BT-110": figure(invoice.vat, 2),
        "BT-112": figure(invoice.gross, 2),
        "BT-115": figure(invoice.gross, 2),
        "BG-23": [
            {
                "BT-116": figure(vat_sum.base, 2),
                "BT-117": figure(vat_sum.vat, 2),
                "BT-118": CATEGORY_CODES[vat_sum.category],
                "BT-119": figure(vat_sum.rate),
                "BT-120": exact(reason_text(vat_sum)),
                "BT-121": EXEMPTION_CODES.get(vat_sum.category, ""),
                # The library takes the tax point of CII from here, that of UBL from the document.
                "BT-7": invoice.tax_point,
            }
            for vat_sum in invoice.vat_sums
        ],
        "BG-24": [
            {"BT-122": f"Sheet {charged.sheet}, revision {charged.revision}"} for charged in invoice.sheets
        ],
        "BG-25": [
            _line(number, line, invoice, several_days="BT-73" in when)
            for number, line in enumerate(invoice.lines, 1)
        ],
        **when,
        **_payment(invoice),
    }
    if note := _note(invoice):
        terms["BG-1"] = [{"BT-22": note}]
    if credited := exact(invoice.credits):
        terms["BG-3"] = [{"BT-25": credited}]
        if invoice.credited_on:
            terms["BG-3"][0]["BT-26"] = invoice.credited_on
    return {key: value for key, value in terms.items() if value}


def cii_xml(invoice: Invoice) -> bytes:
    """The document as UN/CEFACT CII D22B, profile EN 16931 of Factur-X: what goes into the PDF.

    Held against the official XSD. Raises JobnotesError as `terms_of` does, and where the XSD refuses it.
    """
    from facturx import generate_cii_xml

    return _checked(invoice, terms_of(invoice), generate_cii_xml)


def ubl_xml(invoice: Invoice) -> bytes:
    """The document as UBL 2.1 Invoice or CreditNote, by Peppol BIS Billing 3.0 where `is_peppol` says so.

    Held against the official XSD. Raises JobnotesError as `terms_of` does, and where the XSD refuses it.
    """
    from facturx import generate_ubl_xml

    terms = terms_of(invoice)
    if is_peppol(invoice):
        terms["BT-23"] = PEPPOL_PROCESS
    return _checked(invoice, terms, generate_ubl_xml, _put_ubl_right)


def _checked(
    invoice: Invoice,
    terms: dict[str, Any],
    generate: Callable[..., bytes],
    put_right: Callable[[Any, Invoice], None] | None = None,
) -> bytes:
    """What the library makes of the terms, put right and held against the XSD."""
    from facturx import xml_check_xsd
    from lxml import etree  # type: ignore[import-untyped]

    try:
        root = etree.fromstring(generate(terms, level=LEVEL, check_xsd=False, check_schematron=False))
        if put_right:
            put_right(root, invoice)
        xml_check_xsd(root)
    except Exception as trouble:  # the library raises bare exceptions
        reason = " ".join(str(trouble).split()).rstrip(".")
        raise JobnotesError(f"No e-invoice can be made of {document_number(invoice)}: {reason}.") from trouble
    return bytes(etree.tostring(root, pretty_print=True, xml_declaration=True, encoding="UTF-8"))


def _put_ubl_right(root: Any, invoice: Invoice) -> None:
    """What the library (7.8) lacks in UBL."""
    # It writes the identifier of its level alone (BT-24), and not that of Peppol's rules.
    if is_peppol(invoice):
        root.find(f"{CBC}CustomizationID").text = PEPPOL_CUSTOMISATION
    # It names the version of UBL, which EN 16931 has no term for (UBL-CR-002).
    root.remove(root.find(f"{CBC}UBLVersionID"))
    # It sets the tax point where an Invoice has it; in a CreditNote the XSD has it before the type.
    if invoice.kind == "credit_note":
        root.find(f"{CBC}CreditNoteTypeCode").addprevious(root.find(f"{CBC}TaxPointDate"))
