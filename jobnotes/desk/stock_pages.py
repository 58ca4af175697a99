"""Van stock, what is to be ordered, and what was ordered and has not come."""

from __future__ import annotations

import tempfile
from decimal import Decimal
from pathlib import Path as FilePath
from typing import Annotated

from fastapi import APIRouter, Path, Query, Request, Response
from fastapi.responses import RedirectResponse

from jobnotes.desk.invoice_pages import decimal_of, refuse_engineer
from jobnotes.desk.render import page
from jobnotes.desk.sessions import Form, Posted, TheDesk, Upload, Who
from jobnotes.desk.state import Desk
from jobnotes.errors import JobnotesError
from jobnotes.office.order_list import order_list
from jobnotes.office.orders import Wanted
from jobnotes.office.stock import read_stock_take
from jobnotes.register import PartRow
from jobnotes.store import Person
from jobnotes.workshop.billing import key_of

router = APIRouter(include_in_schema=False)
Number = Annotated[int, Path(ge=1, le=2**31 - 1)]
LARGEST_TAKE = 500_000
"""Bytes of a stock take's file."""
MOST_WANTED, MOST_CHASED = 60, 100
"""Parts to be ordered from one supplier, and parts on order, on one page."""


@router.get("/office/stock")
def stock(
    request: Request,
    desk: TheDesk,
    who: Who,
    van: Annotated[str, Query(max_length=200)] = "",
    look: Annotated[str, Query(max_length=100)] = "",
) -> Response:
    """What each van carries."""
    refuse_engineer(who)
    return _stock(request, desk, who, van=van, look=look)


def _stock(
    request: Request,
    desk: Desk,
    who: Person,
    *,
    van: str = "",
    look: str = "",
    trouble: str = "",
    status: int = 200,
) -> Response:
    levels = desk.billing.levels()
    vans = list(dict.fromkeys(level.van for level in levels))
    wanted = look.casefold().split()
    shown = [
        level
        for level in levels
        if (not van or level.van == van)
        and all(each in f"{level.part_number} {level.description}".casefold() for each in wanted)
    ]
    entries = desk.workshop.stock.entries(van or None)
    return page(
        request,
        "office_stock.html",
        who,
        status=status,
        levels=shown,
        vans=vans,
        van=van,
        look=look,
        entries=list(reversed(entries))[:40],
        trouble=trouble,
    )


@router.post("/office/stock")
def change_stock(request: Request, desk: TheDesk, who: Who, form: Form) -> Response:
    """Writes down that a part came, was counted, or is corrected."""
    refuse_engineer(who)
    van, kind = form.text("van").strip(), form.text("kind")
    try:
        if kind not in ("count", "received", "correction"):
            raise JobnotesError("Say whether the part was counted, came, or is corrected.")
        part = _part(desk, form.text("part_number"))
        desk.workshop.stock.add(
            van=desk.billing.van(van),
            kind=kind,  # type: ignore[arg-type]
            part_number=part.part_number,
            description=part.description,
            quantity=decimal_of(form.text("quantity"), "The quantity"),
            reason=form.text("reason"),
            who=who,
        )
    except JobnotesError as error:
        return _stock(request, desk, who, van=van, trouble=str(error), status=422)
    return RedirectResponse("/office/stock", 303)


@router.post("/office/stock/take")
def take_stock(request: Request, desk: TheDesk, who: Who, form: Upload) -> Response:
    """Writes down a whole stock take, from a CSV file."""
    refuse_engineer(who)
    van = form.text("van").strip()
    try:
        files = form.files("file")
        if not files:
            raise JobnotesError("Choose the file of the stock take.")
        content = files[0].file.read(LARGEST_TAKE + 1)
        if len(content) > LARGEST_TAKE:
            raise JobnotesError("The file of a stock take is longer than 500 kB; that is no count of a van.")
        with tempfile.TemporaryDirectory(prefix="jobnotes-take-") as folder:
            file = FilePath(folder) / "stock-take.csv"
            file.write_bytes(content)
            take = read_stock_take(file, desk.billing.register, desk.workshop.stock.entries())
            desk.billing.take_stock(desk.billing.van(van), take, who)
    except JobnotesError as error:
        return _stock(request, desk, who, van=van, trouble=str(error), status=422)
    return RedirectResponse("/office/stock", 303)


