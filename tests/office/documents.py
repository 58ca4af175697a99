"""Invented invoices and credit notes of every kind that the program makes."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterable
from decimal import Decimal
from typing import Any

from jobnotes.jobs.invoice import (
    Bank,
    ChargedSheet,
    Invoice,
    Line,
    Party,
    Source,
    VatCategory,
    line_net,
    vat_sums,
)

SELLER = Party(
    name="Harrow Lane Plant Repairs",
    address=("Unit 4", "Brackenfold Yard"),
    town="Brackmere",
    postcode="BK4 7QT",
    vat_number="GB 913 2047 56",
    company_number="09990417",
    telephone="01632 960 144",
    email="desk@harrowlane.example",
)
BUYER = Party(
    name="Ostrey Stone Products",
    address=("The Weighbridge Office", "Penny Moor Quarry"),
    town="Ostrey",
    postcode="OS2 1PM",
    vat_number="GB204881937",
    account_number="OST-014",
    email="accounts@ostrey.example",
)
BANK = Bank(account_name="Harrow Lane Plant Repairs", account="00417733", sort_code="991204")
IBAN = Bank(account_name="Harrow Lane Plant Repairs", iban="GB33 BUKB 2020 1555 5555 55", bic="BUKBGB22")

EXEMPT_REASON = "Exempt: training of apprentices"
REVERSE_REASON = "Reverse charge: customer to account to HMRC for the VAT at 20%"
REASONS: dict[VatCategory, str] = {"exempt": EXEMPT_REASON, "reverse_charge": REVERSE_REASON}

ISSUED = datetime.date(2026, 3, 16)
TAX_POINT = datetime.date(2026, 3, 13)


def sheet(number: int, day: int = 10, **changed: Any) -> ChargedSheet:
    """A sheet of March 2026."""
    values: dict[str, Any] = {
        "sheet": number,
        "revision": 1,
        "day": datetime.date(2026, 3, day),
        "engineer": "Tamsin Quill",
        "site": "Penny Moor Quarry",
        "machine": "Wheeled excavator Kelbrack W160",
        "fleet_number": "WX 31",
        "order_number": "PO 88-2041",
        "complaint": "Fan runs flat out all day and the coolant warning comes and goes",
    }
    return ChargedSheet(**{**values, **changed})


def line(
    sheet_number: int | None,
    text: str,
    quantity: str,
    unit: str,
    price: str,
    *,
    per: str = "1",
    category: VatCategory = "standard",
    rate: str | None = None,
    day: int = 10,
    kind: str = "part",
    **more: Any,
) -> Line:
    """A line whose net is quantity times price, of a sheet or, without one, added by the office."""
    rates = {"standard": "20", "zero": "0", "exempt": "0", "reverse_charge": "0"}
    name = text.lower().replace(" ", "-")
    return Line(
        key=f"{sheet_number}/{name}" if sheet_number else f"added/{name}",
        kind=kind,  # type: ignore[arg-type]
        text=text,
        quantity=Decimal(quantity),
        unit=unit,  # type: ignore[arg-type]
        price=Decimal(price),
        price_quantity=Decimal(per),
        net=line_net(Decimal(quantity), Decimal(price), Decimal(per)),
        vat_category=category,
        vat_rate=Decimal(rate or rates[category]),
        day=datetime.date(2026, 3, day) if sheet_number else None,
        sources=(Source(sheet=sheet_number, revision=1, pointer="/job"),) if sheet_number else (),
        **more,
    )


def document(lines: Iterable[Line], sheets: Iterable[ChargedSheet] = (), **changed: Any) -> Invoice:
    """An invoice with its sums."""
    all_lines = tuple(lines)
    sums = vat_sums(all_lines, REASONS)
    net = sum((each.net for each in all_lines), Decimal("0.00"))
    vat = sum((each.vat for each in sums), Decimal("0.00"))
    values: dict[str, Any] = {
        "number": 1042,
        "printed_number": "HL-1042",
        "issued": ISSUED,
        "tax_point": TAX_POINT,
        "due": datetime.date(2026, 4, 15),
        "seller": SELLER,
        "buyer": BUYER,
        "bank": BANK,
        "order_number": "PO 88-2041",
        "terms": "Payment within 30 days of the invoice.",
        "approved_by": "Maud Ferris",
        "sheets": tuple(sheets),
        "lines": all_lines,
        "vat_sums": sums,
        "net": net,
        "vat": vat,
        "gross": net + vat,
    }
    return Invoice(**{**values, **changed})


def one_visit(number: int = 12, day: int = 10, **options: Any) -> list[Line]:
    """The lines of a usual visit."""
    return [
        line(number, "Labour, normal hours", "3.25", "HUR", "58.00", kind="labour", day=day, **options),
        line(number, "Travel", "52", "SMI", "0.55", kind="travel", day=day, **options),
        line(
            number,
            "Coolant temperature sensor",
            "1",
            "C62",
            "41.37",
            day=day,
            part_number="KB-77-1043",
            **options,
        ),
        line(number, "Coolant, ready mixed", "4.5", "LTR", "3.90", day=day, **options),
        line(number, "Consumables", "1", "C62", "5.12", kind="consumables", day=day, **options),
    ]


def standard(**changed: Any) -> Invoice:
    return document(one_visit(), [sheet(12)], **changed)


def zero() -> Invoice:
    return document(one_visit(category="zero"), [sheet(12)])


def exempt() -> Invoice:
    return document(one_visit(category="exempt"), [sheet(12)])


def reverse_charge(**changed: Any) -> Invoice:
    return document(one_visit(category="reverse_charge"), [sheet(12)], **changed)


def mixed() -> Invoice:
    """All that may stand in one document; reverse charge stands alone with others too in UK practice."""
    return document(
        [
            *one_visit(),
            line(12, "Safety handbook", "2", "C62", "14.95", category="zero"),
            line(12, "Apprentice's training", "1.5", "HUR", "40.00", category="exempt"),
            line(12, "Heating oil for the bench", "20", "LTR", "1.049", rate="5"),
            line(12, "Wall of the wash bay", "1", "C62", "310.00", category="reverse_charge"),
        ],
        [sheet(12)],
    )


def minutes() -> Invoice:
    """Times that hours can't tell with two decimals: minutes, priced for 60."""
    return document(
        [
            line(12, "Labour, normal hours", "100", "MIN", "58.00", per="60", kind="labour"),
            line(12, "Labour, evening", "20", "MIN", "87.00", per="60", kind="labour"),
            line(12, "Cable ties", "30", "H87", "4.20", per="100"),
        ],
        [sheet(12)],
    )


