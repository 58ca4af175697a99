"""How the office's pages put things in words: money, quantities, lines under their visits."""

from __future__ import annotations

import datetime
import re
from collections.abc import Callable
from decimal import Decimal
from typing import Any

from markupsafe import Markup, escape

from jobnotes.jobs.invoice import Line
from jobnotes.paper import words
from jobnotes.paper.invoice import visit_groups
from jobnotes.paper.invoice_words import currency_mark, figure, price_text, quantity_text
from jobnotes.paper.invoice_words import money as to_the_penny


def money(amount: Decimal, currency: str = "GBP") -> str:
    """An amount with its currency: "£1,234.50"."""
    text = to_the_penny(abs(amount))
    return f"{'−' if amount < 0 else ''}{currency_mark(currency)}{text}"


def plain(number: Decimal) -> str:
    """A number as one types it: without needless noughts, and nothing parting thousands."""
    return figure(number)


def priced(line: Line, currency: str = "GBP") -> str:
    """A line's price: "£58.00 per h"."""
    return f"{currency_mark(currency)}{price_text(line)}"


def mark(key: str) -> str:
    """A line's key as part of an id."""
    return re.sub(r"[^A-Za-z0-9]+", "-", key)


def field_said(pointer: str) -> str:
    """A place of a sheet in words: "Arrived" for /job/times/arrived."""
    return words.said("field", words.pattern(pointer.removeprefix("/job")))


def capital_first(text: Any) -> Any:
    """A macro's text with a capital letter at the front of its words."""
    return type(text)(re.sub(r"(^|>)([a-z])", lambda found: found[1] + found[2].upper(), str(text), count=1))


def commands(sentence: str) -> Markup:
    """A sentence whose commands stand between backticks, as at the terminal, with them set as code."""
    parts = sentence.split("`")
    return Markup("").join(
        Markup("<code>{}</code>").format(part) if place % 2 else escape(part)
        for place, part in enumerate(parts)
    )


def month(day: datetime.date) -> str:
    """The month of a day: "May 2026"."""
    return f"{words.MONTHS[day.month - 1]} {day.year}"


FILTERS: dict[str, Callable[..., Any]] = {
    "money": money,
    "plain": plain,
    "priced": priced,
    "groups_of": visit_groups,
    "mark": mark,
    "amount_said": quantity_text,
    "field_said": field_said,
    "capital_first": capital_first,
    "month": month,
    "commands": commands,
}
