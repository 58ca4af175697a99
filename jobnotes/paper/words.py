"""How values of the model are put in words and figures on paper."""

from __future__ import annotations

import re
import tomllib
import unicodedata
from datetime import date, datetime
from decimal import Decimal
from functools import cache
from importlib.resources import files
from zoneinfo import ZoneInfo

from jobnotes.errors import JobnotesError
from jobnotes.jobs.model import Amount, Machine, ReadMemo
from jobnotes.paper.place import templates_folder

# Fixed here, not taken from the locale: the same sheet must come out on every machine.
MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
UNSHOWABLE = "\N{REPLACEMENT CHARACTER}"


@cache
def words() -> dict[str, dict[str, str]]:
    """The sections of `words.toml`: kind, then the model's key, then what is printed."""
    table: dict[str, dict[str, str]] = tomllib.loads(
        files("jobnotes.paper").joinpath("words.toml").read_text(encoding="utf-8")
    )
    return table


def said(kind: str, key: str) -> str:
    """What is printed for a key of the model, else the key: `said("verdict", "not_ok")` is "Not OK"."""
    return words().get(kind, {}).get(key, key)


@cache
def _showable() -> frozenset[int]:
    """The code points that the sheet's text face can print."""
    from fontTools.ttLib import TTFont  # type: ignore[import-untyped]

    with TTFont(templates_folder() / "fonts" / "IBMPlexSans-Regular.woff2", lazy=True) as face:
        return frozenset(face.getBestCmap())


def shown(text: str) -> str:
    """Text as the sheet can print it: composed (NFC), white space single, what the font lacks as U+FFFD.

    PDF/A (ISO 19005-3, 6.2.11.8) forbids glyphs that are not there, and a face borrowed from the machine
    would make the sheet differ from one machine to the next. The attached data keep every character.
    """
    composed = " ".join(unicodedata.normalize("NFC", text).split())
    if composed.isascii() and composed.isprintable():
        return composed
    showable = _showable()
    return "".join(
        character if ord(character) in showable else UNSHOWABLE
        for character in composed
        if unicodedata.category(character) not in ("Cc", "Cf")
    )


def number(value: float) -> str:
    """A number without needless noughts or exponent: 210.0 is "210", 0.35 is "0.35"."""
    exact = Decimal(repr(float(value)))
    text = format(exact, "f")
    return text.rstrip("0").rstrip(".") if "." in text else text


def unit(name: str) -> str:
    """A unit as printed: "degC" is "°C"."""
    return said("unit", name)


def amount(value: Amount | None) -> str:
    """An amount with its unit: "14 t"; empty for None."""
    return f"{number(value.value)} {unit(value.unit)}" if value else ""


def difference(value: float, expected: float, of: str) -> str:
    """How far a reading lies from what was expected, in its unit `of`: "60 bar under", "at the figure"."""
    gap = Decimal(repr(float(value))) - Decimal(repr(float(expected)))
    if gap == 0:
        return "at the figure"
    return f"{number(float(abs(gap)))} {unit(of)} {'over' if gap > 0 else 'under'}"


def minutes(value: int | None) -> str:
    """A duration in min as "3 h 15 min"; empty for None."""
    if value is None:
        return ""
    hours, rest = divmod(value, 60)
    if not hours:
        return f"{rest} min"
    return f"{hours} h {rest} min" if rest else f"{hours} h"


def day(value: date) -> str:
    """A date with its weekday, short enough for a column: "Tue 14 Jul 2026"."""
    return f"{WEEKDAYS[value.weekday()]} {value.day} {MONTHS[value.month - 1][:3]} {value.year}"


def moment(value: datetime) -> str:
    """A time in full: "14 July 2026, 15:41"."""
    return f"{value.day} {MONTHS[value.month - 1]} {value.year}, {value:%H:%M}"


def zoned(value: datetime) -> str:
    """An aware time in full with its zone: "14 July 2026, 15:41 (UTC+01:00)"."""
    offset = f"{value:%z}"
    return f"{moment(value)} (UTC{offset[:3]}:{offset[3:5]})"


def in_groups(digits: str) -> str:
    """Hexadecimal digits in groups of eight, so that two people can compare them aloud."""
    return " ".join(digits[start : start + 8] for start in range(0, len(digits), 8))


def second(value: float) -> str:
    """A place in the recording, seconds from its start, as "1:05"."""
    whole = int(value)
    return f"{whole // 60}:{whole % 60:02d}"


def recorded_at(read: ReadMemo) -> datetime:
    """When the memo was recorded, aware; a time without a zone is taken for Europe/London.

    Raises JobnotesError where `recorded_at` is no ISO 8601 time.
    """
    try:
        at = datetime.fromisoformat(read.recorded_at)
    except ValueError:
        raise JobnotesError(
            f"The memo {read.memo!r} was recorded at {read.recorded_at!r}, which is no ISO 8601 time"
            " such as 2026-07-14T15:41:00+01:00."
        ) from None
    return at if at.tzinfo else at.replace(tzinfo=ZoneInfo("Europe/London"))


def capital(text: str) -> str:
    """The text with its first letter a capital, the rest as it is."""
    return text[:1].upper() + text[1:]


def machine_line(machine: Machine) -> str:
    """The machine in one line: "roller Kelbrack R12, fleet RO 31". Empty where all is unknown."""
    name = " ".join(part for part in (machine.type, machine.make, machine.model) if part)
    fleet = f"fleet {machine.fleet_number}" if machine.fleet_number else ""
    return ", ".join(part for part in (name, fleet) if part)


def pattern(pointer: str) -> str:
    """A pointer below a job with its list places as stars: "/readings/2/value" is "/readings/*/value"."""
    return re.sub(r"/\d+(?=/|$)", "/*", pointer)
