"""The register in the workshop: loaded from CSV files after a look at what changes, given back byte for
byte."""

from __future__ import annotations

import csv
import hashlib
import io
import re
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from sqlalchemy import delete, select

from jobnotes.errors import JobnotesError
from jobnotes.files import make_folder, reading, write_atomically
from jobnotes.register import Register, load_register
from jobnotes.register.rows import FILES
from jobnotes.store.audit import note
from jobnotes.store.database import Database
from jobnotes.store.moments import now
from jobnotes.store.rights import TERMINAL, refuse_all_but_office
from jobnotes.store.tables import RegisterFileRow
from jobnotes.store.values import Person

LARGEST = 50_000_000
"""Bytes of one file; a firm with a million parts has about that."""
ABOUT_A_ROW = re.compile(r"\w+\.csv, line \d+: (?!.*; nothing of it was read\.$)")
"""The register's sentences about a single row begin so. Any other is about a whole file: it would be lost."""
Rows = dict[str, dict[str, str]]


@dataclass(frozen=True)
class RowChange:
    """A row that a load adds, changes or removes. `cells` are (column, old, new) where they differ."""

    table: str
    kind: str
    key: str
    cells: tuple[tuple[str, str, str], ...] = ()

    def in_words(self) -> str:
        """The change as a line: "machines WL31: customer Quillfen → Oddmarsh"."""
        if self.kind != "changed":
            return f"{self.table} {self.key}: {self.kind}"
        cells = "; ".join(
            f"{column} {old or '(empty)'} → {new or '(empty)'}" for column, old, new in self.cells
        )
        return f"{self.table} {self.key}: {cells}"


@dataclass(frozen=True)
class Load:
    """A register about to be loaded. `problems` are rows that can't be read: they are left out.

    `before` is the fingerprint of what it was held against.
    """

    changes: tuple[RowChange, ...]
    problems: tuple[str, ...]
    before: str
    files: dict[str, bytes] = field(repr=False)

    @property
    def empty(self) -> bool:
        """Whether nothing would change, to the last byte."""
        return _fingerprint(self.files) == self.before

    def counts(self) -> dict[str, dict[str, int]]:
        """By table, how many rows are added, changed and removed."""
        counted: dict[str, dict[str, int]] = {}
        for name in FILES:
            kinds = [change.kind for change in self.changes if change.table == name]
            counted[name] = {kind: kinds.count(kind) for kind in ("added", "changed", "removed")}
        return counted


class Registers:
    """The register of a workshop."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._cached: tuple[str, Register] | None = None

    def current(self) -> Register:
        """The register as it was loaded last; an empty one before that."""
        files = self._files()
        mark = _fingerprint(files)
        if self._cached is None or self._cached[0] != mark:
            self._cached = (mark, _register(files) if files else Register())
        return self._cached[1]

    def compare(self, folder: Path) -> Load:
        """What loading the folder's files would change. A file that is not there leaves its table as it is.

        Raises JobnotesError where the folder is missing, holds none of the files, or one can't be read.
        """
        given = _given(folder)
        if not given:
            names = [f"{name}.csv" for name in FILES]
            raise JobnotesError(f"{folder} holds none of {', '.join(names[:-1])} and {names[-1]}.")
        before = self._files()
        after = {**before, **given}
        register = _register(after)
        whole = [problem for problem in register.problems if not ABOUT_A_ROW.match(problem)]
        if whole:
            raise JobnotesError(f"{folder}: {whole[0]}")
        changes = [
            change
            for name in FILES
            for change in _changes(name, before.get(f"{name}.csv", b""), after.get(f"{name}.csv", b""))
        ]
        return Load(tuple(changes), tuple(register.problems), _fingerprint(before), after)

    def load(self, load: Load, who: Person = TERMINAL) -> Register:
        """Does what `compare` showed. Raises JobnotesError where the register was changed since, and
        NotAllowedError for an engineer."""
        refuse_all_but_office(who, "loads the register")
        with self._database.writing() as session:
            rows = {row.name: row.content for row in session.scalars(select(RegisterFileRow))}
            if _fingerprint(rows) != load.before:
                raise JobnotesError("The register was changed meanwhile; look again at what changes.")
            session.execute(delete(RegisterFileRow))
            session.add_all(
                RegisterFileRow(name=name, content=content, loaded_at=now(), loaded_by=who.name)
                for name, content in load.files.items()
            )
            note(session, who, "loaded the register", "register", f"{len(load.changes)} rows differ")
        return self.current()

    def export(self, folder: Path) -> list[Path]:
        """Writes the files into a folder, made where missing, byte for byte as they were loaded."""
        files = self._files()
        if not files:
            raise JobnotesError("The workshop has no register yet; `jobnotes register load` gives it one.")
        make_folder(folder)
        for name, content in files.items():
            write_atomically(folder / name, content)
        return [folder / name for name in files]

    def _files(self) -> dict[str, bytes]:
        with self._database.reading() as session:
            rows = session.scalars(select(RegisterFileRow).order_by(RegisterFileRow.name))
            return {row.name: row.content for row in rows}


def _given(folder: Path) -> dict[str, bytes]:
    if not folder.is_dir():
        load_register(folder)  # says in its own words what is wrong
    found = {}
    for name in FILES:
        file = folder / f"{name}.csv"
        if not file.exists():
            continue
        if not file.is_file():
            raise JobnotesError(f"{file} is not a file.")
        with reading(file):
            if file.stat().st_size > LARGEST:
                raise JobnotesError(f"{file} is longer than {LARGEST // 1_000_000} MB.")
            found[file.name] = file.read_bytes()
    return found


def _register(files: dict[str, bytes]) -> Register:
    with tempfile.TemporaryDirectory(prefix="jobnotes-register-") as name:
        for file, content in files.items():
            (Path(name) / file).write_bytes(content)
        return load_register(Path(name))


def _fingerprint(files: dict[str, bytes]) -> str:
    digest = hashlib.sha256()
    for name in sorted(files):
        digest.update(hashlib.sha256(name.encode()).digest() + hashlib.sha256(files[name]).digest())
    return digest.hexdigest()


def _changes(name: str, before: bytes, after: bytes) -> Iterator[RowChange]:
    if before == after:
        return
    old, new = _cells(before, FILES[name][0][0]), _cells(after, FILES[name][0][0])
    for key in new:
        if key not in old:
            yield RowChange(name, "added", key)
        else:
            columns = dict.fromkeys([*old[key], *new[key]])
            cells = tuple(
                (column, old[key].get(column, ""), new[key].get(column, ""))
                for column in columns
                if old[key].get(column, "").strip() != new[key].get(column, "").strip()
            )
            if cells:
                yield RowChange(name, "changed", key, cells)
    for key in old:
        if key not in new:
            yield RowChange(name, "removed", key)


def _cells(content: bytes, key_column: str) -> Rows:
    """The rows of a file by their first column; those that the register would leave out too."""
    text = content.decode("utf-8-sig", "replace")
    rows = [row for row in csv.reader(io.StringIO(text, newline="")) if any(cell.strip() for cell in row)]
    if not rows:
        return {}
    header = [cell.strip() for cell in rows[0]]
    if key_column not in header:
        return {}
    at = header.index(key_column)
    return {
        row[at].strip(): dict(zip(header, row, strict=False))
        for row in rows[1:]
        if len(row) > at and row[at].strip()
    }
