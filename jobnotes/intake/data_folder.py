"""Where the user wants the speech weights kept."""

from __future__ import annotations

import os
from pathlib import Path

from jobnotes.errors import JobnotesError

VARIABLE = "JOBNOTES_DATA"


def refuse_data_file() -> None:
    """Raises JobnotesError where JOBNOTES_DATA names a file: no folder for the weights can stand there."""
    named = os.environ.get(VARIABLE)
    if named and Path(named).expanduser().is_file():
        raise JobnotesError(f"{VARIABLE} names {named}, which is a file; let it name a folder.")
