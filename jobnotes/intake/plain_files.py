"""What is given as a file but is none: opening a pipe would wait for ever."""

from __future__ import annotations

import stat
from pathlib import Path

from jobnotes.errors import JobnotesError

KINDS = {
    stat.S_IFIFO: "a pipe",
    stat.S_IFCHR: "a device",
    stat.S_IFBLK: "a device",
    stat.S_IFSOCK: "a socket",
}


def refuse_pipes(path: Path) -> None:
    """Raises JobnotesError where the path is a pipe, a device or a socket. What is missing, or may not be
    looked at, passes: whoever opens it says so."""
    try:
        kind = KINDS.get(stat.S_IFMT(path.stat().st_mode))
    except (OSError, ValueError):
        return
    if kind is not None:
        raise JobnotesError(f"{path} is {kind}, not a file.")
