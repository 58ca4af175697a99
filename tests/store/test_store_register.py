"""The register in the workshop: shown before it changes, given back byte for byte."""

from __future__ import annotations

from pathlib import Path

import pytest
from conftest import Firm

from jobnotes.errors import JobnotesError
from jobnotes.register import load_register
from jobnotes.store import NotAllowedError

MACHINES = "fleet_number,type,customer,colour\nWL31,wheel loader,Quillfen Aggregates,green\nWL13,grader,,\n"


def write(folder: Path, **files: str | bytes) -> Path:
    folder.mkdir(exist_ok=True)
    for name, content in files.items():
        data = content if isinstance(content, bytes) else content.encode()
        (folder / f"{name}.csv").write_bytes(data)
    return folder


def load(firm: Firm, folder: Path) -> None:
    firm.workshop.registers.load(firm.workshop.registers.compare(folder), firm.owner)


def test_the_samples_go_round(firm: Firm, samples: Path) -> None:
    load(firm, samples / "register")
    assert firm.workshop.registers.current() == load_register(samples / "register")
    written = firm.workshop.registers.export(firm.folder / "out")
    assert sorted(path.name for path in written) == [
        "customers.csv",
        "machines.csv",
        "parts.csv",
        "sites.csv",
    ]
    for path in written:
        assert path.read_bytes() == (samples / "register" / path.name).read_bytes()
    assert firm.workshop.registers.compare(firm.folder / "out").empty


@pytest.mark.parametrize(
    "content",
    [
        '\ufefffleet_number,type\r\nWL31,"wheel, loader"\r\n\r\n',
        'type , fleet_number,my own\nloader, WL31 ,"two\nlines"',
        "fleet_number\n",
    ],
)
def test_odd_files_go_round(firm: Firm, content: str) -> None:
    folder = write(firm.folder / "in", machines=content)
    load(firm, folder)
    firm.workshop.registers.export(firm.folder / "out")
    assert (firm.folder / "out" / "machines.csv").read_bytes() == content.encode()
    assert firm.workshop.registers.current() == load_register(folder)


def test_a_load_shows_what_changes(firm: Firm) -> None:
    folder = write(firm.folder / "in", machines=MACHINES, customers="customer\nQuillfen Aggregates\n")
    registers = firm.workshop.registers
    first = registers.compare(folder)
    assert first.counts()["machines"] == {"added": 2, "changed": 0, "removed": 0}
    assert registers.current().machines == [], "comparing changes nothing"
    load(firm, folder)
    after = MACHINES.replace("green", "yellow").replace("WL13,grader,,", "WL99,roller,,")
    changed = registers.compare(write(firm.folder / "next", machines=after))
    assert [each.in_words() for each in changed.changes] == [
        "machines WL31: colour green → yellow",
        "machines WL99: added",
        "machines WL13: removed",
    ]
    registers.load(changed, firm.office)
    assert [row.fleet_number for row in registers.current().machines] == ["WL31", "WL99"]
    assert [row.customer for row in registers.current().customers] == ["Quillfen Aggregates"], (
        "a file that is not there leaves its table"
    )
    assert registers.compare(firm.folder / "next").empty


def test_bad_rows_are_told_and_a_bad_file_is_refused(firm: Firm) -> None:
    folder = write(firm.folder / "in", machines="fleet_number,size\nWL1,large\nWL2,14 t\n")
    compared = firm.workshop.registers.compare(folder)
    assert len(compared.problems) == 1 and "line 2" in compared.problems[0]
    for content, says in (
        ("fleet_number;type\nWL1;x\n", "semicolons"),
        ("nothing,of,this\n", "no column"),
        ("fleet_number\nWL\xe91\n".encode("latin-1"), "UTF-8"),
    ):
        with pytest.raises(JobnotesError, match=says):
            firm.workshop.registers.compare(write(firm.folder / "bad", machines=content))
    with pytest.raises(JobnotesError, match="none of"):
        firm.workshop.registers.compare(write(firm.folder / "empty"))
    with pytest.raises(JobnotesError, match="does not exist"):
        firm.workshop.registers.compare(firm.folder / "nowhere")
    with pytest.raises(JobnotesError, match="no register yet"):
        firm.workshop.registers.export(firm.folder / "out")


def test_what_was_shown_is_what_is_loaded(firm: Firm) -> None:
    registers = firm.workshop.registers
    shown = registers.compare(write(firm.folder / "in", machines=MACHINES))
    (firm.folder / "in" / "machines.csv").write_text("fleet_number\nOTHER\n", encoding="utf-8")
    with pytest.raises(NotAllowedError):
        registers.load(shown, firm.engineer)
    registers.load(shown, firm.office)
    assert [row.fleet_number for row in registers.current().machines] == ["WL31", "WL13"]
    with pytest.raises(JobnotesError, match="changed meanwhile"):
        registers.load(shown, firm.office)