def several_visits(**changed: Any) -> Invoice:
    return document(
        [
            *one_visit(12, 10),
            *one_visit(15, 12),
            *one_visit(19, 13),
            line(None, "Hire of the loading ramp", "1", "C62", "35.00", kind="other"),
        ],
        [
            sheet(12, 10),
            sheet(15, 12, fleet_number="TH 07", machine="Telehandler Dunmoor T35", engineer="Owen Sallis"),
            sheet(19, 13, fleet_number="", machine="", site="Low Wood Yard", order_number="PO 88-2066"),
        ],
        **changed,
    )


def same_day() -> Invoice:
    """Two machines at one site on one day."""
    return document([*one_visit(12, 10), *one_visit(13, 10)], [sheet(12), sheet(13, fleet_number="WX 32")])


def credit_of(original: Invoice, lines: Iterable[Line] | None = None, **changed: Any) -> Invoice:
    """A credit note over an invoice: whole, or for the lines given."""
    return document(
        original.lines if lines is None else lines,
        original.sheets,
        **{
            "kind": "credit_note",
            "number": 1047,
            "printed_number": "HL-1047",
            "issued": datetime.date(2026, 3, 30),
            "tax_point": datetime.date(2026, 3, 30),
            "due": None,
            "credits": original.printed_number,
            "credited_on": original.issued,
            "reason": "The sensor was supplied under warranty",
            "terms": "",
            **changed,
        },
    )


def credit_whole() -> Invoice:
    return credit_of(standard())


def credit_part() -> Invoice:
    """A part quantity of one line and the whole of another."""
    labour, _, sensor, *_ = standard().lines
    part = labour.model_copy(update={"quantity": Decimal("1.25"), "net": Decimal("72.50")})
    return credit_of(standard(), [part, sensor])


def credit_reverse_charge() -> Invoice:
    return credit_of(reverse_charge())


