"""One byte changed anywhere is named, and so is what was cut off, taken out or put in."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
import store_work
from conftest import Firm
from store_work import signed

from jobnotes.errors import JobnotesError
from jobnotes.store import (
    Confirm,
    Fault,
    MissingError,
    NotAllowedError,
    Workshop,
    canonical,
    forget,
    forget_older,
    head,
    sha256,
    verify,
)
from jobnotes.store.blobs import Blobs


@pytest.fixture
def full(firm: Firm) -> Iterator[Firm]:
    """Three sheets, one amended, one withdrawn; one recording deleted."""
    draft = firm.draft(store_work.memo_text(1, jobs=2))
    signed(firm.workshop, firm.engineer, draft)
    signed(firm.workshop, firm.engineer, firm.workshop.sheets.amend(1, firm.engineer))
    other = firm.draft(store_work.memo_text(2), "other")
    signed(firm.workshop, firm.engineer, other)
    firm.workshop.sheets.withdraw(3, firm.office, "wrong machine")
    forget(firm.workshop, firm.workshop.memos.get(other.memo_id or 0), firm.office, "asked for")
    assert list(verify(firm.workshop, check)) == []
    assert head(firm.workshop)[0] == 6
    yield firm


def check(pdf: bytes, content: bytes) -> str | None:
    """Stands for the seal."""
    return None if pdf == b"%PDF-1.7\n" + content else "It carries another document."


def faults(firm: Firm, **more: str) -> list[Fault]:
    return list(verify(firm.workshop, check, **more))


def change(firm: Firm, statement: str, *values: object) -> None:
    with closing(sqlite3.connect(firm.workshop.folder.database)) as connection:
        connection.execute("PRAGMA foreign_keys=OFF")
        assert connection.execute(statement, values).rowcount >= 1
        connection.commit()


def flip(content: bytes, at: int) -> bytes:
    return content[:at] + bytes([content[at] ^ 1]) + content[at + 1 :]


@pytest.mark.parametrize("entry", range(1, 7))
def test_every_byte_of_an_entry_counts(full: Firm, entry: int) -> None:
    with closing(sqlite3.connect(full.workshop.folder.database)) as connection:
        (content,) = connection.execute("SELECT content FROM chain WHERE number = ?", (entry,)).fetchone()
    for at in range(0, len(content), max(1, len(content) // 25)):
        change(full, "UPDATE chain SET content = ? WHERE number = ?", flip(content, at), entry)
        first = faults(full)[0]
        assert first.where == f"chain entry {entry}" and f"broken at entry {entry}" in first.what
    change(full, "UPDATE chain SET content = ? WHERE number = ?", content, entry)
    assert faults(full) == []


@pytest.mark.parametrize("column", ["sha256", "previous"])
def test_a_hash_changed(full: Firm, column: str) -> None:
    with closing(sqlite3.connect(full.workshop.folder.database)) as connection:
        (text,) = connection.execute(f"SELECT {column} FROM chain WHERE number = 3").fetchone()
    other = ("1" if text[0] == "0" else "0") + text[1:]
    change(full, f"UPDATE chain SET {column} = ? WHERE number = 3", other)
    assert faults(full)[0].where == "chain entry 3"


def test_an_entry_rewritten_with_its_hash(full: Firm) -> None:
    """Whoever changes an entry and its hash has to change all that come after."""
    with closing(sqlite3.connect(full.workshop.folder.database)) as connection:
        (content,) = connection.execute("SELECT content FROM chain WHERE number = 2").fetchone()
    data = json.loads(content)
    data["job"]["machine"]["hours"] = 1
    forged = canonical(data)
    change(full, "UPDATE chain SET content = ?, sha256 = ? WHERE number = 2", forged, sha256(forged))
    assert faults(full)[0].where == "chain entry 3"


def test_the_whole_chain_rewritten_still_has_its_pdfs(full: Firm) -> None:
    """And then the PDFs, which only the workshop's key can seal, carry what was signed."""
    with closing(sqlite3.connect(full.workshop.folder.database)) as connection:
        contents = connection.execute("SELECT number, content FROM chain ORDER BY number").fetchall()
    previous, old_to_new = "0" * 64, {}
    for number, content in contents:
        data = json.loads(content)
        data["previous"] = previous
        if number == 2:
            data["job"]["machine"]["hours"] = 1
        text = canonical(data).decode()
        for old, new in old_to_new.items():
            text = text.replace(old, new)
        forged = text.encode()
        old_to_new[sha256(content)] = previous_new = sha256(forged)
        change(
            full,
            "UPDATE chain SET content = ?, sha256 = ?, previous = ? WHERE number = ?",
            *(forged, previous_new, previous, number),
        )
        previous = previous_new
    assert faults(full)[0].where == "PDF of sheet 2, revision 1"


