"""Where the templates and fonts of the paper stand."""

from __future__ import annotations

from pathlib import Path

from jobnotes.place import beside


def templates_folder() -> Path:
    """The folder that holds `sheet.html`. Raises JobnotesError where it is missing."""
    return beside("templates", "sheet.html")
