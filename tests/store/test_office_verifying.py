"""What was changed about invoices, stock, orders or closings behind the program's back is named."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from decimal import Decimal

import office_rows
import pytest
from conftest import Firm
from office_rows import crediting, line, making

from jobnotes.store import Fault, canonical, sha256, verify


@pytest.fixture
def full(firm: Firm) -> Iterator[Firm]:
    """Invoice 1 of sheets 1 and 2, a part of it credited by 2; 3 of sheet 3, wholly credited by 4; sheet 3 on
    invoice 5; a draft of sheet 4; an order, a part of which came; a closing on sheet 1."""
    for number in range(1, 5):
        office_rows.sheet_with(
            *(firm.workshop, firm.engineer, firm.folder, number),
            machine__fleet_number="WL31",
            follow_up=["renew the hose"],
            parts=[{"description": "hose", "status": "to_order"}],
        )
    invoices = firm.workshop.invoices

    def issue(*sheets: int) -> None:
        draft = invoices.new_draft("Oddmarsh Hire", sheets, firm.office)
        invoices.approve(draft.id, 1, firm.office, making(firm.workshop, draft))

    issue(1, 2)
    invoices.credit(1, firm.office, crediting([line("1/labour", "1")]))
    issue(3)
    invoices.credit(3, firm.office, crediting())
    issue(3)
    invoices.new_draft("Oddmarsh Hire", [4], firm.office)
    firm.workshop.orders.order(
        "Brack", "HR-3062", "", Decimal(3), "each", firm.office, van="Van 3", sheet=1, place=0
    )
    firm.workshop.orders.received(1, Decimal(1), "", firm.office)
    firm.workshop.follow_ups.close(1, "renew the hose", firm.office, by_sheet=2)
    assert list(verify(firm.workshop)) == []
    yield firm


def faults(firm: Firm) -> list[Fault]:
    return list(verify(firm.workshop))


def change(firm: Firm, statement: str, *values: object) -> None:
    with closing(sqlite3.connect(firm.workshop.folder.database)) as connection:
        connection.execute("PRAGMA foreign_keys=OFF")
        assert connection.execute(statement, values).rowcount >= 1
        connection.commit()


@pytest.mark.parametrize(
    ("statement", "where"),
    [
        *(
            (f"UPDATE invoice SET {column} = {value} WHERE number = 1", "invoice 1")
            for column, value in (
                *(("customer", "'Somebody'"), ("customer_key", "'x'"), ("issued", "'2026-01-01'")),
                *(("net", "'99.00'"), ("vat", "'1.00'"), ("gross", "'5.00'"), ("printed_number", "'X'")),
                *(("approved_by", "'X'"), ("approved_at", "'2026-01-01T00:00:00.000000Z'")),
                *(("sha256", "'x'"), ("draft_id", "4"), ("credits", "3"), ("kind", "'credit_note'")),
                *(("credited", "'0.00'"), ("wholly_credited", "1"), ("entry", "99")),
            )
        ),
        ("UPDATE invoice SET credits = 3 WHERE number = 2", "invoice 2"),
        ("UPDATE invoice SET wholly_credited = 0 WHERE number = 3", "invoice 3"),
        ("UPDATE invoice SET pdf_sha256 = sha256 WHERE number = 5", "invoice 5"),
        ("DELETE FROM invoice WHERE number = 5", "invoice 5"),
        ("UPDATE invoice SET number = 6 WHERE number = 5", "invoice 6"),
        ("DELETE FROM invoice_sheet WHERE invoice = 1 AND sheet = 2", "invoice 1"),
        ("UPDATE invoice_sheet SET revision = 2 WHERE invoice = 1 AND sheet = 2", "invoice 1"),
        ("INSERT INTO invoice_sheet VALUES (5, 1, 1)", "invoice 5"),
        ("UPDATE invoice_draft SET state = 'open' WHERE id = 1", "draft of invoice 1"),
        ("UPDATE invoice_draft SET version = 2 WHERE id = 1", "draft of invoice 1"),
        ("UPDATE invoice_draft SET invoice = 5 WHERE id = 1", "draft of invoice 1"),
        ("UPDATE invoice_draft SET customer = 'X' WHERE id = 1", "draft of invoice 1"),
        ("DELETE FROM invoice_draft WHERE id = 1", "draft of invoice 1"),
        ("DELETE FROM invoice_draft_sheet WHERE draft_id = 1 AND sheet = 2", "draft of invoice 1"),
        ("UPDATE invoice_draft SET state = 'approved' WHERE id = 4", "invoice draft 4"),
        ("UPDATE invoice_draft_sheet SET sheet = 1 WHERE draft_id = 4", "invoice draft 4"),
        ("UPDATE invoice_draft_sheet SET sheet = 9 WHERE draft_id = 4", "invoice draft 4"),
        ("UPDATE part_order SET sheet = 9 WHERE id = 1", "order 1"),
        ("UPDATE part_order SET quantity = '0.5' WHERE id = 1", "order 1"),
        ("UPDATE part_order SET quantity = '2' WHERE id = 2", "order 1"),
        ("UPDATE part_order SET order_id = 2 WHERE id = 2", "order 2"),
        ("DELETE FROM part_order WHERE id = 1", "order 2"),
        ("DELETE FROM stock", "order 1"),
        ("UPDATE stock SET quantity = '2'", "order 1"),
        ("UPDATE stock SET order_id = 7", "order 7"),
        ("UPDATE follow_up_closing SET sheet = 9", "closing 1"),
        ("UPDATE follow_up_closing SET text = 'renew it'", "closing 1"),
        ("UPDATE follow_up_closing SET by_sheet = 9", "closing 1"),
    ],
)
def test_lists_that_tell_something_else(full: Firm, statement: str, where: str) -> None:
    change(full, statement)
    assert where in {fault.where for fault in faults(full)}


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE invoice SET credited = 'much' WHERE number = 1",
        "UPDATE invoice SET pdf_sha256 = '../../x' WHERE number = 1",
        "UPDATE invoice SET approved_at = 'yesterday' WHERE number = 1",
        "UPDATE part_order SET quantity = 'many'",
        "UPDATE stock SET quantity = 'NaN'",
    ],
)
def test_nonsense_in_the_database_is_a_fault_and_no_crash(full: Firm, statement: str) -> None:
    change(full, statement)
    assert faults(full)


def test_every_byte_of_a_pdf_counts(full: Firm) -> None:
    issued = full.workshop.invoices.get(1)
    path = full.workshop.invoices.blobs.path(issued.pdf_sha256, ".pdf")
    content = path.read_bytes()
    for at in range(0, len(content), max(1, len(content) // 10)):
        path.write_bytes(content[:at] + bytes([content[at] ^ 1]) + content[at + 1 :])
        (fault,) = faults(full)
        assert fault.where == "PDF of invoice 1" and "was changed" in fault.what
    path.unlink()
    (fault,) = faults(full)
    assert fault.where == "PDF of invoice 1" and "is missing" in fault.what


def rewrite(firm: Firm, **more: object) -> None:
    """Changes the content of the chain's last entry and its hash: nothing comes behind it that would tell."""
    with closing(sqlite3.connect(firm.workshop.folder.database)) as connection:
        entry, content = connection.execute(
            "SELECT number, content FROM chain ORDER BY number DESC LIMIT 1"
        ).fetchone()
    data = json.loads(content)
    assert data["number"] == 5
    data["invoice"].update(more.pop("invoice", {}))
    forged = canonical({**data, **more})
    values = (forged, sha256(forged), entry)
    change(firm, "UPDATE chain SET content = ?, sha256 = ? WHERE number = ?", *values)
    change(firm, "UPDATE invoice SET sha256 = ? WHERE entry = ?", sha256(forged), entry)


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ({"invoice": {"gross": "121.00"}}, "Invoice 5 does not add up"),
        ({"invoice": {"lines": "none"}}, "is no invoice"),
        ({"number": 7}, "has no number of its own"),
        ({"number": 7, "invoice": {"number": 7}}, "gap: 5 should come"),
        ({"number": 3, "invoice": {"number": 3}}, "number 3 twice"),
        ({"credits": 1}, "is no credit note, and credits another"),
        ({"invoice": {"kind": "credit_note"}, "credits": 2}, "credits no earlier invoice"),
        ({"invoice": {"kind": "credit_note"}, "credits": 5}, "credits no earlier invoice"),
        ({"invoice": {"kind": "credit_note"}, "credits": 3}, "More is credited of invoice 3 than it came to"),
        ({"pdf_sha256": "0" * 64}, "is not what was approved"),
    ],
)
def test_the_end_of_the_chain_rewritten(full: Firm, more: dict[str, object], told: str) -> None:
    rewrite(full, **more)
    assert any(told in fault.what for fault in faults(full)), faults(full)


def test_an_invoice_taken_out_of_the_end(full: Firm) -> None:
    change(full, "DELETE FROM chain WHERE number = (SELECT max(number) FROM chain)")
    found = {fault.what for fault in faults(full)}
    assert "The chain has no entry for invoice 5." in found
    assert "Draft 3 is called approved, and no invoice is of it." in found


def test_a_sheet_charged_by_two_invoices(full: Firm) -> None:
    change(full, "UPDATE invoice SET wholly_credited = 0 WHERE number = 3")
    assert "Sheet 3 is charged twice: by invoice 3 and by invoice 5." in {each.what for each in faults(full)}