def credit_of_last_pennies() -> Invoice:
    """The credit that takes the last of an invoice credits what VAT is left, here a penny less."""
    credit = credit_of(standard(), [standard().lines[0]])
    only = credit.vat_sums[0].model_copy(update={"vat": credit.vat_sums[0].vat - Decimal("0.01")})
    return credit.model_copy(update={"vat_sums": (only,), "vat": only.vat, "gross": credit.net + only.vat})


def peppol(**changed: Any) -> Invoice:
    """Both have an electronic address: EAS 9932, a UK VAT number."""
    seller = SELLER.model_copy(update={"electronic_scheme": "9932", "electronic_id": "GB913204756"})
    buyer = BUYER.model_copy(update={"electronic_scheme": "9932", "electronic_id": "GB204881937"})
    return several_visits(
        **{"seller": seller, "buyer": buyer, "buyer_reference": "Quarry workshop", **changed}
    )


def peppol_one_visit() -> Invoice:
    parties = peppol()
    return standard(seller=parties.seller, buyer=parties.buyer)


def peppol_mixed() -> Invoice:
    parties = peppol()
    return mixed().model_copy(update={"seller": parties.seller, "buyer": parties.buyer})


def peppol_minutes() -> Invoice:
    parties = peppol()
    return minutes().model_copy(update={"seller": parties.seller, "buyer": parties.buyer})


def peppol_credit() -> Invoice:
    parties = peppol()
    return credit_of(several_visits(), seller=parties.seller, buyer=parties.buyer)


def no_bank() -> Invoice:
    return standard(bank=Bank(), due=None, terms="", order_number="")


def with_iban() -> Invoice:
    return standard(bank=IBAN)


def abroad() -> Invoice:
    """A customer in another country, in its currency's own sign."""
    buyer = BUYER.model_copy(
        update={"country": "IE", "vat_number": "IE1234567T", "postcode": "", "town": "Ballymoor"}
    )
    return reverse_charge(buyer=buyer)


HOSTILE = '<script>alert("x")</script> &amp; \x00\x07\u202e]]> #AAA# {{ 7*7 }} ' + "W" * 200


def hostile() -> Invoice:
    """Text that would break a page or an XML file, in every place that takes text."""
    bad = HOSTILE
    return document(
        [line(12, bad, "1", "C62", "10.00", part_number=bad), *one_visit()],
        [sheet(12, site=bad, machine=bad, fleet_number=bad, engineer=bad, order_number=bad, complaint=bad)],
        printed_number="HL-1042",
        seller=SELLER.model_copy(update={"name": bad, "address": (bad, bad, bad, bad, bad), "town": bad}),
        buyer=BUYER.model_copy(update={"name": bad, "address": (bad,), "town": bad, "account_number": bad}),
        bank=Bank(account_name=bad, account=bad, sort_code=bad),
        buyer_reference=bad,
        order_number=bad,
        terms=bad,
        note="#AAA#" + bad,
    )


def pennies() -> Invoice:
    """Lines that each end in half a penny, and a VAT that does."""
    return document(
        [line(12, f"Washer {size}", "3", "C62", "0.335") for size in range(1, 8)]
        + [line(12, "Seal", "1", "C62", "0.125"), line(12, "O-ring", "1", "C62", "0.005")],
        [sheet(12)],
    )


def taken_off() -> Invoice:
    """A line added by the office that takes something off."""
    return document(
        [*one_visit(), line(None, "Allowance as agreed", "1", "C62", "-25.00", kind="other")], [sheet(12)]
    )


def added_only() -> Invoice:
    """No visit at all."""
    return document([line(None, "Hire of the loading ramp", "1", "C62", "35.00", kind="other")])


def dear() -> Invoice:
    """Amounts with thousands."""
    return document([line(12, "Engine, exchange unit", "2", "C62", "12345.675")], [sheet(12)])


KINDS: dict[str, Callable[[], Invoice]] = {
    make.__name__: make
    for make in (
        standard,
        zero,
        exempt,
        reverse_charge,
        mixed,
        minutes,
        several_visits,
        same_day,
        credit_whole,
        credit_part,
        credit_reverse_charge,
        credit_of_last_pennies,
        peppol,
        peppol_one_visit,
        peppol_mixed,
        peppol_minutes,
        peppol_credit,
        no_bank,
        with_iban,
        abroad,
        hostile,
        pennies,
        taken_off,
        added_only,
        dear,
    )
}
