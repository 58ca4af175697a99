"""Figures for the office's charts."""

from __future__ import annotations

import datetime
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from visited import on, visited

from jobnotes.jobs.invoice import ChargedSheet, Invoice, Line, Party, Source
from jobnotes.office.figures import Month, days_to_invoice, hours_a_day, spend_by_machine

FIRM = Party(name="Brackmere Plant Fitters")
LATER = on(30)
MACHINES = {1: "EX 14", 2: "RO 31", 3: "EX-14"}


def document(
    lines: list[tuple[str, tuple[int, ...]]],
    kind: str = "invoice",
    issued: datetime.date = LATER,
    visits: dict[int, datetime.date] | None = None,
) -> Invoice:
    """An invoice of lines, each a net amount and the sheets behind it."""
    days = visits if visits is not None else {n: on(0) for _, sheets in lines for n in sheets}
    net = sum((Decimal(amount) for amount, _ in lines), Decimal("0.00"))
    return Invoice(
        kind=kind,  # type: ignore[arg-type]
        issued=issued,
        tax_point=issued,
        seller=FIRM,
        buyer=Party(name="Brackmere Hire"),
        sheets=tuple(
            ChargedSheet(
                sheet=n,
                revision=1,
                day=day,
                engineer="Tamsin Quill",
                machine="Machine",
                fleet_number=MACHINES.get(n, ""),
            )
            for n, day in days.items()
        ),
        lines=tuple(
            Line(
                key=str(place),
                kind="labour",
                text="Labour",
                quantity=Decimal(1),
                unit="C62",
                price=Decimal(amount),
                net=Decimal(amount),
                vat_category="standard",
                vat_rate=Decimal(20),
                sources=tuple(Source(sheet=n, revision=1, pointer="/job/work/0") for n in sheets),
            )
            for place, (amount, sheets) in enumerate(lines)
        ),
        vat_sums=(),
        net=net,
        vat=Decimal(0),
        gross=net,
    )


def spend(*documents: Invoice) -> dict[str, Decimal]:
    return {each.machine_key: each.net for each in spend_by_machine(documents)}


def test_spend_goes_by_machine_over_all_sheets_and_invoices() -> None:
    found = spend_by_machine(
        [document([("100.00", (1,)), ("40.50", (2,))]), document([("9.99", (3,))])],
    )
    assert [(each.machine_key, each.net, each.sheets) for each in found] == [
        ("EX14", Decimal("109.99"), (1, 3)),
        ("RO31", Decimal("40.50"), (2,)),
    ]


def test_a_credit_is_taken_off() -> None:
    charged, credit = document([("100.00", (1,))]), document([("30.00", (1,))], "credit_note")
    assert spend(charged, credit) == {"EX14": Decimal("70.00")}
    assert spend(credit, charged) == {"EX14": Decimal("70.00")}


def test_a_credit_note_that_lists_no_sheets_goes_to_the_invoices_machine() -> None:
    credit = document([("30.00", (2,))], "credit_note", visits={})
    assert spend(document([("100.00", (2,))]), credit) == {"RO31": Decimal("70.00")}


def test_a_line_without_a_sheet_is_no_machines() -> None:
    assert spend(document([("12.00", ())])) == {"": Decimal("12.00")}


def test_a_line_of_two_machines_is_shared_to_the_penny() -> None:
    assert spend(document([("0.05", (1, 2))])) == {"EX14": Decimal("0.03"), "RO31": Decimal("0.02")}


@settings(deadline=None)
@given(
    st.lists(
        st.tuples(
            st.decimals("-999.99", "9999.99", places=2).map(str), st.sets(st.integers(1, 5)).map(tuple)
        ),
        max_size=8,
    )
)
def test_spend_adds_up_to_the_documents(lines: list[tuple[str, tuple[int, ...]]]) -> None:
    one = document(lines)
    assert sum(spend(one).values()) == one.net
    assert sum(spend(one, document(lines, "credit_note")).values()) == 0


def test_days_from_visit_to_invoice_by_month() -> None:
    documents = [
        document([], issued=datetime.date(2026, 2, 3), visits={1: datetime.date(2026, 2, 1)}),
        document(
            [],
            issued=datetime.date(2026, 2, 28),
            visits={2: datetime.date(2026, 2, 24), 3: datetime.date(2026, 1, 29)},
        ),
        document([], issued=datetime.date(2026, 3, 1), visits={4: datetime.date(2026, 2, 28)}),
        document([], "credit_note", datetime.date(2026, 9, 1), {4: datetime.date(2026, 2, 28)}),
        document([], issued=datetime.date(2026, 9, 2), visits={4: datetime.date(2026, 2, 28)}),
    ]
    found = days_to_invoice(documents)
    assert found.days == 3 and found.count == 4
    assert found.months == (
        Month(datetime.date(2026, 2, 1), 4, 3),
        Month(datetime.date(2026, 3, 1), 1, 1),
    )
    assert days_to_invoice(documents[::-1]) == found


def test_no_invoices_no_median() -> None:
    assert days_to_invoice([]).days is None


def test_hours_a_day_by_machine() -> None:
    visits = [
        visited(1, 0, hours=100.0),
        visited(2, 10, hours=150.0),
        visited(3, 0, hours=10.0, fleet_number="RO 31"),
        visited(4, 10, hours=100.0, fleet_number="RO 31"),
        visited(5, 0, hours=10.0, fleet_number="G 1"),
    ]
    found = hours_a_day(visits)
    assert [(each.machine_key, each.days) for each in found] == [("RO31", 2), ("EX14", 2)]
    assert found[0].rate.per_day == pytest.approx(9) and found[1].rate.per_day == pytest.approx(5)
    assert (found[0].since, found[0].until) == (on(0), on(10))
