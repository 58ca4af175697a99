"""The order list on paper, read back from the finished PDF."""

from __future__ import annotations

import io
from datetime import UTC, datetime
from decimal import Decimal

import pikepdf
from documents import HOSTILE
from test_invoice_paper import pages

from jobnotes.paper import Firm
from jobnotes.paper.order import OrderGroup, OrderRow, order_html, order_pdf

AT = datetime(2026, 3, 16, 8, 5, tzinfo=UTC)
FIRM = Firm("Harrow Lane Plant Repairs", ("Unit 4",), "01632 960 144", "desk@harrowlane.example")
BRACKET = OrderRow("KB-31-0096", "77/4A", "engine loom bracket", Decimal("2.0"), "each", "Sheet 12, WX 31")
COOLANT = OrderRow("", "", "Coolant", Decimal("4.5"), "L", "Van 3")
GROUPS = [OrderGroup("Dunmoor Parts", (BRACKET,)), OrderGroup("", (COOLANT,))]


def test_each_supplier_has_its_parts() -> None:
    (page,) = pages(order_pdf("Order list 7", GROUPS, firm=FIRM, at=AT, lines=("Wanted by Friday.",)))
    for words in (
        "Harrow Lane Plant Repairs",
        "Order list 7",
        "16 March 2026, 08:05",
        "Wanted by Friday.",
        "KB-31-0096",
        "77/4A",
        "Engine loom bracket",
        "Sheet 12, WX 31",
        "Page 1 of 1",
    ):
        assert words in page, words
    assert page.index("Dunmoor Parts") < page.index("KB-31-0096")
    assert page.index("KB-31-0096") < page.index("No supplier in the parts list") < page.index("Van 3")


def test_it_is_a_tagged_pdfa_and_the_same_each_time() -> None:
    pdf = order_pdf("Order list 7", GROUPS, firm=FIRM, at=AT)
    assert pdf == order_pdf("Order list 7", GROUPS, firm=FIRM, at=AT)
    with pikepdf.open(io.BytesIO(pdf)) as document:
        assert bool(document.Root.MarkInfo.Marked)
        with document.open_metadata() as metadata:
            assert metadata.pdfa_status == "3B"


def test_a_long_list_repeats_supplier_and_heads() -> None:
    rows = tuple(
        OrderRow(f"KB-{place:04}", "", "Bracket", Decimal(place), "each", "Van 3") for place in range(1, 101)
    )
    found = pages(order_pdf("Order list 7", [OrderGroup("Dunmoor Parts", rows)], at=AT))
    assert len(found) >= 2
    for number, page in enumerate(found, 1):
        assert "Dunmoor Parts" in page
        assert "Part number" in page
        assert f"Page {number} of {len(found)}" in page
    assert all(f"KB-{place:04}" in " ".join(found) for place in range(1, 101))


def test_hostile_text_is_printed_and_never_run() -> None:
    row = OrderRow(HOSTILE, HOSTILE, HOSTILE, Decimal(1), HOSTILE, HOSTILE)
    html = order_html(HOSTILE, [OrderGroup(HOSTILE, (row,))], at=AT, lines=(HOSTILE,))
    assert "<script" not in html
    assert "{{ 7*7 }}" in html
    assert "\x00" not in html
    assert order_pdf(HOSTILE, [OrderGroup(HOSTILE, (row,))], at=AT).startswith(b"%PDF")


def test_an_empty_list_says_so() -> None:
    (page,) = pages(order_pdf("Order list 7", [], at=AT))
    assert "Nothing is to be ordered." in page
