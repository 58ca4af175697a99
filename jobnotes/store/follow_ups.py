"""Work advised on sheets, closed when it is done or no longer wanted, and opened again."""

from __future__ import annotations

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from jobnotes.errors import JobnotesError
from jobnotes.register.lookup import code_key
from jobnotes.store.audit import note
from jobnotes.store.chain import content_of_entry
from jobnotes.store.comments import needed
from jobnotes.store.database import Database
from jobnotes.store.errors import MissingError, NotAllowedError
from jobnotes.store.moments import now
from jobnotes.store.office_values import Closing
from jobnotes.store.rights import is_office
from jobnotes.store.sheet_rows import entry_at, newest_row
from jobnotes.store.tables import ClosingRow, SheetRow
from jobnotes.store.values import Person


class FollowUps:
    """What was closed of the work that sheets advise: by the office, or by the sheet's engineer."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def close(
        self, sheet: int, text: str, who: Person, by_sheet: int | None = None, reason: str = ""
    ) -> Closing:
        """Closes a piece of advised work, word for word as the sheet's newest revision has it: done on the
        later sheet `by_sheet`, or for a reason.

        Raises MissingError for a sheet or text that is not there, NotAllowedError for another's sheet and for
        what is closed already, JobnotesError without a later sheet or a reason.
        """
        if by_sheet is None:
            reason = needed(reason, "a reason, or the sheet on which it was done")
        elif reason.strip():
            reason = needed(reason, "a reason")
        with self._database.writing() as session:
            row = _own_row(session, sheet, who)
            if row.state != "signed":
                raise NotAllowedError(f"Sheet {sheet} is {row.state}, and what it advises with it.")
            if text not in content_of_entry(entry_at(session, row.entry))["job"]["follow_up"]:
                raise MissingError(f"Sheet {sheet} does not advise that: {text[:80]!r}.")
            if _open_closing(session, sheet, text) is not None:
                raise NotAllowedError(f"That is closed already on sheet {sheet}.")
            if by_sheet is not None:
                _refuse_earlier(session, row, by_sheet)
            closing = ClosingRow(
                at=now(),
                who=who.display_name,
                sheet=sheet,
                text=text,
                by_sheet=by_sheet,
                reason=reason.strip(),
                undone_at=None,
                undone_by=None,
                undone_why=None,
            )
            session.add(closing)
            session.flush()
            done = f"done on sheet {by_sheet}" if by_sheet is not None else reason
            note(session, who, "closed advised work", f"sheet {sheet}", f"{text}: {done}")
            return _closing_of(closing)

    def reopen(self, number: int, who: Person, reason: str) -> Closing:
        """Opens again what a closing closed; the closing stays, as undone. Raises MissingError,
        NotAllowedError for another's sheet and where it is open again already, JobnotesError without a
        reason."""
        reason = needed(reason, "a reason")
        with self._database.writing() as session:
            closing = session.get(ClosingRow, number)
            if closing is None:
                raise MissingError("Nothing was closed under that number.")
            _own_row(session, closing.sheet, who)
            if closing.undone_at is not None:
                raise NotAllowedError(f"{closing.undone_by} has opened it again already.")
            closing.undone_at, closing.undone_by, closing.undone_why = now(), who.display_name, reason
            detail = f"{closing.text}: {reason}"
            note(session, who, "opened advised work again", f"sheet {closing.sheet}", detail)
            return _closing_of(closing)

    def state(self) -> tuple[int, int]:
        """What tells one state of the closings from another: the id of the newest, and how many are undone,
        which each is once at most."""
        query = select(func.max(ClosingRow.id), func.count(ClosingRow.undone_at))
        with self._database.reading() as session:
            newest, undone = session.execute(query).one()
        return newest or 0, undone

    def closings(self) -> list[Closing]:
        """All closings, the oldest first, those undone too."""
        with self._database.reading() as session:
            return [_closing_of(row) for row in session.scalars(select(ClosingRow).order_by(ClosingRow.id))]


def _own_row(session: Session, sheet: int, who: Person) -> SheetRow:
    row = newest_row(session, sheet)
    if not is_office(who) and row.engineer_id != who.id:
        raise NotAllowedError("Only its engineer or the office closes what a sheet advises.")
    return row


def _open_closing(session: Session, sheet: int, text: str) -> ClosingRow | None:
    return session.scalar(
        select(ClosingRow).where(
            ClosingRow.sheet == sheet, ClosingRow.text == text, ClosingRow.undone_at.is_(None)
        )
    )


def _refuse_earlier(session: Session, row: SheetRow, by_sheet: int) -> None:
    """Raises JobnotesError where the other sheet is the same, withdrawn, of an earlier day, or of another
    machine."""
    other = newest_row(session, by_sheet)
    if other.state != "signed":
        raise NotAllowedError(f"Sheet {by_sheet} is {other.state}, so nothing was done on it.")
    if other.number == row.number or _day(other) < _day(row):
        raise JobnotesError(f"Sheet {by_sheet} is not later than sheet {row.number}.")
    if code_key(other.fleet_number) != code_key(row.fleet_number):
        raise JobnotesError(
            f"Sheet {by_sheet} is of another machine than sheet {row.number}; close it with a reason instead."
        )


def _day(row: SheetRow) -> str:
    """The day of the visit; sheets need not be signed in the order of their visits."""
    return row.date or row.signed_at.date().isoformat()


def _closing_of(row: ClosingRow) -> Closing:
    return Closing(
        id=row.id,
        at=row.at,
        who=row.who,
        sheet=row.sheet,
        text=row.text,
        by_sheet=row.by_sheet,
        reason=row.reason,
        undone=row.undone_at is not None,
    )
