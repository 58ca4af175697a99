"""The register: a folder of CSV files (UTF-8, a header line). Unknown columns are kept, a missing file is
an empty one.

- customers.csv: customer, account_number, payment_days
- sites.csv: site, customer, postcode_area, miles_from_depot
- machines.csv: fleet_number, type, make, model, size, serial_number, customer
- parts.csv: part_number, description, unit, price, van_stock

machines.csv may hold `last_hours` (the hour meter's last reading, h): a plausibility check uses it.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import Any, TypeVar

from jobnotes.errors import JobnotesError
from jobnotes.jobs import Amount


@dataclass(frozen=True)
class CustomerRow:
    """A customer. `payment_days` in d."""

    customer: str
    account_number: str = ""
    payment_days: int | None = None
    extra: dict[str, str] = field(default_factory=dict, compare=False)


@dataclass(frozen=True)
class SiteRow:
    """A site. `miles_from_depot` one way, mi."""

    site: str
    customer: str = ""
    postcode_area: str = ""
    miles_from_depot: float | None = None
    extra: dict[str, str] = field(default_factory=dict, compare=False)


@dataclass(frozen=True)
class MachineRow:
    """A machine. `size` is its class, for example 14 t."""

    fleet_number: str
    type: str = ""
    make: str = ""
    model: str = ""
    size: Amount | None = None
    serial_number: str = ""
    customer: str = ""
    last_hours: float | None = None
    extra: dict[str, str] = field(default_factory=dict, compare=False)


@dataclass(frozen=True)
class PartRow:
    """A part. `price` in pounds sterling, net, None where the register names none."""

    part_number: str
    description: str = ""
    unit: str = "each"
    price: Decimal | None = None
    van_stock: float | None = None
    extra: dict[str, str] = field(default_factory=dict, compare=False)


@dataclass
class Register:
    """All rows that could be read. `problems`: a sentence for each row that could not, naming file, line
    and reason."""

    customers: list[CustomerRow] = field(default_factory=list)
    sites: list[SiteRow] = field(default_factory=list)
    machines: list[MachineRow] = field(default_factory=list)
    parts: list[PartRow] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)


Row = TypeVar("Row")
Cells = dict[str, str]


def size_of(text: str) -> Amount | None:
    """`14 t` as an Amount; None for an empty cell. Raises ValueError for anything else."""
    text = text.strip()
    if not text:
        return None
    value, _, unit = text.partition(" ")
    if not unit:
        raise ValueError(f"size is {text!r}, not a number, a space and a unit such as '14 t'")
    try:
        size = Amount(value=float(value), unit=unit.strip())
    except ValueError:
        raise ValueError(f"size is {text!r}, not a number, a space and a unit such as '14 t'") from None
    if size.value < 0:
        raise ValueError(f"size is {text!r}, less than 0")
    return size


def _number(cells: Cells, column: str) -> float | None:
    text = cells.get(column, "").strip()
    if not text:
        return None
    try:
        value = float(text)
    except ValueError:
        raise ValueError(f"{column} is {text!r}, not a number") from None
    if value != value or value in (float("inf"), float("-inf")):
        raise ValueError(f"{column} is {text!r}, not a number")
    if value < 0:
        raise ValueError(f"{column} is {text!r}, less than 0")
    return value


def _price(cells: Cells) -> Decimal | None:
    text = cells.get("price", "").strip().lstrip("£")
    if not text:
        return None
    try:
        price = Decimal(text)
    except InvalidOperation:
        raise ValueError(f"price is {text!r}, not an amount of money") from None
    if not price.is_finite():
        raise ValueError(f"price is {text!r}, not an amount of money")
    if price < 0:
        raise ValueError(f"price is {text!r}, less than 0")
    return price


def _needed(cells: Cells, column: str) -> str:
    text = cells.get(column, "").strip()
    if not text:
        raise ValueError(f"{column} is empty")
    return text


def _customer(cells: Cells, extra: Cells) -> CustomerRow:
    days = _number(cells, "payment_days")
    return CustomerRow(
        _needed(cells, "customer"),
        cells.get("account_number", "").strip(),
        None if days is None else int(days),
        extra,
    )


def _site(cells: Cells, extra: Cells) -> SiteRow:
    return SiteRow(
        _needed(cells, "site"),
        cells.get("customer", "").strip(),
        cells.get("postcode_area", "").strip(),
        _number(cells, "miles_from_depot"),
        extra,
    )


def _machine(cells: Cells, extra: Cells) -> MachineRow:
    return MachineRow(
        _needed(cells, "fleet_number"),
        cells.get("type", "").strip(),
        cells.get("make", "").strip(),
        cells.get("model", "").strip(),
        size_of(cells.get("size", "")),
        cells.get("serial_number", "").strip(),
        cells.get("customer", "").strip(),
        _number(cells, "last_hours"),
        extra,
    )


def _part(cells: Cells, extra: Cells) -> PartRow:
    return PartRow(
        _needed(cells, "part_number"),
        _needed(cells, "description"),
        cells.get("unit", "").strip() or "each",
        _price(cells),
        _number(cells, "van_stock"),
        extra,
    )


FILES: dict[str, tuple[tuple[str, ...], Callable[[Cells, Cells], Any]]] = {
    "customers": (("customer", "account_number", "payment_days"), _customer),
    "sites": (("site", "customer", "postcode_area", "miles_from_depot"), _site),
    "machines": (
        ("fleet_number", "type", "make", "model", "size", "serial_number", "customer", "last_hours"),
        _machine,
    ),
    "parts": (("part_number", "description", "unit", "price", "van_stock"), _part),
}


def load_register(folder: Path | None) -> Register:
    """The register in `folder`; an empty one for None. A bad row is left out and named in `problems`, and so
    is a folder with none of the files.

    Raises JobnotesError where the folder itself is missing or no folder.
    """
    register = Register()
    if folder is None:
        return register
    if not folder.exists():
        raise JobnotesError(f"The register folder {folder} does not exist.")
    if not folder.is_dir():
        raise JobnotesError(
            f"The register {folder} is a file; give the folder that holds machines.csv and the others."
        )
    names = [f"{name}.csv" for name in FILES]
    if not any((folder / name).exists() for name in names):
        register.problems.append(f"the folder holds none of {', '.join(names[:-1])} and {names[-1]}.")
    for name, (columns, make) in FILES.items():
        file = folder / f"{name}.csv"
        if file.exists():
            getattr(register, name).extend(_rows(file, columns, make, register.problems))
    return register


def csv_lines(text: str, *, strict: bool = False) -> Iterator[tuple[int, list[str] | csv.Error]]:
    """The lines of a CSV text that are not empty, by the number of the line that each ends on: the cells, or
    why it has none; after that it goes on with the next. `strict` is the csv module's."""
    reader = csv.reader(io.StringIO(text, newline=""), strict=strict)
    while True:
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            yield reader.line_num, error
            continue
        if any(cell.strip() for cell in cells):
            yield reader.line_num, cells


