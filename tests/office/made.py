"""An invented firm and its work: visits, register, rates and rules for the tests of the reckoning."""

from __future__ import annotations

import datetime
from dataclasses import replace
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from jobnotes.jobs.invoice import Invoice, Line
from jobnotes.office.drafting import DraftInvoice, credit_note, draft_invoice
from jobnotes.office.lines import DraftLines, draft_lines
from jobnotes.office.rates import RateRow, Rates
from jobnotes.office.settings import OfficeSettings, office_settings
from jobnotes.office.visits import UsedPart, Visit
from jobnotes.paper import Firm
from jobnotes.register import CustomerRow, PartRow, Register, SiteRow
from jobnotes.store import Adjustment, InvoiceDraft

LONDON = ZoneInfo("Europe/London")
FIRM = Firm("Brackmere Plant Fitters", ("Unit 4", "Brackmere"), "01632 960 001", "office@brackmere.example")
HOLLIN = "Hollin Plant Hire"
TUCKERSETT = "Tuckersett Farms"
TUESDAY = datetime.date(2026, 3, 10)
NOON = datetime.datetime(2026, 3, 10, 12, tzinfo=datetime.UTC)
TODAY = datetime.date(2026, 3, 13)
CREDITED = datetime.date(2026, 3, 20)
NO_TRAVEL = {"travel": {"by": "none"}}

SELLER = {
    "name": "Brackmere Plant Fitters",
    "address": ["Unit 4, Tannery Lane"],
    "town": "Brackmere",
    "postcode": "QX7 2AB",
    "vat_number": "GB 123 4567 89",
}
AMOUNTS = {
    "labour_normal": "58.50",
    "labour_evening": "87.75",
    "labour_saturday": "87.75",
    "labour_sunday": "117.00",
    "labour_bank_holiday": "117.00",
    "travel_hour": "45.00",
    "travel_mile": "0.95",
}


def visit(sheet: int = 12, **changes: Any) -> Visit:
    """A visit of three hours on a Tuesday morning, with an hour's travel both ways."""
    plain = Visit(
        sheet=sheet,
        revision=1,
        engineer="Tamsin Quill",
        engineer_id=1,
        signed_at=NOON,
        first_signed_at=NOON,
        memo=f"memo-{sheet}.m4a",
        date=TUESDAY,
        dated=True,
        customer=HOLLIN,
        site="Brindlegate Yard",
        order_number="HO-4471",
        fleet_number="EX31",
        machine_key="EX31",
        machine_type="excavator",
        machine="Excavator Tronvek TK210",
        serial_number="TRV21X31",
        hours=4216.0,
        complaint="slow boom",
        cause="worn relief valve",
        fault_codes=(),
        work=("fitted a relief valve",),
        parts=(),
        follow_up=(),
        arrived="08:00",
        left="11:00",
        labour_min=None,
        travel_min=60,
        miles=25.0,
        outcome="complete",
        machine_state="in_service",
    )
    return replace(plain, **changes)


def part(number: str = "HV-7731", quantity: float = 1, **changes: Any) -> UsedPart:
    """A relief valve, fitted."""
    return replace(UsedPart(0, "relief valve", number, quantity, "each", "fitted"), **changes)


def register(**changes: Any) -> Register:
    """Two customers, four sites and some parts."""
    made = Register(
        customers=[
            CustomerRow(HOLLIN, "HOL1", 45, {"address_1": "Hollin Way 2", "postcode": "QX1 1AA"}),
            CustomerRow(TUCKERSETT, "", None, {"address_1": "Tuckersett", "vat_number": "GB987654321"}),
        ],
        sites=[
            SiteRow("Brindlegate Yard", HOLLIN, "QX", 12.5),
            SiteRow("Ashlow Pit", HOLLIN, "QX", 37.5),
            SiteRow("Tuckersett Barn", TUCKERSETT, "QY", 8.0),
            SiteRow("Far Field", TUCKERSETT, "QY", None),
        ],
        parts=[
            PartRow("HV-7731", "Relief valve, main", "each", Decimal("118.75")),
            PartRow("OIL46", "Hydraulic oil 46", "L", Decimal("3.20")),
            PartRow("HS-12", "Hose, half inch", "m", Decimal("7.333")),
            PartRow("NP-1", "Boom pin", "each", None),
        ],
    )
    for name, value in changes.items():
        setattr(made, name, value)
    return made


