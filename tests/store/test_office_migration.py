"""A workshop of the first format, with all that it held, gets the office's tables and keeps the rest."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import office_rows
import pytest
import store_work
from alembic import command
from alembic.config import Config

from jobnotes.store import Workshop, head, people, upgrade, verify
from jobnotes.store.database import Database

OFFICE = {
    *("invoice_draft", "invoice_draft_sheet", "invoice_adjustment", "invoice", "invoice_sheet"),
    *("part_order", "stock", "follow_up_closing"),
}


def rows(database: Path) -> dict[str, list[Any]]:
    """All that a database holds, by table."""
    with closing(sqlite3.connect(database)) as connection:
        names = [
            name
            for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
            if name != "alembic_version"
        ]
        return {name: connection.execute(f"SELECT * FROM {name}").fetchall() for name in names}


def first_format(folder: Path) -> None:
    """Makes the database as it was before there was an office."""
    folder.mkdir()
    database = Database(folder / "workshop.sqlite")
    config = Config()
    config.set_main_option("script_location", str(upgrade.MIGRATIONS))
    with database.engine.execution_options(immediate=True).begin() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, "0001")
    database.close()


def test_a_workshop_of_the_first_format_keeps_everything(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(people, "_hasher", lambda: store_work.QUICK)
    folder = tmp_path / "workshop"
    first_format(folder)
    # The rest of the program works with the old tables as it did: nobody asks for an invoice.
    with monkeypatch.context() as before, Workshop.__new__(Workshop) as workshop:
        before.setattr(upgrade, "NEWEST", "0001")
        workshop.__init__(folder)  # type: ignore[misc]
        engineer = workshop.people.add("tam", "Tamsin Quill", "engineer", store_work.PASSWORD)
        workshop.people.add("ilse", "Ilse Brandreth", "owner", store_work.PASSWORD)
        office_rows.sheets_of(workshop, engineer, tmp_path, 3)
        amended = workshop.sheets.amend(1, engineer)
        store_work.signed(workshop, engineer, amended)
        workshop.sheets.withdraw(3, engineer, "wrong machine")
        store_work.draft_of(workshop, engineer, tmp_path, store_work.memo_text(2), "open")
        sheets, newest = workshop.sheets.lines(), head(workshop)
    old = rows(folder / "workshop.sqlite")
    assert not OFFICE & set(old) and len(old["sheet"]) == 4 and old["correction"] and old["audit"]
    assert upgrade.revision_of(folder / "workshop.sqlite") == "0001"
    with Workshop(folder) as workshop:
        assert upgrade.revision_of(folder / "workshop.sqlite") == "0002"
        new = rows(folder / "workshop.sqlite")
        assert set(new) - set(old) == OFFICE and not any(new[name] for name in OFFICE)
        assert {name: new[name] for name in old} == old
        assert workshop.sheets.lines() == sheets and head(workshop) == newest
        assert list(verify(workshop)) == []
        assert (folder / "invoices").is_dir()
        owner = workshop.people.check("ilse", store_work.PASSWORD)
        draft = workshop.invoices.new_draft("Oddmarsh Hire", [1, 2], owner)
        issued = workshop.invoices.approve(draft.id, 1, owner, office_rows.making(workshop, draft))
        assert issued.sheets == ((1, 2), (2, 1))
        assert list(verify(workshop)) == []
