"""What signed sheets tell of one machine over time. Facts only: what was written down, put side by side."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field

from rapidfuzz import fuzz, utils

from jobnotes.jobs.units import convert, is_known, same_quantity
from jobnotes.office.returns import names_planned
from jobnotes.paper import words
from jobnotes.register.lookup import code_key
from jobnotes.store import SignedSheet

ALIKE = 80.0
"""Of 100: so alike are two complaints that are shown side by side."""


@dataclass(frozen=True)
class Point:
    """A figure on a day. `stage` as in a reading; `sheet` is where it stands."""

    day: str
    value: float
    sheet: int
    stage: str = "after"
    expected: float | None = None


@dataclass(frozen=True)
class Series:
    """Readings of the same kind at the same place, in one unit, the oldest first.

    `placed`: the memos say where; without that the figures may be of several things, and are no curve.
    """

    name: str
    unit: str
    points: tuple[Point, ...]
    placed: bool


@dataclass(frozen=True)
class Fitted:
    """A part fitted on a day."""

    day: str
    sheet: int
    quantity: str
    description: str
    part_number: str


@dataclass(frozen=True)
class Open:
    """Something that a sheet left to do. `later` are sheets since then, where it may have been done."""

    day: str
    sheet: int
    text: str
    later: tuple[int, ...]


@dataclass(frozen=True)
class Again:
    """Something that stands on sheets of several days."""

    what: str
    kind: str
    sheets: tuple[tuple[str, int], ...]


@dataclass
class MachineStory:
    """A machine as its sheets tell it, each in its newest revision, withdrawn ones left out."""

    fleet_number: str
    line: str
    serial_number: str
    customer: str
    sheets: list[SignedSheet]
    hours: list[Point] = field(default_factory=list)
    readings: list[Series] = field(default_factory=list)
    parts: list[Fitted] = field(default_factory=list)
    open: list[Open] = field(default_factory=list)
    again: list[Again] = field(default_factory=list)


def machine_story(fleet_number: str, sheets: Iterable[SignedSheet]) -> MachineStory:
    """The story in the sheets of one machine, in any order."""
    held = sorted(
        (sheet for sheet in sheets if sheet.state == "signed"), key=lambda sheet: (_day(sheet), sheet.number)
    )
    newest = held[-1].job if held else None
    story = MachineStory(
        newest.machine.fleet_number or fleet_number if newest else fleet_number,
        words.machine_line(newest.machine.model_copy(update={"fleet_number": None})) if newest else "",
        (newest.machine.serial_number or "") if newest else "",
        (newest.customer or "") if newest else "",
        held,
    )
    story.hours = [
        Point(_day(sheet), sheet.job.machine.hours, sheet.number)
        for sheet in held
        if sheet.job.machine.hours is not None
    ]
    story.readings = _readings(held)
    story.parts = [
        Fitted(
            _day(sheet),
            sheet.number,
            f"{words.number(part.quantity)} {words.unit(part.unit)}"
            if part.unit != "each"
            else words.number(part.quantity),
            words.capital(part.description),
            part.part_number or "",
        )
        for sheet in reversed(held)
        for part in sheet.job.parts
        if part.status == "fitted"
    ]
    story.open = _open(held)
    story.again = _again(held)
    return story


def _day(sheet: SignedSheet) -> str:
    return sheet.date or sheet.signed_at.date().isoformat()


def _readings(sheets: list[SignedSheet]) -> list[Series]:
    """By what was measured and where. Other units of the same quantity are turned into that of the first."""
    units: dict[tuple[str, str], str] = {}
    found: dict[tuple[str, str], list[Point]] = defaultdict(list)
    for sheet in sheets:
        for reading in sheet.job.readings:
            key = (reading.quantity, utils.default_process(reading.at or ""))
            unit = units.setdefault(key, reading.unit)
            value, expected = reading.value, reading.expected
            if reading.unit != unit:
                if not (is_known(unit) and is_known(reading.unit) and same_quantity(unit, reading.unit)):
                    key = (reading.quantity, f"{key[1]} ({reading.unit})")
                    unit = units.setdefault(key, reading.unit)
                else:
                    value = convert(value, reading.unit, unit)
                    expected = None if expected is None else convert(expected, reading.unit, unit)
            found[key].append(Point(_day(sheet), value, sheet.number, reading.stage, expected))
    series = [
        Series(
            words.capital(f"{at}, {quantity}" if at and quantity not in at else at or quantity),
            units[(quantity, at)],
            tuple(points),
            bool(at),
        )
        for (quantity, at), points in found.items()
    ]
    return sorted(series, key=lambda each: (-len({point.day for point in each.points}), each.name))


def _open(sheets: list[SignedSheet]) -> list[Open]:
    """What was left to do: the follow-ups of each sheet, and parts ordered or to be ordered that no later
    sheet has fitted. Whether a follow-up was done since, only a person can say; later sheets are named."""
    left: list[Open] = []
    for place, sheet in enumerate(sheets):
        since = sheets[place + 1 :]
        later = tuple(each.number for each in since)
        left += [Open(_day(sheet), sheet.number, words.capital(text), later) for text in sheet.job.follow_up]
        for part in sheet.job.parts:
            if part.status not in ("to_order", "ordered"):
                continue
            came = any(
                other.status == "fitted"
                and _same_part(part.part_number, part.description, other.part_number, other.description)
                for each in since
                for other in each.job.parts
            )
            if not came:
                state = words.said("part_status", part.status)
                what = f"{state}: {words.number(part.quantity)} {part.description} {part.part_number or ''}"
                left.append(Open(_day(sheet), sheet.number, what.strip(), later))
    return list(reversed(left))


def _same_part(number: str | None, text: str, other_number: str | None, other_text: str) -> bool:
    if number and other_number:
        return code_key(number) == code_key(other_number)
    return utils.default_process(text) == utils.default_process(other_text)


def _again(sheets: list[SignedSheet]) -> list[Again]:
    """Fault codes and parts that stand on sheets of several days, and complaints that read alike."""
    codes: dict[str, list[tuple[str, int]]] = defaultdict(list)
    parts: dict[str, list[tuple[str, int]]] = defaultdict(list)
    names: dict[str, str] = {}
    for sheet in sheets:
        at = (_day(sheet), sheet.number)
        for code in {code_key(each): each for each in sheet.job.fault_codes}.values():
            codes[code_key(code)].append(at)
            names.setdefault(code_key(code), code)
        for part in sheet.job.parts:
            if part.status == "fitted" and part.part_number and part.unit in ("each", "set"):
                key = code_key(part.part_number)
                if at not in parts[key]:
                    parts[key].append(at)
                names.setdefault(key, f"{words.capital(part.description)}, {part.part_number}")
    found = [Again(names[key], "Fault code", tuple(at)) for key, at in codes.items() if _days(at) > 1]
    found += [Again(names[key], "Part fitted", tuple(at)) for key, at in parts.items() if _days(at) > 1]
    # A service comes back because it is to.
    told = [
        (sheet, utils.default_process(sheet.job.complaint))
        for sheet in sheets
        if sheet.job.complaint and not names_planned(sheet.job.complaint)
    ]
    taken: set[int] = set()
    for place, (sheet, text) in enumerate(told):
        if place in taken:
            continue
        alike = [
            other
            for other in range(place + 1, len(told))
            if other not in taken and fuzz.token_set_ratio(text, told[other][1]) >= ALIKE
        ]
        same = [(_day(each), each.number) for each in (sheet, *(told[other][0] for other in alike))]
        if _days(same) > 1:
            taken.update(alike)
            found.append(Again(words.capital(sheet.job.complaint or ""), "Complaints alike", tuple(same)))
    return found


def _days(at: list[tuple[str, int]]) -> int:
    return len({day for day, _ in at})