def test_entries_taken_out(full: Firm) -> None:
    _, newest = head(full.workshop)
    assert faults(full, expect=newest) == []
    change(full, "DELETE FROM chain WHERE number = 6")
    assert faults(full, expect=newest)[0].where == "chain"
    assert any(fault.where == "recording of other" for fault in faults(full))
    change(full, "DELETE FROM chain WHERE number = 2")
    assert faults(full)[0].what == "The chain is broken at entry 3: entry 2 is missing."


def test_a_signed_sheet_dropped_from_the_end(full: Firm) -> None:
    for number in (6, 5, 4):
        change(full, "DELETE FROM chain WHERE number = ?", number)
    assert any("no entry for sheet 3" in fault.what for fault in faults(full))


def test_every_byte_of_a_pdf_counts(full: Firm) -> None:
    sheet = full.workshop.sheets.get(2)
    path = full.workshop.sheets.blobs.path(sheet.pdf_sha256, ".pdf")
    content = path.read_bytes()
    for at in range(0, len(content), max(1, len(content) // 25)):
        path.write_bytes(flip(content, at))
        assert [fault.where for fault in faults(full)] == ["PDF of sheet 2, revision 1"]
    path.unlink()
    (fault,) = faults(full)
    assert "is missing" in fault.what


def test_a_pdf_exchanged_for_another(full: Firm) -> None:
    other = full.workshop.sheets.get(1).pdf_sha256
    change(full, "UPDATE sheet SET pdf_sha256 = ? WHERE number = 2", other)
    (fault,) = faults(full)
    assert fault.where == "PDF of sheet 2, revision 1" and "another document" in fault.what


def test_every_byte_of_a_recording_counts(full: Firm) -> None:
    memo = full.workshop.memos.all()[0]
    path = full.workshop.memos.recording(memo)
    content = path.read_bytes()
    for at in range(len(content)):
        path.write_bytes(flip(content, at))
        assert [fault.where for fault in faults(full)] == ["recording of memo"]
    path.unlink()
    assert "is missing" in faults(full)[0].what


@pytest.mark.parametrize("column", ["who", "old", "new", "pointer", "kind", "at", "heard", "undone"])
def test_a_correction_changed(full: Firm, column: str) -> None:
    change(
        full,
        f"UPDATE correction SET {column} = ? WHERE draft_id = 1 AND version = 2",
        {"at": "2026-01-01T00:00:00.000000Z", "undone": 1}.get(column, '"x"'),
    )
    assert {fault.where for fault in faults(full)} == {
        "corrections of sheet 1, revision 1",
        "corrections of sheet 2, revision 1",
    }


def test_a_correction_taken_out(full: Firm) -> None:
    change(full, "DELETE FROM correction WHERE draft_id = 1 AND version = 3")
    assert faults(full)[0].where == "corrections of sheet 1, revision 1"


@pytest.mark.parametrize(
    ("statement", "where"),
    [
        ("UPDATE sheet SET customer = 'Somebody' WHERE number = 2", "sheet 2, revision 1"),
        ("UPDATE sheet SET fleet_number = 'XX1' WHERE number = 2", "sheet 2, revision 1"),
        ("UPDATE sheet SET state = 'signed' WHERE number = 3", "sheet 3, revision 1"),
        ("UPDATE sheet SET state = 'signed' WHERE number = 1", "sheet 1, revision 1"),
        ("DELETE FROM sheet WHERE number = 2", "chain entry 2"),
        ("UPDATE memo SET forgotten_at = NULL WHERE id = 2", "recording of other"),
        ("UPDATE memo SET forgotten_at = '2026-01-01T00:00:00.000000Z' WHERE id = 1", "recording of memo"),
        ("DELETE FROM memo WHERE id = 1", "memo of sheet 1, revision 1"),
        ("UPDATE sheet SET engineer_id = 3 WHERE number = 2", "sheet 2, revision 1"),
        ("UPDATE sheet SET draft_id = 3 WHERE number = 2", "sheet 2, revision 1"),
        ("UPDATE sheet SET memo_id = NULL WHERE number = 2", "sheet 2, revision 1"),
        (
            "UPDATE sheet SET signed_at = '2020-01-01T00:00:00.000000Z' WHERE number = 2",
            "sheet 2, revision 1",
        ),
        ("UPDATE sheet SET withdrawn_why = 'another' WHERE number = 3", "sheet 3, revision 1"),
        ("UPDATE sheet SET withdrawn_entry = 6 WHERE number = 3", "sheet 3, revision 1"),
        ("UPDATE sheet SET withdrawn_why = 'another' WHERE number = 2", "sheet 2, revision 1"),
        ("UPDATE chain SET at = '2020-01-01T00:00:00.000000Z' WHERE number = 2", "chain entry 2"),
        ("UPDATE chain SET at = '2020-01-01T00:00:00.000000Z' WHERE kind = 'withdrawal'", "chain entry 5"),
        ("UPDATE memo SET transcript = replace(transcript, 'WL', 'XX')", "memo of sheet 1, revision 1"),
        ("UPDATE memo SET recorded_at = '2026-05-13T10:58:00'", "memo of sheet 1, revision 1"),
        ("UPDATE draft SET state = 'open' WHERE id = 1", "draft of sheet 1, revision 1"),
        ("UPDATE draft SET version = 1 WHERE id = 1", "draft of sheet 1, revision 1"),
        ("UPDATE draft SET amends = NULL WHERE amends = 1", "draft of sheet 1, revision 2"),
        (
            "UPDATE draft_version SET document = replace(document, 'Oddmarsh', 'X') WHERE draft_id = 1",
            "draft of sheet 2, revision 1",
        ),
    ],
)
def test_lists_that_tell_something_else(full: Firm, statement: str, where: str) -> None:
    change(full, statement)
    assert where in {fault.where for fault in faults(full)}


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE sheet SET signed_at = 'yesterday'",
        "UPDATE sheet SET pdf_sha256 = '../../x'",
        "UPDATE chain SET content = 7 WHERE number = 2",
        "UPDATE correction SET old = 'no JSON'",
        "UPDATE memo SET sha256 = 'x' WHERE id = 1",
        "UPDATE draft_version SET document = '[]'",
    ],
)
def test_nonsense_in_the_database_is_a_fault_and_no_crash(full: Firm, statement: str) -> None:
    change(full, statement)
    assert faults(full)


