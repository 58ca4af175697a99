"""Where what stands beside the package is found: in the source tree, or where an installer put it."""

from __future__ import annotations

from functools import cache
from importlib import metadata
from pathlib import Path

from jobnotes.errors import JobnotesError


@cache
def beside(folder: str, holds: str) -> Path:
    """The folder named `folder` ("templates", "models/reader") that holds the file `holds`.

    The source tree's comes first, else the one in share/jobnotes among the files that the installed
    distribution lists as its own. Raises JobnotesError where neither is there.
    """
    here = Path(__file__).resolve().parents[1] / folder
    if (here / holds).is_file():
        return here
    for file in _listed():
        if file.as_posix().endswith(f"share/jobnotes/{folder}/{holds}"):
            installed = Path(str(file.locate())).resolve().parent
            if (installed / holds).is_file():
                return installed
    raise JobnotesError(
        f"The file {holds} of {folder} is missing: install jobnotes again, or restore {here}."
    )


def _listed() -> list[metadata.PackagePath]:
    try:
        return metadata.files("jobnotes") or []
    except metadata.PackageNotFoundError:
        return []