def customer(**extra: str) -> Register:
    """The register with other cells for Hollin Plant Hire."""
    made = register()
    made.customers[0] = replace(made.customers[0], extra={**made.customers[0].extra, **extra})
    return made


def rates(without: str = "", *, rows: list[RateRow] | None = None, **amounts: str) -> Rates:
    """The usual amounts, `amounts` over them, the one named `without` left out, `rows` put before."""
    usual = {**AMOUNTS, **amounts}
    usual.pop(without, None)
    made = [RateRow(0, rate, "", None, None, Decimal(amount)) for rate, amount in usual.items()]
    return Rates((*(rows or ()), *made))


def band(amount: str, miles: str, customer: str = "") -> RateRow:
    """A row of travel_band."""
    return RateRow(0, "travel_band", customer, None, None, Decimal(amount), Decimal(miles))


def settings(**sections: Any) -> OfficeSettings:
    """The usual rules; a section given takes the place of the usual one."""
    return office_settings({"seller": SELLER, **sections}, FIRM)


def adjustment(kind: Any, key: str, reason: str = "as agreed", **values: str) -> Adjustment:
    """A change by hand, as the store keeps it."""
    return Adjustment(kind, key, values, reason, "Ida Marlow", NOON)


def draft(
    *sheets: int,
    adjustments: tuple[Adjustment, ...] = (),
    issued: datetime.date | None = None,
    note: str = "",
    customer: str = HOLLIN,
) -> InvoiceDraft:
    """A draft as the store keeps it."""
    return InvoiceDraft(1, 1, "open", customer, sheets, adjustments, issued, note, "Ida", NOON, NOON, None)


def drafted(*visits: Visit, others: tuple[Visit, ...] = (), **changes: Any) -> DraftInvoice:
    """The draft of some visits; `changes` are adjustments, issued, note, customer, register, rates, settings,
    today, number, invoiced."""
    of_draft = {k: changes.pop(k) for k in ("adjustments", "issued", "note", "customer") if k in changes}
    return draft_invoice(
        draft(*(each.sheet for each in visits), **of_draft),
        [*visits, *others],
        changes.pop("register", None) or register(),
        changes.pop("rates", None) or rates(),
        changes.pop("settings", None) or settings(),
        LONDON,
        today=changes.pop("today", TODAY),
        **changes,
    )


def lines(
    *visits: Visit,
    others: tuple[Visit, ...] = (),
    adjustments: Any = (),
    invoiced: Any = None,
    **changes: Any,
) -> DraftLines:
    """The lines of some visits, without travel unless `changes`, sections of the rules, say otherwise."""
    of = changes.pop("rates", None) or rates()
    known = changes.pop("register", None) or register()
    rules = settings(**{**NO_TRAVEL, **changes})
    return draft_lines(visits, [*visits, *others], known, of, rules, LONDON, adjustments, invoiced)


def line(found: DraftLines, key: str) -> Line:
    """The one line of that key."""
    (one,) = [each for each in found.lines if each.key == key]
    return one


def keys(found: DraftLines) -> list[str]:
    """The keys of all lines, in order."""
    return [each.key for each in found.lines]


def category(found: DraftLines, key: str) -> tuple[str, Decimal]:
    """(VAT category, rate in %) of a line."""
    return line(found, key).vat_category, line(found, key).vat_rate


def document(*visits: Any, **changes: Any) -> Invoice:
    """The document of `drafted`."""
    invoice = drafted(*visits, **changes).invoice
    assert invoice is not None
    return invoice


def credited(original: Invoice, *earlier: Invoice, **more: Any) -> Invoice:
    """A credit note, number 4, a week after the invoice."""
    given = {"issued": CREDITED, "reason": "faulty", "number": 4, "printed_number": "4", **more}
    return credit_note(original, earlier, **given)


def stops(*visits: Any, **changes: Any) -> str:
    """What stops a draft, in one text."""
    found = drafted(*visits, **changes)
    assert not found.ready
    return " ".join(found.stops)
