"""The people of a workshop, their roles and their passwords."""

from __future__ import annotations

import re
import unicodedata
from datetime import timedelta
from functools import cache
from typing import Any, get_args

from sqlalchemy import delete, func, select, update
from sqlalchemy.orm import Session

from jobnotes.errors import JobnotesError
from jobnotes.store.audit import note
from jobnotes.store.database import Database
from jobnotes.store.errors import MissingError, NotAllowedError, TooManyTriesError, WrongPasswordError
from jobnotes.store.moments import now
from jobnotes.store.rights import TERMINAL, refuse_all_but_owner
from jobnotes.store.tables import LogInRow, PersonRow, WrongTryRow
from jobnotes.store.values import Person, Role

SHORTEST_PASSWORD = 10
LONGEST_PASSWORD = 1_000
LONGEST_NAME = 100
NAME = re.compile(r"[^\W_][\w.@-]{0,63}")
TRIES = 5
"""Wrong passwords for one name within TRIES_WITHIN; the next is not looked at."""
TRIES_WITHIN = timedelta(minutes=5)
AT_ONCE = 20
"""So many passwords for one name are looked at at the same time."""
A_LOOK = timedelta(seconds=30)
"""A look at a password that takes longer was broken off, and counts for nothing."""


class People:
    """The accounts of a workshop."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def add(self, name: str, display_name: str, role: Role, password: str, by: Person = TERMINAL) -> Person:
        """A new account. Raises JobnotesError for a name that is taken or none, a password that is too
        short, a role that there is not; NotAllowedError for all but the owner."""
        refuse_all_but_owner(by, "adds people")
        name, shown = name.strip(), " ".join(display_name.split())
        if not NAME.fullmatch(name):
            raise JobnotesError(
                f"{name!r} is no name to log in with: letters, figures, '.', '-' and '@', 64 at most."
            )
        _refuse_display_name(shown)
        _refuse_role(role)
        refuse_weak(password, name)
        row = PersonRow(
            key=key_of(name),
            name=name,
            display_name=shown,
            role=role,
            password_hash=_hasher().hash(password),
            active=True,
            created_at=now(),
        )
        with self._database.writing() as session:
            if session.scalar(select(PersonRow.id).where(PersonRow.key == row.key)) is not None:
                raise JobnotesError(f"There is a {name!r} already.")
            session.add(row)
            session.flush()
            note(session, by, "added a person", row.name, role)
        return person_of(row)

    def get(self, number: int) -> Person:
        """The person of that number. Raises MissingError."""
        with self._database.reading() as session:
            return person_of(_row(session, number))

    def named(self, name: str) -> Person:
        """The person who logs in with that name. Raises MissingError."""
        with self._database.reading() as session:
            row = session.scalar(select(PersonRow).where(PersonRow.key == key_of(name)))
            if row is None:
                raise MissingError(f"There is nobody named {name!r}.")
            return person_of(row)

    def all(self, active_only: bool = False) -> list[Person]:
        """All people, by name."""
        query = select(PersonRow).order_by(PersonRow.key)
        if active_only:
            query = query.where(PersonRow.active)
        with self._database.reading() as session:
            return [person_of(row) for row in session.scalars(query)]

    def any(self) -> bool:
        """Whether there is anybody yet; if not, this is a first run."""
        with self._database.reading() as session:
            return bool(session.scalar(select(func.count()).select_from(PersonRow)))

    def check(self, name: str, password: str, *, inside: bool = False) -> Person:
        """The person whose password it is. `inside`: somebody who is logged in gives it once more; these
        tries are counted apart, so that whoever guesses at the door keeps nobody within from signing.

        Raises WrongPasswordError where name and password do not belong together or the account is closed, and
        TooManyTriesError after TRIES wrong ones within TRIES_WITHIN: a right one is not heard then either.
        """
        key = key_of(name)
        # No name begins so.
        counted = f"\n{key}" if inside else key
        with self._database.writing() as session:
            refuse_too_many(session, counted)
            # Counted before the slow look at the password: many tries at once are many tries.
            attempt = WrongTryRow(key=counted, at=now(), looked_at=False)
            session.add(attempt)
            session.flush()
            number = attempt.id
            row = session.scalar(select(PersonRow).where(PersonRow.key == key))
            known = person_of(row) if row is not None else None
            password_hash = row.password_hash if row is not None else _nobodys_hash()
        right = _fits(password_hash, password)
        with self._database.writing() as session:
            if known is None or not right or not known.active:
                session.execute(update(WrongTryRow).where(WrongTryRow.id == number).values(looked_at=True))
                note(session, known or TERMINAL, "gave a wrong password", key)
            else:
                mine = (WrongTryRow.id == number) | WrongTryRow.looked_at
                session.execute(delete(WrongTryRow).where(WrongTryRow.key == counted, mine))
                if _hasher().check_needs_rehash(password_hash):
                    _row(session, known.id).password_hash = _hasher().hash(password)
        if known is None or not right or not known.active:
            raise WrongPasswordError("Name and password do not belong together.")
        return known

    def change_password(self, person: Person, new: str, by: Person, old: str | None = None) -> None:
        """Gives a person another password, and ends their log-ins.

        One's own takes the old one too. Raises WrongPasswordError where that is wrong, NotAllowedError for
        another's unless by the owner, JobnotesError for one that is too short.
        """
        if by.id == person.id:
            self.check(person.name, old or "", inside=True)
        else:
            refuse_all_but_owner(by, "gives others a new password")
        refuse_weak(new, person.name)
        password_hash = _hasher().hash(new)
        with self._database.writing() as session:
            _row(session, person.id).password_hash = password_hash
            session.execute(delete(LogInRow).where(LogInRow.person_id == person.id))
            note(session, by, "changed a password", person.name)

    def set_active(self, person: Person, active: bool, by: Person) -> Person:
        """Opens or closes an account; a closed one's log-ins end. Raises NotAllowedError where it is the last
        owner's, and for all but the owner."""
        refuse_all_but_owner(by, "opens and closes accounts")
        with self._database.writing() as session:
            row = _row(session, person.id)
            if not active:
                _refuse_last_owner(session, row)
                session.execute(delete(LogInRow).where(LogInRow.person_id == person.id))
            row.active = active
            note(session, by, "opened an account" if active else "closed an account", row.name)
            return person_of(row)

    def set_role(self, person: Person, role: Role, by: Person) -> Person:
        """Gives a person another role. Raises as `set_active` does."""
        refuse_all_but_owner(by, "changes roles")
        _refuse_role(role)
        with self._database.writing() as session:
            row = _row(session, person.id)
            if role != "owner":
                _refuse_last_owner(session, row)
            row.role = role
            note(session, by, "changed a role", row.name, role)
            return person_of(row)


