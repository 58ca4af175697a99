"""What the clause reader says of each word: one label a group, begin (B-), inside (I-) or outside (O)."""

from __future__ import annotations


def _bio(*names: str) -> tuple[str, ...]:
    return ("O", *(f"{p}-{n}" for n in names for p in "BI"))


GROUPS: dict[str, tuple[str, ...]] = {
    "complaint": _bio("complaint"),
    "cause": _bio("cause"),
    "out": _bio("out"),
    "work": _bio("work"),
    "todo": _bio("todo"),
    "safe": _bio("safe"),
    "note": _bio("note"),
    "check": _bio("ok", "not_ok", "unclear"),
    "part": _bio("fitted", "to_order", "ordered", "not_used"),
    "value": _bio(
        "found", "after", "exp", "old", "hours", "arrived", "left", "labour", "travel", "dist", "size", "date"
    ),
    "at": _bio("at"),
    "name": _bio("fleet", "serial", "order", "site", "customer", "machine", "fault"),
    # where the talk stands: of no job, going on, a new machine begins, back to an earlier one
    "job": ("O", "I-job", "B-new", "B-back"),
    # words that stand in the short form of the phrase they lie in
    "keep": ("O", "K"),
}

# Said of a whole job.
OUTCOMES = ("none", "complete", "temporary", "awaiting_parts", "unresolved")
STATES = ("none", "in_service", "out_of_service")

WIDTH = sum(len(labels) for labels in GROUPS.values())
