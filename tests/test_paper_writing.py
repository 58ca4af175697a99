"""Job sheets as files: their names, and what happens when writing fails."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
from pathlib import Path

import pytest
from paper_example import example

from jobnotes.errors import JobnotesError
from jobnotes.jobs.model import Job
from jobnotes.paper import sheet_html, sheet_name, write_sheets


@pytest.mark.parametrize(
    ("memo", "name"),
    [
        ("monday", "monday-2.pdf"),
        ("Löffel run 3.m4a", "Löffel run 3.m4a-2.pdf"),
        ("../../etc/passwd", "etc-passwd-2.pdf"),
        ("a:b\\c|d", "a-b-c-d-2.pdf"),
        ("...", "sheet-2.pdf"),
        ("", "sheet-2.pdf"),
        ("é" * 300, "é" * 40 + "-2.pdf"),
    ],
)
def test_names_of_sheets_are_safe(memo: str, name: str) -> None:
    assert sheet_name(memo, 2) == name


def test_sheets_are_written_one_a_job(tmp_path: Path) -> None:
    memo = example()
    memo.jobs.append(Job(complaint="another"))
    out = tmp_path / "new" / "folder"
    written = write_sheets(memo, out)
    assert [path.name for path in written] == ["tuesday-quarry-1.pdf", "tuesday-quarry-2.pdf"]
    assert sorted(out.iterdir()) == written
    assert all(path.read_bytes().startswith(b"%PDF-1.7") for path in written)
    assert write_sheets(memo.model_copy(update={"jobs": []}), out) == []


def test_full_disk_leaves_no_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_handle: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(
        JobnotesError, match=r"tuesday-quarry-1\.pdf could not be written: the disk is full\."
    ):
        write_sheets(example(), tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_write_that_breaks_off_leaves_the_old_sheet_whole(tmp_path: Path) -> None:
    old = tmp_path / "tuesday-quarry-1.pdf"
    old.write_bytes(b"the old sheet")
    # The operating system itself stops the write after 4 kB.
    program = (
        "import resource, sys; sys.path[:0] = ['.', 'tests']; import pathlib, paper_example as t\n"
        "from jobnotes.paper import pdf; write = pdf.write_atomically\n"
        "def limited(path, content):\n"
        "    resource.setrlimit(resource.RLIMIT_FSIZE, (4096, 4096)); write(path, content)\n"
        "pdf.write_atomically = limited\n"
        "try: pdf.write_sheets(t.example(), pathlib.Path(sys.argv[1]))\n"
        "except pdf.JobnotesError as error: print(error)"
    )
    result = subprocess.run(
        [sys.executable, "-c", program, str(tmp_path)],
        cwd=Path(__file__).parents[1],
        capture_output=True,
        text=True,
        check=True,
    )
    assert "tuesday-quarry-1.pdf could not be written" in result.stdout
    assert list(tmp_path.iterdir()) == [old]
    assert old.read_bytes() == b"the old sheet"


def test_troubles_are_told_in_words(tmp_path: Path) -> None:
    in_the_way = tmp_path / "file"
    in_the_way.write_text("")
    with pytest.raises(JobnotesError, match="can't be made"):
        write_sheets(example(), in_the_way)
    with pytest.raises(JobnotesError, match="has 1 jobs, so there is no job 2"):
        sheet_html(example(), 2)
    undated = example().model_copy(update={"recorded_at": "last Tuesday"})
    with pytest.raises(JobnotesError, match="no ISO 8601 time"):
        sheet_html(undated, 1)


def test_values_without_evidence_are_said_to_be_unchecked() -> None:
    memo = example()
    memo.transcript.remarks.clear()
    memo.evidence.clear()
    html = sheet_html(memo, 1)
    assert "Not checked: this file says nothing of where its values come from." in html
    assert "Nothing was marked" not in html
    # A job that holds nothing has nothing to be checked.
    memo.jobs = [Job()]
    html = sheet_html(memo, 1)
    assert "Nothing was marked to be looked at." in html
    assert "Not checked" not in html
