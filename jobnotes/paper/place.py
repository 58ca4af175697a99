"""Where the templates and fonts of the paper stand: beside the package, or where an installer put them."""

from __future__ import annotations

from functools import cache
from importlib import metadata
from pathlib import Path, PurePosixPath

from jobnotes.errors import JobnotesError

INSTALLED = "share/jobnotes/templates/sheet.html"


def _installed() -> Path | None:
    """The templates among the files that the installed distribution lists as its own, else None."""
    try:
        listed = metadata.files("jobnotes") or []
    except metadata.PackageNotFoundError:
        return None
    for file in listed:
        if PurePosixPath(file.as_posix()).as_posix().endswith(INSTALLED):
            place = Path(str(file.locate())).resolve().parent
            if place.is_dir():
                return place
    return None


@cache
def templates_folder() -> Path:
    """The folder that holds `sheet.html`: of the source tree first, else of the installed package.

    Raises JobnotesError where neither is there.
    """
    beside = Path(__file__).resolve().parents[2] / "templates"
    if (beside / "sheet.html").is_file():
        return beside
    installed = _installed()
    if installed is None:
        raise JobnotesError(
            f"The sheet's templates are missing: install jobnotes again, or restore {beside}."
        )
    return installed
