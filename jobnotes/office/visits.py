"""Signed sheets as the office reads them: plain values, read from each sheet once."""

from __future__ import annotations

import datetime
import threading
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from jobnotes.jobs.model import Amount
from jobnotes.jobs.units import convert
from jobnotes.paper import words
from jobnotes.register.lookup import code_key
from jobnotes.store import SignedSheet, Workshop

MILES = ("mi", "km")
YEARS = range(1970, 2200)
"""A date in any other year is a slip, and the calendar's ends leave no room to reckon with."""


@dataclass(frozen=True)
class UsedPart:
    """A part of a sheet; `place` is its place in the job's list, from 0."""

    place: int
    description: str
    part_number: str
    quantity: float
    unit: str
    status: str


@dataclass(frozen=True)
class Visit:
    """A signed sheet in its newest revision: one machine, worked on in one visit.

    `first_signed_at` is when its first revision was signed. `date` is the day of the visit; that of the
    signature where the sheet has none, or one of a year out of YEARS, which `dated` tells. `machine_key` is
    the fleet number without regard to spaces, dashes and capitals, empty where there is none. Clock times are
    local, as on the sheet; durations in min, hours in h. `miles` is the distance driven both ways, mi.
    """

    sheet: int
    revision: int
    engineer: str
    engineer_id: int | None
    signed_at: datetime.datetime
    first_signed_at: datetime.datetime
    memo: str
    date: datetime.date
    dated: bool
    customer: str
    site: str
    order_number: str
    fleet_number: str
    machine_key: str
    machine_type: str
    machine: str
    serial_number: str
    hours: float | None
    complaint: str
    cause: str
    fault_codes: tuple[str, ...]
    work: tuple[str, ...]
    parts: tuple[UsedPart, ...]
    follow_up: tuple[str, ...]
    arrived: str | None
    left: str | None
    labour_min: int | None
    travel_min: int | None
    miles: float | None
    outcome: str
    machine_state: str

    @property
    def day_text(self) -> str:
        """The date as YYYY-MM-DD."""
        return self.date.isoformat()


def visit_of(sheet: SignedSheet, first_signed_at: datetime.datetime, zone: ZoneInfo) -> Visit:
    """The sheet as the office reads it. `zone` gives the day of a sheet without a date."""
    job: dict[str, Any] = sheet.record["job"]
    machine, times = job["machine"], job["times"]
    stated = datetime.date.fromisoformat(job["date"]) if job["date"] else None
    dated = stated is not None and stated.year in YEARS
    name = " ".join(machine[key] for key in ("type", "make", "model") if machine[key])
    return Visit(
        sheet=sheet.number,
        revision=sheet.revision,
        engineer=sheet.engineer,
        engineer_id=sheet.engineer_id,
        signed_at=sheet.signed_at,
        first_signed_at=first_signed_at,
        memo=sheet.record["memo"],
        date=stated if stated and dated else sheet.signed_at.astimezone(zone).date(),
        dated=dated,
        customer=job["customer"] or "",
        site=job["site"] or "",
        order_number=job["order_number"] or "",
        fleet_number=machine["fleet_number"] or "",
        machine_key=code_key(machine["fleet_number"] or ""),
        machine_type=machine["type"] or "",
        machine=words.capital(name),
        serial_number=machine["serial_number"] or "",
        hours=machine["hours"],
        complaint=job["complaint"] or "",
        cause=job["cause"] or "",
        fault_codes=tuple(job["fault_codes"]),
        work=tuple(job["work"]),
        parts=tuple(
            UsedPart(
                place,
                part["description"],
                part["part_number"] or "",
                part["quantity"],
                part["unit"],
                part["status"],
            )
            for place, part in enumerate(job["parts"])
        ),
        follow_up=tuple(job["follow_up"]),
        arrived=times["arrived"],
        left=times["left"],
        labour_min=times["labour_min"],
        travel_min=times["travel_min"],
        miles=_miles(job["distance"]),
        outcome=job["outcome"] or "",
        machine_state=job["machine_state"] or "",
    )


def _miles(distance: dict[str, Any] | None) -> float | None:
    if distance is None or distance["unit"] not in MILES:
        return None
    amount = Amount.model_validate(distance)
    return convert(amount.value, amount.unit, "mi")


class Visits:
    """All sheets that hold, each in its newest revision, by number. Sheets never change, so each is read
    once; any number of threads may ask."""

    def __init__(self, workshop: Workshop, zone: ZoneInfo) -> None:
        self._workshop = workshop
        self._zone = zone
        self._lock = threading.Lock()
        self._known = -1
        self._first: dict[int, datetime.datetime] = {}
        self._visits: dict[int, Visit] = {}
        self._all: Sequence[Visit] = ()

    def all(self) -> Sequence[Visit]:
        """The visits as they stand now, by sheet number: the same sequence until one is another."""
        with self._lock:
            newest = self._workshop.sheets.newest_entry()
            if newest != self._known:
                changed = False
                for sheet in self._workshop.sheets.since(self._known):
                    changed = True
                    first = self._first.setdefault(sheet.number, sheet.signed_at)
                    held = self._visits.get(sheet.number)
                    if sheet.state == "signed":
                        self._visits[sheet.number] = visit_of(sheet, first, self._zone)
                    elif held is not None and held.revision <= sheet.revision:
                        del self._visits[sheet.number]
                self._known = newest
                if changed:
                    self._all = tuple(self._visits[number] for number in sorted(self._visits))
            return self._all