def _wrong_header(header: list[str], columns: tuple[str, ...]) -> str | None:
    """What is wrong with the header, None where it can be read by."""
    twice = next((column for column in header if column and header.count(column) > 1), None)
    if twice is not None:
        return f"the column {twice!r} stands there twice"
    if columns[0] in header:
        return None
    for mark, name in ((";", "semicolons"), ("\t", "tabs")):
        if columns[0] in [cell.strip().strip('"') for cell in ",".join(header).split(mark)]:
            return f"the cells are separated by {name}, not by commas (save it separated by commas)"
    return f"no column {columns[0]!r}"


def _rows(
    file: Path, columns: tuple[str, ...], make: Callable[[Cells, Cells], Row], problems: list[str]
) -> list[Row]:
    if not file.is_file():
        # Opening a pipe would wait for ever.
        problems.append(f"{file.name}: it is not a file; nothing of it was read.")
        return []
    not_utf_8 = f"{file.name}: the whole file was not read, because it is not UTF-8 text; save it as UTF-8."
    try:
        text = file.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        problems.append(not_utf_8)
        return []
    except OSError as error:
        problems.append(f"{file.name}: cannot be read ({error.strerror}).")
        return []
    # UTF-16 without its mark at the front is UTF-8 with a NUL beside every letter.
    if "\0" in text.partition("\n")[0]:
        problems.append(not_utf_8)
        return []
    rows: list[Row] = []
    header: list[str] | None = None
    seen: dict[str, int] = {}
    for line, cells in csv_lines(text):
        if isinstance(cells, csv.Error):
            problems.append(f"{file.name}, line {line}: {cells}.")
            continue
        if header is None:
            header = [c.strip() for c in cells]
            if wrong := _wrong_header(header, columns):
                problems.append(f"{file.name}, line {line}: {wrong}; nothing of it was read.")
                return []
            continue
        try:
            if len(cells) != len(header):
                raise ValueError(f"{len(cells)} cells where the header has {len(header)} (quote a comma)")
            row = dict(zip(header, cells, strict=True))
            key = row[columns[0]].strip().casefold()
            if key and key in seen:
                raise ValueError(f"{columns[0]} {row[columns[0]]!r} stands already in line {seen[key]}")
            rows.append(make(row, {k: v for k, v in row.items() if k not in columns}))
            seen[key] = line
        except ValueError as error:
            problems.append(f"{file.name}, line {line}: {error}.")
    return rows