def key_of(name: str) -> str:
    """The name without regard to capitals and to how its letters are put together."""
    return unicodedata.normalize("NFKC", name.strip()[:200]).casefold()


def person_of(row: PersonRow) -> Person:
    """The row as a person."""
    role: Any = row.role
    return Person(row.id, row.name, row.display_name, role, row.active, row.created_at)


def refuse_weak(password: str, name: str) -> None:
    """Raises JobnotesError for a password that is too short, too long, or the person's own name."""
    if len(password) < SHORTEST_PASSWORD:
        raise JobnotesError(f"The password is too short; it needs {SHORTEST_PASSWORD} characters or more.")
    if len(password) > LONGEST_PASSWORD:
        raise JobnotesError(f"The password is too long; {LONGEST_PASSWORD} characters are the most.")
    if len(set(password)) < 3 or key_of(password) == key_of(name):
        raise JobnotesError("The password is too easy to guess; take a few words that nobody expects.")


def refuse_too_many(session: Session, key: str) -> None:
    """Raises TooManyTriesError where a name has had TRIES wrong passwords lately, or AT_ONCE are being looked
    at. Older ones are dropped."""
    at = now()
    since, begun = at - TRIES_WITHIN, at - A_LOOK
    # What lies in the future was written before the clock was put back, and would shut the name until then.
    stale = (WrongTryRow.at < since) | (WrongTryRow.at > at + A_LOOK)
    stale |= WrongTryRow.looked_at.is_(False) & (WrongTryRow.at < begun)
    session.execute(delete(WrongTryRow).where(stale))
    rows = session.scalars(select(WrongTryRow).where(WrongTryRow.key == key).order_by(WrongTryRow.at)).all()
    wrong = [row.at for row in rows if row.looked_at]
    if len(wrong) >= TRIES:
        seconds = max(1, round((wrong[-TRIES] - since).total_seconds()))
        raise TooManyTriesError(f"Too many wrong passwords; try again in {seconds} s.", seconds)
    if len(rows) - len(wrong) >= AT_ONCE:
        seconds = round(A_LOOK.total_seconds())
        raise TooManyTriesError(f"Too many log-ins at once; try again in {seconds} s.", seconds)


def _row(session: Session, number: int) -> PersonRow:
    row = session.get(PersonRow, number)
    if row is None:
        raise MissingError("There is no such person.")
    return row


def _refuse_role(role: str) -> None:
    if role not in get_args(Role):
        raise JobnotesError(f"There is no role {role!r}; give one of {', '.join(get_args(Role))}.")


def _refuse_display_name(shown: str) -> None:
    if not shown or len(shown) > LONGEST_NAME or not shown.isprintable():
        raise JobnotesError(f"The name on the sheets needs 1 to {LONGEST_NAME} characters that can be shown.")


def _refuse_last_owner(session: Session, row: PersonRow) -> None:
    owners = select(func.count()).select_from(PersonRow).where(PersonRow.role == "owner", PersonRow.active)
    if row.role == "owner" and row.active and (session.scalar(owners) or 0) <= 1:
        raise NotAllowedError(f"{row.name} is the last owner; make somebody else one first.")


def _fits(password_hash: str, password: str) -> bool:
    from argon2.exceptions import Argon2Error, InvalidHashError

    try:
        return bool(_hasher().verify(password_hash, password[: LONGEST_PASSWORD + 1]))
    except (Argon2Error, InvalidHashError, UnicodeEncodeError):
        return False


@cache
def _hasher() -> Any:
    from argon2 import PasswordHasher
    from argon2.profiles import RFC_9106_LOW_MEMORY

    # RFC 9106, section 4, second recommended option: 64 MiB, 3 passes.
    return PasswordHasher.from_parameters(RFC_9106_LOW_MEMORY)


@cache
def _nobodys_hash() -> str:
    """A name that there is not takes as long as one that there is."""
    return str(_hasher().hash("nobody has this password"))
