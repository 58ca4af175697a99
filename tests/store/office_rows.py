"""The office's work for the tests of the store: documents that add up, and processes that approve them."""

from __future__ import annotations

import datetime
import json
import time
from collections.abc import Callable, Iterable
from decimal import Decimal
from pathlib import Path
from typing import Any

import store_work

from jobnotes.errors import JobnotesError
from jobnotes.jobs.invoice import ChargedSheet, Invoice, Line, Party, line_net, vat_sums
from jobnotes.jobs.money import NOUGHT
from jobnotes.store import (
    TERMINAL,
    AddItem,
    InvoiceDraft,
    IssuedInvoice,
    Person,
    SetValue,
    SignedSheet,
    Workshop,
)

SELLER = Party(name="Hallbeck Plant Repairs", town="Brackmere", vat_number="GB123456789")
DAY = datetime.date(2026, 5, 12)
Make = Callable[[int], tuple[Invoice, bytes]]


def line(key: str, hours: str = "2", price: str = "50", **more: Any) -> Line:
    """So many hours of labour."""
    quantity, each = Decimal(hours), Decimal(price)
    given: dict[str, Any] = {
        "key": key,
        "kind": "labour",
        "text": "Labour",
        "quantity": quantity,
        "unit": "HUR",
        "price": each,
        "net": line_net(quantity, each),
        "vat_category": "standard",
        "vat_rate": Decimal(20),
    }
    return Line(**{**given, **more})


def invoice(
    number: int, sheets: Iterable[tuple[int, int]], /, lines: Iterable[Line] | None = None, **more: Any
) -> Invoice:
    """An invoice for sheets (number, revision); without lines, 2 h at 50 for each: 100 net, 120 gross."""
    charged = list(sheets)
    whole = tuple(lines) if lines is not None else tuple(line(f"{sheet}/labour") for sheet, _ in charged)
    sums = vat_sums(whole, {})
    net, vat = sum((each.net for each in whole), NOUGHT), sum((each.vat for each in sums), NOUGHT)
    given: dict[str, Any] = {
        "number": number,
        "printed_number": f"HB-{number}",
        "issued": DAY,
        "tax_point": DAY,
        "seller": SELLER,
        "buyer": Party(name="Oddmarsh Hire"),
        "lines": whole,
        "vat_sums": sums,
        "net": net,
        "vat": vat,
        "gross": net + vat,
        "sheets": tuple(
            ChargedSheet(sheet=sheet, revision=revision, day=DAY, engineer="Tamsin Quill")
            for sheet, revision in charged
        ),
    }
    return Invoice(**{**given, **more})


def pdf(document: Invoice) -> bytes:
    """Stands for a PDF."""
    return b"%PDF-1.7\n" + document.model_dump_json().encode()


def revisions(workshop: Workshop, draft: InvoiceDraft) -> list[tuple[int, int]]:
    """The sheets of a draft in their newest revisions."""
    return [(sheet, workshop.sheets.get(sheet).revision) for sheet in draft.sheets]


def making(workshop: Workshop, draft: InvoiceDraft, **more: Any) -> Make:
    """Makes the invoice of a draft."""

    def make(number: int) -> tuple[Invoice, bytes]:
        document = invoice(number, revisions(workshop, draft), **more)
        return document, pdf(document)

    return make


def crediting(lines: Iterable[Line] | None = None, **more: Any) -> Any:
    """Makes a credit note of lines, or of all that the invoice has."""

    def make(number: int, original: IssuedInvoice, earlier: list[IssuedInvoice]) -> tuple[Invoice, bytes]:
        given: dict[str, Any] = {
            "kind": "credit_note",
            "credits": original.printed_number,
            "reason": "charged too much",
            "credited_on": original.issued,
        }
        document = invoice(
            number, original.sheets, original.document.lines if lines is None else lines, **{**given, **more}
        )
        return document, pdf(document)

    return make


def sheets_of(workshop: Workshop, engineer: Person, folder: Path, count: int, number: int = 1) -> list[int]:
    """So many signed sheets, of one memo; each memo has another number."""
    text = "\n".join(f"WL{number}X{job} hours {job} customer Oddmarsh Hire" for job in range(count))
    draft = store_work.draft_of(workshop, engineer, folder, text, f"sheets{number}")
    return [sheet.number for sheet in store_work.signed(workshop, engineer, draft)]


