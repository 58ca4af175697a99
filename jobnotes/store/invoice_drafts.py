"""Drafts of invoices: which sheets, and what the office changed on the lines that are made of them."""

from __future__ import annotations

import datetime
import json
import re
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from typing import Any, get_args

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from jobnotes.errors import JobnotesError
from jobnotes.jobs.invoice import ChargeUnit, VatCategory
from jobnotes.store.audit import note
from jobnotes.store.comments import needed
from jobnotes.store.database import Database
from jobnotes.store.errors import InvalidEditError, MissingError
from jobnotes.store.invoice_rows import (
    decimal_of,
    invoice_draft_of,
    invoice_draft_row,
    plain,
    refuse_changing,
    revisions_to_charge,
    sheets_of_draft,
)
from jobnotes.store.moments import now
from jobnotes.store.office_values import AdjustmentKind, InvoiceDraft, InvoiceDraftState, in_order
from jobnotes.store.rights import refuse_all_but_office
from jobnotes.store.tables import AdjustmentRow, InvoiceDraftRow, InvoiceDraftSheetRow
from jobnotes.store.values import Person

MOST_SHEETS = 1_000
"""Sheets on one invoice."""
ADDED = re.compile(r"added/([1-9]\d{0,5})")
OF_A_LINE = ("text", "quantity", "unit", "price", "vat_category")
NEEDED = ("text", "quantity", "price")
"""What a new line can't do without."""
CHOICES: dict[str, tuple[str, ...]] = {"unit": get_args(ChargeUnit), "vat_category": get_args(VatCategory)}


