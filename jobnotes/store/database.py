"""The database: SQLite through SQLAlchemy. One writer at a time, any number of readers beside it."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.exc import DatabaseError
from sqlalchemy.orm import Session

from jobnotes.errors import JobnotesError

WAIT_MS = 30_000
"""So long a writer waits for another one."""


def engine_for(file: Path) -> Engine:
    """The engine of the database file: WAL, foreign keys on, every commit on the disk before it returns."""
    engine = create_engine(f"sqlite:///{file}", connect_args={"timeout": WAIT_MS / 1000})

    @event.listens_for(engine, "connect")
    def _prepare(connection: sqlite3.Connection, _record: Any) -> None:
        # Python's own opening of transactions comes too late for a reader that becomes a writer.
        connection.isolation_level = None
        for pragma in (
            f"busy_timeout={WAIT_MS}",
            "journal_mode=WAL",
            "foreign_keys=ON",
            "synchronous=FULL",
            "trusted_schema=OFF",
        ):
            connection.execute(f"PRAGMA {pragma}")

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        immediate = connection.get_execution_options().get("immediate", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if immediate else "BEGIN")

    return engine


class Database:
    """Sessions to read in and to write in."""

    def __init__(self, file: Path) -> None:
        self.file = file
        self.engine = engine_for(file)
        self._writer = self.engine.execution_options(immediate=True)

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """A session that sees one state of the database throughout."""
        with in_words(self.file), Session(self.engine, expire_on_commit=False) as session:
            yield session

    @contextmanager
    def writing(self) -> Iterator[Session]:
        """A session that writes all or nothing. It holds the one writer's place from its first statement."""
        with in_words(self.file), Session(self._writer, expire_on_commit=False) as session, session.begin():
            yield session

    def close(self) -> None:
        """Lets go of all connections."""
        self.engine.dispose()


@contextmanager
def in_words(file: Path) -> Iterator[None]:
    """Turns what SQLite refuses for reasons outside the program into a JobnotesError of one sentence."""
    try:
        yield
    except DatabaseError as error:
        text = str(error.orig)
        if "malformed" in text or "not a database" in text:
            raise JobnotesError(
                f"{file} is damaged ({text}); bring the workshop back from a backup."
            ) from error
        if "locked" in text:
            raise JobnotesError(
                f"{file} is in use: another program has been writing to it for {WAIT_MS // 1000} s."
            ) from error
        if "full" in text:
            raise JobnotesError(f"{file} could not be written: the disk is full.") from error
        if "readonly" in text or "unable to open" in text:
            raise JobnotesError(f"{file} could not be opened for writing.") from error
        raise
