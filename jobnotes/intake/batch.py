"""Files one after the other: what fails is told and named at the end, and the rest goes through."""

from __future__ import annotations

import os
import time
import traceback
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from jobnotes import interrupts
from jobnotes.errors import JobnotesError

SHOW_TRACEBACKS = "JOBNOTES_TRACEBACK"
"""Environment variable for whoever looks for a fault in the program."""


@dataclass
class Row:
    """What became of one file. `seconds` of sound (None for typed words), `took` seconds of work."""

    name: str
    seconds: float | None = None
    took: float = 0.0
    jobs: int = 0
    checks: int = 0
    files: list[Path] = field(default_factory=list)


class StoppedError(JobnotesError):
    """The user stopped the work (Ctrl-C). The text says what was done until then."""


def fault(error: Exception, what: str) -> str:
    """The sentence for an error that no user can have caused: a fault of the program. `what` went wrong
    by it."""
    if os.environ.get(SHOW_TRACEBACKS):
        traceback.print_exception(error)
    cause = " ".join([type(error).__name__, *str(error).splitlines()[:1]])
    return f"{what} because of a fault in jobnotes ({cause}); set {SHOW_TRACEBACKS}=1 to see where."


class Batch:
    """Does a piece of work for each of some files. `tell` is given every sentence for the user."""

    def __init__(self, count: int, tell: Callable[[str], None]) -> None:
        self.count = count
        self.rows: list[Row] = []
        self.failed: list[Path] = []
        self._tell = tell
        self._last_told = ""

    def run(self, paths: Iterable[Path], work: Callable[[Path], Row]) -> None:
        """Calls `work` with each path. Raises StoppedError on Ctrl-C; every other error is told and the file
        counted as failed."""
        for path in paths:
            started = time.perf_counter()
            try:
                row = work(path)
            except KeyboardInterrupt:
                raise StoppedError(self._stopped_at(path)) from None
            except Exception as error:
                if interrupts.came():  # a library that was being loaded may have made a fault of it
                    raise StoppedError(self._stopped_at(path)) from None
                if isinstance(error, JobnotesError):
                    self._fail(path, str(error))
                    continue
                self._fail(path, fault(error, f"{path} could not be dealt with"))
            else:
                row.took = time.perf_counter() - started
                self.rows.append(row)

    def summary(self, done: str) -> str | None:
        """What failed, in a sentence: "2 of 3 files were read; failed: x.m4a." None where nothing did, or
        only one file was given and its own sentence has said it. `done` is the verb."""
        if not self.failed or self.count == 1:
            return None
        were = "was" if len(self.rows) == 1 else "were"
        names = ", ".join(map(str, self.failed))
        return f"{len(self.rows)} of {self.count} files {were} {done}; failed: {names}."

    def _fail(self, path: Path, sentence: str) -> None:
        self.failed.append(path)
        # Without the speech model every recording fails for the one reason; it is told once.
        if sentence != self._last_told:
            self._tell(sentence)
            self._last_told = sentence

    def _stopped_at(self, path: Path) -> str:
        if self.count == 1:
            return f"Stopped at {path}; no half-written file is left."
        were = "was" if len(self.rows) == 1 else "were"
        return (
            f"Stopped at {path}: {len(self.rows)} of {self.count} files {were} finished, and no half-written "
            "file is left."
        )


def table(rows: Sequence[Row]) -> str:
    """The rows as text, a line each with a heading, columns aligned, and a line of sums where there are
    several."""
    head = ("memo", "sound s", "taken s", "jobs", "to check", "files written")
    lines = [head, *(_cells(row) for row in rows)]
    if len(rows) > 1:
        heard = [row.seconds for row in rows if row.seconds is not None]
        together = Row(
            "together",
            sum(heard) if heard else None,
            sum(row.took for row in rows),
            sum(row.jobs for row in rows),
            sum(row.checks for row in rows),
            [file for row in rows for file in row.files],
        )
        lines.append(_cells(together))
    widths = [max(len(line[column]) for line in lines) for column in range(len(head))]
    return "\n".join(
        "  ".join(
            cell.ljust(width) if column in (0, len(head) - 1) else cell.rjust(width)
            for column, (cell, width) in enumerate(zip(line, widths, strict=True))
        ).rstrip()
        for line in lines
    )


def _cells(row: Row) -> tuple[str, ...]:
    kinds = Counter(file.suffix.lstrip(".") for file in row.files)
    return (
        row.name,
        "typed" if row.seconds is None else f"{row.seconds:.1f}",
        f"{row.took:.1f}",
        str(row.jobs),
        str(row.checks),
        ", ".join(f"{count} {kind}" for kind, count in kinds.items()) or "none",
    )
