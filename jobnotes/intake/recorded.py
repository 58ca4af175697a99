"""When a memo was recorded. "Today" and "twenty to four" in a memo are told from it."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from jobnotes.errors import JobnotesError

LENGTH_OF_A_DATE = len("2026-05-12")
FIRST_YEAR = 1990
YEARS_AHEAD = 2
"""A clock may be set wrong and time zones differ, but a memo is not recorded in a far future."""


class UnlikelyDateError(JobnotesError):
    """A date that is written well but that no memo was recorded on."""


def time_zone(name: str) -> ZoneInfo:
    """The time zone of that name in the IANA database, such as Europe/London. Raises JobnotesError for
    none."""
    try:
        return ZoneInfo(name)
    # The library raises a different error for each kind of wrong name: unknown, absolute, a folder.
    except (KeyError, ValueError, OSError):
        raise JobnotesError(f"There is no time zone {name!r}; give one such as Europe/London.") from None


def given_time(text: str, zone: ZoneInfo) -> datetime:
    """An ISO 8601 date and time as local time in `zone`, naive, to the second.

    A time with an offset is converted, one without is local already. Raises JobnotesError for anything else,
    a date alone too: a clock time spoken in a memo can't be placed by it. Raises UnlikelyDateError for a
    year before FIRST_YEAR or more than YEARS_AHEAD from now.
    """
    wrong = JobnotesError(
        f"{text!r} is not a date and time in ISO 8601; write it like 2026-05-12T10:58 (local time)."
    )
    try:
        time = datetime.fromisoformat(text.strip())
    except ValueError:
        raise wrong from None
    if len(text.strip()) <= LENGTH_OF_A_DATE:
        raise wrong
    if not FIRST_YEAR <= time.year <= datetime.now(zone).year + YEARS_AHEAD:
        raise UnlikelyDateError(f"{text!r} is not a likely date for a memo; its year is {time.year}.")
    return local(time, zone)


def local(time: datetime, zone: ZoneInfo) -> datetime:
    """The time on the clocks of `zone`, naive, to the second. A naive time is taken to be that already."""
    there = time.astimezone(zone) if time.tzinfo else time
    return there.replace(tzinfo=None, microsecond=0)


def last_change(path: Path, zone: ZoneInfo) -> datetime:
    """The file's modification time as local time in `zone`, naive, to the second."""
    return local(datetime.fromtimestamp(path.stat().st_mtime, zone), zone)
