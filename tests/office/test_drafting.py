"""From a draft to the document: parties, dates, and what stops it."""

from __future__ import annotations

import datetime
from dataclasses import replace
from decimal import Decimal

import made
import pytest
from made import HOLLIN, TODAY, TUCKERSETT, TUESDAY, adjustment, document, drafted, part, stops, visit

from jobnotes.office.drafting import tax_point
from jobnotes.office.rates import Rates


def test_a_draft_that_is_ready() -> None:
    found = drafted(visit(), note="Thank you.")
    assert found.ready
    assert (found.stops, found.doubts, found.remarks) == ((), (), ())
    invoice = document(
        visit(), note="Thank you.", settings=made.settings(invoice={"note": "Late payment costs."})
    )
    assert invoice.note == "Thank you.\nLate payment costs."
    assert (invoice.number, invoice.printed_number) == (None, "")
    assert invoice.seller.vat_number == "GB123456789"
    assert (invoice.buyer.name, invoice.buyer.address, invoice.buyer.account_number) == (
        HOLLIN,
        ("Hollin Way 2",),
        "HOL1",
    )
    assert invoice.order_number == "HO-4471"
    (sheet,) = invoice.sheets
    assert (sheet.sheet, sheet.day, sheet.fleet_number) == (12, TUESDAY, "EX31")


def test_a_number_is_printed_with_the_prefix() -> None:
    settings = made.settings(invoice={"prefix": "BPF-", "first_number": 200})
    invoice = document(visit(), number=3, approved_by="Ida Marlow", settings=settings)
    assert (invoice.number, invoice.printed_number, invoice.approved_by) == (3, "BPF-3", "Ida Marlow")


def test_the_same_draft_numbered_is_the_same_otherwise() -> None:
    plain, numbered = document(visit()), document(visit(), number=1)
    assert numbered.model_copy(update={"number": None, "printed_number": ""}) == plain


def test_due_by_the_customers_days_else_the_firms() -> None:
    assert document(visit()).due == TODAY + datetime.timedelta(days=45)
    theirs = visit(customer=TUCKERSETT, site="Tuckersett Barn")
    assert document(theirs, customer=TUCKERSETT).due == TODAY + datetime.timedelta(days=30)
    register = made.register()
    register.customers[0] = replace(register.customers[0], payment_days=0)
    assert document(visit(), register=register).due == TODAY


def test_the_date_given_by_hand() -> None:
    assert document(visit(), issued=datetime.date(2026, 3, 11)).issued == datetime.date(2026, 3, 11)


def test_several_orders_are_told_by_the_sheet() -> None:
    invoice = document(visit(1), visit(2, order_number="HO-9", arrived="12:00", left="13:00"))
    assert invoice.order_number == ""
    assert [sheet.order_number for sheet in invoice.sheets] == ["HO-4471", "HO-9"]


@pytest.mark.parametrize(
    ("day", "point"),
    [
        ("2026-03-13", "2026-03-13"),
        ("2026-02-27", "2026-03-13"),  # fourteen days before
        ("2026-02-26", "2026-02-26"),  # fifteen
        ("2026-03-20", "2026-03-13"),  # invoiced before
    ],
)
def test_tax_point(day: str, point: str) -> None:
    """VAT Act 1994, section 6(4) and (5), from memory: 14 days."""
    assert tax_point([datetime.date.fromisoformat(day)], TODAY) == datetime.date.fromisoformat(point)


def test_tax_point_of_several_visits_is_that_of_the_latest() -> None:
    early, late = visit(1, date=datetime.date(2026, 2, 20)), visit(2)
    found = drafted(early, late)
    assert found.invoice is not None and found.invoice.tax_point == TUESDAY
    assert "your accountant decides" in found.remarks[0]
    assert found.ready


@pytest.mark.parametrize(
    ("key", "says"),
    [
        ("name", "office.toml, [seller]: name is missing."),
        ("address", "office.toml, [seller]: address is missing."),
        ("vat_number", "office.toml, [seller]: vat_number is missing."),
    ],
)
def test_a_seller_without_particulars_stops(key: str, says: str) -> None:
    from jobnotes.office.settings import office_settings
    from jobnotes.paper import Firm

    seller = {name: value for name, value in made.SELLER.items() if name != key}
    assert stops(visit(), settings=office_settings({"seller": seller}, Firm())) == says


@pytest.mark.parametrize(
    ("extra", "says"),
    [
        ({"address_1": " "}, "customers.csv, Hollin Plant Hire: address_1 is empty."),
        ({"country": "UK"}, "country is 'UK', not one of ISO 3166-1, such as GB."),
        ({"vat_number": "12"}, "vat_number is '12', which is none"),
        ({"vat_category": "half"}, "vat_category is 'half', not one of standard, zero"),
        ({"vat_category": "reverse_charge"}, "vat_number is empty, and the reverse charge needs it."),
        ({"vat_category": "exempt"}, "office.toml, [vat]: exempt_reason is missing, and a line is exempt."),
        ({"electronic_id": "1"}, "electronic_scheme and electronic_id belong together."),
        ({"electronic_id": "1", "electronic_scheme": "0001"}, "electronic_scheme is '0001', not one of"),
    ],
)
def test_a_customer_with_wrong_particulars_stops(extra: dict[str, str], says: str) -> None:
    assert says in stops(visit(), register=made.customer(**extra))


def test_a_customer_that_is_not_known_stops() -> None:
    sheet = visit(customer="Nobody & Sons")
    assert "customers.csv: there is no customer 'Nobody & Sons'." in stops(sheet, customer="Nobody & Sons")


