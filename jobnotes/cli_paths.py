"""Paths on the command line."""

from __future__ import annotations

import os
from pathlib import Path

import click


class Here(click.Path):
    """A path, as pathlib's. Whether it is there and may be used, each room says in its own words."""

    def __init__(self, *, arguments_too: bool = False) -> None:
        # Click would end the whole command for one file that may not be read.
        super().__init__(path_type=Path, readable=False)
        self._arguments_too = arguments_too

    def convert(
        self,
        value: str | os.PathLike[str],
        param: click.Parameter | None,
        ctx: click.Context | None,
    ) -> str | bytes | os.PathLike[str]:
        """The path. An option's empty one is refused, and with `arguments_too` an argument's: it would mean
        the folder one happens to be in."""
        if value == "" and (self._arguments_too or isinstance(param, click.Option)):
            self.fail("it is empty; give a path.", param, ctx)
        return super().convert(value, param, ctx)


SOMEWHERE = Here(arguments_too=True)
"""For the commands of the workshop."""
