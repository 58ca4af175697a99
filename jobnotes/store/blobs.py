"""Files named by the SHA-256 of their content: the same content is one file, and a changed one shows."""

from __future__ import annotations

import hashlib
import os
import re
import tempfile
from collections.abc import Container, Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from jobnotes.errors import JobnotesError
from jobnotes.files import reading, reason

LARGEST = 500_000_000
"""Bytes. Half an hour of 48 kHz stereo is 330 MB uncompressed."""
PIECE = 1 << 20
ENDING = re.compile(r"\.[a-z0-9]{1,8}")
NAME = re.compile(r"[0-9a-f]{2}/[0-9a-f]{62}(\.[a-z0-9]{1,8})?")


@dataclass(frozen=True)
class Content:
    """A file's content: its SHA-256 in hex, and its length in bytes."""

    sha256: str
    size: int


class Blobs:
    """A folder of such files, `ab/cdef….ending`."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def path(self, sha256: str, ending: str) -> Path:
        """Where the content stands. Raises ValueError for what is no hash or no ending: no text from outside
        becomes a path."""
        if not re.fullmatch(r"[0-9a-f]{64}", sha256) or (ending and not ENDING.fullmatch(ending)):
            raise ValueError(f"{sha256!r}{ending!r} names no content")
        return self.folder / sha256[:2] / f"{sha256[2:]}{ending}"

    def put_file(self, source: Path, ending: str) -> Content:
        """Copies a file in, its time of last change too. It is whole on the disk when this returns.

        Raises JobnotesError where it can't be read, is longer than LARGEST, or can't be written.
        """
        with reading(source), source.open("rb") as stream:
            return self._put(iter(lambda: stream.read(PIECE), b""), ending, source.stat().st_mtime_ns)

    def put_bytes(self, content: bytes, ending: str) -> Content:
        """The same for content in memory."""
        return self._put(iter([content]), ending, None)

    def _put(self, pieces: Iterator[bytes], ending: str, changed_ns: int | None) -> Content:
        temporary: Path | None = None
        try:
            self.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            handle, name = tempfile.mkstemp(prefix=".", suffix=".part", dir=self.folder)
            temporary = Path(name)
            digest, size = hashlib.sha256(), 0
            with os.fdopen(handle, "wb") as stream:
                for piece in pieces:
                    digest.update(piece)
                    size += len(piece)
                    if size > LARGEST:
                        raise JobnotesError(f"It is longer than {LARGEST // 1_000_000} MB, which no memo is.")
                    stream.write(piece)
                stream.flush()
                os.fsync(stream.fileno())
            if changed_ns is not None:
                os.utime(temporary, ns=(changed_ns, changed_ns))
            content = Content(digest.hexdigest(), size)
            target = self.path(content.sha256, ending)
            if target.exists() and target.stat().st_size == size:
                return content
            target.parent.mkdir(exist_ok=True, mode=0o700)
            temporary.replace(target)
            temporary = None
            for folder in (target.parent, self.folder):
                _flush(folder)
            return content
        except OSError as error:
            raise JobnotesError(f"{self.folder} could not be written to: {reason(error)}.") from error
        finally:
            if temporary is not None:
                with suppress(OSError):
                    temporary.unlink()

    def fault(self, sha256: str, ending: str) -> str | None:
        """What is wrong with the file of that content ("is missing", "was changed"), None where nothing
        is."""
        path = self.path(sha256, ending)
        if not path.is_file():
            return "is missing"
        try:
            found = content_of(path)
        except JobnotesError as error:
            return f"can't be read ({error})"
        return None if found.sha256 == sha256 else "was changed: its content is not what it was"

    def remove(self, sha256: str, ending: str) -> None:
        """Deletes the content for good; nothing where it is gone already."""
        path = self.path(sha256, ending)
        with suppress(FileNotFoundError):
            path.unlink()
            _flush(path.parent)

    def files(self) -> Iterator[tuple[str, Path]]:
        """The hash and the path of every file."""
        for path in sorted(self.folder.glob("??/*")):
            if NAME.fullmatch(path.relative_to(self.folder).as_posix()):
                yield path.parent.name + path.name.partition(".")[0], path

    def keep_only(self, kept: Container[str]) -> None:
        """Removes every file whose hash is not among `kept`, and what copies that broke off have left. The
        caller sees to it that nobody adds a file meanwhile."""
        for sha256, path in self.files():
            if sha256 not in kept:
                path.unlink(missing_ok=True)
        for path in self.unfinished():
            path.unlink(missing_ok=True)

    def unfinished(self) -> list[Path]:
        """What copies that broke off have left."""
        return list(self.folder.glob(".*.part"))


def content_of(path: Path) -> Content:
    """The hash and length of a file. Raises JobnotesError where it can't be read."""
    digest, size = hashlib.sha256(), 0
    with reading(path), path.open("rb") as stream:
        for piece in iter(lambda: stream.read(PIECE), b""):
            digest.update(piece)
            size += len(piece)
    return Content(digest.hexdigest(), size)


def _flush(folder: Path) -> None:
    """Brings a folder's list of files to the disk."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
