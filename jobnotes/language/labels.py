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
}

# Clauses that are put into short forms. `keep_x`: words of a clause x that stand in its short form;
# `ahead_x`: words before a clause x that its short form needs ("the gauge on the lift circuit, so, one
# forty": the check is of it).
SHORTENED = ("check", "work", "cause", "out", "todo", "safe", "complaint")
POINTED = ("check", "work", "cause", "out", "todo")
REACH = 25  # words before a clause that its short form may take from

GROUPS |= {f"keep_{name}": ("O", "K") for name in SHORTENED}
GROUPS |= {f"ahead_{name}": ("O", "A") for name in POINTED}

# Said of a whole job.
OUTCOMES = ("none", "complete", "temporary", "awaiting_parts", "unresolved")
STATES = ("none", "in_service", "out_of_service")

WIDTH = sum(len(labels) for labels in GROUPS.values())
