"""Signatures as a page sends them: a name typed, and perhaps a line drawn."""

from __future__ import annotations

import json

from jobnotes.errors import JobnotesError
from jobnotes.paper.strokes import Strokes, tidy_strokes
from jobnotes.store import Signed

LONGEST_DRAWING = 900_000
"""Characters of the strokes as JSON."""


def signatures_of(typed: dict[str, str]) -> tuple[Signed, Signed | None]:
    """The engineer's signature, and the customer's where their name is given. Raises JobnotesError."""
    engineer = Signed(typed["signature"], _strokes(typed["drawn"], "Your signature"))
    drawn = _strokes(typed["customer_drawn"], "The customer's signature")
    if not typed["customer"].strip():
        if drawn is not None:
            raise JobnotesError("The customer has drawn a signature; give the customer's name with it.")
        return engineer, None
    return engineer, Signed(typed["customer"], drawn)


def _strokes(text: str, whose: str) -> Strokes | None:
    if not text.strip() or text.strip() == "[]":
        return None
    if len(text) > LONGEST_DRAWING:
        raise JobnotesError(f"{whose} is larger than can be kept; draw it once more.")
    try:
        strokes = json.loads(text)
    except (ValueError, RecursionError):
        raise JobnotesError(f"{whose} did not come as a drawing; draw it once more.") from None
    return tidy_strokes(strokes, whose)
