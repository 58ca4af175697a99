"""Lists as the commands show them: in columns, as CSV, as JSON; dates and amounts as they take them."""

from __future__ import annotations

import csv
import datetime
import io
import json
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from jobnotes.errors import JobnotesError
from jobnotes.terminal import show, tell

if TYPE_CHECKING:
    from jobnotes.workshop.billing import Billing

PLAIN_NUMBER = re.compile(r"-?[0-9]{1,12}(\.[0-9]{1,6})?")
"""As people write one: Python takes 1e3 and 1_0 too."""
SHAPE = click.option(
    "--csv", "shape", flag_value="csv", default="", help="As CSV, the first line being headings."
)
AS_JSON = click.option("--json", "shape", flag_value="json", help="As JSON, a list of objects.")
SINCE = click.option("--since", metavar="DATE", help="From that day on, such as 2026-05-01.")
UNTIL = click.option("--until", metavar="DATE", help="Up to and with that day.")


@contextmanager
def open_office(folder: Path | None) -> Iterator[Billing]:
    """The workshop with what its office works with. Raises JobnotesError where there is no workshop."""
    from jobnotes.store import Workshop
    from jobnotes.workshop import load_settings
    from jobnotes.workshop.billing import Billing

    with Workshop(folder, create=False) as workshop:
        yield Billing(workshop, load_settings(workshop.folder))


def show_rows(shape: str, rows: Sequence[dict[str, Any]], nothing: str) -> None:
    """Shows rows: as JSON, as CSV, or in columns for people."""
    from jobnotes.office.ledger import harmless

    if shape == "json":
        show(json.dumps(rows, ensure_ascii=False, indent=2, default=str))
        return
    if not rows:
        tell(nothing)
        return
    heads = list(rows[0])
    if shape == "csv":
        text = io.StringIO()
        writer = csv.writer(text, lineterminator="\n")
        writer.writerow(heads)
        # Figures stay figures, those below nought too.
        writer.writerows(
            [
                [harmless(_cell(each)) if isinstance(each, str) else _cell(each) for each in row.values()]
                for row in rows
            ]
        )
        show(text.getvalue().rstrip("\n"))
        return
    cells = [heads, *([_cell(row[head]) for head in heads] for row in rows)]
    widths = [max(len(row[at]) for row in cells) for at in range(len(heads))]
    for row in cells:
        show("  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip())


def _cell(value: Any) -> str:
    from jobnotes.paper.invoice_words import figure

    if value is None:
        return ""
    if isinstance(value, Decimal):
        # Money keeps its pence.
        return str(value) if value.as_tuple().exponent == -2 else figure(value)
    if isinstance(value, list | tuple):
        return " ".join(_cell(each) for each in value)
    return " ".join(str(value).split())


def day_of(text: str | None, option: str) -> datetime.date | None:
    """A date of an option, None for none given. Raises JobnotesError for anything else."""
    if text is None:
        return None
    try:
        return datetime.date.fromisoformat(text)
    except ValueError:
        raise JobnotesError(f"{option} is {text!r}; write a date as 2026-05-12.") from None


def amount_of(text: str, what: str) -> Decimal:
    """A number of an option. Raises JobnotesError for anything else."""
    if not PLAIN_NUMBER.fullmatch(text):
        raise JobnotesError(f"{what} is {text!r}, not a number.")
    return Decimal(text)
