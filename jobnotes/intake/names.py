"""What each memo of a batch is called, so that no two write the same file."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path


def memo_names(paths: Sequence[Path]) -> dict[Path, str]:
    """A name for each file, in the order given: its own without the ending, a number added where two are
    alike.

    A file given twice stands once. Names that differ only in capitals count as alike, as they do on many
    disks. Of two alike the first keeps the name.
    """
    once: dict[Path, Path] = {}
    for path in paths:
        once.setdefault(_whole(path), path)
    stems = {path: _stem(path) for path in once.values()}
    taken = {stem.casefold() for stem in stems.values()}
    kept: set[str] = set()
    names: dict[Path, str] = {}
    for path, stem in stems.items():
        name, number = stem, 1
        if stem.casefold() in kept:
            while name.casefold() in taken:
                number += 1
                name = f"{stem}-{number}"
            taken.add(name.casefold())
        kept.add(stem.casefold())
        names[path] = name
    return names


def _whole(path: Path) -> Path:
    try:
        return path.resolve()
    except (OSError, RuntimeError):
        # A link that leads to itself: opening it tells the user so.
        return path.absolute()


def _stem(path: Path) -> str:
    """The name without its ending. Bytes that are no UTF-8, which no JSON can hold, become U+FFFD."""
    return os.fsencode(path.stem).decode("utf-8", "replace") or "memo"
