"""Parts on order: what was ordered, what came of it and what was cancelled, never changed."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from jobnotes.errors import JobnotesError
from jobnotes.store.audit import note
from jobnotes.store.chain import content_of_entry
from jobnotes.store.comments import needed
from jobnotes.store.database import Database
from jobnotes.store.errors import MissingError, NotAllowedError
from jobnotes.store.invoice_rows import decimal_of, plain
from jobnotes.store.moments import now
from jobnotes.store.office_values import NewStock, OrderEntry, OrderKind
from jobnotes.store.rights import refuse_all_but_office
from jobnotes.store.sheet_rows import entry_at, newest_row
from jobnotes.store.stock import part_named, short, write_stock
from jobnotes.store.tables import OrderRow
from jobnotes.store.values import Person


class Orders:
    """The orders of a workshop. They are the office's."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def order(
        self,
        supplier: str,
        part_number: str,
        description: str,
        quantity: Decimal,
        unit: str,
        who: Person,
        *,
        van: str = "",
        sheet: int | None = None,
        place: int | None = None,
        reference: str = "",
    ) -> OrderEntry:
        """Writes down that a part was ordered: for a van, and for the part of a sheet that asks for it
        (`place` in the newest revision's list, from 0), if given.

        Raises NotAllowedError for an engineer, MissingError for a sheet or part that is not there,
        JobnotesError for a quantity that is not more than nothing.
        """
        refuse_all_but_office(who, "orders parts")
        number, words = part_named(part_number, description)
        wanted = decimal_of(quantity, "The quantity")
        if wanted <= 0:
            raise JobnotesError("What is ordered has to be more than nothing.")
        with self._database.writing() as session:
            _refuse_no_part(session, sheet, place)
            row = OrderRow(
                at=now(),
                who=who.display_name,
                kind="ordered",
                order_id=None,
                supplier=short(supplier, "the supplier"),
                part_number=number,
                description=words,
                quantity=plain(wanted),
                unit=short(unit, "the unit"),
                van=short(van, "the van") if van.strip() else "",
                sheet=sheet,
                place=place,
                reference=short(reference, "the reference") if reference.strip() else "",
                reason="",
            )
            session.add(row)
            session.flush()
            detail = f"{row.quantity} {row.unit} {number or words} from {row.supplier}"
            note(session, who, "ordered", f"order {row.id}", detail)
            return order_of(row)

    def received(self, order: int, quantity: Decimal, van: str, who: Person) -> OrderEntry:
        """Writes down that so much of an order came, and puts it into the van's stock (the order's van where
        none is given), both or neither.

        Raises NotAllowedError for an engineer, MissingError for no such order, JobnotesError for more than is
        still to come.
        """
        refuse_all_but_office(who, "takes deliveries in")
        came = decimal_of(quantity, "The quantity")
        if came <= 0:
            raise JobnotesError("What came has to be more than nothing.")
        with self._database.writing() as session:
            ordered = _ordered(session, order)
            left = _to_come(session, ordered)
            if came > left:
                raise JobnotesError(
                    f"Of order {order}, {plain(left)} {ordered.unit} "
                    f"{'is' if left == 1 else 'are'} still to come, not {plain(came)}; what came beside it "
                    "goes into the stock as received."
                )
            row = _entry(session, ordered, "received", came, who, van=van if van.strip() else ordered.van)
            new = NewStock(row.van, "received", ordered.part_number, ordered.description, came)
            write_stock(session, new, who, order=ordered.id)
            note(session, who, "took in of", f"order {order}", f"{row.quantity} {row.unit} for {row.van}")
            return order_of(row)

    def cancel(self, order: int, reason: str, who: Person) -> OrderEntry:
        """Writes down that what is still to come of an order was cancelled.

        Raises NotAllowedError for an engineer and where nothing is to come any more, MissingError for no such
        order, JobnotesError without a reason.
        """
        refuse_all_but_office(who, "cancels orders")
        reason = needed(reason, "a reason")
        with self._database.writing() as session:
            ordered = _ordered(session, order)
            left = _to_come(session, ordered)
            if not left:
                raise NotAllowedError(f"Nothing of order {order} is still to come.")
            row = _entry(session, ordered, "cancelled", left, who, van=ordered.van, reason=reason)
            note(session, who, "cancelled", f"order {order}", f"{row.quantity} {row.unit}: {reason}")
            return order_of(row)

    def newest(self) -> int:
        """The id of the newest entry, 0 for none. Entries never change, so that it tells one state from
        another."""
        with self._database.reading() as session:
            return session.scalar(select(func.max(OrderRow.id))) or 0

    def entries(self) -> list[OrderEntry]:
        """All entries, the oldest first."""
        with self._database.reading() as session:
            return [order_of(row) for row in session.scalars(select(OrderRow).order_by(OrderRow.id))]


def order_of(row: OrderRow) -> OrderEntry:
    """The row as an entry."""
    kind: Any = row.kind
    return OrderEntry(
        id=row.id,
        at=row.at,
        who=row.who,
        kind=kind,
        order=row.id if row.order_id is None else row.order_id,
        supplier=row.supplier,
        part_number=row.part_number,
        description=row.description,
        quantity=Decimal(row.quantity),
        unit=row.unit,
        van=row.van,
        sheet=row.sheet,
        place=row.place,
        reference=row.reference,
        reason=row.reason,
    )


def _ordered(session: Session, number: int) -> OrderRow:
    row = session.get(OrderRow, number)
    if row is None or row.kind != "ordered":
        raise MissingError(f"There is no order {number}.")
    return row


def _to_come(session: Session, ordered: OrderRow) -> Decimal:
    became = session.scalars(select(OrderRow.quantity).where(OrderRow.order_id == ordered.id))
    return Decimal(ordered.quantity) - sum((Decimal(each) for each in became), Decimal(0))


def _entry(
    session: Session,
    ordered: OrderRow,
    kind: OrderKind,
    quantity: Decimal,
    who: Person,
    *,
    van: str,
    reason: str = "",
) -> OrderRow:
    row = OrderRow(
        at=now(),
        who=who.display_name,
        kind=kind,
        order_id=ordered.id,
        supplier=ordered.supplier,
        part_number=ordered.part_number,
        description=ordered.description,
        quantity=plain(quantity),
        unit=ordered.unit,
        van=short(van, "the van") if kind == "received" else van,
        sheet=ordered.sheet,
        place=ordered.place,
        reference=ordered.reference,
        reason=reason,
    )
    session.add(row)
    session.flush()
    return row


def _refuse_no_part(session: Session, sheet: int | None, place: int | None) -> None:
    if sheet is None:
        if place is not None:
            raise JobnotesError("A part's place means nothing without its sheet.")
        return
    row = newest_row(session, sheet)
    parts = content_of_entry(entry_at(session, row.entry))["job"]["parts"]
    if place is not None and not 0 <= place < len(parts):
        raise MissingError(f"Sheet {sheet} has no part at place {place + 1}.")
