"""What the register has for what was typed or heard: machines, parts, customers and sites."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from typing import Any, Literal

from rapidfuzz import fuzz, process, utils

from jobnotes.register import Register
from jobnotes.register.lookup import CodeIndex, code_key

Table = Literal["machine", "part", "customer", "site"]
MOST = 8
NEAR = 2
"""A code may be off by so many letters and figures."""
ALIKE = 62.0
"""Of 100: how much of a name must be alike to be suggested."""


@dataclass(frozen=True)
class Suggestion:
    """A row of the register. `value` is what the field takes, `more` tells it from others; `fills` says what
    else in the job the row settles, by the step of the pointer."""

    value: str
    more: str
    fills: dict[str, Any] = field(default_factory=dict)


class Suggestions:
    """Looks rows up. The indexes are made once for each register."""

    def __init__(self) -> None:
        self._made: tuple[Register, dict[str, _Table]] | None = None
        self._lock = threading.Lock()

    def __call__(self, register: Register, table: Table, text: str, most: int = MOST) -> list[Suggestion]:
        """The rows that fit best, the best first: those that begin so, then those nearly so."""
        with self._lock:
            if self._made is None or self._made[0] is not register:
                self._made = (register, _tables(register))
            rows = self._made[1][table]
        return rows.find(text[:200], most)


class _Table:
    def __init__(self, rows: list[Suggestion], coded: bool) -> None:
        self._rows = rows
        self._codes = CodeIndex([row.value for row in rows]) if coded else None
        self._keys = [code_key(row.value) if coded else utils.default_process(row.value) for row in rows]
        self._names = [
            utils.default_process(f"{row.value} {row.more}" if coded else row.value) for row in rows
        ]

    def find(self, text: str, most: int) -> list[Suggestion]:
        key = code_key(text) if self._codes else utils.default_process(text)
        if not key:
            return []
        found = [at for at, each in enumerate(self._keys) if each == key]
        found += [at for at, each in enumerate(self._keys) if each.startswith(key)]
        if self._codes is not None:
            found += self._codes.rows(text)
            if len(key) > 2:
                found += [row for _, row in self._codes.near(text, NEAR)]
        low = utils.default_process(text)
        if len(low) > 2:
            found += [at for at, name in enumerate(self._names) if low in name]
            alike = process.extract(
                low, self._names, scorer=fuzz.token_set_ratio, limit=most, score_cutoff=ALIKE
            )
            found += [at for _, _, at in alike]
        return [self._rows[at] for at in list(dict.fromkeys(found))[:most]]


def _tables(register: Register) -> dict[str, _Table]:
    machines = [
        Suggestion(
            row.fleet_number,
            " ".join(
                part for part in (row.type, row.make, row.model, row.customer and f"· {row.customer}") if part
            ),
            {
                "type": row.type or None,
                "make": row.make or None,
                "model": row.model or None,
                "size": row.size.model_dump(mode="json") if row.size else None,
                "serial_number": row.serial_number or None,
            },
        )
        for row in register.machines
    ]
    parts = [
        Suggestion(
            row.part_number,
            row.description,
            {"description": row.description or None, "unit": row.unit or None},
        )
        for row in register.parts
    ]
    customers = [Suggestion(row.customer, row.account_number) for row in register.customers]
    sites = [Suggestion(row.site, row.customer, {"customer": row.customer or None}) for row in register.sites]
    return {
        "machine": _Table(machines, coded=True),
        "part": _Table(parts, coded=True),
        "customer": _Table(customers, coded=False),
        "site": _Table(sites, coded=False),
    }
