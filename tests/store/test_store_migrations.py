"""The database's shape: made from nothing, never taken for another, never taken back."""

from __future__ import annotations

import sqlite3
import threading
from contextlib import closing
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from conftest import Firm

from jobnotes.errors import JobnotesError
from jobnotes.store import Workshop, upgrade
from jobnotes.store.tables import Table


def test_the_migrations_make_what_the_program_works_with(firm: Firm) -> None:
    with firm.workshop.database.engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        differences = [
            each
            for each in compare_metadata(context, Table.metadata)
            if not (each[0] == "remove_table" and each[1].name.startswith("search"))
        ]
    assert differences == []
    assert upgrade.revision_of(firm.workshop.folder.database) == upgrade.NEWEST


def test_the_newest_migration_is_the_last_file() -> None:
    names = sorted(path.name for path in (upgrade.MIGRATIONS / "versions").glob("m*.py"))
    assert names[-1].startswith(f"m{upgrade.NEWEST}_")


def test_how_the_database_is_set(firm: Firm) -> None:
    with firm.workshop.database.engine.connect() as connection:

        def pragma(name: str) -> object:
            return connection.exec_driver_sql(f"PRAGMA {name}").scalar()

        told = {
            name: pragma(name) for name in ("journal_mode", "foreign_keys", "busy_timeout", "synchronous")
        }
    assert told == {"journal_mode": "wal", "foreign_keys": 1, "busy_timeout": 30_000, "synchronous": 2}


def test_a_newer_database_is_left_alone(tmp_path: Path) -> None:
    folder = tmp_path / "workshop"
    Workshop(folder).close()
    database = folder / "workshop.sqlite"
    with closing(sqlite3.connect(database)) as connection:
        connection.execute("UPDATE alembic_version SET version_num = '0999'")
        connection.commit()
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    before = database.read_bytes()
    with pytest.raises(JobnotesError, match=r"newer jobnotes .*0999.* Nothing was changed"):
        Workshop(folder)
    assert database.read_bytes() == before


def test_another_programs_database_is_left_alone(tmp_path: Path) -> None:
    folder = tmp_path / "workshop"
    folder.mkdir()
    with closing(sqlite3.connect(folder / "workshop.sqlite")) as connection:
        connection.execute("CREATE TABLE recipe (cake TEXT)")
        connection.commit()
    with pytest.raises(JobnotesError, match="not one of a workshop"):
        Workshop(folder)
    (folder / "workshop.sqlite").write_bytes(b"not a database at all, whatever its name says" * 100)
    with pytest.raises(JobnotesError, match="can't be read as a database"):
        Workshop(folder)


def test_many_open_a_new_workshop_at_once(tmp_path: Path) -> None:
    failures: list[BaseException] = []

    def work() -> None:
        try:
            with Workshop(tmp_path / "workshop") as workshop:
                assert not workshop.people.any()
        except BaseException as error:
            failures.append(error)

    threads = [threading.Thread(target=work) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failures == []


@pytest.mark.parametrize("left", [False, True], ids=["missing", "empty"])
def test_a_lost_database_takes_no_recording_with_it(firm: Firm, left: bool) -> None:
    draft = firm.draft()
    recording = firm.workshop.memos.recording(firm.workshop.memos.get(draft.memo_id or 0))
    firm.workshop.close()
    for file in firm.workshop.folder.path.glob("workshop.sqlite*"):
        file.unlink()
    if left:
        firm.workshop.folder.database.touch()
    with pytest.raises(JobnotesError, match="back from a backup"):
        Workshop(firm.workshop.folder.path)
    assert recording.is_file()
    assert not firm.workshop.folder.database.exists() or not firm.workshop.folder.database.stat().st_size


def test_a_lost_database_takes_no_invoice_with_it(tmp_path: Path) -> None:
    Workshop(tmp_path / "workshop").close()
    kept = tmp_path / "workshop" / "invoices" / "ab" / ("c" * 62 + ".pdf")
    kept.parent.mkdir()
    kept.write_bytes(b"%PDF-1.7")
    for file in (tmp_path / "workshop").glob("workshop.sqlite*"):
        file.unlink()
    with pytest.raises(JobnotesError, match="holds recordings, sheets or invoices; bring it back"):
        Workshop(tmp_path / "workshop")
    assert kept.is_file()


@pytest.mark.parametrize("revision", ["*", "[0]001", "0001_first"])
def test_a_format_is_known_by_its_whole_number(firm: Firm, revision: str) -> None:
    firm.workshop.close()
    with closing(sqlite3.connect(firm.workshop.folder.database)) as connection:
        connection.execute("UPDATE alembic_version SET version_num = ?", (revision,))
        connection.commit()
    with pytest.raises(JobnotesError, match="newer jobnotes"):
        Workshop(firm.workshop.folder.path)