class InvoiceDrafts:
    """The drafts of invoices of a workshop. All of it is the office's."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def new_draft(self, customer: str, sheets: Iterable[int], who: Person) -> InvoiceDraft:
        """A draft that charges signed sheets to a customer.

        Raises NotAllowedError, which names the sheet, for one that is not signed any more, in another open
        draft, or on an invoice that is not wholly credited; MissingError for one that is not there.
        """
        refuse_all_but_office(who, "makes invoices")
        customer, chosen, at = needed(customer, "the customer's name"), _chosen(sheets), now()
        with self._database.writing() as session:
            revisions_to_charge(session, chosen)
            row = InvoiceDraftRow(
                version=1,
                state="open",
                customer=" ".join(customer.split()),
                issued=None,
                note="",
                created_by=who.display_name,
                created_at=at,
                changed_by=who.display_name,
                changed_at=at,
                invoice=None,
            )
            session.add(row)
            session.flush()
            _put_sheets(session, row.id, chosen)
            _note(session, who, "began an invoice", row, f"{row.customer}: {_named(chosen)}")
            return invoice_draft_of(session, row)

    def draft(self, number: int) -> InvoiceDraft:
        """The draft of that number. Raises MissingError."""
        with self._database.reading() as session:
            return invoice_draft_of(session, invoice_draft_row(session, number))

    def drafts(self, state: InvoiceDraftState | None = "open") -> list[InvoiceDraft]:
        """The drafts of a state, the oldest first; all with None."""
        query = select(InvoiceDraftRow).order_by(InvoiceDraftRow.id)
        if state is not None:
            query = query.where(InvoiceDraftRow.state == state)
        with self._database.reading() as session:
            return [invoice_draft_of(session, row) for row in session.scalars(query)]

    def choose_sheets(self, number: int, version: int, sheets: Iterable[int], who: Person) -> InvoiceDraft:
        """Lets the draft charge these sheets, and no others. Raises as `new_draft` does, and ConflictError
        where the draft has gone on since `version`."""
        chosen = _chosen(sheets)
        with self._changing(number, version, who) as (session, row):
            revisions_to_charge(session, chosen, row.id)
            before = sheets_of_draft(session, row.id)
            session.execute(delete(InvoiceDraftSheetRow).where(InvoiceDraftSheetRow.draft_id == row.id))
            _put_sheets(session, row.id, chosen)
            _note(session, who, "chose the sheets of", row, f"{_named(chosen)}; before: {_named(before)}")
            return invoice_draft_of(session, row)

    def adjust(
        self,
        number: int,
        version: int,
        kind: AdjustmentKind,
        key: str,
        values: Mapping[str, str],
        reason: str,
        who: Person,
    ) -> InvoiceDraft:
        """Changes a line of the draft by its key, leaves it out, adds one, or says that it was looked at.

        One that is there already, of that kind and for that key, is replaced. For a new line `key` is empty:
        it becomes "added/1" and so on. All but "confirm" need a reason. Raises InvalidEditError for values
        that no line can have, ConflictError where the draft has gone on since `version`.
        """
        given = _checked(kind, values)
        reason = reason.strip() if kind == "confirm" and not reason.strip() else needed(reason, "a reason")
        with self._changing(number, version, who) as (session, row):
            key = _key(session, row.id, kind, key)
            old = _adjustment(session, row.id, kind, key)
            before = "" if old is None else f"; before: {old.given} ({old.reason})"
            if old is not None:
                session.delete(old)
                session.flush()
            text = json.dumps(given, ensure_ascii=False, sort_keys=True)
            session.add(
                AdjustmentRow(
                    draft_id=row.id,
                    kind=kind,
                    key=key,
                    given=text,
                    reason=reason,
                    who=who.display_name,
                    at=now(),
                )
            )
            session.flush()
            _note(session, who, f"adjusted ({kind})", row, f"{key}: {text} ({reason}){before}")
            return invoice_draft_of(session, row)

    def take_back(
        self, number: int, version: int, key: str, kind: AdjustmentKind, who: Person
    ) -> InvoiceDraft:
        """Takes an adjustment back; with an added line all that was adjusted on it goes too. Raises
        MissingError where there is none, ConflictError where the draft has gone on since `version`."""
        with self._changing(number, version, who) as (session, row):
            old = _adjustment(session, row.id, kind, key)
            if old is None:
                raise MissingError(f"Nothing of that kind was changed on the line {key}.")
            gone = [old]
            if kind == "add":
                query = select(AdjustmentRow).where(AdjustmentRow.draft_id == row.id)
                gone = list(session.scalars(query.where(AdjustmentRow.key == key)))
            for each in gone:
                session.delete(each)
                detail = f"{each.kind} {key}: {each.given} ({each.reason})"
                _note(session, who, "took an adjustment back", row, detail)
            session.flush()
            return invoice_draft_of(session, row)

    def set_details(
        self, number: int, version: int, issued: datetime.date | None, note: str, who: Person
    ) -> InvoiceDraft:
        """Gives the draft its date of issue (None: the day of approval) and a note to the customer. Raises
        ConflictError where the draft has gone on since `version`."""
        text = needed(note, "a note") if note.strip() else ""
        with self._changing(number, version, who) as (session, row):
            before = f"{row.issued or 'the day of approval'}, {row.note!r}"
            row.issued, row.note = None if issued is None else issued.isoformat(), text
            detail = f"{row.issued or 'the day of approval'}, {text!r}; before: {before}"
            _note(session, who, "set date and note of", row, detail)
            return invoice_draft_of(session, row)

    def drop(self, number: int, version: int, who: Person) -> InvoiceDraft:
        """Puts the draft aside for good: its sheets can be charged by another. Raises ConflictError where the
        draft has gone on since `version`."""
        with self._changing(number, version, who) as (session, row):
            row.state = "dropped"
            _note(session, who, "dropped", row, _named(sheets_of_draft(session, row.id)))
            return invoice_draft_of(session, row)

    @contextmanager
    def _changing(self, number: int, version: int, who: Person) -> Iterator[tuple[Session, InvoiceDraftRow]]:
        """The draft's row, to be changed and already of the next version; all or nothing is written."""
        refuse_all_but_office(who, "changes invoices")
        with self._database.writing() as session:
            row = invoice_draft_row(session, number)
            refuse_changing(row, version)
            row.version, row.changed_at, row.changed_by = row.version + 1, now(), who.display_name
            yield session, row


