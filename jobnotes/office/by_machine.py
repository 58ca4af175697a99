"""Visits by machine, and parts held against each other: what several pages of the office go by."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from decimal import Decimal
from functools import lru_cache

from rapidfuzz import utils

from jobnotes.office.visits import UsedPart, Visit
from jobnotes.register.lookup import code_key


@lru_cache(maxsize=65536)
def key_of(code: str) -> str:
    """`code_key`, remembered: the same part numbers stand on thousands of sheets."""
    return code_key(code)


@lru_cache(maxsize=65536)
def plain(text: str) -> str:
    """The text without regard to capitals, signs and spaces at its ends."""
    return " ".join(utils.default_process(text).split())


@lru_cache(maxsize=4096)
def words_key(name: str) -> str:
    """A name without regard to capitals and doubled spaces."""
    return " ".join(name.split()).casefold()


def exact(value: float) -> Decimal:
    """The quantity as it stands on the sheet, no digit more: 0.1 is Decimal("0.1"), 5.0 is Decimal("5")."""
    number = Decimal(repr(value))
    return number.quantize(Decimal(1)) if number == number.to_integral_value() else number


def shown(quantity: Decimal) -> str:
    """A quantity as one writes it: no exponent, no needless noughts."""
    text = format(quantity, "f")
    return text.rstrip("0").rstrip(".") if "." in text else text


def machine_of(visit: Visit) -> str:
    """What tells the machine from all others: its fleet number, else its serial number; empty where the
    sheet names neither, and then it is nobody's history."""
    if visit.machine_key:
        return visit.machine_key
    serial = key_of(visit.serial_number)
    return f"serial {serial}" if serial else ""


def machine_name(visit: Visit) -> str:
    """The machine in words: "Roller Kelbrack R12, fleet RO 31"."""
    fleet = f"fleet {visit.fleet_number}" if visit.fleet_number else ""
    serial = f"serial number {visit.serial_number}" if visit.serial_number and not fleet else ""
    return ", ".join(piece for piece in (visit.machine, fleet or serial) if piece)


def histories(visits: Iterable[Visit]) -> dict[str, list[Visit]]:
    """The visits of each machine, the earliest first: by date, then by sheet number. Visits to machines that
    no number names are left out."""
    found: dict[str, list[Visit]] = defaultdict(list)
    for visit in visits:
        key = machine_of(visit)
        if key:
            found[key].append(visit)
    for history in found.values():
        history.sort(key=lambda visit: (visit.date, visit.sheet))
    return dict(found)


def same_part(number: str, description: str, other_number: str, other_description: str) -> bool:
    """Whether two mentions are of one part: by part number where both have one, else by description."""
    if key_of(number) and key_of(other_number):
        return key_of(number) == key_of(other_number)
    return bool(plain(description)) and plain(description) == plain(other_description)


class Parts:
    """Parts that were seen, asked in the sense of `same_part` without going through them."""

    def __init__(self) -> None:
        self._numbers: set[str] = set()
        self._descriptions: set[str] = set()
        self._unnumbered: set[str] = set()

    def copy(self) -> Parts:
        """The parts that were taken in so far, to be kept."""
        kept = Parts()
        kept._numbers, kept._descriptions = set(self._numbers), set(self._descriptions)
        kept._unnumbered = set(self._unnumbered)
        return kept

    def add(self, part: UsedPart) -> None:
        """Takes in a part."""
        number, description = key_of(part.part_number), plain(part.description)
        if number:
            self._numbers.add(number)
        elif description:
            self._unnumbered.add(description)
        if description:
            self._descriptions.add(description)

    def holds(self, number: str, description: str) -> bool:
        """Whether such a part was taken in."""
        if key_of(number):
            return key_of(number) in self._numbers or plain(description) in self._unnumbered
        return plain(description) in self._descriptions


def fitted_after(history: Sequence[Visit], wanted: frozenset[str]) -> set[tuple[int, int]]:
    """Of one machine's visits, the earliest first: the parts with a status in `wanted`, as (sheet, place),
    that a later sheet shows fitted."""
    came: set[tuple[int, int]] = set()
    seen = Parts()
    for visit in reversed(history):
        for part in visit.parts:
            if part.status in wanted and seen.holds(part.part_number, part.description):
                came.add((visit.sheet, part.place))
        for part in visit.parts:
            if part.status == "fitted":
                seen.add(part)
    return came
