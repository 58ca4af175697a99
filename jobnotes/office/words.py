"""What the office writes on lines, from `lines.toml`."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files
from typing import cast

from jobnotes.jobs.invoice import ChargeUnit


@cache
def _words() -> dict[str, dict[str, str]]:
    text = files("jobnotes.office").joinpath("lines.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def line_text(kind: str, **values: object) -> str:
    """The text of a line of that kind: `line_text("labour_evening")`."""
    return _words()["line"][kind].format(**values)


def default_reason(category: str, rate: str) -> str:
    """Why a category has no VAT, where the office gives no words of its own. `rate` is what the customer
    accounts for, in %."""
    return _words()["vat_reason"][category].format(rate=rate)


def credit_terms(printed_number: str) -> str:
    """What stands for terms on a credit note."""
    return _words()["credit"]["terms"].format(number=printed_number)


def part_unit(unit: str) -> ChargeUnit | None:
    """The code of a part's unit (UN/ECE Recommendation 20 and 21), None for one that there is not."""
    return cast("ChargeUnit | None", _words()["unit"].get(unit))
