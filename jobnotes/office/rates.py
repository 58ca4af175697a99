"""The office's amounts: rates.csv in the workshop's folder. docs/office.md tells what each rate means.

Amounts are net, in the currency of office.toml; labour and travel time by the hour, travel by the mile.
"""

from __future__ import annotations

import csv
import datetime
from collections.abc import Iterable
from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation
from pathlib import Path

from jobnotes.errors import JobnotesError
from jobnotes.files import reading
from jobnotes.office.settings import OfficeSettings
from jobnotes.register import Register
from jobnotes.register.rows import csv_lines

FILE = "rates.csv"
COLUMNS = ("rate", "customer", "from", "until", "amount", "up_to_miles")
NEEDED = ("rate", "amount")
PERCENTAGES = ("parts_mark_up", "consumables")
BAND = "travel_band"
RATES = (
    "labour_normal",
    "labour_evening",
    "labour_saturday",
    "labour_sunday",
    "labour_bank_holiday",
    "travel_hour",
    "travel_mile",
    BAND,
    "call_out",
    "minimum_charge",
    *PERCENTAGES,
    "consumables_cap",
)
MOST_DECIMALS = 4
MOST = Decimal(1_000_000)


def name_key(name: str) -> str:
    """A name without regard to capitals and spaces: what a customer or site is told by."""
    return "".join(name.split()).casefold()


@dataclass(frozen=True)
class RateRow:
    """A row of rates.csv. `first` and `until` are inclusive; `customer` is empty for everybody.

    `up_to_miles` is one way, mi, for travel_band alone. `line` is its line in the file, from 1.
    """

    line: int
    rate: str
    customer: str
    first: datetime.date | None
    until: datetime.date | None
    amount: Decimal
    up_to_miles: Decimal | None = None

    def holds(self, day: datetime.date) -> bool:
        """Whether it is valid on that day."""
        return (self.first is None or self.first <= day) and (self.until is None or day <= self.until)

    @property
    def since(self) -> datetime.date:
        """`first`, the beginning of time where it is empty."""
        return self.first or datetime.date.min

    def clashes(self, other: RateRow) -> bool:
        """Whether nobody could tell which of the two holds: same rate, customer and `from`, and both hold
        on the day that they begin."""
        return (
            self.rate == other.rate
            and name_key(self.customer) == name_key(other.customer)
            and self.first == other.first
            and self.up_to_miles == other.up_to_miles
        )


@dataclass
class Rates:
    """All rows that could be read. `problems`: a sentence for each that could not, naming file, line and
    column; while there are any, no draft can be approved."""

    rows: tuple[RateRow, ...] = ()
    problems: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._of: dict[tuple[str, str], list[RateRow]] = {}
        for row in self.rows:
            self._of.setdefault((row.rate, name_key(row.customer)), []).append(row)

    def at(self, rate: str, customer: str, day: datetime.date) -> Decimal | None:
        """The amount of a rate for a customer on a day, None where no row holds then.

        The customer's own row wins over everybody's; among several the one whose `from` is the latest.
        Raises ValueError for travel_band, which needs miles: `band`.
        """
        if rate == BAND:
            raise ValueError(f"{BAND} goes by miles: ask for the band")
        row = _newest(self._own(rate, customer, day)) or _newest(self._own(rate, "", day))
        return row.amount if row else None

    def band(self, miles: Decimal, customer: str, day: datetime.date) -> tuple[Decimal, Decimal] | None:
        """(amount, up_to_miles) of the narrowest band that reaches so many miles one way; None where none
        does. A band of the customer's own wins; of several with the same miles, the latest `from`."""
        for name in (customer, ""):
            rows = [row for row in self._own(BAND, name, day) if (row.up_to_miles or 0) >= miles]
            if rows:
                row = min(rows, key=lambda row: (row.up_to_miles or 0, -row.since.toordinal()))
                return row.amount, row.up_to_miles or Decimal(0)
        return None

    def _own(self, rate: str, customer: str, day: datetime.date) -> list[RateRow]:
        return [row for row in self._of.get((rate, name_key(customer)), ()) if row.holds(day)]

    def remarks(self, register: Register, settings: OfficeSettings) -> list[str]:
        """What is no fault of a row, and yet hardly meant: a sentence each."""
        there = {row.rate for row in self.rows}
        known = {name_key(customer.customer) for customer in register.customers}
        told = [
            f"{FILE}, line {row.line}, column customer: {row.customer!r} is not in customers.csv."
            for row in self.rows
            if row.customer and name_key(row.customer) not in known
        ]
        used = {"time": "travel_hour", "mile": "travel_mile", "band": BAND}.get(settings.travel.by)
        for rate in ("travel_hour", "travel_mile", BAND):
            if rate in there and rate != used:
                told.append(f"{FILE}: {rate} is not used, since [travel] by is {settings.travel.by!r}.")
        if "call_out" in there and settings.call_out.charged == "never":
            told.append(f"{FILE}: call_out is not used, since [call_out] charged is 'never'.")
        needed = [rate for rate in RATES if rate.startswith("labour_")]
        needed += [used] if used else []
        needed += ["call_out"] if settings.call_out.charged != "never" else []
        if not self.problems:  # a row that could not be read is told already; it is not missing besides
            told += [f"{FILE}: there is no row for {rate}." for rate in needed if rate not in there]
        return told


