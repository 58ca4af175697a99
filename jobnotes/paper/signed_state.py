"""What a sheet that has been signed says of itself on paper."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True)
class Withdrawal:
    """That a signed sheet no longer holds: why, on whose word, and when (aware)."""

    reason: str
    by: str
    at: datetime


@dataclass(frozen=True)
class SignedState:
    """A signed sheet's place among the workshop's sheets.

    `replaces` is the number of the revision replaced, None for the first. `job_number` counts from 1 within
    the memo. `sha256` is that of the signed document's canonical JSON, `fingerprint` that of the workshop's
    certificate, both 64 hexadecimal digits.
    """

    sheet: int
    revision: int
    replaces: int | None
    job_number: int
    jobs_in_memo: int
    signed_by: str
    signed_at: datetime
    sha256: str
    fingerprint: str
    withdrawn: Withdrawal | None = None

    @property
    def made_at(self) -> datetime:
        """When the paper as it stands came to be: signed, or withdrawn since."""
        return self.withdrawn.at if self.withdrawn else self.signed_at
