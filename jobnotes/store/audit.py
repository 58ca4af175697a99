"""Who did or saw what, and when."""

from __future__ import annotations

from sqlalchemy import select
from sqlalchemy.orm import Session

from jobnotes.store.database import Database
from jobnotes.store.moments import now
from jobnotes.store.rights import id_of
from jobnotes.store.tables import AuditRow
from jobnotes.store.values import AuditLine, Person


def note(session: Session, who: Person, what: str, on: str, detail: str = "") -> None:
    """Writes a line within the caller's transaction: it stands if what it tells of does."""
    name = who.name if id_of(who) is not None else who.display_name
    session.add(
        AuditRow(at=now(), person_id=id_of(who), who=name, what=what, on_what=on[:200], detail=detail[:2_000])
    )


class Audit:
    """The lines of the audit."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def note(self, who: Person, what: str, on: str, detail: str = "") -> None:
        """Writes a line by itself: who saw something."""
        with self._database.writing() as session:
            note(session, who, what, on, detail)

    def lines(self, limit: int = 200, on: str | None = None) -> list[AuditLine]:
        """The newest lines, the newest first; with `on` those about that alone ("draft 12", "sheet 3")."""
        query = select(AuditRow).order_by(AuditRow.id.desc()).limit(limit)
        if on is not None:
            query = query.where(AuditRow.on_what == on)
        with self._database.reading() as session:
            return [
                AuditLine(row.at, row.who, row.what, row.on_what, row.detail)
                for row in session.scalars(query)
            ]
