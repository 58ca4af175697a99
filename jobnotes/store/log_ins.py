"""Log-ins: a token in the browser, and its hash here, for a time."""

from __future__ import annotations

import secrets
from datetime import timedelta

from sqlalchemy import delete

from jobnotes.store.audit import note
from jobnotes.store.canonical import sha256
from jobnotes.store.database import Database
from jobnotes.store.moments import now
from jobnotes.store.people import People, person_of
from jobnotes.store.tables import LogInRow, PersonRow
from jobnotes.store.values import Person

IDLE = timedelta(hours=2)
"""A log-in ends when nobody has used it for so long."""
LONGEST = timedelta(hours=12)
"""It ends after so long in any case: a working day."""
NOTED_EVERY = timedelta(minutes=1)
"""A use is written down so often at most, so that reading a page does not wait for a writer."""


class LogIns:
    """Who is logged in."""

    def __init__(self, database: Database, people: People) -> None:
        self._database = database
        self._people = people

    def begin(self, name: str, password: str) -> tuple[Person, str]:
        """Logs a person in; the token is given once and not kept. Raises as `People.check` does."""
        person = self._people.check(name, password)
        token, at = secrets.token_urlsafe(32), now()
        with self._database.writing() as session:
            session.execute(delete(LogInRow).where(LogInRow.expires_at < at))
            session.add(
                LogInRow(
                    token_sha256=_hash(token),
                    person_id=person.id,
                    created_at=at,
                    seen_at=at,
                    expires_at=at + LONGEST,
                )
            )
            note(session, person, "logged in", person.name)
        return person, token

    def person_for(self, token: str) -> Person | None:
        """The person whose log-in it is; None where it has ended or never was."""
        at = now()
        with self._database.reading() as session:
            row = session.get(LogInRow, _hash(token))
            if row is None or row.expires_at <= at or row.seen_at + IDLE <= at:
                return None
            if row.created_at > at + NOTED_EVERY:
                # The clock was put back since; nobody knows for how long it would hold.
                return None
            person = session.get(PersonRow, row.person_id)
            if person is None or not person.active:
                return None
            found, seen_at = person_of(person), row.seen_at
        if at - seen_at >= NOTED_EVERY:
            with self._database.writing() as session:
                again = session.get(LogInRow, _hash(token))
                if again is not None:
                    again.seen_at = at
        return found

    def end(self, token: str) -> None:
        """Logs out."""
        with self._database.writing() as session:
            session.execute(delete(LogInRow).where(LogInRow.token_sha256 == _hash(token)))

    def end_all(self, person: Person) -> None:
        """Logs a person out everywhere."""
        with self._database.writing() as session:
            session.execute(delete(LogInRow).where(LogInRow.person_id == person.id))


def _hash(token: str) -> str:
    return sha256(token.encode("utf-8", "replace"))
