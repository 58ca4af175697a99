"""What is on each van: what it began with, what was counted, and what the signed sheets have used since."""

from __future__ import annotations

import csv
import datetime
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path

from jobnotes.files import reading
from jobnotes.office.by_machine import exact, key_of, plain, shown, words_key
from jobnotes.office.visits import Visit
from jobnotes.register import PartRow, Register
from jobnotes.register.rows import csv_lines
from jobnotes.store.office_values import StockEntry

NONE = Decimal(0)
# Plain figures only: Decimal itself would take 1_000, 1e9 and NaN too.
QUANTITY = re.compile(r"[0-9]{1,9}(\.[0-9]{1,6})?")
TAKE_COLUMNS = ("part_number", "count", "description")


@dataclass(frozen=True)
class Level:
    """How much of a part is on a van, in the part's unit.

    `quantity` is None for a part that neither the register nor an entry knows: what was there to begin with
    can't be told, so that only `used` is. `opening` is the last count, else the register's van_stock; `used`,
    `received` and `corrected` are what came since then. `sheets` are those that used some since then.
    `minimum` and `order_quantity` are the register's van_minimum and order_quantity. `remarks` say what could
    not be reckoned.
    """

    van: str
    part_number: str
    description: str
    unit: str
    quantity: Decimal | None
    opening: Decimal
    used: Decimal
    received: Decimal
    corrected: Decimal
    counted_at: datetime.datetime | None
    sheets: tuple[int, ...]
    minimum: Decimal | None
    order_quantity: Decimal | None
    in_register: bool
    remarks: tuple[str, ...] = ()

    @property
    def below_nought(self) -> bool:
        """More was used than was ever there: a count or a receipt is missing, or a sheet is wrong."""
        return self.quantity is not None and self.quantity < 0

    @property
    def below_minimum(self) -> bool:
        """Less than the van should carry."""
        return self.quantity is not None and self.minimum is not None and self.quantity < self.minimum

    @property
    def marks(self) -> tuple[str, ...]:
        """What a person should see beside the level, in words."""
        said = []
        if self.quantity is None or not self.in_register:
            said.append("not in the register")
        if self.below_nought:
            said.append("below nought")
        if self.below_minimum and self.minimum is not None:
            said.append(f"below the minimum of {shown(self.minimum)}")
        return (*said, *self.remarks)


def number_in(row: PartRow, column: str) -> tuple[Decimal | None, str]:
    """The quantity in a column that the register keeps unread, and what is wrong with it ("" if nothing)."""
    text = row.extra.get(column, "").strip()
    if not text:
        return None, ""
    if QUANTITY.fullmatch(text) is None:
        return None, f"{column} of part {row.part_number} is {text!r}, not a quantity"
    return Decimal(text), ""


@dataclass
class _Bin:
    """One part on one van while it is reckoned."""

    part_number: str
    description: str
    unit: str
    row: PartRow | None
    known: bool
    opening: Decimal = NONE
    used: Decimal = NONE
    received: Decimal = NONE
    corrected: Decimal = NONE
    counted: tuple[datetime.datetime, int] | None = None
    sheets: set[int] = field(default_factory=set)
    remarks: list[str] = field(default_factory=list)


def levels(visits: Iterable[Visit], register: Register, entries: Iterable[StockEntry]) -> list[Level]:
    """The level of every part on every van, by van and part number; parts not in the register last.

    A van is its engineer, by the name on the sheets; whoever signed a sheet or stands in an entry has one.
    Fitted parts leave it when the sheet's first revision was signed: an amendment changes how many, not when.
    A level starts at the register's van_stock (nought where it names none), and anew at each count.
    """
    visits, entries = list(visits), sorted(entries, key=lambda entry: (entry.at, entry.id))
    rows = {key_of(row.part_number): row for row in register.parts}
    vans: dict[str, str] = {}
    for entry in entries:
        vans[words_key(entry.van)] = entry.van
    for visit in visits:
        vans[words_key(visit.engineer)] = visit.engineer
    bins: dict[tuple[str, str], _Bin] = {}
    carried = [
        (key, row) for key, row in rows.items() if row.van_stock is not None or row.extra.get("van_minimum")
    ]
    for van in vans:
        for key, row in carried:
            bins[van, key] = _of_row(row)
    for entry in entries:
        _enter(bins, rows, entry)
    for visit in visits:
        van = words_key(visit.engineer)
        for part in visit.parts:
            if part.status != "fitted":
                continue
            key = key_of(part.part_number)
            bin_ = bins.get((van, key)) if key else None
            if bin_ is None:
                if key in rows:
                    bin_ = bins[van, key] = _of_row(rows[key])
                else:
                    # By number where there is one: the same description may stand for several parts.
                    loose = (van, f"{key} / {'' if key else plain(part.description)} / {part.unit}")
                    bin_ = bins.setdefault(
                        loose, _Bin(part.part_number, part.description, part.unit, None, False)
                    )
            if bin_.counted is not None and visit.first_signed_at <= bin_.counted[0]:
                continue
            if part.unit != bin_.unit and bin_.row is not None:
                bin_.remarks.append(
                    f"sheet {visit.sheet} has {shown(exact(part.quantity))} {part.unit} where the register"
                    f" counts in {bin_.unit}: not taken off"
                )
                continue
            bin_.used += exact(part.quantity)
            bin_.sheets.add(visit.sheet)
    found = [_level(vans[van], bin_) for (van, _), bin_ in bins.items()]
    return sorted(
        found,
        key=lambda level: (
            words_key(level.van),
            level.quantity is None,
            level.part_number,
            plain(level.description),
            level.unit,
        ),
    )


