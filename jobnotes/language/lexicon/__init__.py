"""The words of the trade and of spoken English, as data. `load(name)` reads a file once."""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).parent


@cache
def load(name: str) -> dict[str, Any]:
    """The contents of lexicon/NAME.toml."""
    with (FOLDER / f"{name}.toml").open("rb") as file:
        return tomllib.load(file)
