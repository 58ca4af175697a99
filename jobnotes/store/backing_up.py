"""A whole workshop in one file, made while it runs, and brought back from it."""

from __future__ import annotations

import hashlib
import io
import json
import os
import sqlite3
import tarfile
import tempfile
from contextlib import closing
from pathlib import Path, PurePosixPath
from typing import IO, TYPE_CHECKING, Any

from jobnotes.errors import JobnotesError
from jobnotes.files import reason, replacing
from jobnotes.store.folder import DATABASE, PRIVATE, Folder
from jobnotes.store.moments import now, written
from jobnotes.store.upgrade import refuse_newer, revision_of

if TYPE_CHECKING:
    from jobnotes.store.workshop import Workshop

MANIFEST = "manifest.json"
FORMAT = 1
PARTS = ("recordings", "sheets", "invoices", "keys")
FILES = ("settings.toml", "office.toml", "rates.csv")
LARGEST_MANIFEST = 100_000_000
PIECE = 1 << 20


def backup(workshop: Workshop, file: Path) -> int:
    """Writes database, recordings, signed sheets, invoices, keys and settings into one .tar file, and gives
    its bytes.

    Others may work meanwhile: the database is that of one moment, and every file that it names is there,
    since a file is written before its row and none is deleted while this runs. The backup holds the
    workshop's private key and is for its owner alone (0600). It appears whole or not at all. Raises
    JobnotesError where it can't be written.
    """
    folder = workshop.folder
    if file.resolve().is_relative_to(folder.path.resolve()):
        raise JobnotesError(f"{file} lies in the workshop itself; put the backup somewhere else.")
    with (
        replacing(file, private=True) as stream,
        tempfile.TemporaryDirectory(prefix=".backup-", dir=folder.path) as work,
    ):
        with folder.lock("files", shared=True):
            snapshot = Path(work) / DATABASE
            _snapshot(folder.database, snapshot)
            _write(folder, snapshot, stream)
        stream.flush()
        return os.fstat(stream.fileno()).st_size


