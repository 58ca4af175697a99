"""The workshop's commands from end to end."""

from __future__ import annotations

import re
import sqlite3
import sys
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
import store_work
from click.testing import CliRunner, Result
from conftest import Firm
from store_work import LONDON, PASSWORD

from jobnotes.cli import commands
from jobnotes.errors import JobnotesError
from jobnotes.paper import Firm as PaperFirm
from jobnotes.store import Confirm, Memo, Signed, Workshop
from jobnotes.workshop import (
    Settings,
    check_sheet_pdf,
    load_settings,
    save_settings,
    sealed_pdf,
    taking,
    withdrawn_pdf,
)


def run(firm: Firm | Path, *given: object, text: str | None = None) -> Result:
    """A command in the workshop; its own refusal stands in `stderr` with status 1, as the program has it."""
    folder = firm if isinstance(firm, Path) else firm.workshop.folder.path
    return CliRunner().invoke(commands, [*map(str, given), "--workshop", str(folder)], input=text)


def fails(result: Result, says: str) -> None:
    assert isinstance(result.exception, JobnotesError), result.output
    assert re.search(says, str(result.exception)), result.exception


@pytest.fixture
def plain(monkeypatch: pytest.MonkeyPatch) -> None:
    reader = lambda *_given: store_work.PlainReader()  # noqa: E731
    monkeypatch.setattr(taking.Taking, "_real_intake", reader)


def test_people(tmp_path: Path) -> None:
    folder = tmp_path / "workshop"
    done = run(
        folder, "person", "add", "ada", "--role", "owner", "--display-name", "Ada Finch", text=PASSWORD
    )
    assert (done.exit_code, done.stdout) == (0, "ada (Ada Finch) is here as owner.\n")
    fails(run(folder, "person", "add", "ada", "--role", "owner", text=PASSWORD), "already")
    fails(run(folder, "person", "add", "bo", "--role", "engineer", text="short\n"), "10 characters")
    run(folder, "person", "add", "bo", "--role", "engineer", text=PASSWORD)
    assert run(folder, "person", "close", "bo").exit_code == 0
    assert run(folder, "person", "list").stdout == "ada: Ada Finch, owner\nbo: bo, engineer, closed\n"
    assert run(folder, "person", "close", "bo", "--open").exit_code == 0
    assert run(folder, "person", "password", "bo", text="another long one\n").exit_code == 0
    with Workshop(folder) as workshop:
        assert workshop.people.check("bo", "another long one").role == "engineer"
    fails(run(folder, "person", "close", "ada"), "last owner")
    fails(run(tmp_path / "none", "person", "list"), "no workshop")


def test_take(firm: Firm, plain: None) -> None:
    good, odd = firm.folder / "monday.txt", firm.folder / "missing.m4a"
    good.write_text(store_work.memo_text(1, jobs=2), encoding="utf-8")
    done = run(firm, "take", good, odd, good, "--engineer", "tam")
    assert done.exit_code == 1
    assert done.stdout == "monday.txt: draft 1, 2 jobs, 2 values to look at.\n"
    assert done.stderr == f"There is no file {odd}.\n"
    again = run(firm, "take", good)
    assert (again.exit_code, again.stdout) == (0, f"{good}: here already, as draft 1.\n")
    assert firm.workshop.drafts.get(1, firm.engineer).engineer == "Tamsin Quill"
    fails(run(firm, "take", good, "--engineer", "nobody"), "nobody named")
    fails(run(firm, "take", good, "--engineer", "pru"), "of the office")


def test_take_goes_on_where_it_stopped(firm: Firm, plain: None) -> None:
    path = firm.folder / "late.txt"
    path.write_text(store_work.memo_text(1), encoding="utf-8")
    firm.workshop.memos.take(path, engineer=firm.engineer)
    done = run(firm, "take")
    assert (done.exit_code, done.stdout) == (0, "late.txt: draft 1, 1 job, 1 value to look at.\n")


