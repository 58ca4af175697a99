"""An invoice or credit note as a document: what was charged, to whom, and the sums of EN 16931.

Amounts are in the document's currency, net unless they say otherwise. Lines of a credit note have positive
amounts too: what is credited.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from decimal import Decimal
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints

from jobnotes.jobs.money import NOUGHT, share_of, to_penny

Text = Annotated[str, StringConstraints(min_length=1)]
VatCategory = Literal["standard", "zero", "exempt", "reverse_charge"]
CATEGORY_CODES: dict[VatCategory, str] = {
    "standard": "S",
    "zero": "Z",
    "exempt": "E",
    "reverse_charge": "AE",
}
"""UNTDID 5305, as EN 16931 takes it."""

ChargeUnit = Literal["HUR", "MIN", "SMI", "C62", "H87", "LTR", "MTR", "KGM", "SET"]
"""UN/ECE Recommendation 20 and 21: hour, minute, statute mile, one, piece, litre, metre, kilogram, set."""

LineKind = Literal["labour", "minimum", "call_out", "travel", "part", "consumables", "other"]


class Frozen(BaseModel):
    """Every object of a document: nothing but the named fields, never changed."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Source(Frozen):
    """Where a line comes from: a sheet, and the JSON Pointer of a value in its job ("/job/times/arrived")."""

    sheet: int
    revision: int
    pointer: str


class Line(Frozen):
    """A line. `net` is `quantity` times `price` for each `price_quantity`, rounded once.

    `key` names the line within its draft, however often the draft is made anew: "12/labour/normal" is one of
    sheet 12. `day` is the date of the visit. `remarks` tell how the figure came about. `look` says why a
    person should look at the line before the invoice is approved. `changed` is the reason given where a
    person changed it.
    """

    key: Text
    kind: LineKind
    text: Text
    quantity: Decimal
    unit: ChargeUnit
    price: Decimal
    price_quantity: Decimal = Decimal(1)
    net: Decimal
    vat_category: VatCategory
    vat_rate: Decimal
    day: datetime.date | None = None
    part_number: str | None = None
    sources: tuple[Source, ...] = ()
    remarks: tuple[str, ...] = ()
    look: str | None = None
    changed: str | None = None


class Party(Frozen):
    """Seller or buyer. `country` is ISO 3166-1 alpha-2; `electronic_scheme` a code of the EAS list."""

    name: Text
    address: tuple[str, ...] = ()
    town: str = ""
    postcode: str = ""
    country: str = "GB"
    vat_number: str = ""
    company_number: str = ""
    account_number: str = ""
    telephone: str = ""
    email: str = ""
    electronic_scheme: str = ""
    electronic_id: str = ""


class Bank(Frozen):
    """Where to pay to. An `iban`, or a UK `account` with its `sort_code`."""

    account_name: str = ""
    iban: str = ""
    bic: str = ""
    account: str = ""
    sort_code: str = ""


class ChargedSheet(Frozen):
    """A sheet that a document charges or credits, in words."""

    sheet: int
    revision: int
    day: datetime.date
    engineer: str
    site: str = ""
    machine: str = ""
    fleet_number: str = ""
    order_number: str = ""
    complaint: str = ""


class VatSum(Frozen):
    """The VAT of one category and rate (EN 16931, BG-23). `reason` is why none is charged."""

    category: VatCategory
    rate: Decimal
    base: Decimal
    vat: Decimal
    reason: str = ""


class Invoice(Frozen):
    """An invoice or credit note. `number` is None for a draft; `printed_number` is what stands on paper.

    `tax_point` is the time of supply; `credits` the printed number and date of the invoice that a credit note
    credits. Sums are those of EN 16931: `net` BT-109, `vat` BT-110, `gross` BT-112 and BT-115.
    """

    kind: Literal["invoice", "credit_note"] = "invoice"
    number: int | None = None
    printed_number: str = ""
    currency: Annotated[str, StringConstraints(pattern=r"^[A-Z]{3}$")] = "GBP"
    issued: datetime.date
    tax_point: datetime.date
    due: datetime.date | None = None
    seller: Party
    buyer: Party
    bank: Bank = Field(default_factory=Bank)
    buyer_reference: str = ""
    order_number: str = ""
    terms: str = ""
    note: str = ""
    credits: str = ""
    credited_on: datetime.date | None = None
    reason: str = ""
    approved_by: str = ""
    sheets: tuple[ChargedSheet, ...] = ()
    lines: tuple[Line, ...]
    vat_sums: tuple[VatSum, ...]
    net: Decimal
    vat: Decimal
    gross: Decimal

    @property
    def looks(self) -> list[Line]:
        """The lines that a person should look at."""
        return [line for line in self.lines if line.look]


def line_net(quantity: Decimal, price: Decimal, price_quantity: Decimal = Decimal(1)) -> Decimal:
    """What a line comes to (EN 16931, BT-131): rounded once."""
    return to_penny(quantity * price / price_quantity)


def vat_sums(lines: Iterable[Line], reasons: dict[VatCategory, str]) -> tuple[VatSum, ...]:
    """The VAT by category and rate, each rounded once over its base (EN 16931, BR-CO-17).

    `reasons` tell why no VAT is charged (BT-120): needed for exempt and reverse charge.
    """
    bases: dict[tuple[VatCategory, Decimal], Decimal] = {}
    for line in lines:
        key = (line.vat_category, line.vat_rate)
        bases[key] = bases.get(key, NOUGHT) + line.net
    order = list(CATEGORY_CODES)
    return tuple(
        VatSum(
            category=category,
            rate=rate,
            base=base,
            vat=share_of(base, rate),
            reason=reasons.get(category, ""),
        )
        for (category, rate), base in sorted(
            bases.items(), key=lambda item: (order.index(item[0][0]), -item[0][1])
        )
    )
