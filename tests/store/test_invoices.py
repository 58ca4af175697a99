"""Invoices: one series of numbers, sheets charged once, documents that are kept as they were approved."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import office_rows
import pytest
import rfc8785
from conftest import Firm
from office_rows import crediting, invoice, line, making, pdf, sheets_of
from sqlalchemy import insert

from jobnotes.errors import JobnotesError
from jobnotes.jobs.invoice import ChargedSheet, Invoice, VatSum
from jobnotes.store import (
    ConflictError,
    InvalidEditError,
    InvoiceDraft,
    IssuedInvoice,
    MissingError,
    NotAllowedError,
    Workshop,
    head,
    sha256,
    verify,
)
from jobnotes.store.tables import EntryRow, InvoiceRow, InvoiceSheetRow


def begin(firm: Firm, *sheets: int, customer: str = "Oddmarsh Hire") -> InvoiceDraft:
    return firm.workshop.invoices.new_draft(customer, sheets, firm.office)


def approve(firm: Firm, draft: InvoiceDraft, **more: Any) -> IssuedInvoice:
    make = making(firm.workshop, draft, **more)
    return firm.workshop.invoices.approve(draft.id, draft.version, firm.office, make)


def issue(firm: Firm, *sheets: int, **more: Any) -> IssuedInvoice:
    return approve(firm, begin(firm, *sheets), **more)


def three(firm: Firm) -> list[int]:
    """Three signed sheets: 1, 2, 3."""
    return sheets_of(firm.workshop, firm.engineer, firm.folder, 3)


def nothing_new(firm: Firm, act: Callable[[], object], kind: type[JobnotesError], match: str) -> None:
    """What is refused leaves no number, no entry, no row and (once swept) no file."""
    before = (head(firm.workshop), firm.workshop.invoices.all(), firm.workshop.invoices.drafts(None))
    with pytest.raises(kind, match=match):
        act()
    assert (head(firm.workshop), firm.workshop.invoices.all(), firm.workshop.invoices.drafts(None)) == before
    firm.workshop.sweep()
    kept = {each.pdf_sha256 for each in before[1]}
    assert {sha for sha, _ in firm.workshop.invoices.blobs.files()} == kept
    assert list(verify(firm.workshop)) == []


# -- numbers --


def test_numbers_are_one_series_with_the_credit_notes(firm: Firm) -> None:
    three(firm)
    assert issue(firm, 1).number == 1
    note = firm.workshop.invoices.credit(1, firm.owner, crediting())
    assert (note.number, note.kind, note.credits) == (2, "credit_note", 1)
    assert issue(firm, 2).number == 3
    assert [each.number for each in firm.workshop.invoices.all()] == [3, 2, 1]
    assert list(verify(firm.workshop)) == []


def test_the_first_number_is_the_firms_and_later_ones_follow(firm: Firm) -> None:
    three(firm)
    first, second = begin(firm, 1), begin(firm, 2)
    approve_from = firm.workshop.invoices.approve
    make = making(firm.workshop, first)
    nothing_new(
        firm, lambda: approve_from(first.id, 1, firm.office, make, first=0), JobnotesError, "1 or more"
    )
    assert approve_from(first.id, 1, firm.office, make, first=2601).number == 2601
    assert approve_from(second.id, 1, firm.office, making(firm.workshop, second), first=7000).number == 2602
    assert firm.workshop.invoices.credit(2601, firm.office, crediting(), first=9000).number == 2603
    assert list(verify(firm.workshop)) == []


def test_what_make_raises_leaves_nothing(firm: Firm) -> None:
    three(firm)
    draft = begin(firm, 1)

    def broken(number: int) -> tuple[Invoice, bytes]:
        raise JobnotesError(f"no paper for {number}")

    def crash(*_given: Any) -> tuple[Invoice, bytes]:
        raise KeyboardInterrupt

    act = firm.workshop.invoices
    nothing_new(firm, lambda: act.approve(draft.id, 1, firm.office, broken), JobnotesError, "no paper for 1")
    with pytest.raises(KeyboardInterrupt):
        act.approve(draft.id, 1, firm.office, crash)
    assert approve(firm, draft).number == 1, "the number was not used"
    with pytest.raises(KeyboardInterrupt):
        act.credit(1, firm.office, crash)
    assert act.credit(1, firm.office, crediting()).number == 2
    assert list(verify(firm.workshop)) == []


def test_what_is_kept_is_the_document(firm: Firm) -> None:
    three(firm)
    draft = begin(firm, 2, 1)
    issued = approve(firm, draft, lines=[line("1/labour", "1.25", "48.40"), line("2/labour", "0.1", "0.3")])
    assert firm.workshop.invoices.get(1) == issued
    assert issued.document == invoice(1, [(1, 1), (2, 1)], issued.document.lines)
    assert (issued.net, issued.vat, issued.gross) == (Decimal("60.53"), Decimal("12.11"), Decimal("72.64"))
    assert (issued.customer, issued.issued, issued.printed_number) == (
        "Oddmarsh Hire",
        office_rows.DAY,
        "HB-1",
    )
    assert (issued.approved_by, issued.draft_id, issued.credited) == ("Prudence Able", draft.id, 0)
    assert issued.sheets == ((1, 1), (2, 1))
    assert firm.workshop.invoices.pdf(1) == pdf(issued.document)
    assert issued.pdf_sha256 == sha256(pdf(issued.document))
    with firm.workshop.database.reading() as session:
        entry = session.get(EntryRow, issued.entry)
        assert entry is not None and entry.kind == "invoice"
    content = json.loads(entry.content)
    # RFC 8785: one form, and no number but those that every reader writes alike.
    assert entry.content == rfc8785.dumps(content) and sha256(entry.content) == issued.sha256
    assert content["invoice"]["gross"] == "72.64" and content["invoice"]["lines"][0]["quantity"] == "1.25"
    assert Invoice.model_validate(content["invoice"]) == issued.document
    told = {name: content[name] for name in ("format", "number", "kind", "customer", "draft", "version")}
    assert told == {
        "format": 1,
        "number": 1,
        "kind": "invoice",
        "customer": "Oddmarsh Hire",
        "draft": draft.id,
        "version": 1,
    }
    assert (content["approved_by"], content["account"]) == ("Prudence Able", "pru")
    assert content["at"] == issued.approved_at.isoformat().replace("+00:00", "Z")
    assert content["pdf_sha256"] == issued.pdf_sha256


def test_several_threads_approve_in_one_series(firm: Firm) -> None:
    numbers = sheets_of(firm.workshop, firm.engineer, firm.folder, 8)
    drafts = [begin(firm, number) for number in numbers]
    failures: list[BaseException] = []

    def work(draft: InvoiceDraft) -> None:
        try:
            approve(firm, draft)
        except BaseException as error:
            failures.append(error)

    in_threads(*(lambda draft=draft: work(draft) for draft in drafts))  # type: ignore[misc]
    assert failures == []
    assert sorted(each.number for each in firm.workshop.invoices.all()) == list(range(1, 9))
    assert list(verify(firm.workshop)) == []


def in_threads(*acts: Callable[[], object]) -> None:
    threads = [threading.Thread(target=act) for act in acts]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()


def test_one_draft_is_approved_once_though_three_press(firm: Firm) -> None:
    three(firm)
    draft, ends = begin(firm, 1), []

    def work() -> None:
        try:
            ends.append(f"invoice {approve(firm, draft).number}")
        except NotAllowedError as error:
            ends.append(str(error))

    in_threads(work, work, work)
    assert sorted(ends) == [
        "The draft was approved as number 1, so it can't be changed.",
        "The draft was approved as number 1, so it can't be changed.",
        "invoice 1",
    ]


def test_a_draft_changed_while_its_pdf_is_made(firm: Firm) -> None:
    three(firm)
    draft = begin(firm, 1)

    def make(number: int) -> tuple[Invoice, bytes]:
        firm.workshop.invoices.set_details(draft.id, 1, None, "Thank you.", firm.owner)
        return making(firm.workshop, draft)(number)

    with pytest.raises(ConflictError, match="Ilse Brandreth changed the draft"):
        firm.workshop.invoices.approve(draft.id, 1, firm.office, make)
    assert firm.workshop.invoices.all() == [] and firm.workshop.invoices.draft(draft.id).state == "open"


# -- drafts --


def test_a_draft_from_begin_to_end(firm: Firm) -> None:
    three(firm)
    drafts = firm.workshop.invoices
    draft = drafts.new_draft(" Oddmarsh \n Hire ", [3, 1, 3], firm.office)
    assert (draft.version, draft.state, draft.customer, draft.sheets) == (1, "open", "Oddmarsh Hire", (1, 3))
    assert (draft.created_by, draft.adjustments, draft.issued, draft.invoice) == (
        "Prudence Able",
        (),
        None,
        None,
    )
    draft = drafts.choose_sheets(draft.id, 1, [2, 1], firm.owner)
    draft = drafts.set_details(draft.id, 2, date(2026, 5, 20), " Thank you. ", firm.owner)
    draft = drafts.adjust(draft.id, 3, "set", "1/labour", {"price": "47.50"}, "as agreed", firm.owner)
    assert (draft.version, draft.sheets, draft.issued, draft.note) == (
        4,
        (1, 2),
        date(2026, 5, 20),
        "Thank you.",
    )
    assert drafts.draft(draft.id) == draft and drafts.drafts() == [draft] and drafts.drafts("approved") == []
    assert begin(firm, 3).sheets == (3,), "what was taken out is free"
    issued = approve(firm, draft)
    done = drafts.draft(draft.id)
    assert (done.state, done.invoice, done.version) == ("approved", issued.number, 4)
    assert [each.id for each in drafts.drafts()] == [2]
    assert [each.state for each in drafts.drafts(None)] == ["approved", "open"]


EDITS: dict[str, Callable[[Workshop, InvoiceDraft, int, Any], object]] = {
    "sheets": lambda w, d, v, who: w.invoices.choose_sheets(d.id, v, [2], who),
    "adjust": lambda w, d, v, who: w.invoices.adjust(d.id, v, "drop", "1/labour", {}, "goodwill", who),
    "take back": lambda w, d, v, who: w.invoices.take_back(d.id, v, "1/travel", "confirm", who),
    "details": lambda w, d, v, who: w.invoices.set_details(d.id, v, None, "x", who),
    "drop": lambda w, d, v, who: w.invoices.drop(d.id, v, who),
    "approve": lambda w, d, v, who: w.invoices.approve(d.id, v, who, making(w, d)),
}


def confirmed(firm: Firm) -> InvoiceDraft:
    """A draft of version 2."""
    three(firm)
    draft = begin(firm, 1)
    return firm.workshop.invoices.adjust(draft.id, 1, "confirm", "1/travel", {}, "", firm.office)


@pytest.mark.parametrize("edit", EDITS)
def test_a_stale_version_is_refused(firm: Firm, edit: str) -> None:
    draft = confirmed(firm)
    act = EDITS[edit]
    nothing_new(
        firm,
        lambda: act(firm.workshop, draft, 1, firm.owner),
        ConflictError,
        "Prudence Able changed the draft",
    )
    nothing_new(firm, lambda: act(firm.workshop, draft, 3, firm.owner), InvalidEditError, "no version 3")
    act(firm.workshop, draft, 2, firm.owner)


@pytest.mark.parametrize("edit", EDITS)
@pytest.mark.parametrize("end", ["approved", "dropped"])
def test_an_approved_or_dropped_draft_stays_as_it_is(firm: Firm, edit: str, end: str) -> None:
    draft = confirmed(firm)
    if end == "approved":
        approve(firm, draft)
    else:
        assert firm.workshop.invoices.drop(draft.id, 2, firm.office).state == "dropped"
    draft = firm.workshop.invoices.draft(draft.id)
    act = EDITS[edit]
    nothing_new(firm, lambda: act(firm.workshop, draft, draft.version, firm.owner), NotAllowedError, end)


@pytest.mark.parametrize("edit", EDITS)
def test_engineers_are_refused(firm: Firm, edit: str) -> None:
    draft = confirmed(firm)
    for version in (1, 2):
        act = lambda version=version: EDITS[edit](firm.workshop, draft, version, firm.engineer)  # noqa: E731
        nothing_new(firm, act, NotAllowedError, "Only the office")


def test_engineers_neither_begin_nor_credit(firm: Firm) -> None:
    three(firm)
    issue(firm, 1)
    act = firm.workshop.invoices
    nothing_new(firm, lambda: act.new_draft("O", [2], firm.engineer), NotAllowedError, "Only the office")
    nothing_new(firm, lambda: act.credit(1, firm.engineer, crediting()), NotAllowedError, "Only the office")


def test_what_no_draft_can_be(firm: Firm) -> None:
    three(firm)
    act = firm.workshop.invoices
    nothing_new(firm, lambda: act.new_draft(" ", [1], firm.office), JobnotesError, "customer's name")
    nothing_new(firm, lambda: act.new_draft("O", [], firm.office), JobnotesError, "one sheet or more")
    nothing_new(firm, lambda: act.new_draft("O", [9], firm.office), MissingError, "no sheet 9")
    nothing_new(firm, lambda: act.new_draft("O", range(1, 2000), firm.office), JobnotesError, "too many")
    draft = begin(firm, 1)
    nothing_new(
        firm, lambda: act.choose_sheets(draft.id, 1, [], firm.office), JobnotesError, "one sheet or more"
    )
    for missing in (lambda: act.draft(7), lambda: act.drop(7, 1, firm.office), lambda: act.get(7)):
        with pytest.raises(MissingError):
            missing()


def test_adjustments(firm: Firm) -> None:
    three(firm)
    act, draft = firm.workshop.invoices, begin(firm, 1)
    whole = {
        "text": " Low  loader ",
        "quantity": "1.0",
        "unit": "C62",
        "price": "1.2E2",
        "vat_category": "standard",
    }

    def adjust(kind: Any, key: str, values: dict[str, str], reason: str = "agreed by telephone") -> None:
        nonlocal draft
        draft = act.adjust(draft.id, draft.version, kind, key, values, reason, firm.office)

    adjust("add", "", whole)
    adjust("add", "", {**whole, "text": "Crane"})
    adjust("confirm", "1/travel", {"look": "no miles  were said"}, "")
    adjust("set", "1/labour", {"quantity": "3"})
    adjust("set", "1/labour", {"price": "47.50"}, "another agreement")
    adjust("drop", "added/2", {})
    told = [(each.kind, each.key, each.values, each.reason, each.who) for each in draft.adjustments]
    plain = {"text": "Low loader", "quantity": "1", "unit": "C62", "price": "120", "vat_category": "standard"}
    assert told == [
        ("add", "added/1", plain, "agreed by telephone", "Prudence Able"),
        ("add", "added/2", {**plain, "text": "Crane"}, "agreed by telephone", "Prudence Able"),
        ("confirm", "1/travel", {"look": "no miles  were said"}, "", "Prudence Able"),
        # The newest of a kind for a line holds, whole.
        ("set", "1/labour", {"price": "47.5"}, "another agreement", "Prudence Able"),
        ("drop", "added/2", {}, "agreed by telephone", "Prudence Able"),
    ]
    adjust("add", "added/1", {**whole, "price": "99"})
    assert [each.values["price"] for each in draft.adjustments if each.key == "added/1"] == ["99"]
    draft = act.take_back(draft.id, draft.version, "added/2", "add", firm.office)
    assert [(each.kind, each.key) for each in draft.adjustments] == [
        ("confirm", "1/travel"),
        ("set", "1/labour"),
        ("add", "added/1"),
    ], "with an added line goes what was changed on it"
    with pytest.raises(MissingError, match="Nothing of that kind"):
        act.take_back(draft.id, draft.version, "1/labour", "drop", firm.office)
    lines = firm.workshop.audit.lines(on=f"invoice draft {draft.id}")
    assert lines[-1].what == "began an invoice" and lines[0].what == "took an adjustment back"
    (replaced,) = [each.detail for each in lines if "another agreement" in each.detail]
    assert 'before: {"quantity": "3"} (agreed by telephone)' in replaced, "what is replaced is told"


@pytest.mark.parametrize(
    ("kind", "key", "values", "reason", "told"),
    [
        ("set", "1/labour", {}, "why", "Give what the line"),
        ("set", "1/labour", {"price": "dear"}, "why", "price has to be a number"),
        ("set", "1/labour", {"price": "NaN"}, "why", "price has to be a number"),
        ("set", "1/labour", {"quantity": "1e40"}, "why", "more digits"),
        ("set", "1/labour", {"quantity": "1e-40"}, "why", "more digits"),
        ("set", "1/labour", {"vat_category": "none"}, "why", "VAT category has to be one of standard"),
        ("set", "1/labour", {"net": "1"}, "why", "'net' can't be given"),
        ("set", "1/labour", {"text": " "}, "why", "the text of the line"),
        ("set", "1/labour", {"price": "5"}, " ", "a reason"),
        ("set", " ", {"price": "5"}, "why", "the line that is meant"),
        ("drop", "1/labour", {}, "", "a reason"),
        ("drop", "1/labour", {"price": "5"}, "why", "'price' can't be given"),
        ("confirm", "1/labour", {"price": "5"}, "", "'price' can't be given"),
        ("add", "", {"text": "x"}, "why", "needs quantity, price too"),
        (
            "add",
            "",
            dict.fromkeys(("text", "quantity", "unit", "price", "vat_category"), "1"),
            "why",
            "unit has to be one of HUR",
        ),
        ("add", "added/7", {"text": "x", "quantity": "1", "price": "1"}, "why", "no added line added/7"),
        ("burn", "1/labour", {}, "why", "can't be changed by 'burn'"),
    ],
)
def test_adjustments_that_no_line_can_have(
    firm: Firm, kind: Any, key: str, values: dict[str, str], reason: str, told: str
) -> None:
    three(firm)
    draft = begin(firm, 1)
    nothing_new(
        firm,
        lambda: firm.workshop.invoices.adjust(draft.id, 1, kind, key, values, reason, firm.office),
        JobnotesError,
        told,
    )


# -- each sheet is charged once --


def test_a_sheet_is_in_one_open_draft(firm: Firm) -> None:
    three(firm)
    act, draft, other = firm.workshop.invoices, begin(firm, 1), begin(firm, 2)
    nothing_new(
        firm, lambda: begin(firm, 3, 1), NotAllowedError, r"Sheet 1 is in another draft .*\(draft 1\)"
    )
    nothing_new(
        firm,
        lambda: act.choose_sheets(other.id, 1, [1, 2], firm.office),
        NotAllowedError,
        "Sheet 1 is in another",
    )
    assert act.choose_sheets(draft.id, 1, [1, 3], firm.office).sheets == (1, 3), "its own are its own"
    act.drop(draft.id, 2, firm.office)
    assert begin(firm, 1).sheets == (1,)


def test_a_sheet_is_on_one_invoice_until_all_is_credited(firm: Firm) -> None:
    three(firm)
    act, open_draft = firm.workshop.invoices, begin(firm, 3)
    issue(firm, 1, 2)
    assert act.invoiced_sheets() == {1: 1, 2: 1}
    taken = r"Sheet 1 is on invoice 1 already"
    nothing_new(firm, lambda: begin(firm, 1), NotAllowedError, taken)
    nothing_new(
        firm, lambda: act.choose_sheets(open_draft.id, 1, [1, 3], firm.office), NotAllowedError, taken
    )
    act.credit(1, firm.office, crediting([line("1/labour")]))
    assert act.get(1).credited == Decimal("120.00") and act.invoiced_sheets() == {1: 1, 2: 1}
    nothing_new(firm, lambda: begin(firm, 1), NotAllowedError, taken)
    act.credit(1, firm.office, crediting([line("2/labour")]))
    assert act.get(1).credited == act.get(1).gross and act.invoiced_sheets() == {}
    assert issue(firm, 1).number == 4
    assert act.invoiced_sheets() == {1: 4}
    assert [each.number for each in act.of_sheet(1)] == [4, 3, 2, 1]
    assert [each.number for each in act.of_sheet(3)] == []
    assert list(verify(firm.workshop)) == []


def test_a_withdrawn_sheet_is_not_charged(firm: Firm) -> None:
    three(firm)
    draft = begin(firm, 1, 2)
    firm.workshop.sheets.withdraw(2, firm.office, "wrong machine")
    nothing_new(firm, lambda: begin(firm, 2), NotAllowedError, "Sheet 2 is withdrawn")
    nothing_new(firm, lambda: approve(firm, draft), NotAllowedError, "Sheet 2 is withdrawn")


def test_an_invoice_made_of_an_older_revision_is_refused(firm: Firm) -> None:
    three(firm)
    draft = begin(firm, 1)
    old = making(firm.workshop, draft)(1)
    office_rows.store_work.signed(firm.workshop, firm.engineer, firm.workshop.sheets.amend(1, firm.engineer))
    act = firm.workshop.invoices.approve
    nothing_new(
        firm, lambda: act(draft.id, 1, firm.office, lambda _n: old), ConflictError, "Sheet 1 has been"
    )
    assert approve(firm, draft).sheets == ((1, 2),)


def test_what_was_amended_or_withdrawn_after_it_was_invoiced(firm: Firm) -> None:
    three(firm)
    issue(firm, 1, 2)
    issue(firm, 3)
    assert firm.workshop.invoices.outdated() == []
    for _ in range(2):
        amending = firm.workshop.sheets.amend(2, firm.engineer)
        office_rows.store_work.signed(firm.workshop, firm.engineer, amending)
    firm.workshop.sheets.withdraw(3, firm.office, "wrong machine")
    assert firm.workshop.invoices.outdated() == [(1, 2, 1, 3), (2, 3, 1, "withdrawn")]
    first = firm.workshop.invoices.outdated()[0]
    assert (first.invoice, first.sheet, first.revision, first.newest) == (1, 2, 1, 3)
    firm.workshop.invoices.credit(1, firm.office, crediting())
    assert firm.workshop.invoices.outdated() == [(2, 3, 1, "withdrawn")]
    assert list(verify(firm.workshop)) == [], "that is told, and no fault"


# -- documents that do not fit --


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ({"number": 2}, "not that of invoice 1"),
        ({"kind": "credit_note"}, "not that of invoice 1"),
        ({"printed_number": " "}, "not that of invoice 1"),
        ({"lines": ()}, "no line"),
        ({"gross": Decimal("120.01")}, "100.00 and 20.00 are not 120.01"),
        ({"net": Decimal("99.00"), "gross": Decimal("119.00")}, "lines come to 100.00"),
        ({"vat": Decimal("19.00"), "gross": Decimal("119.00")}, "VAT comes to 20.00"),
        ({"net": Decimal("100.001"), "gross": Decimal("120.001")}, "whole pence"),
        ({"lines": (line("1/labour", "-2"),)}, "below nought"),
        ({"sheets": ()}, "each sheet of its draft"),
    ],
    ids=["number", "kind", "unnamed", "no line", "gross", "net", "vat", "pence", "negative", "sheets"],
)
def test_documents_that_do_not_fit(firm: Firm, more: dict[str, Any], told: str) -> None:
    three(firm)
    draft = begin(firm, 1)
    nothing_new(firm, lambda: approve(firm, draft, **more), JobnotesError, told)
    assert approve(firm, draft).number == 1


def test_an_invoice_names_the_sheets_of_its_draft(firm: Firm) -> None:
    three(firm)
    draft = begin(firm, 1)

    def named(*numbers: int) -> tuple[ChargedSheet, ...]:
        return tuple(ChargedSheet(sheet=n, revision=1, day=office_rows.DAY, engineer="T") for n in numbers)

    for wrong in ((2,), (1, 2), (1, 1)):
        nothing_new(firm, lambda w=wrong: approve(firm, draft, sheets=named(*w)), JobnotesError, "each sheet")  # type: ignore[misc]


def test_a_number_is_printed_once(firm: Firm) -> None:
    three(firm)
    issue(firm, 1)
    draft = begin(firm, 2)
    again = lambda: approve(firm, draft, printed_number="HB-1")  # noqa: E731
    nothing_new(firm, again, JobnotesError, "HB-1 is printed on another")
    empty = lambda n: (making(firm.workshop, draft)(n)[0], b"")  # noqa: E731
    act = firm.workshop.invoices.approve
    nothing_new(firm, lambda: act(draft.id, 1, firm.office, empty), JobnotesError, "PDF .* is empty")


# -- credit notes --


def test_credits_are_given_the_invoice_and_those_before(firm: Firm) -> None:
    three(firm)
    issued, seen = issue(firm, 1, 2, 3), []

    def make(number: int, original: IssuedInvoice, earlier: list[IssuedInvoice]) -> tuple[Invoice, bytes]:
        seen.append((number, original.number, original.document, [each.number for each in earlier]))
        return crediting([line(f"{number - 1}/labour")])(number, original, earlier)  # type: ignore[no-any-return]

    for _ in range(3):
        firm.workshop.invoices.credit(1, firm.office, make)
    document = issued.document
    assert seen == [(2, 1, document, []), (3, 1, document, [2]), (4, 1, document, [2, 3])]
    credits = firm.workshop.invoices.credits_of(1)
    assert [(each.number, each.credits, each.gross) for each in credits] == [
        (number, 1, Decimal("120.00")) for number in (2, 3, 4)
    ]
    assert firm.workshop.invoices.get(1).credited == Decimal("360.00")
    assert firm.workshop.invoices.get(2).document.reason == "charged too much"
    with pytest.raises(MissingError):
        firm.workshop.invoices.credits_of(9)


def test_never_more_is_credited_than_was_charged(firm: Firm) -> None:
    three(firm)
    issue(firm, 1, 2)
    act = firm.workshop.invoices.credit

    def refused(told: str, *lines: Any, **more: Any) -> None:
        make = crediting(lines or None, **more)
        nothing_new(firm, lambda: act(1, firm.office, make), JobnotesError, told)

    refused("200.01 net, and of invoice 1 only 200.00 is left", line("1/labour", "1", "200.01"))
    refused("line 1/labour 100.00 was charged, and 150.00", line("1/labour", "3"))
    act(1, firm.office, crediting([line("1/labour", "1")]))
    refused("200.00 net, and of invoice 1 only 150.00 is left")
    refused("line 1/labour 100.00 was charged, and 100.01", line("1/labour", "1", "50.01"))
    act(1, firm.office, crediting([line("1/labour", "1"), line("2/labour")]))
    refused("wholly credited already", line("1/labour", "1", "0.01"))
    nothing_new(firm, lambda: act(2, firm.office, crediting()), NotAllowedError, "is a credit note")
    with pytest.raises(MissingError):
        act(9, firm.office, crediting())


def test_no_more_vat_is_credited_than_was_charged(firm: Firm) -> None:
    """Three lines of 3 p: VAT 2 p in all, though each alone would have 1 p."""
    three(firm)
    lines = [line(f"1/{place}", "1", "0.03") for place in range(3)]
    issue(firm, 1, lines=lines)
    act = firm.workshop.invoices.credit
    for each in lines[:2]:
        act(1, firm.office, crediting([each]))
    nothing_new(
        firm,
        lambda: act(1, firm.office, crediting(lines[2:])),
        JobnotesError,
        "0.01 VAT, .* only 0.00 is left",
    )
    rest = VatSum(category="standard", rate=Decimal(20), base=Decimal("0.03"), vat=Decimal("0.00"))
    act(
        1,
        firm.office,
        crediting(lines[2:], vat_sums=(rest,), vat=Decimal("0.00"), gross=Decimal("0.03")),
    )
    assert firm.workshop.invoices.get(1).credited == Decimal("0.11") == firm.workshop.invoices.get(1).gross
    assert firm.workshop.invoices.invoiced_sheets() == {}


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ({"credits": "HB-7"}, "does not credit invoice 1"),
        ({"currency": "EUR"}, "does not credit invoice 1"),
        ({"kind": "invoice"}, "not that of credit note 2"),
        ({"number": 3}, "not that of credit note 2"),
        ({"gross": Decimal("1.00")}, "sums of credit note 2"),
        ({"lines": (line("1/labour", "0"),)}, "comes to nothing"),
        ({"lines": (line("1/labour", "-1"),)}, "below nought"),
        (
            {"sheets": (ChargedSheet(sheet=2, revision=1, day=office_rows.DAY, engineer="T"),)},
            "does not name its sheets",
        ),
        (
            {"sheets": (ChargedSheet(sheet=1, revision=2, day=office_rows.DAY, engineer="T"),)},
            "does not name its sheets",
        ),
        (
            {"sheets": (ChargedSheet(sheet=1, revision=1, day=office_rows.DAY, engineer="T"),) * 2},
            "does not name its sheets",
        ),
    ],
)
def test_credit_notes_that_do_not_fit(firm: Firm, more: dict[str, Any], told: str) -> None:
    three(firm)
    issue(firm, 1)
    make = crediting(**more)
    nothing_new(firm, lambda: firm.workshop.invoices.credit(1, firm.office, make), JobnotesError, told)


def test_two_credit_an_invoice_at_once(firm: Firm) -> None:
    three(firm)
    issue(firm, 1)
    ends: list[str] = []

    def work() -> None:
        try:
            ends.append(str(firm.workshop.invoices.credit(1, firm.office, crediting()).number))
        except NotAllowedError as error:
            ends.append(str(error))

    in_threads(work, work)
    assert sorted(ends) == ["2", "Invoice 1 is wholly credited already."]


# -- lists and files --


def test_lists(firm: Firm) -> None:
    sheets = sheets_of(firm.workshop, firm.engineer, firm.folder, 4)
    act = firm.workshop.invoices
    for sheet, day, customer in zip(
        sheets,
        (1, 2, 2, 3),
        ("Oddmarsh Hire", "Quillfen Aggregates", "ODDMARSH  hire", "Oddmarsh"),
        strict=True,
    ):
        approve(firm, begin(firm, sheet, customer=customer), issued=date(2026, 6, day))
    act.credit(2, firm.office, crediting())
    assert [each.number for each in act.all()] == [5, 4, 3, 2, 1]
    assert [each.number for each in act.all("oddmarsh hire")] == [3, 1]
    assert [each.number for each in act.all("Quillfen Aggregates")] == [5, 2]
    assert [each.number for each in act.all(since=date(2026, 6, 2))] == [4, 3, 2]
    assert [each.number for each in act.all(since=date(2026, 6, 2), until=date(2026, 6, 2))] == [3, 2]
    assert [each.number for each in act.all(until=date(2026, 6, 1))] == [5, 1]
    assert [each.number for each in act.all(limit=2)] == [5, 4]
    for each in act.all():
        whole = act.get(each.number)
        assert {**vars(each), "document": whole.document} == vars(whole)


def test_a_pdf_that_was_changed_is_not_given_out(firm: Firm) -> None:
    three(firm)
    issued = issue(firm, 1)
    path = firm.workshop.invoices.blobs.path(issued.pdf_sha256, ".pdf")
    assert path.is_relative_to(firm.workshop.folder.path / "invoices")
    path.write_bytes(b"%PDF-1.7 another")
    with pytest.raises(JobnotesError, match="PDF of invoice 1 was changed"):
        firm.workshop.invoices.pdf(1)
    path.unlink()
    with pytest.raises(JobnotesError, match="PDF of invoice 1 is missing"):
        firm.workshop.invoices.pdf(1)
    with pytest.raises(MissingError):
        firm.workshop.invoices.pdf(2)


def test_sweeping_takes_what_broke_off_and_nothing_else(firm: Firm) -> None:
    three(firm)
    issue(firm, 1)
    blobs = firm.workshop.invoices.blobs
    stray = blobs.put_bytes(b"%PDF-1.7 of an approval that broke off", ".pdf")
    (blobs.folder / ".half.part").write_bytes(b"%PDF")
    with firm.workshop.folder.lock("files", shared=True):
        firm.workshop.sweep()
        assert blobs.path(stray.sha256, ".pdf").exists(), "somebody may be approving"
    firm.workshop.sweep()
    assert not blobs.path(stray.sha256, ".pdf").exists() and not blobs.unfinished()
    assert firm.workshop.invoices.pdf(1)


def test_who_did_what_is_told(firm: Firm) -> None:
    three(firm)
    draft = begin(firm, 1)
    issued = approve(firm, draft)
    firm.workshop.invoices.credit(issued.number, firm.owner, crediting())
    dropped = begin(firm, 2)
    firm.workshop.invoices.drop(dropped.id, 1, firm.owner)

    def told(on: str) -> list[tuple[str, str]]:
        return [(each.who, each.what) for each in reversed(firm.workshop.audit.lines(on=on))]

    assert told("invoice draft 1") == [("pru", "began an invoice"), ("pru", "approved")]
    assert told("invoice 1") == [("pru", "approved"), ("ilse", "credited")]
    assert told("credit note 2") == [("ilse", "approved")]
    assert told("invoice draft 2") == [("pru", "began an invoice"), ("ilse", "dropped")]
    detail = firm.workshop.audit.lines(on="invoice 1")[0].detail
    assert "HB-2" in detail and "GBP 120.00" in detail and "charged too much" in detail


COUNT = 10_000


def test_a_list_of_ten_thousand_is_there_at_once(firm: Firm) -> None:
    at = datetime(2026, 1, 1, tzinfo=UTC)
    sums = {"net": "100.00", "vat": "20.00", "gross": "120.00", "credited": "0.00"}
    with firm.workshop.database.writing() as session:
        session.execute(
            insert(EntryRow),
            [
                # Contents that are no documents, and as long as real ones: a list that reads one breaks.
                {
                    "number": n,
                    "kind": "invoice",
                    "content": b"x" * 6000,
                    "sha256": f"{n:064}",
                    "previous": "",
                    "at": at,
                }
                for n in range(1, COUNT + 1)
            ],
        )
        session.execute(
            insert(InvoiceRow),
            [
                {
                    "number": n,
                    "kind": "invoice",
                    "customer": "Oddmarsh Hire",
                    "issued": "2026-01-01",
                    "customer_key": "oddmarshhire",
                    "printed_number": f"HB-{n}",
                    "approved_by": "P",
                    "approved_at": at + timedelta(minutes=n),
                    "entry": n,
                    "sha256": f"{n:064}",
                    "pdf_sha256": f"{n:064}",
                    "draft_id": None,
                    "credits": None,
                    "wholly_credited": False,
                    **sums,
                }
                for n in range(1, COUNT + 1)
            ],
        )
        session.execute(
            insert(InvoiceSheetRow),
            [{"invoice": n, "sheet": n, "revision": 1} for n in range(1, COUNT + 1)],
        )

    def quickest(act: Callable[[], object]) -> float:
        """Seconds of this thread's own work: others may use the machine meanwhile."""
        spent = []
        for _ in range(5):
            started = time.thread_time()
            act()
            spent.append(time.thread_time() - started)
        return min(spent)

    act = firm.workshop.invoices
    assert len(act.all(limit=COUNT)) == COUNT and len(act.all()) == 500
    assert quickest(act.all) < 0.05
    assert quickest(lambda: act.all(limit=COUNT)) < 0.2
    assert quickest(act.invoiced_sheets) < 0.05
    assert quickest(act.outdated) < 0.05
    assert act.invoiced_sheets()[COUNT] == COUNT
