"""From signed sheets to invoices: what waits, drafts of invoices, invoices, credit notes."""

from __future__ import annotations

import datetime
import re
from dataclasses import replace
from decimal import Decimal
from typing import Annotated

from fastapi import APIRouter, Path, Query, Request, Response
from fastapi.responses import RedirectResponse

from jobnotes.desk.charts import bars
from jobnotes.desk.render import page
from jobnotes.desk.sessions import Form, Posted, TheDesk, Who
from jobnotes.desk.state import Desk
from jobnotes.errors import JobnotesError
from jobnotes.office.adjusting import check_adjustment, check_new
from jobnotes.office.drafting import DraftInvoice, left_to_credit
from jobnotes.office.ledger import ledger_csv
from jobnotes.paper import words
from jobnotes.store import ConflictError, InvoiceDraft, NotReadyError, Person
from jobnotes.store.rights import refuse_all_but_office
from jobnotes.workshop.billing import FileKind, mark_of

router = APIRouter(include_in_schema=False)
Number = Annotated[int, Path(ge=1, le=2**31 - 1)]
Day = Annotated[str, Query(max_length=10)]
MOST = 300
CUSTOMERS = 20
"""Customers with waiting sheets on one page."""
FIGURES = re.compile(r"-?([0-9]{1,3}(,[0-9]{3})+|[0-9]{1,12})?(?<=[0-9])(\.[0-9]{1,9})?|-?\.[0-9]{1,9}")
"""Plain figures, thousands parted by commas or not. Decimal itself would take 1_000, 1e9 and NaN too."""
KINDS = {"pdf": "application/pdf", "cii": "application/xml", "ubl": "application/xml"}


def refuse_engineer(who: Person) -> None:
    """Raises NotAllowedError for whoever is not of the office."""
    refuse_all_but_office(who, "sees money and stock")


def day_of(text: str, what: str) -> datetime.date | None:
    """A date of a form, None for an empty one. Raises JobnotesError for anything else."""
    if not text.strip():
        return None
    try:
        return datetime.date.fromisoformat(text.strip())
    except ValueError:
        raise JobnotesError(f"{what} is {text!r}; write a date as 2026-05-12.") from None


def decimal_of(text: str, what: str) -> Decimal:
    """A number of a form. Raises JobnotesError for anything else: "2,5" too, which is not 25."""
    plain = text.strip().removeprefix("£")
    if not FIGURES.fullmatch(plain):
        raise JobnotesError(f"{what} is {text!r}, not a number such as 58.50.")
    number = Decimal(plain.replace(",", ""))
    if abs(number) > 10_000_000:
        raise JobnotesError(f"{what} is {text!r}, more than can be right.")
    return number


@router.get("/office")
def waiting(
    request: Request,
    desk: TheDesk,
    who: Who,
    look: Annotated[str, Query(max_length=200)] = "",
    start: Annotated[int, Query(alias="from", ge=0, le=1_000_000)] = 0,
) -> Response:
    """The sheets that wait for an invoice, by customer, and the drafts of invoices."""
    refuse_engineer(who)
    return _waiting(request, desk, who, look=look, start=start)


def _waiting(
    request: Request,
    desk: Desk,
    who: Person,
    *,
    look: str = "",
    start: int = 0,
    trouble: str = "",
    status: int = 200,
) -> Response:
    invoices = desk.workshop.invoices
    wanted = look.casefold().split()
    found = [
        each for each in desk.billing.to_invoice() if all(word in each.customer.casefold() for word in wanted)
    ]
    return page(
        request,
        "office_waiting.html",
        who,
        status=status,
        waiting=found[start : start + CUSTOMERS],
        more=start + CUSTOMERS if len(found) > start + CUSTOMERS else None,
        look=look,
        start=start,
        drafts=invoices.drafts(),
        outdated=invoices.outdated(),
        lacks=desk.billing.lacks(),
        trouble=trouble,
    )


@router.post("/office/drafts")
def new_draft(request: Request, desk: TheDesk, who: Who, form: Form) -> Response:
    """Makes a draft of an invoice from the sheets that were chosen."""
    refuse_engineer(who)
    try:
        sheets = _sheets(form)
        draft = desk.workshop.invoices.new_draft(form.text("customer"), sheets, who)
    except JobnotesError as error:
        return _waiting(request, desk, who, trouble=str(error), status=422)
    return RedirectResponse(f"/office/drafts/{draft.id}", 303)


def _sheets(form: Posted) -> list[int]:
    chosen = [text for text in form.texts("sheet") if text.isascii() and text.isdigit() and len(text) < 10]
    if not chosen:
        raise JobnotesError("Choose a sheet at least.")
    return [int(text) for text in chosen]