def sheet_with(
    workshop: Workshop,
    engineer: Person,
    folder: Path,
    number: int,
    *,
    date: str | None = "2026-05-12",
    follow_up: Iterable[str] = (),
    parts: Iterable[dict[str, Any]] = (),
    **values: Any,
) -> SignedSheet:
    """A signed sheet of a memo of its own. `values` are others of the job: machine__hours=7 is
    /machine/hours."""
    draft = store_work.draft_of(workshop, engineer, folder, store_work.memo_text(number), f"with{number}")
    return filled(workshop, engineer, draft, date=date, follow_up=follow_up, parts=parts, **values)


def filled(
    workshop: Workshop,
    engineer: Person,
    draft: Any,
    *,
    date: str | None = "2026-05-12",
    follow_up: Iterable[str] = (),
    parts: Iterable[dict[str, Any]] = (),
    **values: Any,
) -> SignedSheet:
    """The draft with these values, signed."""
    changes: list[Any] = [SetValue(pointer="/jobs/0/date", value=date)]
    changes += [AddItem(pointer="/jobs/0/follow_up", value=text) for text in follow_up]
    changes += [AddItem(pointer="/jobs/0/parts", value=part) for part in parts]
    changes += [
        SetValue(pointer="/jobs/0/" + name.replace("__", "/"), value=value) for name, value in values.items()
    ]
    for change in changes:
        draft = workshop.drafts.edit(draft.id, draft.version, engineer, change)
    (sheet,) = store_work.signed(workshop, engineer, draft)
    return sheet


# -- done in processes of their own --


def _said(log: Path, what: Any) -> None:
    with log.open("a", encoding="utf-8") as stream:
        stream.write(json.dumps(what) + "\n")


def wait_until(moment: float) -> None:
    """Lets several processes begin at one moment (seconds since 1970)."""
    time.sleep(max(0.0, moment - time.time()))


def approve_drafts(folder: Path, drafts: list[int], log: Path, moment: float = 0.0) -> None:
    """Approves the drafts, one behind the other. What was approved is noted once the store has said so, and
    refused is what was refused."""
    with Workshop(folder) as workshop:
        wait_until(moment)
        for number in drafts:
            draft = workshop.invoices.draft(number)
            if draft.state != "open":
                continue
            try:
                issued = workshop.invoices.approve(number, draft.version, TERMINAL, making(workshop, draft))
            except JobnotesError as error:
                _said(log, ["refused", number, str(error)])
            else:
                _said(log, ["approved", number, issued.number])


def approve_at_version_one(folder: Path, draft: int, log: Path, moment: float) -> None:
    """Approves one draft as it was first made."""
    with Workshop(folder) as workshop:
        held = workshop.invoices.draft(draft)
        wait_until(moment)
        try:
            issued = workshop.invoices.approve(draft, 1, TERMINAL, making(workshop, held))
        except JobnotesError as error:
            _said(log, ["refused", draft, str(error)])
        else:
            _said(log, ["approved", draft, issued.number])


def approve_and_credit_until(folder: Path, draft: int, steps: int, log: Path) -> None:
    """Approves a draft and credits its invoice, or what of it is not done yet; the process ends without
    warning at that step (0: never)."""
    if steps:
        store_work.end_at_step(steps)
    with Workshop(folder) as workshop:
        workshop.sweep()
        approve_drafts(folder, [draft], log)
        number = workshop.invoices.draft(draft).invoice
        assert number is not None
        if not workshop.invoices.credits_of(number):
            issued = workshop.invoices.credit(number, TERMINAL, crediting())
            _said(log, ["credited", number, issued.number])


def begin_drafts(folder: Path, sheets: list[int], log: Path, moment: float) -> None:
    """Tries to make a draft for each of the sheets."""
    with Workshop(folder) as workshop:
        wait_until(moment)
        for sheet in sheets:
            try:
                draft = workshop.invoices.new_draft("Oddmarsh Hire", [sheet], TERMINAL)
            except JobnotesError as error:
                _said(log, ["refused", sheet, str(error)])
            else:
                _said(log, ["begun", sheet, draft.id])
