"""Files are written whole or not at all."""

from __future__ import annotations

import errno
from pathlib import Path

import pytest

from jobnotes import files
from jobnotes.errors import JobnotesError
from jobnotes.files import write_atomically


def test_text_and_bytes_replace_what_was_there(tmp_path: Path) -> None:
    path = tmp_path / "memo.json"
    write_atomically(path, "größer\n")
    assert path.read_bytes() == "größer\n".encode()
    write_atomically(path, b"\x00\xff")
    assert path.read_bytes() == b"\x00\xff"
    assert list(tmp_path.iterdir()) == [path]
    plain = tmp_path / "plain"
    plain.touch()
    assert path.stat().st_mode == plain.stat().st_mode


@pytest.mark.parametrize(
    ("number", "said"),
    [
        (errno.ENOSPC, "the disk is full"),
        (errno.EROFS, "the disk can only be read"),
        (errno.EIO, "input/output error"),
    ],
)
def test_a_failing_disk_leaves_the_old_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int, said: str
) -> None:
    path = tmp_path / "memo.json"
    path.write_text("old")

    def fail(_: int) -> None:
        raise OSError(number, "Input/output error")

    monkeypatch.setattr(files.os, "fsync", fail)
    with pytest.raises(JobnotesError) as caught:
        write_atomically(path, "new" * 1000)
    assert str(caught.value) == f"{path} could not be written: {said}."
    assert path.read_text() == "old"
    assert list(tmp_path.iterdir()) == [path]


def test_ctrl_c_leaves_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "memo.json"

    def stop(_: int) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(files.os, "fsync", stop)
    with pytest.raises(KeyboardInterrupt):
        write_atomically(path, "new")
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_is_missing_or_in_the_way(tmp_path: Path) -> None:
    with pytest.raises(JobnotesError, match="its folder does not exist"):
        write_atomically(tmp_path / "none" / "memo.json", "x")
    (tmp_path / "folder").mkdir()
    with pytest.raises(JobnotesError, match="it is a folder"):
        write_atomically(tmp_path / "folder", "x")
    assert [path.name for path in tmp_path.iterdir()] == ["folder"]


def test_the_real_full_disk(tmp_path: Path) -> None:
    """/dev/full refuses every write as a full disk does."""
    full = Path("/dev/full")
    if not full.exists():
        pytest.skip("needs Linux's /dev/full")
    with pytest.raises(OSError) as caught, full.open("wb", buffering=0) as stream:
        stream.write(b"x")
    assert files.reason(caught.value) == "the disk is full"