@router.get("/office/drafts/{number}")
def draft_page(request: Request, desk: TheDesk, who: Who, number: Number) -> Response:
    """A draft of an invoice, with what it comes to today."""
    refuse_engineer(who)
    return _draft(request, desk, who, number)


def _draft(
    request: Request, desk: Desk, who: Person, number: int, *, trouble: str = "", status: int = 200
) -> Response:
    draft = desk.workshop.invoices.draft(number)
    if draft.invoice is not None:
        return RedirectResponse(f"/office/invoices/{draft.invoice}", 303)
    made = _reckoned(desk, draft)
    others = next((each.visits for each in desk.billing.to_invoice() if each.customer == draft.customer), ())
    return page(
        request,
        "office_draft.html",
        who,
        status=status,
        draft=draft,
        made=made,
        invoice=made.invoice,
        seen=mark_of(made.invoice) if made.invoice else "",
        others=others,
        trouble=trouble,
    )


def _reckoned(desk: Desk, draft: InvoiceDraft) -> DraftInvoice:
    """What a draft comes to. Where office.toml or rates.csv can't be read, that is what stops it: the draft
    can be looked at and discarded all the same."""
    try:
        made = desk.billing.reckon(draft)
    except JobnotesError as error:
        return DraftInvoice(None, desk.billing.lacks() or (str(error),), ())
    more = [each for each in desk.billing.lacks() if each not in made.stops]
    return replace(made, stops=(*more, *made.stops)) if made.stops else made


@router.post("/office/drafts/{number}")
def change_draft(request: Request, desk: TheDesk, who: Who, form: Form, number: Number) -> Response:
    """Changes, approves or drops a draft."""
    refuse_engineer(who)
    invoices, version, action = desk.workshop.invoices, form.number("version"), form.text("action")
    key, reason = form.text("key"), form.text("reason")
    try:
        if action == "approve":
            issued = desk.billing.approve(number, version, form.text("seen"), who)
            return RedirectResponse(f"/office/invoices/{issued.number}", 303)
        if action == "drop":
            invoices.drop(number, version, who)
            return RedirectResponse("/office", 303)
        if action == "sheets":
            invoices.choose_sheets(number, version, _sheets(form), who)
        elif action == "details":
            issued_on = day_of(form.text("issued"), "The date of issue")
            invoices.set_details(number, version, issued_on, form.text("note"), who)
        elif action == "set":
            desk.billing.change_line(number, version, key, _values(desk, form, number, key), reason, who)
        elif action == "add":
            values = _filled_in(form)
            check_new(values, reason)
            invoices.adjust(number, version, "add", "", values, reason, who)
        elif action == "leave_out":
            check_adjustment("drop", key, {}, reason)
            invoices.adjust(number, version, "drop", key, {}, reason, who)
        elif action == "confirm":
            look = {"look": form.text("look")} if form.text("look") else {}
            invoices.adjust(number, version, "confirm", key, look, reason or "looked at", who)
        elif action == "take_back":
            invoices.take_back(number, version, key, form.text("kind"), who)  # type: ignore[arg-type]
        else:
            raise JobnotesError("The form asks for nothing that can be done; open the page anew.")
    except (ConflictError, NotReadyError) as error:
        return _draft(request, desk, who, number, trouble=str(error), status=409)
    except JobnotesError as error:
        return _draft(request, desk, who, number, trouble=str(error), status=422)
    return RedirectResponse(f"/office/drafts/{number}", 303)


def _values(desk: Desk, form: Posted, number: int, key: str) -> dict[str, str]:
    """What a line is to have: only what differs from what it has. Raises JobnotesError where that is nothing,
    or there is no such line."""
    made = desk.billing.reckon(desk.workshop.invoices.draft(number))
    line = next((each for each in made.invoice.lines if each.key == key), None) if made.invoice else None
    if line is None and any(stop.key == key for stop in made.unpriced):
        return _filled_in(form)
    if line is None:
        raise JobnotesError("The line is not there any more; look again.")
    has = line.model_dump(include={"text", "unit", "vat_category", "quantity", "price"})
    values = {
        name: value
        for name, value in _filled_in(form).items()
        if has[name] != (Decimal(value) if name in ("quantity", "price") else value)
    }
    if not values:
        raise JobnotesError("Nothing on the line was changed.")
    return values


def _filled_in(form: Posted) -> dict[str, str]:
    values = {}
    for name, what in (("quantity", "The quantity"), ("price", "The price")):
        if form.text(name).strip():
            values[name] = str(decimal_of(form.text(name), what))
    for name in ("text", "unit", "vat_category"):
        if form.text(name).strip():
            values[name] = " ".join(form.text(name).split())
    return values


