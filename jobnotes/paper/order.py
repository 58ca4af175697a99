"""The list of parts to order on paper: a table a supplier."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal
from functools import cache

from jinja2 import Environment

from jobnotes.paper import words
from jobnotes.paper.invoice_words import figure
from jobnotes.paper.letterhead import Firm
from jobnotes.paper.marks import shorten
from jobnotes.paper.pages import environment
from jobnotes.paper.pdf import set_page

LONGEST_NAME = 60  # characters of a name at the head of a page


@dataclass(frozen=True)
class OrderRow:
    """A part to order. `wanted_for` says in words for which job or van: "Sheet 12, WX 31", "Van 3"."""

    part_number: str
    supplier_part_number: str
    description: str
    quantity: Decimal
    unit: str
    wanted_for: str = ""


@dataclass(frozen=True)
class OrderGroup:
    """What is to be ordered from one supplier; an empty name where the parts list names none."""

    supplier: str
    rows: tuple[OrderRow, ...]


@cache
def _environment() -> Environment:
    made = environment()
    made.filters.update(capital=words.capital, figure=figure, moment=words.moment, unit=words.unit)
    return made


def order_html(
    title: str,
    groups: Sequence[OrderGroup],
    *,
    firm: Firm | None = None,
    at: datetime,
    lines: Sequence[str] = (),
) -> str:
    """The list as one HTML page. `lines` stand below its head; `at` is the aware time that it was made."""
    firm = firm or Firm()
    return (
        _environment()
        .get_template("order.html")
        .render(
            title=title,
            lines=lines,
            groups=groups,
            firm=firm,
            firm_short=shorten(words.shown(firm.name), LONGEST_NAME),
            running=shorten(words.shown(title), LONGEST_NAME),
            at=at,
            made_utc=at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
        )
    )


def order_pdf(
    title: str,
    groups: Sequence[OrderGroup],
    *,
    firm: Firm | None = None,
    at: datetime,
    lines: Sequence[str] = (),
) -> bytes:
    """The list as the bytes of a PDF/A-3b (ISO 19005-3), tagged. The same input gives the same bytes with
    the same libraries. Raises JobnotesError where the library that sets the page is not complete here."""
    return set_page(order_html(title, groups, firm=firm, at=at, lines=lines), None, at)