def _newest(rows: Iterable[RateRow]) -> RateRow | None:
    return max(rows, key=lambda row: row.since, default=None)


def load_rates(file: Path) -> Rates:
    """The rates in a file; none where there is no file. A bad row is left out and named in `problems`.

    UTF-8, a comma between columns, a line of headings first; columns may stand in any order, those of the
    firm's own are left alone. Raises JobnotesError where the file may not be read.
    """
    if not file.exists():
        return Rates()
    if not file.is_file():
        # Opening a pipe would wait for ever.
        raise JobnotesError(f"{file} is not a file.")
    with reading(file):
        content = file.read_bytes()
    problems: list[str] = []
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return Rates(problems=[f"{file.name}: nothing was read, because it is not UTF-8 text; save it so."])
    rows: list[RateRow] = []
    for line, cells in _lines(text, file.name, problems):
        try:
            row = _row(line, cells)
            twice = next((other for other in rows if row.clashes(other)), None)
            if twice is not None:
                raise ValueError(
                    f"column rate: {row.rate} stands already in line {twice.line}, for the same customer and "
                    "from the same day"
                )
            rows.append(row)
        except ValueError as error:
            problems.append(f"{file.name}, line {line}, {error}.")
    return Rates(tuple(rows), problems)


def _lines(text: str, name: str, problems: list[str]) -> Iterable[tuple[int, dict[str, str]]]:
    header: list[str] | None = None
    for line, cells in csv_lines(text, strict=True):
        if isinstance(cells, csv.Error):
            problems.append(f"{name}, line {line}: {cells}.")
            continue
        if header is None:
            header = [cell.strip() for cell in cells]
            if wrong := _wrong_header(header):
                problems.append(f"{name}, line {line}: {wrong}; nothing of it was read.")
                return
            continue
        if len(cells) != len(header):
            problems.append(f"{name}, line {line}: {len(cells)} cells where the header has {len(header)}.")
            continue
        yield line, {column: cell.strip() for column, cell in zip(header, cells, strict=True)}


def _wrong_header(header: list[str]) -> str | None:
    twice = next((column for column in header if column and header.count(column) > 1), None)
    if twice is not None:
        return f"the column {twice!r} stands there twice"
    missing = next((column for column in NEEDED if column not in header), None)
    if missing is None:
        return None
    if any(mark in "".join(header) for mark in ";\t"):
        return "the cells are not separated by commas (save it separated by commas)"
    return f"no column {missing!r}"


def _row(line: int, cells: dict[str, str]) -> RateRow:
    rate = cells["rate"]
    if rate not in RATES:
        raise ValueError(f"column rate: there is no {rate!r}; give one of {', '.join(RATES)}")
    first, until = _day(cells, "from"), _day(cells, "until")
    if first and until and until < first:
        raise ValueError(f"column until: {until} is before {first}")
    miles = _number(cells, "up_to_miles")
    if rate == BAND and miles is None:
        raise ValueError(f"column up_to_miles: {BAND} needs the miles, one way, that it reaches")
    if rate != BAND and miles is not None:
        raise ValueError(f"column up_to_miles: {rate} has none; leave it empty")
    amount = _number(cells, "amount")
    if amount is None:
        raise ValueError("column amount: it is empty")
    if rate in PERCENTAGES and amount > 1000:
        raise ValueError(f"column amount: {amount} % is more than 1000 %")
    return RateRow(line, rate, cells.get("customer", ""), first, until, amount, miles)


def _day(cells: dict[str, str], column: str) -> datetime.date | None:
    text = cells.get(column, "")
    if not text:
        return None
    try:
        day = datetime.date.fromisoformat(text)
    except ValueError:
        day = None
    if day is None or day.isoformat() != text:
        raise ValueError(f"column {column}: {text!r} is not a date such as 2026-04-01")
    return day


def _number(cells: dict[str, str], column: str) -> Decimal | None:
    text = cells.get(column, "").removeprefix("£").removesuffix("%").strip()
    if not text:
        return None
    try:
        number = Decimal(text)
    except InvalidOperation:
        number = None
    # "1_000" and "1e3" are numbers to Python; in a hand-written list they are slips.
    if number is None or not all(sign.isascii() and (sign.isdigit() or sign in ".-") for sign in text):
        raise ValueError(f"column {column}: {cells[column]!r} is not a number such as 58.50")
    if number < 0:
        raise ValueError(f"column {column}: {cells[column]!r} is less than 0")
    exponent = number.as_tuple().exponent
    if isinstance(exponent, int) and -exponent > MOST_DECIMALS:
        raise ValueError(f"column {column}: {cells[column]!r} has more than {MOST_DECIMALS} decimals")
    if number > MOST:
        raise ValueError(f"column {column}: {cells[column]!r} is more than {MOST}")
    return number
