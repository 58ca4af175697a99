"""Visits of an invented firm, made short: what a test does not speak of is plain."""

from __future__ import annotations

import datetime
import itertools
import random
from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal

from jobnotes.office.visits import UsedPart, Visit
from jobnotes.register.lookup import code_key
from jobnotes.store.office_values import Closing, OrderEntry, StockEntry

START = datetime.date(2026, 1, 5)
NOON = datetime.time(12, tzinfo=datetime.UTC)


def at(day: int, hour: int = 12) -> datetime.datetime:
    """So many days after the start, UTC."""
    return datetime.datetime.combine(START, NOON) + datetime.timedelta(days=day, hours=hour - 12)


def on(day: int) -> datetime.date:
    """The same, as a date."""
    return START + datetime.timedelta(days=day)


def part(
    description: str, number: str = "", quantity: float = 1, status: str = "fitted", unit: str = "each"
) -> UsedPart:
    return UsedPart(0, description, number, quantity, unit, status)


def visited(sheet: int, day: int = 0, *, parts: Sequence[UsedPart] = (), **changes: object) -> Visit:
    """A visit `day` days after the start, signed at noon of that day."""
    visit = Visit(
        sheet=sheet,
        revision=1,
        engineer="Tamsin Quill",
        engineer_id=1,
        signed_at=at(day),
        first_signed_at=at(day),
        memo=f"memo {sheet}",
        date=on(day),
        dated=True,
        customer="Brackmere Hire",
        site="Hollin Quarry",
        order_number="",
        fleet_number="EX 14",
        machine_key="",
        machine_type="excavator",
        machine="Excavator Kelbrack K14",
        serial_number="",
        hours=None,
        complaint="",
        cause="",
        fault_codes=(),
        work=(),
        parts=tuple(replace(each, place=place) for place, each in enumerate(parts)),
        follow_up=(),
        arrived=None,
        left=None,
        labour_min=None,
        travel_min=None,
        miles=None,
        outcome="complete",
        machine_state="in_service",
    )
    visit = replace(visit, **changes)  # type: ignore[arg-type]
    return replace(visit, machine_key=code_key(visit.fleet_number))


IDS = itertools.count(1)


def stock_entry(
    kind: str, number: str, quantity: str, day: int, van: str = "Tamsin Quill", hour: int = 12
) -> StockEntry:
    return StockEntry(
        next(IDS),
        at(day, hour),
        "Office",
        van,
        kind,
        number,
        "",
        Decimal(quantity),
        "",
        None,  # type: ignore[arg-type]
    )


def ordered(order: int, number: str, quantity: str, day: int = 0, **changes: object) -> OrderEntry:
    entry = OrderEntry(
        order,
        at(day),
        "Office",
        "ordered",
        order,
        "",
        number,
        "",
        Decimal(quantity),
        "each",
        "",
        None,
        None,
        "",
        "",
    )
    return replace(entry, **changes)  # type: ignore[arg-type]


def became(entry: OrderEntry, kind: str, quantity: str, day: int = 1) -> OrderEntry:
    """What became of an order."""
    return replace(
        entry,
        id=1000 + next(IDS),
        at=at(day),
        kind=kind,
        order=entry.id,
        quantity=Decimal(quantity),  # type: ignore[arg-type]
    )


def closing(sheet: int, text: str, **changes: object) -> Closing:
    made = Closing(next(IDS), at(9), "Office", sheet, text, None, "no longer wanted", False)
    return replace(made, **changes)  # type: ignore[arg-type]


NOUNS = (
    "boom ram", "dipper hose", "slew motor", "track adjuster", "alternator", "water pump", "seat switch",
    "bucket pin", "beacon", "radiator", "starter motor", "handbrake cable", "fuel filter", "joystick",
    "wiper motor", "thermostat",
)  # fmt: skip
FAULTS = ("leaking at the {}", "{} worn and noisy", "{} packed up", "nothing from the {}", "{} intermittent")


def many(count: int, machines: int = 400, seed: int = 4) -> list[Visit]:
    """So many visits of all kinds, every text its own, over about three years."""
    dice = random.Random(seed)
    meters = [dice.uniform(100, 3000) for _ in range(machines)]
    days = sorted(dice.randrange(1100) for _ in range(count))
    seen = [0] * machines
    found = []
    for sheet, day in enumerate(days, 1):
        number = dice.randrange(machines)
        meters[number] += (day - seen[number]) * dice.uniform(2, 9)
        seen[number] = day
        noun, other = dice.choice(NOUNS), dice.choice(NOUNS)
        hours = round(meters[number] / 10 if dice.random() < 0.02 else meters[number], 1)
        service = dice.random() < 0.1
        found.append(
            visited(
                sheet,
                day,
                fleet_number=f"EX {number}",
                engineer=f"Engineer {number % 20}",
                hours=hours,
                complaint="500-hour service"
                if service
                else f"{dice.choice(FAULTS).format(noun)} since job {sheet}",
                cause=f"{noun} worn out after {sheet} turns",
                work=(f"replaced {noun} number {sheet}", f"cleaned the {other} and test drove, run {sheet}"),
                parts=[
                    part(noun, f"P-{NOUNS.index(noun)}"),
                    part(other, f"P-{NOUNS.index(other)}", 2, dice.choice(("to_order", "ordered", "fitted"))),
                ],
                follow_up=(f"replace {other} at the next visit, note {sheet}",),
            )
        )
    return found