def test_take_says_what_a_desk_has_made_of_it(
    firm: Firm, plain: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    held, read = firm.folder / "held.txt", firm.folder / "read.txt"
    held.write_text(store_work.memo_text(1), encoding="utf-8")
    read.write_text(store_work.memo_text(2), encoding="utf-8")
    carry_on = taking.Taking.carry_on

    def others_first(self: taking.Taking) -> list[Memo]:
        first, second = firm.workshop.memos.waiting()
        store_work.taking(firm.workshop).work(second)
        with firm.workshop.memos.working_on(first):
            return carry_on(self)

    monkeypatch.setattr(taking.Taking, "carry_on", others_first)
    done = run(firm, "take", held, read)
    assert done.stdout.splitlines() == [
        "held.txt: taken in; the desk, or another `jobnotes take`, is at it now.",
        "read.txt: draft 1, 1 job, 1 value to look at.",
    ]


def test_register(firm: Firm, samples: Path) -> None:
    no = run(firm, "register", "load", samples / "register", text="n\n")
    assert re.search(r"machines: \d+ added, 0 changed, 0 removed", no.stdout)
    assert "  customers Quillfen Aggregates: added" in no.stdout
    assert firm.workshop.registers.current().machines == []
    assert "is loaded" in run(firm, "register", "load", samples / "register", "--yes").stdout
    assert run(firm, "register", "load", samples / "register").stdout == "Nothing changes.\n"
    out = firm.folder / "out"
    assert run(firm, "register", "export", out).exit_code == 0
    for path in (samples / "register").iterdir():
        assert (out / path.name).read_bytes() == path.read_bytes()


def test_words(firm: Firm) -> None:
    from test_store_memos import put_right

    for number in range(3):
        put_right(firm, number, "quill fen", "Quillfen Aggregates")
    line = "1. quill fen → Quillfen Aggregates (customer, put right 3 times)\n"
    assert run(firm, "words").stdout == line
    fails(run(firm, "words", "--accept", 2), "no proposal 2")
    done = run(firm, "words", "--accept", 1)
    assert "Learned: quill fen → Quillfen Aggregates" in done.stdout and "1." not in done.stdout


# -- with real paper, key and seal --


def settle(firm: Firm) -> Settings:
    settings = Settings(PaperFirm("Harrow Lane Plant Repairs", ("Unit 4",)), "Europe/London")
    save_settings(firm.workshop.folder, settings)
    return settings


def test_signed_verified_withdrawn_backed_up_forgotten(firm: Firm) -> None:
    settings = settle(firm)
    draft = firm.draft(store_work.memo_text(1, jobs=2))
    for n in (0, 1):
        change = Confirm(pointer=f"/jobs/{n}/machine/hours")
        draft = firm.workshop.drafts.edit(draft.id, draft.version, firm.engineer, change)
    assert run(firm, "verify").stdout.startswith("All of it fits: 0 entries")
    sheets = firm.workshop.sheets.sign(
        *(draft.id, draft.version, firm.engineer, PASSWORD, Signed("Tamsin Quill")),
        make_pdf=sealed_pdf(firm.workshop, settings),
        zone=LONDON,
        customer=Signed("Ada Finch", [[[0, 0], [30, 10], [60, 0]]]),
    )
    assert len(sheets) == 2
    done = run(firm, "verify")
    assert (done.exit_code, done.stdout) == (
        0,
        f"All of it fits: 2 entries in the chain.\n{sheets[1].sha256}\n",
    )
    assert run(firm, "verify", "--expect", sheets[0].sha256).exit_code == 0
    cut = run(firm, "verify", "--expect", "0" * 64)
    assert cut.exit_code == 1 and "entries were removed" in cut.stderr

    backup = firm.folder / "b.tar"
    assert run(firm, "backup", backup).exit_code == 0
    restored = firm.folder / "restored"
    assert run(restored, "restore", backup).exit_code == 0
    assert run(restored, "verify").exit_code == 0

    path = firm.workshop.sheets.blobs.path(sheets[0].pdf_sha256, ".pdf")
    content = path.read_bytes()
    assert content.startswith(b"%PDF") and b"/ByteRange" in content
    path.write_bytes(content[:5000] + bytes([content[5000] ^ 1]) + content[5001:])
    bad = run(firm, "verify")
    assert bad.exit_code == 1 and "PDF of sheet 1, revision 1" in bad.stderr
    # Changed, and put under the hash of what it now is: the seal shows it.
    check = check_sheet_pdf(firm.workshop)
    entry = store_work.canonical(sheets[0].record)
    assert check(content, entry) is None
    assert "changed" in (check(path.read_bytes(), entry) or "")
    assert "another document" in (check(content, store_work.canonical(sheets[1].record)) or "")
    path.write_bytes(content)

    with pytest.raises(JobnotesError, match="not withdrawn"):
        withdrawn_pdf(firm.workshop, settings, sheets[1])
    gone = firm.workshop.sheets.withdraw(2, firm.office, "wrong machine")
    assert withdrawn_pdf(firm.workshop, settings, gone).startswith(b"%PDF")
    fails(run(firm, "forget", 99), "no such memo")
    assert run(firm, "forget").exit_code == 2
    assert run(firm, "forget", "--older-than", 30).stdout == "No recording is that old.\n"
    assert run(firm, "forget", 1).stdout == "The recording of memo is deleted.\n"
    assert run(firm, "verify").exit_code == 0

    (firm.workshop.folder.keys / "workshop-key.pem").unlink()
    (firm.workshop.folder.keys / "workshop-certificate.pem").unlink()
    with pytest.raises(JobnotesError, match="bring it back from a backup"):
        sealed_pdf(firm.workshop, settings)


def test_a_damaged_database_is_told_in_a_sentence(firm: Firm) -> None:
    firm.draft()
    firm.workshop.close()
    database = firm.workshop.folder.database
    with closing(sqlite3.connect(database)) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        (page,) = connection.execute("SELECT rootpage FROM sqlite_master WHERE name = 'chain'").fetchone()
    content = bytearray(database.read_bytes())
    content[(page - 1) * 4096] ^= 0x55
    database.write_bytes(content)
    bad = run(firm, "verify")
    assert bad.exit_code == 1 and "The database is damaged" in bad.stderr, bad.exception


def test_no_key_for_a_firm_without_a_name(firm: Firm) -> None:
    with pytest.raises(JobnotesError, match="name"):
        sealed_pdf(firm.workshop, Settings())


# -- settings --


def test_settings_go_round(firm: Firm) -> None:
    assert load_settings(firm.workshop.folder) == Settings()
    odd = PaperFirm('A "quoted" \\ firm', ("Unit 4, Üst", "Brackmere\t"), "01632", "a@b.example")
    settings = Settings(odd, "Europe/Dublin", "small", 400)
    save_settings(firm.workshop.folder, settings)
    assert load_settings(firm.workshop.folder) == settings
    assert settings.zone == ZoneInfo("Europe/Dublin")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("zone = 3", "zone"),
        ('zone = "Mars"', "no time zone"),
        ("colour = 1", "no 'colour'"),
        ("= 1", "not TOML"),
        ("firm = 1", "table"),
        ("[firm]\nname = 1", "quotation"),
        ("[firm]\naddress = 'x'", "list of lines"),
        ("[firm]\nfax = 'x'", "no 'fax'"),
        ("recording_days = -1", "whole number"),
        ("recording_days = true", "whole number"),
        (f"[firm]\nname = '{'x' * 201}'", "201"),
    ],
)
def test_settings_that_are_wrong(firm: Firm, text: str, says: str) -> None:
    firm.workshop.folder.settings.write_text(text, encoding="utf-8")
    with pytest.raises(JobnotesError, match=says):
        load_settings(firm.workshop.folder)


def test_help_needs_nothing_heavy() -> None:
    import subprocess

    code = (
        "import sys, jobnotes.cli as cli\n"
        "try: cli.commands.main(['take', '--help'])\n"
        "except SystemExit: print([n for n in ('sqlalchemy', 'alembic', 'pydantic', 'argon2', 'watchfiles')"
        " if n in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


def test_the_record_is_dated_in_the_workshops_zone(firm: Firm) -> None:
    (sheet,) = store_work.signed(
        firm.workshop, firm.engineer, firm.draft(), zone=ZoneInfo("Australia/Brisbane")
    )
    assert sheet.record["signed_at"].endswith("+10:00")
    at = datetime.fromisoformat(sheet.record["signed_at"]).astimezone(UTC)
    assert abs((at - sheet.signed_at).total_seconds()) < 1