def _part(desk: Desk, text: str) -> PartRow:
    found = desk.billing.part(text)
    if found is None:
        raise JobnotesError(f"The register has no part {text!r}.")
    return found


@router.get("/office/orders")
def orders(
    request: Request, desk: TheDesk, who: Who, look: Annotated[str, Query(max_length=100)] = ""
) -> Response:
    """What is to be ordered, by supplier, and what was ordered and has not come."""
    refuse_engineer(who)
    return _orders(request, desk, who, look=look)


def _orders(
    request: Request, desk: Desk, who: Person, *, look: str = "", trouble: str = "", status: int = 200
) -> Response:
    words = look.casefold().split()

    def fits(*texts: str) -> bool:
        return all(word in " ".join(texts).casefold() for word in words)

    wanted = [
        each
        for each in desk.billing.wanted()
        if fits(each.part_number, each.description, each.supplier, each.machine, each.van)
    ]
    chased = [
        each
        for each in desk.billing.chased()
        if fits(each.part_number, each.description, each.supplier, each.machine, each.van, each.reference)
    ]
    return page(
        request,
        "office_orders.html",
        who,
        status=status,
        suppliers=by_supplier(wanted),
        chased=chased[:MOST_CHASED],
        more=max(0, len(chased) - MOST_CHASED),
        most_wanted=MOST_WANTED,
        look=look,
        vans=list(dict.fromkeys(level.van for level in desk.billing.levels())),
        trouble=trouble,
    )


def by_supplier(wanted: list[Wanted]) -> dict[str, list[tuple[str, Wanted]]]:
    """The parts wanted of each supplier with what names them, in the order in which they come."""
    found: dict[str, list[tuple[str, Wanted]]] = {}
    for each in wanted:
        found.setdefault(each.named_supplier, []).append((key_of(each), each))
    return found


@router.get("/office/orders.csv")
def orders_csv(desk: TheDesk, who: Who) -> Response:
    """The order list as CSV."""
    refuse_engineer(who)
    return Response(
        order_list(desk.billing.wanted()).encode(),
        media_type="text/csv; charset=utf-8",
        headers={"content-disposition": 'attachment; filename="to-order.csv"'},
    )


@router.get("/office/orders.pdf")
def orders_pdf(desk: TheDesk, who: Who) -> Response:
    """The order list as PDF."""
    refuse_engineer(who)
    return Response(
        desk.billing.order_pdf(),
        media_type="application/pdf",
        headers={"content-disposition": 'inline; filename="to-order.pdf"'},
    )


@router.post("/office/orders")
def order(request: Request, desk: TheDesk, who: Who, form: Form) -> Response:
    """Writes down that parts were ordered, came, or will not come."""
    refuse_engineer(who)
    action = form.text("action")
    try:
        if action == "ordered":
            _ordered(desk, who, form)
        elif action == "received":
            desk.workshop.orders.received(
                form.number("order"),
                decimal_of(form.text("quantity"), "The quantity"),
                desk.billing.van(form.text("van")) if form.text("van").strip() else "",
                who,
            )
        elif action == "cancel":
            desk.workshop.orders.cancel(form.number("order"), form.text("reason"), who)
        else:
            raise JobnotesError("The form asks for nothing that can be done; open the page anew.")
    except JobnotesError as error:
        return _orders(request, desk, who, trouble=str(error), status=422)
    return RedirectResponse("/office/orders", 303)


def _ordered(desk: Desk, who: Person, form: Posted) -> None:
    chosen = set(form.texts("wanted"))
    wanted = [each for each in desk.billing.wanted() if key_of(each) in chosen]
    if not wanted or len(wanted) != len(chosen):
        raise JobnotesError("Choose the parts that were ordered; what is wanted may have changed meanwhile.")
    quantities: dict[str, Decimal] = {
        key_of(each): decimal_of(form.text(f"quantity {key_of(each)}") or str(each.quantity), "The quantity")
        for each in wanted
    }
    if any(quantity <= 0 for quantity in quantities.values()):
        raise JobnotesError("A quantity that is ordered is more than nought.")
    desk.billing.order(wanted, quantities, form.text("reference"), who)
