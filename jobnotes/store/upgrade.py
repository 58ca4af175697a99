"""The database brought to the shape that this program works with, through Alembic's migrations."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

from sqlalchemy import Engine

from jobnotes.errors import JobnotesError
from jobnotes.store.folder import Folder

MIGRATIONS = Path(__file__).parent / "migrations"
NEWEST = "0002"
"""The migration that `tables.py` stands for. Migrations are numbered; none is ever changed or dropped."""


def revision_of(file: Path) -> str | None:
    """The number of the migration that a database stands at, None for one without tables.

    Raises JobnotesError where the file is no database of a workshop.
    """
    if not file.exists():
        return None
    try:
        with closing(sqlite3.connect(file, timeout=30)) as connection:
            tables = {name for (name,) in connection.execute("SELECT name FROM sqlite_master")}
            if not tables:
                return None
            if "alembic_version" not in tables:
                raise JobnotesError(f"{file} is a database, but not one of a workshop.")
            row = connection.execute("SELECT version_num FROM alembic_version").fetchone()
            if row is None:
                raise JobnotesError(f"{file} is damaged: it does not say which format it has.")
            return str(row[0])
    except sqlite3.DatabaseError as error:
        raise JobnotesError(f"{file} can't be read as a database: {error}.") from error


def refuse_newer(file: Path, revision: str | None) -> None:
    """Raises JobnotesError where the revision is one that this program does not know."""
    known = {each.name[1:].partition("_")[0] for each in (MIGRATIONS / "versions").glob("m*_*.py")}
    if revision is not None and revision not in known:
        raise JobnotesError(
            f"{file} was written by a newer jobnotes (its format is {revision}, this one's {NEWEST}); "
            "install that or a later one. Nothing was changed."
        )


def upgrade(folder: Folder, engine: Engine) -> None:
    """Brings the database to NEWEST, all or nothing; one process at a time. Does nothing where it is there.

    Raises JobnotesError where the database is newer than the program, no database of a workshop, or missing
    though there are recordings or sheets.
    """
    revision = revision_of(folder.database)
    refuse_newer(folder.database, revision)
    if revision == NEWEST:
        return
    with folder.lock("upgrade"):
        revision = revision_of(folder.database)
        refuse_newer(folder.database, revision)
        if revision == NEWEST:
            return
        if revision is None:
            _refuse_lost(folder)
        # Alembic takes a third of a second to import, and is needed once in a database's life.
        from alembic import command
        from alembic.config import Config

        config = Config()
        config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
        with engine.execution_options(immediate=True).begin() as connection:
            config.attributes["connection"] = connection
            command.upgrade(config, "head")


def _refuse_lost(folder: Folder) -> None:
    """Raises JobnotesError where the files of a workshop are there and its database is not: to a new one each
    of them would be what broken-off work has left, to be removed."""
    if any(file for part in folder.contents for file in part.glob("??/*")):
        raise JobnotesError(
            f"{folder.database} is missing or empty, though {folder.path} holds recordings, sheets or "
            "invoices; bring it back from a backup, or give another folder. Nothing was changed."
        )
