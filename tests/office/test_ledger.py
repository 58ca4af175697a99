"""The ledger, read back as a spreadsheet program or the program that keeps the books reads it."""

from __future__ import annotations

import csv
import io
from decimal import Decimal
from pathlib import Path

import documents
import pytest
from documents import KINDS

from jobnotes.jobs.invoice import Invoice
from jobnotes.office.ledger import COLUMNS, harmless, ledger_csv

ROOT = Path(__file__).resolve().parents[2]


def read(*invoices: Invoice) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(ledger_csv(invoices).decode(), newline="")))


def test_a_row_for_each_document_and_rate() -> None:
    rows = read(documents.standard(), documents.mixed())
    assert [(row["category"], row["rate"]) for row in rows] == [
        ("S", "20"),
        ("S", "20"),
        ("S", "5"),
        ("Z", "0"),
        ("E", "0"),
        ("AE", "0"),
    ]
    assert rows[0] == {
        "number": "HL-1042",
        "kind": "invoice",
        "date": "2026-03-16",
        "tax_point": "2026-03-13",
        "due": "2026-04-15",
        "customer": "Ostrey Stone Products",
        "account_number": "OST-014",
        "net": "281.14",
        "vat": "56.23",
        "gross": "337.37",
        "category": "S",
        "rate": "20",
        "currency": "GBP",
        "credited_number": "",
        "sheets": "12",
    }


def test_a_credit_note_counts_backwards() -> None:
    (row,) = read(documents.credit_part())
    assert [row[key] for key in ("net", "vat", "gross")] == ["-113.87", "-22.77", "-136.64"]
    assert (row["kind"], row["credited_number"], row["due"]) == ("credit_note", "HL-1042", "")
    both = read(documents.standard(), documents.credit_whole())
    for column in ("net", "vat", "gross"):
        assert sum(Decimal(row[column]) for row in both) == 0


@pytest.mark.parametrize("name", list(KINDS))
def test_the_rows_of_a_document_add_up_to_it(name: str) -> None:
    invoice = KINDS[name]()
    sign = -1 if invoice.kind == "credit_note" else 1
    rows = read(invoice)
    for column in ("net", "vat", "gross"):
        assert sum(Decimal(row[column]) for row in rows) == sign * getattr(invoice, column)


def test_nothing_is_minus_nought() -> None:
    (row,) = read(documents.credit_reverse_charge())
    assert row["vat"] == "0.00"


def test_a_draft_is_not_in_the_books() -> None:
    assert read(documents.standard(number=None, printed_number="")) == []


def test_several_sheets_and_a_number_without_a_prefix() -> None:
    (row,) = read(documents.several_visits(printed_number=""))
    assert row["sheets"] == "12 15 19"
    assert row["number"] == "1042"


@pytest.mark.parametrize(
    "text",
    ["=1+1", "+44 1632", "-2+3", "@SUM(A1)", "\t=1", "\r=1", "\n=1", " =1", "\x00=1", "=cmd|' /C calc'!A0"],
)
def test_no_cell_of_text_runs_as_a_formula(text: str) -> None:
    # The characters that begin a formula, and what programs pass over before one (OWASP, from memory)
    buyer = documents.BUYER.model_copy(update={"name": text, "account_number": text})
    (row,) = read(documents.standard(buyer=buyer, printed_number=text, credits=text))
    for column in ("customer", "account_number", "number", "credited_number"):
        assert row[column].startswith("'")
        assert row[column].isprintable()


def test_text_that_is_none_stays_as_it_is() -> None:
    for text in ("Ostrey Stone Products", "Penny-Moor = Quarry, Ltd", 'Stone "Ostrey"', "Ünal & Søn"):
        assert harmless(text) == text
        buyer = documents.BUYER.model_copy(update={"name": text})
        assert read(documents.standard(buyer=buyer))[0]["customer"] == text


def test_the_file_is_as_rfc_4180_has_it() -> None:
    file = ledger_csv([documents.several_visits()])
    lines = file.decode().split("\r\n")
    assert lines[0].split(",") == list(COLUMNS)
    assert lines[-1] == ""
    assert len(lines) == 3
    assert ledger_csv([]).decode() == lines[0] + "\r\n"


def test_the_manual_names_every_column() -> None:
    manual = (ROOT / "docs/office.md").read_text(encoding="utf-8").partition("\n## Ledger\n")[2]
    assert [column for column in COLUMNS if f"`{column}`" not in manual] == []
