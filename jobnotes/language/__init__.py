"""From the words of a memo to jobs with evidence. Heavy parts load on first use."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from jobnotes.language.reader import Reader
    from jobnotes.language.tokens import from_text

__all__ = ["Reader", "from_text"]


def __getattr__(name: str) -> Any:
    if name == "Reader":
        from jobnotes.language.reader import Reader

        return Reader
    if name == "from_text":
        from jobnotes.language.tokens import from_text

        return from_text
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
