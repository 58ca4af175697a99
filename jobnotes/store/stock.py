"""What is in the vans: counts, deliveries and corrections, one behind the other and never changed."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from jobnotes.errors import JobnotesError
from jobnotes.store.audit import note
from jobnotes.store.comments import needed
from jobnotes.store.database import Database
from jobnotes.store.invoice_rows import decimal_of, plain
from jobnotes.store.moments import now
from jobnotes.store.office_values import NewStock, StockEntry, StockKind
from jobnotes.store.rights import refuse_all_but_office
from jobnotes.store.tables import StockRow
from jobnotes.store.values import Person

LONGEST = 200
MOST = 10_000
"""Entries in one go: more than any van holds."""


class Stock:
    """The stock entries of a workshop. They are the office's."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def add(
        self,
        van: str,
        kind: StockKind,
        part_number: str,
        description: str,
        quantity: Decimal,
        who: Person,
        reason: str = "",
    ) -> StockEntry:
        """Writes one entry. Raises as `add_all` does."""
        return self.add_all([NewStock(van, kind, part_number, description, quantity, reason)], who)[0]

    def add_all(self, entries: Sequence[NewStock], who: Person) -> list[StockEntry]:
        """Writes entries, all of them or none.

        Raises NotAllowedError for an engineer, and JobnotesError for a count below nought, a delivery of
        nothing, a correction by nothing or without a reason, and for a part without number and description.
        """
        refuse_all_but_office(who, "changes what is in stock")
        if len(entries) > MOST:
            raise JobnotesError(f"{len(entries)} stock entries are too many at once; {MOST} are the most.")
        with self._database.writing() as session:
            return [write_stock(session, each, who) for each in entries]

    def newest(self) -> int:
        """The id of the newest entry, 0 for none. Entries never change, so that it tells one state from
        another."""
        with self._database.reading() as session:
            return session.scalar(select(func.max(StockRow.id))) or 0

    def entries(self, van: str | None = None) -> list[StockEntry]:
        """All entries, the oldest first; of one van (capitals and spaces aside), if given."""
        with self._database.reading() as session:
            rows = session.scalars(select(StockRow).order_by(StockRow.id))
            return [stock_of(row) for row in rows if van is None or _van_key(row.van) == _van_key(van)]


def write_stock(session: Session, new: NewStock, who: Person, order: int | None = None) -> StockEntry:
    """Writes an entry within the caller's transaction. Raises JobnotesError, see `Stock.add_all`."""
    van = short(new.van, "the van")
    part_number, description = part_named(new.part_number, new.description)
    quantity = decimal_of(new.quantity, f"The quantity of {part_number or description}")
    if new.kind not in ("count", "received", "correction"):
        raise JobnotesError(f"Stock is counted, received or corrected; {new.kind!r} is none of that.")
    if new.kind == "count" and quantity < 0:
        raise JobnotesError(f"Nobody counts less than nothing of {part_number or description}.")
    if new.kind == "received" and quantity <= 0:
        raise JobnotesError(f"What came of {part_number or description} has to be more than nothing.")
    if new.kind == "correction" and not quantity:
        raise JobnotesError(f"A correction of {part_number or description} by nothing changes nothing.")
    reason = needed(new.reason, "a reason") if new.kind == "correction" or new.reason.strip() else ""
    row = StockRow(
        at=now(),
        who=who.display_name,
        van=van,
        kind=new.kind,
        part_number=part_number,
        description=description,
        quantity=plain(quantity),
        reason=reason,
        order_id=order,
    )
    session.add(row)
    session.flush()
    detail = f"{part_number or description}: {row.quantity}" + (f" ({reason})" if reason else "")
    note(session, who, f"wrote to the stock ({new.kind})", f"van {van}", detail)
    return stock_of(row)


def stock_of(row: StockRow) -> StockEntry:
    """The row as an entry."""
    kind: Any = row.kind
    return StockEntry(
        id=row.id,
        at=row.at,
        who=row.who,
        van=row.van,
        kind=kind,
        part_number=row.part_number,
        description=row.description,
        quantity=Decimal(row.quantity),
        reason=row.reason,
        order=row.order_id,
    )


def short(text: str, what: str) -> str:
    """The text in one line. Raises JobnotesError where it is empty or longer than LONGEST characters."""
    text = " ".join(needed(text, what).split())
    if len(text) > LONGEST:
        raise JobnotesError(f"{what.capitalize()} has {len(text)} characters; {LONGEST} are the most.")
    return text


def part_named(part_number: str, description: str) -> tuple[str, str]:
    """Number and description of a part, one of which may be empty. Raises JobnotesError for neither."""
    number = short(part_number, "the part number") if part_number.strip() else ""
    words = short(description, "the part's description") if description.strip() else ""
    if not number and not words:
        raise JobnotesError("Name the part by its number or its description.")
    return number, words


def _van_key(van: str) -> str:
    return " ".join(van.casefold().split())
