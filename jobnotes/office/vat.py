"""Which VAT category a line has, and what customers.csv says of a customer for it."""

from __future__ import annotations

from decimal import Decimal

from jobnotes.jobs.invoice import CATEGORY_CODES, LineKind, VatCategory
from jobnotes.office.settings import ChargedKind, OfficeSettings
from jobnotes.register import CustomerRow, PartRow

WINS: tuple[VatCategory, ...] = ("reverse_charge", "exempt")
CHARGED_AS: dict[LineKind, ChargedKind] = {
    "labour": "labour",
    "minimum": "labour",
    "call_out": "call_out",
    "travel": "travel",
    "part": "part",
    "consumables": "consumables",
}


def category_in(row: CustomerRow | PartRow | None) -> VatCategory | None:
    """The `vat_category` of a row of the register, None where it has none. Raises ValueError for one that
    there is not."""
    text = row.extra.get("vat_category", "").strip().casefold() if row else ""
    if not text:
        return None
    for category in CATEGORY_CODES:
        if category == text:
            return category
    raise ValueError(f"vat_category is {text!r}, not one of {', '.join(CATEGORY_CODES)}")


def category_of(
    kind: LineKind, customer: VatCategory | None, part: VatCategory | None, settings: OfficeSettings
) -> tuple[VatCategory, Decimal]:
    """(category, rate in %) of a line.

    A customer's reverse charge or exemption goes before all; then the part's own category, the customer's,
    that of [vat.lines], that of [vat].
    """
    vat = settings.vat
    if customer in WINS:
        category = customer
    else:
        charged = CHARGED_AS.get(kind)
        own = vat.lines.get(charged) if charged else None
        category = part or customer or own or vat.category
    return category, vat.rate(category)
