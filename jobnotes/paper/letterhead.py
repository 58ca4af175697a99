"""Who the sheet is from and who has put their name to it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True)
class Firm:
    """The firm at the head of the sheet. An empty field prints nothing, an empty name a blank line."""

    name: str = ""
    address: tuple[str, ...] = ()
    telephone: str = ""
    email: str = ""


@dataclass(frozen=True)
class Signature:
    """A name put to the sheet. `at` is an aware time."""

    name: str
    at: datetime


@dataclass(frozen=True)
class Signatures:
    """The two who sign. The sheet is a draft until the engineer has."""

    engineer: Signature | None = None
    customer: Signature | None = None