def test_a_damaged_database(full: Firm, tmp_path: Path) -> None:
    copy = tmp_path / "copy"
    from jobnotes.store import backup, restore

    backup(full.workshop, tmp_path / "b.tar")
    restore(tmp_path / "b.tar", copy)
    database = copy / "workshop.sqlite"
    content = bytearray(database.read_bytes())
    # The pages behind the first, where tables begin: their headers made nonsense.
    for page in range(1, len(content) // 4096):
        content[page * 4096] ^= 0x55
    database.write_bytes(content)
    with pytest.raises((JobnotesError, RuntimeError)), Workshop(copy) as workshop:
        found = list(verify(workshop))
        assert found and found[0].where == "database"
        raise RuntimeError("damage was found")


# -- recordings deleted on purpose --


def test_forgetting_keeps_the_sheet(firm: Firm) -> None:
    draft = firm.draft()
    memo = firm.workshop.memos.get(draft.memo_id or 0)
    path = firm.workshop.memos.recording(memo)
    with pytest.raises(NotAllowedError, match="still needed"):
        forget(firm.workshop, memo, firm.owner, "asked for")
    (sheet,) = signed(firm.workshop, firm.engineer, draft)
    with pytest.raises(NotAllowedError):
        forget(firm.workshop, memo, firm.engineer, "asked for")
    assert path.exists()
    forget(firm.workshop, memo, firm.owner, "asked for")
    assert not path.exists()
    assert list(verify(firm.workshop)) == []
    assert firm.workshop.sheets.get(1) == sheet
    memo = firm.workshop.memos.get(memo.id)
    for act in (
        lambda: firm.workshop.memos.recording(memo),
        lambda: forget(firm.workshop, memo, firm.owner, "again"),
    ):
        with pytest.raises(MissingError, match="deleted"):
            act()
    again = firm.workshop.memos.take(firm.folder / "memo.txt")
    assert not again.new and not path.exists(), "what was deleted does not come back by itself"


def test_a_crash_between_note_and_deletion(firm: Firm, monkeypatch: pytest.MonkeyPatch) -> None:
    draft = firm.draft()
    signed(firm.workshop, firm.engineer, draft)
    memo = firm.workshop.memos.get(draft.memo_id or 0)
    path = firm.workshop.memos.recording(memo)

    def crash(*_given: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(Blobs, "remove", crash)
    with pytest.raises(KeyboardInterrupt):
        forget(firm.workshop, memo, firm.owner, "asked for")
    assert path.exists()
    firm.workshop.sweep()
    assert not path.exists()
    assert list(verify(firm.workshop)) == []


def test_forgetting_by_age(firm: Firm) -> None:
    old = firm.draft()
    signed(firm.workshop, firm.engineer, old)
    waiting = firm.draft(store_work.memo_text(2), "waiting")
    assert forget_older(firm.workshop, 1, firm.owner) == []
    (gone,) = forget_older(firm.workshop, 0, firm.owner)
    assert gone.id == old.memo_id and gone.forgotten_at is not None
    assert firm.workshop.memos.get(waiting.memo_id or 0).forgotten_at is None
    # An amendment that is open still needs the recording.
    firm.workshop.drafts.edit(waiting.id, 1, firm.engineer, Confirm(pointer="/jobs/0/machine/hours"))
    (sheet,) = signed(firm.workshop, firm.engineer, firm.workshop.drafts.get(waiting.id, firm.engineer))
    firm.workshop.sheets.amend(sheet.number, firm.engineer)
    assert forget_older(firm.workshop, 0, firm.owner) == []