def _of_row(row: PartRow) -> _Bin:
    opening = NONE if row.van_stock is None else exact(row.van_stock)
    return _Bin(row.part_number, row.description, row.unit, row, True, opening)


def _enter(bins: dict[tuple[str, str], _Bin], rows: dict[str, PartRow], entry: StockEntry) -> None:
    """Takes in an entry; they come in order of time, so that a count forgets what came before it."""
    key = key_of(entry.part_number)
    at = (words_key(entry.van), key)
    if at not in bins:
        row = rows.get(key)
        bins[at] = (
            _of_row(row)
            if row is not None
            else _Bin(entry.part_number, entry.description, "each", None, True)
        )
    bin_ = bins[at]
    if entry.kind == "count":
        bin_.opening, bin_.received, bin_.corrected = entry.quantity, NONE, NONE
        bin_.counted = (entry.at, entry.id)
    elif entry.kind == "received":
        bin_.received += entry.quantity
    else:
        bin_.corrected += entry.quantity


def _level(van: str, bin_: _Bin) -> Level:
    minimum, order_quantity = None, None
    remarks = list(bin_.remarks)
    if bin_.row is not None:
        minimum, wrong = number_in(bin_.row, "van_minimum")
        order_quantity, also_wrong = number_in(bin_.row, "order_quantity")
        remarks += [each for each in (wrong, also_wrong) if each]
    quantity = bin_.opening + bin_.received + bin_.corrected - bin_.used
    return Level(
        van=van,
        part_number=bin_.part_number,
        description=bin_.description,
        unit=bin_.unit,
        quantity=quantity if bin_.known else None,
        opening=bin_.opening,
        used=bin_.used,
        received=bin_.received,
        corrected=bin_.corrected,
        counted_at=None if bin_.counted is None else bin_.counted[0],
        sheets=tuple(sorted(bin_.sheets)),
        minimum=minimum,
        order_quantity=order_quantity,
        in_register=bin_.row is not None,
        remarks=tuple(remarks),
    )


@dataclass(frozen=True)
class Counted:
    """One line of a stock take: how many of a part were counted, in its unit."""

    line: int
    part_number: str
    count: Decimal
    description: str


@dataclass(frozen=True)
class StockTake:
    """A stock-take file as read. `problems`: a sentence for each line that can't be taken, naming it. A take
    with problems is to be refused whole: half a count is worse than none."""

    counts: tuple[Counted, ...]
    problems: tuple[str, ...]


def read_stock_take(path: Path, register: Register, entries: Sequence[StockEntry] = ()) -> StockTake:
    """The counts in a CSV file (UTF-8, a header line) with the columns part_number, count and perhaps
    description. Part numbers must be the register's, or stand in an entry already.

    Raises JobnotesError where the file can't be read at all.
    """
    with reading(path):
        content = path.read_bytes()
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = "\0"
    if "\0" in text:
        return StockTake((), (f"{path.name} is not UTF-8 text; save it as CSV in UTF-8.",))
    known = {key_of(row.part_number): row.description for row in register.parts}
    for entry in entries:
        known.setdefault(key_of(entry.part_number), entry.description)
    header: list[str] | None = None
    counts: list[Counted] = []
    problems: list[str] = []
    lines: dict[str, int] = {}
    for line, cells in csv_lines(text, strict=True):
        if isinstance(cells, csv.Error):
            problems.append(f"{path.name}, line {line}: {cells}.")
            break
        if header is None:
            header = [cell.strip() for cell in cells]
            if wrong := _wrong_header(header):
                return StockTake((), (f"{path.name}, line {line}: {wrong}.",))
            continue
        try:
            counts.append(_counted(header, cells, line, known, lines))
        except ValueError as error:
            problems.append(f"{path.name}, line {line}: {error}.")
    if not counts and not problems:
        problems.append(f"{path.name} holds no counts; give a header part_number,count and a line for each.")
    return StockTake(tuple(counts), tuple(problems))


def _wrong_header(header: list[str]) -> str:
    for column in header:
        if column not in TAKE_COLUMNS:
            return f"there is no column {column!r}; give part_number,count or part_number,count,description"
        if header.count(column) > 1:
            return f"the column {column!r} stands there twice"
    missing = next((column for column in TAKE_COLUMNS[:2] if column not in header), None)
    return f"the column {missing!r} is missing" if missing else ""


def _counted(
    header: list[str], cells: list[str], line: int, known: dict[str, str], lines: dict[str, int]
) -> Counted:
    if len(cells) != len(header):
        raise ValueError(f"{len(cells)} cells where the header has {len(header)} (quote a comma)")
    row = {column: cell.strip() for column, cell in zip(header, cells, strict=True)}
    number, text = row["part_number"], row["count"]
    key = key_of(number)
    if not key:
        raise ValueError("part_number is empty")
    if key not in known:
        raise ValueError(f"part {number!r} is not in the register")
    if key in lines:
        raise ValueError(f"part {number!r} stands already in line {lines[key]}")
    lines[key] = line
    if not text:
        raise ValueError(f"the count of part {number!r} is empty; leave the line out if it was not counted")
    if QUANTITY.fullmatch(text) is None:
        raise ValueError(f"the count of part {number!r} is {text!r}, not a number of nought or more")
    return Counted(line, number, Decimal(text), row.get("description") or known[key])
