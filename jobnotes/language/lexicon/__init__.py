"""The words of the trade and of spoken English, as data. Each file is read once."""

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


def sayings(name: str, section: str, key: str = "say") -> tuple[str, ...]:
    """The list at `key` of a section of lexicon/NAME.toml, in order. Raises KeyError where there is none."""
    return tuple(load(name)[section][key])


@cache
def word_set(name: str, section: str, key: str = "say") -> frozenset[str]:
    """The same list as a set. Raises KeyError where there is none."""
    return frozenset(sayings(name, section, key))
