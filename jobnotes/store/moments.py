"""Times as they are stored: aware, in UTC, as text that sorts by time."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Dialect, String
from sqlalchemy.types import TypeDecorator


def now() -> datetime:
    """The time, aware, in UTC."""
    return datetime.now(UTC)


def written(moment: datetime) -> str:
    """The time as 2026-05-12T09:58:00.000000Z. Raises ValueError for a naive time."""
    if moment.tzinfo is None:
        raise ValueError("a stored time needs its zone")
    return moment.astimezone(UTC).isoformat(timespec="microseconds").replace("+00:00", "Z")


def moment_of(text: str) -> datetime:
    """The aware time that `written` wrote. Raises ValueError for anything else."""
    moment = datetime.fromisoformat(text)
    if moment.tzinfo is None:
        raise ValueError(f"{text!r} has no zone")
    return moment.astimezone(UTC)


class Moment(TypeDecorator[datetime]):
    """A column of aware times, kept as text in UTC."""

    impl = String
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> str | None:
        """To the database."""
        return None if value is None else written(value)

    def process_result_value(self, value: Any | None, dialect: Dialect) -> datetime | None:
        """From the database."""
        return None if value is None else moment_of(str(value))
