"""What the store refuses, each in a sentence. Callers tell the kinds apart: a page answers each its own
way."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from jobnotes.errors import JobnotesError

if TYPE_CHECKING:
    from jobnotes.store.values import Correction


class MissingError(JobnotesError):
    """There is no such memo, draft, sheet or person."""


class NotAllowedError(JobnotesError):
    """The person's role does not allow it."""


class WrongPasswordError(JobnotesError):
    """Name and password do not belong together; which of them is wrong is not said."""


class TooManyTriesError(JobnotesError):
    """Too many wrong passwords in a short time. `seconds` until the next try is heard."""

    def __init__(self, sentence: str, seconds: int) -> None:
        super().__init__(sentence)
        self.seconds = seconds


class InvalidEditError(JobnotesError):
    """An edit that would leave a draft that is no job sheet: a wrong kind of value, a place that is not
    there."""


class ConflictError(JobnotesError):
    """Somebody else changed the draft since the version that the edit was made for.

    `version` is the newest; `corrections` are what was changed since, oldest first.
    """

    def __init__(self, sentence: str, version: int, corrections: Sequence[Correction]) -> None:
        super().__init__(sentence)
        self.version = version
        self.corrections = tuple(corrections)


class NotReadyError(JobnotesError):
    """A draft that can't be signed yet. `pointers` are the places that nobody has looked at."""

    def __init__(self, sentence: str, pointers: Sequence[str] = ()) -> None:
        super().__init__(sentence)
        self.pointers = tuple(pointers)