def restore(file: Path, folder: Path) -> int:
    """Brings a backup back into `folder`, which must be empty or not there, and gives how many files it
    holds.

    Every file is held against its hash before anything appears in `folder`: it appears whole or not at all.
    Raises JobnotesError where the backup is damaged, none, or of a newer jobnotes, and where the folder holds
    something.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise JobnotesError(f"{folder} holds something already; restore into a new or empty folder.")
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=".restore-", dir=folder.parent) as work:
            whole = Path(work) / "workshop"
            whole.mkdir(mode=PRIVATE)
            count = _extract(file, whole)
            _check_database(whole / DATABASE, file)
            Folder(whole).make()
            if folder.exists():
                folder.rmdir()
            whole.rename(folder)
    except OSError as error:
        raise JobnotesError(f"{file} could not be restored to {folder}: {reason(error)}.") from error
    return count


def _snapshot(database: Path, target: Path) -> None:
    with closing(sqlite3.connect(database)) as source, closing(sqlite3.connect(target)) as copy:
        source.backup(copy)
        # The copy is one file: nothing is left in a log beside it.
        copy.execute("PRAGMA journal_mode=DELETE")


def _write(folder: Folder, snapshot: Path, stream: IO[bytes]) -> None:
    files = {DATABASE: snapshot}
    for file in folder.files:
        if file.is_file():
            files[file.name] = file
    for part in PARTS:
        for path in sorted((folder.path / part).rglob("*")):
            if path.is_file() and not path.name.endswith(".part"):
                files[path.relative_to(folder.path).as_posix()] = path
    manifest: dict[str, dict[str, Any]] = {}
    with tarfile.open(fileobj=stream, mode="w", format=tarfile.PAX_FORMAT) as tar:
        for name, path in files.items():
            entry = tar.gettarinfo(path, arcname=name)
            entry.uid = entry.gid = 0
            entry.uname = entry.gname = ""
            with path.open("rb") as source:
                counted = _Counted(source)
                tar.addfile(entry, counted)
            manifest[name] = {"size": entry.size, "sha256": counted.digest.hexdigest()}
        told = json.dumps(
            {"format": FORMAT, "made_at": written(now()), "files": manifest}, indent=1, sort_keys=True
        ).encode()
        last = tarfile.TarInfo(MANIFEST)
        last.size, last.mode = len(told), 0o600
        tar.addfile(last, io.BytesIO(told))


class _Counted:
    """A file that is hashed as it is read."""

    def __init__(self, source: IO[bytes]) -> None:
        self._source = source
        self.digest = hashlib.sha256()

    def read(self, size: int = -1) -> bytes:
        """Reads on."""
        data = self._source.read(size)
        self.digest.update(data)
        return data


def _extract(file: Path, whole: Path) -> int:
    damaged = JobnotesError(f"{file} is no backup of a workshop, or it is damaged.")
    found: dict[str, dict[str, Any]] = {}
    told: Any = None
    try:
        with tarfile.open(file, mode="r:") as tar:
            for entry in tar:
                if entry.name == MANIFEST and entry.isfile() and entry.size <= LARGEST_MANIFEST:
                    source = tar.extractfile(entry)
                    told = json.load(source) if source is not None else None
                    continue
                # A sparse entry's few bytes may stand for any length; no backup has one.
                if not entry.isfile() or entry.issparse() or not _is_ours(entry.name) or entry.name in found:
                    raise damaged
                source = tar.extractfile(entry)
                if source is None:
                    raise damaged
                found[entry.name] = _put(source, whole / entry.name, entry)
    except FileNotFoundError:
        raise JobnotesError(f"There is no file {file}.") from None
    except (tarfile.TarError, ValueError, EOFError, OverflowError, RecursionError) as error:
        raise damaged from error
    if not isinstance(told, dict) or not isinstance(told.get("files"), dict):
        raise JobnotesError(f"{file} is no backup of a workshop, or its end is missing.")
    if told.get("format") != FORMAT:
        raise JobnotesError(f"{file} was made by a newer jobnotes; install that or a later one.")
    for name in sorted({*found, *told["files"]}):
        if found.get(name) != told["files"].get(name):
            raise JobnotesError(f"{file} is damaged: {name} is not what was backed up. Nothing was restored.")
    return len(found)


def _is_ours(name: str) -> bool:
    """Whether a name is one that a backup has: no path from a file leads out of the folder."""
    path = PurePosixPath(name)
    if path.is_absolute() or ".." in path.parts or "\\" in name or "\0" in name:
        return False
    return name in (DATABASE, *FILES) or (path.parts[0] in PARTS and len(path.parts) in (2, 3))


def _put(source: IO[bytes], target: Path, entry: tarfile.TarInfo) -> dict[str, Any]:
    target.parent.mkdir(parents=True, exist_ok=True, mode=PRIVATE)
    digest = hashlib.sha256()
    with target.open("wb") as stream:
        os.fchmod(stream.fileno(), 0o600)
        for piece in iter(lambda: source.read(PIECE), b""):
            digest.update(piece)
            stream.write(piece)
        stream.flush()
        os.fsync(stream.fileno())
    os.utime(target, (entry.mtime, entry.mtime))
    return {"size": target.stat().st_size, "sha256": digest.hexdigest()}


def _check_database(database: Path, file: Path) -> None:
    if not database.is_file():
        raise JobnotesError(f"{file} holds no database.")
    revision = revision_of(database)
    refuse_newer(database, revision)
    damaged = JobnotesError(f"{file} holds a damaged database. Nothing was restored.")
    try:
        with closing(sqlite3.connect(database)) as connection:
            whole = connection.execute("PRAGMA integrity_check(1)").fetchone() == ("ok",)
    except sqlite3.DatabaseError as error:
        raise damaged from error
    if revision is None or not whole:
        raise damaged