def test_sheets_of_different_customers_stop() -> None:
    other = visit(13, customer=TUCKERSETT, date=datetime.date(2026, 3, 9))
    assert "Sheet 13 is of Tuckersett Farms, not of Hollin Plant Hire." in stops(visit(), other)
    assert "Sheet 13 names no customer" in stops(visit(), replace(other, customer=""))
    assert drafted(visit(customer="hollin  plant hire")).stops == ()


def test_a_sheet_that_does_not_hold_stops() -> None:
    from jobnotes.office.drafting import draft_invoice

    found = draft_invoice(
        made.draft(12, 14),
        [visit()],
        made.register(),
        made.rates(),
        made.settings(),
        made.LONDON,
        today=TODAY,
    )
    assert found.stops == ("Sheet 14 does not hold (any more): take it out of the draft.",)


def test_a_sheet_that_is_invoiced_already_stops() -> None:
    assert stops(visit(), invoiced={12: 7, 13: 8}) == "Sheet 12 is on invoice 7 already."


def test_nothing_to_charge_stops() -> None:
    bare = visit(arrived=None, left=None, travel_min=None)
    found = drafted(bare)
    assert found.invoice is None
    assert "There is nothing to charge." in found.stops
    assert len(found.doubts) == 2
    free = adjustment("set", "12/labour/normal", price="0")
    no_travel = adjustment("drop", "12/travel")
    assert "the lines come to 0.00" in stops(visit(), adjustments=(free, no_travel))


def test_faults_in_the_rates_stop() -> None:
    rates = made.rates()
    broken = Rates(rates.rows, ["rates.csv, line 9, column amount: it is empty."])
    assert stops(visit(), rates=broken) == "rates.csv, line 9, column amount: it is empty."


def test_a_line_to_be_looked_at_is_not_ready() -> None:
    found = drafted(visit(labour_min=20))
    assert (found.stops, found.doubts, found.ready) == ((), (), False)
    assert drafted(visit(labour_min=20), adjustments=(adjustment("confirm", "12/labour/normal"),)).ready


def test_a_visit_after_the_invoices_date_is_a_doubt() -> None:
    late = visit(date=datetime.date(2026, 3, 20))
    assert drafted(late).doubts == ("Sheet 12 is of Fri 20 Mar 2026, after the invoice's date.",)
    assert drafted(late, adjustments=(adjustment("confirm", "12/issued"),)).ready


@pytest.mark.parametrize("year", [1, 2024, 2028, 9999])
def test_an_invoice_dated_more_than_a_year_away_stops(year: int) -> None:
    day = datetime.date(year, 12, 31)
    found = drafted(visit(), issued=day)
    assert not found.ready and found.invoice is not None and found.invoice.issued == day
    assert [each for each in found.stops if "more than a year from today" in each]


def test_an_invoice_dated_ahead_is_asked_about() -> None:
    day = made.TODAY + datetime.timedelta(days=30)
    found = drafted(visit(), issued=day)
    (doubt,) = found.doubts
    assert not found.ready and "still to come" in doubt and doubt.key == f"{day}/issued"
    assert drafted(visit(), issued=day, adjustments=(adjustment("confirm", doubt.key),)).ready
    # What was confirmed is that day, and no other.
    later = day + datetime.timedelta(days=1)
    assert drafted(visit(), issued=later, adjustments=(adjustment("confirm", doubt.key),)).doubts
    assert drafted(visit(), issued=made.TODAY).ready


def test_the_reverse_charge_tells_the_rate_to_account_for() -> None:
    """HM Revenue and Customs asks for the amount, or the rate, that the customer accounts for."""
    theirs = made.customer(vat_category="reverse_charge", vat_number="GB111222333")
    (total,) = document(visit(), register=theirs).vat_sums
    assert (total.rate, total.vat) == (0, 0) and total.reason.endswith("reverse charge output tax at 20%")
    other = made.settings(vat={"standard_rate": Decimal("17.50")})
    assert document(visit(), register=theirs, settings=other).vat_sums[0].reason.endswith("tax at 17.5%")
    own = made.settings(vat={"reverse_charge_reason": "Reverse charge applies."})
    assert document(visit(), register=theirs, settings=own).vat_sums[0].reason == "Reverse charge applies."


def test_lines_stand_in_the_order_of_days() -> None:
    visits = [visit(1, date=datetime.date(2026, 3, 11)), visit(2), visit(3, arrived="13:00", left="14:00")]
    invoice = document(*visits)
    assert [line.key.split("/")[0] for line in invoice.lines] == ["2", "2", "3", "3", "1", "1"]
    assert [sheet.sheet for sheet in invoice.sheets] == [2, 3, 1]


def test_what_can_not_be_charged_stops() -> None:
    assert "HV-1) is not in parts.csv" in stops(visit(parts=(part("HV-1"),)))
    assert "has no labour_normal" in stops(visit(), rates=made.rates(without="labour_normal"))


def test_slips_of_any_size_stop_in_words() -> None:
    register = made.register()
    register.customers[0] = replace(register.customers[0], payment_days=10**9)
    assert "payment_days is more than 3650" in stops(visit(), register=register)
    assert "too large to be charged" in stops(visit(arrived=None, left=None, labour_min=10**15))
    by_mile = made.settings(travel={"by": "mile"})
    assert "Mileage: the quantity is too large" in stops(visit(miles=1e300), settings=by_mile)
    assert "Relief valve, main: the quantity is too large" in stops(visit(parts=(part(quantity=1e300),)))
    register = made.register()
    register.parts[0] = replace(register.parts[0], price=Decimal("1e40"))
    assert "has a price of more than 10000000" in stops(visit(parts=(part(),)), register=register)