@router.get("/office/drafts/{number}/pdf")
def draft_pdf(desk: TheDesk, who: Who, number: Number) -> Response:
    """The draft as it would be printed, marked as a draft."""
    refuse_engineer(who)
    made = desk.billing.reckon(desk.workshop.invoices.draft(number))
    if made.invoice is None:
        raise NotReadyError("There is nothing to charge yet.")
    return _file(
        desk.billing.draft_pdf(made.invoice), "application/pdf", f"draft-invoice-{number}.pdf", False
    )


@router.get("/office/invoices")
def invoices_page(
    request: Request,
    desk: TheDesk,
    who: Who,
    customer: Annotated[str, Query(max_length=200)] = "",
    since: Day = "",
    until: Day = "",
) -> Response:
    """The invoices and credit notes, the newest first."""
    refuse_engineer(who)
    trouble, lines = "", []
    try:
        first, last = day_of(since, "From"), day_of(until, "Until")
        lines = desk.workshop.invoices.all(
            customer=customer.strip() or None, since=first, until=last, limit=MOST
        )
    except JobnotesError as error:
        trouble, since, until = str(error), "", ""
    waits = desk.billing.waits()
    return page(
        request,
        "office_invoices.html",
        who,
        status=422 if trouble else 200,
        trouble=trouble,
        lines=lines,
        customer=customer,
        since=since,
        until=until,
        waits=waits,
        waits_chart=bars(
            "Days from visit to invoice, by month",
            [(_month(each.first_day), each.days) for each in waits.months[-12:]],
            figure=".0f",
        )
        if waits.months
        else None,
    )


def _month(first_day: datetime.date) -> str:
    return f"{words.MONTHS[first_day.month - 1]} {first_day.year}"


@router.get("/office/ledger.csv")
def ledger(desk: TheDesk, who: Who, since: Day = "", until: Day = "") -> Response:
    """The documents of a time as CSV for a ledger."""
    refuse_engineer(who)
    documents = desk.billing.issued_between(day_of(since, "From"), day_of(until, "Until"))
    return _file(ledger_csv(documents), "text/csv; charset=utf-8", "ledger.csv", True)


@router.get("/office/invoices/{number}")
def invoice_page(request: Request, desk: TheDesk, who: Who, number: Number) -> Response:
    """An invoice or credit note."""
    refuse_engineer(who)
    return _invoice(request, desk, who, number)


def _invoice(
    request: Request, desk: Desk, who: Person, number: int, *, trouble: str = "", status: int = 200
) -> Response:
    issued = desk.workshop.invoices.get(number)
    credits = desk.workshop.invoices.credits_of(number)
    earlier = [desk.workshop.invoices.get(each.number).document for each in credits]
    left = left_to_credit(issued.document, earlier) if issued.kind == "invoice" else {}
    desk.saw(who, f"invoice {number}")
    return page(
        request,
        "office_invoice.html",
        who,
        status=status,
        issued=issued,
        invoice=issued.document,
        credits=credits,
        left={key: each for key, each in left.items() if each.net},
        outdated=[each for each in desk.workshop.invoices.outdated() if each[0] == number],
        trouble=trouble,
    )


@router.post("/office/invoices/{number}")
def credit(request: Request, desk: TheDesk, who: Who, form: Form, number: Number) -> Response:
    """Credits an invoice: all that is left, or what was chosen of each line."""
    refuse_engineer(who)
    try:
        amounts = None
        if form.text("how") == "lines":
            amounts = {
                name.removeprefix("net "): decimal_of(form.text(name), "An amount")
                for name in form.names("net ")
                if form.text(name).strip()
            }
            amounts = {key: net for key, net in amounts.items() if net}
            if not amounts:
                raise JobnotesError("Give the amount of one line at least.")
        elif form.text("how") != "all":
            raise JobnotesError("Choose whether all of the invoice is credited, or amounts of its lines.")
        note = desk.billing.credit(number, form.text("reason"), who, amounts)
    except JobnotesError as error:
        return _invoice(request, desk, who, number, trouble=str(error), status=422)
    return RedirectResponse(f"/office/invoices/{note.number}", 303)


@router.get("/office/invoices/{number}/{kind}")
def invoice_file(desk: TheDesk, who: Who, number: Number, kind: Annotated[FileKind, Path()]) -> Response:
    """A file of an invoice: PDF, CII or UBL."""
    refuse_engineer(who)
    issued = desk.workshop.invoices.get(number)
    desk.saw(who, f"invoice {number}", f"took the {kind.upper()} of")
    name, content = desk.billing.file(issued, kind)
    return _file(content, KINDS[kind], name, kind != "pdf")


def _file(content: bytes, kind: str, name: str, keep: bool) -> Response:
    how = "attachment" if keep else "inline"
    return Response(content, media_type=kind, headers={"content-disposition": f'{how}; filename="{name}"'})