def _chosen(sheets: Iterable[int]) -> tuple[int, ...]:
    chosen = in_order(sheets)
    if not chosen:
        raise JobnotesError("Choose one sheet or more: an invoice charges what was signed.")
    if len(chosen) > MOST_SHEETS:
        raise JobnotesError(f"{len(chosen)} sheets are too many for one invoice; {MOST_SHEETS} are the most.")
    return chosen


def _put_sheets(session: Session, draft_id: int, sheets: tuple[int, ...]) -> None:
    session.add_all(InvoiceDraftSheetRow(draft_id=draft_id, sheet=sheet) for sheet in sheets)
    session.flush()


def _named(sheets: tuple[int, ...]) -> str:
    return f"sheet{'s' if len(sheets) > 1 else ''} {', '.join(map(str, sheets))}"


def _adjustment(session: Session, draft_id: int, kind: str, key: str) -> AdjustmentRow | None:
    return session.scalar(
        select(AdjustmentRow).where(
            AdjustmentRow.draft_id == draft_id, AdjustmentRow.kind == kind, AdjustmentRow.key == key
        )
    )


def _key(session: Session, draft_id: int, kind: str, key: str) -> str:
    """The key as it is kept. For a line to be added: the next, or one that was added and is replaced."""
    key = key.strip()
    if kind != "add":
        return needed(key, "the line that is meant")
    query = select(AdjustmentRow.key).where(AdjustmentRow.draft_id == draft_id, AdjustmentRow.kind == "add")
    added = set(session.scalars(query))
    if key and key not in added:
        raise MissingError(f"There is no added line {key}.")
    return key or f"added/{1 + max((int(each.removeprefix('added/')) for each in added), default=0)}"


def _checked(kind: str, values: Mapping[str, str]) -> dict[str, str]:
    """The values of an adjustment, numbers written plainly. Raises InvalidEditError."""
    allowed: dict[str, tuple[str, ...]] = {
        "set": OF_A_LINE,
        "add": OF_A_LINE,
        "drop": (),
        # What was looked at: were it another by now, it would have to be looked at again.
        "confirm": ("look",),
    }
    if kind not in allowed:
        raise InvalidEditError(f"A line can't be changed by {kind!r}.")
    for name in values:
        if name not in allowed[kind]:
            raise InvalidEditError(f"Of a line, {name!r} can't be given here.")
    if kind == "add" and (missing := [name for name in NEEDED if name not in values]):
        raise InvalidEditError(f"A new line needs {_words(missing)} too.")
    if kind == "set" and not values:
        raise InvalidEditError("Give what the line is to say instead.")
    return {name: _value(name, values[name]) for name in sorted(values)}


def _value(name: str, value: Any) -> str:
    word = name.replace("_", " ").replace("vat", "VAT")
    if name in ("quantity", "price"):
        try:
            return plain(decimal_of(value, f"The {word}"))
        except JobnotesError as error:
            raise InvalidEditError(str(error)) from error
    if name in CHOICES and value not in CHOICES[name]:
        raise InvalidEditError(f"The {word} has to be one of {', '.join(CHOICES[name])}.")
    text = needed(str(value), f"the {word} of the line")
    # What was looked at is held against what there is to look at, so it stays word for word.
    return str(value) if name == "look" else " ".join(text.split())


def _words(names: list[str]) -> str:
    return ", ".join(name.replace("_", " ").replace("vat", "VAT") for name in names)


def _note(session: Session, who: Person, what: str, row: InvoiceDraftRow, detail: str) -> None:
    note(session, who, what, f"invoice draft {row.id}", detail)
