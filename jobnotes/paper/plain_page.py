"""Pages without a file inside: PDF/A-3b, tagged, the same bytes for the same input."""

from __future__ import annotations

import hashlib
import io
from contextlib import redirect_stdout
from datetime import UTC, datetime
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from jobnotes.errors import JobnotesError
from jobnotes.paper import words
from jobnotes.paper.pdf import _as_if_at
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


def set_plain(html: str, at: datetime) -> bytes:
    """The page as the bytes of a PDF/A-3b (ISO 19005-3), tagged, made as if at `at` (aware).

    Raises JobnotesError where the library that sets the page is not complete on this machine.
    """
    try:
        # Without Pango it prints a banner on standard output, where our own output goes.
        with redirect_stdout(io.StringIO()):
            from weasyprint import HTML
            from weasyprint.text.fonts import FontConfiguration
            from weasyprint.urls import URLFetcher
    except OSError as missing:
        raise JobnotesError(
            "Pages cannot be set because the Pango library is missing; install the packages libpango-1.0-0,"
            " libpangoft2-1.0-0 and libharfbuzz-subset0."
        ) from missing
    # Nothing but our own fonts and drawings: no text can make the page fetch more.
    fetcher = URLFetcher(allowed_protocols={"file"}, allow_redirects=False)
    with _as_if_at(at.astimezone(UTC)):
        page = HTML(string=html, base_url=f"{templates_folder().as_uri()}/", url_fetcher=fetcher)
        pdf = page.write_pdf(
            font_config=FontConfiguration(),
            pdf_variant="pdf/a-3b",
            pdf_tags=True,
            pdf_identifier=hashlib.sha256(html.encode()).digest()[:16],
        )
    return bytes(pdf)
