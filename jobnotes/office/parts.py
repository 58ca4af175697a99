"""What a fitted part costs: the row of parts.csv that it is."""

from __future__ import annotations

from typing import TYPE_CHECKING

from jobnotes.office.adjusting import MOST
from jobnotes.office.rates import name_key
from jobnotes.register import PartRow, Register
from jobnotes.register.lookup import code_key

if TYPE_CHECKING:
    from jobnotes.office.visits import UsedPart


class PartPrices:
    """The rows of parts.csv by part number and by description."""

    def __init__(self, register: Register) -> None:
        self._by_number: dict[str, list[PartRow]] = {}
        self._by_description: dict[str, list[PartRow]] = {}
        for row in register.parts:
            self._by_number.setdefault(code_key(row.part_number), []).append(row)
            self._by_description.setdefault(name_key(row.description), []).append(row)

    def row(self, part: UsedPart) -> PartRow:
        """The row of a part: by its number, without regard to spaces and dashes; where the sheet gives no
        number, by exactly the same description. Raises ValueError, a reason in words, where there is none or
        more than one, or its unit is another or its price not known."""
        if part.part_number:
            rows = self._by_number.get(code_key(part.part_number), [])
        else:
            rows = self._by_description.get(name_key(part.description), [])
        if not rows:
            raise ValueError("is not in parts.csv")
        if len(rows) > 1:
            numbers = ", ".join(row.part_number for row in rows)
            raise ValueError(f"may be any of several in parts.csv: {numbers}")
        (row,) = rows
        if row.unit != part.unit:
            raise ValueError(f"is counted in {part.unit} on the sheet, but in {row.unit} in parts.csv")
        if row.price is None:
            raise ValueError("has no price in parts.csv")
        if row.price > MOST:
            raise ValueError(f"has a price of more than {MOST} in parts.csv")
        return row


def part_name(part: UsedPart) -> str:
    """A part as a sentence names it."""
    return f"{part.description} ({part.part_number})" if part.part_number else part.description


def part_key(part: UsedPart) -> str:
    """What a part's line is known by, whatever its place on the sheet."""
    return code_key(part.part_number) or code_key(part.description) or str(part.place)
