"""Where a workshop stands on the disk, and who holds which part of it."""

from __future__ import annotations

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from jobnotes.errors import JobnotesError
from jobnotes.files import reason

VARIABLE = "JOBNOTES_WORKSHOP"
DATABASE = "workshop.sqlite"
PRIVATE = 0o700


def default_folder() -> Path:
    """The folder that JOBNOTES_WORKSHOP names, else `workshop` in the user's data folder."""
    if named := os.environ.get(VARIABLE):
        return Path(named).expanduser()
    import platformdirs

    return Path(platformdirs.user_data_dir("jobnotes", appauthor=False)) / "workshop"


class Folder:
    """The folder of one workshop: database, recordings, signed sheets, invoices, keys, settings and locks.

    `contents` are the folders of files that the database names by their hash. `files` are what the owner may
    write by hand: settings, the office's rules and rates; none of them need be there.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.database = path / DATABASE
        self.recordings = path / "recordings"
        self.sheets = path / "sheets"
        self.invoices = path / "invoices"
        self.keys = path / "keys"
        self.settings = path / "settings.toml"
        self.office_settings = path / "office.toml"
        self.rates = path / "rates.csv"
        self.contents = (self.recordings, self.sheets, self.invoices)
        self.files = (self.settings, self.office_settings, self.rates)
        self._locks = path / "locks"

    def make(self) -> None:
        """Makes the folder, open to its owner alone. Raises JobnotesError where it can't be made."""
        if self.path.exists() and not self.path.is_dir():
            raise JobnotesError(f"{self.path} is a file; give a folder for the workshop.")
        try:
            if not self.path.exists():
                self.path.mkdir(parents=True, exist_ok=True, mode=PRIVATE)
            for part in (*self.contents, self.keys, self._locks):
                part.mkdir(exist_ok=True, mode=PRIVATE)
        except OSError as error:
            raise JobnotesError(f"The workshop {self.path} can't be made: {reason(error)}.") from error
        if not os.access(self.path, os.W_OK | os.X_OK):
            raise JobnotesError(f"The workshop {self.path} can't be written to: it is not allowed.")

    @contextmanager
    def lock(self, name: str, *, shared: bool = False, wait: bool = True) -> Iterator[bool]:
        """Holds the lock of that name among all processes; the kernel lets it go when a process dies.

        Gives whether it was had: always, unless `wait` is false and somebody else has it.
        """
        self._locks.mkdir(exist_ok=True, mode=PRIVATE)
        handle = os.open(self._locks / f"{name}.lock", os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
        try:
            try:
                fcntl.flock(
                    handle, (fcntl.LOCK_SH if shared else fcntl.LOCK_EX) | (0 if wait else fcntl.LOCK_NB)
                )
            except BlockingIOError:
                yield False
                return
            yield True
        finally:
            os.close(handle)
