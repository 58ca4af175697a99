"""What `verify` finds."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Fault:
    """What does not fit. `where` names it ("chain entry 3", "recording of quarry"), `what` is a sentence."""

    where: str
    what: str
