"""What all pages of the house's paper are made with."""

from __future__ import annotations

from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from jobnotes.paper import words
from jobnotes.paper.place import templates_folder


def _finish(value: Any) -> Any:
    return words.shown(value) if isinstance(value, str) and not isinstance(value, Markup) else value


def environment() -> Environment:
    """A Jinja environment over the templates folder whose text is escaped, and held to what the fonts of the
    house can show."""
    return Environment(
        loader=FileSystemLoader(templates_folder()),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_finish,
        trim_blocks=True,
        lstrip_blocks=True,
    )
