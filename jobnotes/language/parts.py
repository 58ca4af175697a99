"""Parts of a job: what, how many, which number, and what became of it."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import cast

from jobnotes.jobs import Job, Part
from jobnotes.jobs.model import PartStatus, PartUnit
from jobnotes.language.context import Context
from jobnotes.language.lexicon import word_set
from jobnotes.language.part_rows import (
    by_words,
    names_a_part,
    near_part,
    stems,
)
from jobnotes.language.parts_said import Said, fitted_in_work, reach, split, unmarked
from jobnotes.language.segments import Segment
from jobnotes.register import MachineRow, PartRow
from jobnotes.register.lookup import code_key


def fill_parts(c: Context, segment: Segment, job: Job, base: str, machine: MachineRow | None) -> None:
    """Writes job.parts, with evidence. `machine` is the job's row of the register, where one is known."""
    said: list[Said] = []
    for mark in c.marks(segment, "part"):
        if mark.confidence >= 0.3:
            said.extend(reach(c, s) for s in split(c, mark))
    covered = [s.span for s in said]
    for code in c.each(segment, "part"):
        if any(a <= code.last and code.first <= b for a, b in covered):
            continue
        if code.row is None and code.kind != "part":
            continue
        said.append(unmarked(c, segment, code, said))
    said.extend(fitted_in_work(c, segment, said))
    listed: dict[str, int] = {}
    ordered = sorted(said, key=lambda s: s.span)
    for n, s in enumerate(ordered):
        following = ordered[n + 1] if n + 1 < len(ordered) else None
        if following is not None and s.code is None and s.unit is None and following.code is not None:
            between = c.tokens[s.span[1] + 1 : following.span[0]]
            bare = not names_a_part(c, s.words) and len(between) <= 3 and not re.search(r"\d", s.words)
            named = not following.words and word_set("parts", "talk", "before_number").issuperset(between)
            if bare or named:  # "three new, T P double one eight"; "a new battery, part number ..."
                following.quantity = following.quantity or s.quantity
                following.words = following.words or s.words
                following.confidence = max(following.confidence, s.confidence)
                c.book.told_again.append(s.span)
                continue
        if following is not None and amount_follows(c, s, following):
            following.words = s.words
            c.book.told_again.append(s.span)
            continue
        if s.code is None and s.unit is None and said_with_number(c, s, ordered):
            c.book.told_again.append(s.span)
            continue
        add(c, job, base, s, machine, listed)


def amount_follows(c: Context, s: Said, following: Said) -> bool:
    """Whether a fluid is named first and its amount told apart: "the fifteen forty, I think six litres"."""
    if s.unit is not None or following.unit not in ("L", "kg", "m") or following.code is not None:
        return False
    between = c.tokens[s.span[1] + 1 : following.span[0]]
    if len(between) > 4 or "." in between or s.status != following.status or s.code is not None:
        return False
    if not re.search(r"\b\d{2,4}\b|oil|fluid|coolant|grease", s.words) or re.search(r"\d", following.words):
        return False
    return not re.search(
        r"[a-z]{3}", re.sub(r"\b(no|wrote|down|litres?|think)\b", "", following.words.lower())
    )


def is_size(s: Said, row: PartRow) -> bool:
    """Whether the figure taken for a quantity is a size in the part's description ("the sixty litre": a
    valve of 60 L/min; "the ten micron"), and no amount or count."""
    sizes = {float(x) for x in re.findall(r"\d+(?:\.\d+)?", row.description)}
    if s.quantity not in sizes:
        return False
    return row.unit != s.unit if s.unit is not None else (s.quantity or 0) > 4 and not s.counted


def said_with_number(c: Context, s: Said, ordered: list[Said]) -> bool:
    """Whether a part named without its number is one that stands with its number: told again, of the
    same status."""
    mine = stems(s.words)
    for other in ordered:
        if other.code is None or other.status != s.status or not mine:
            continue
        rows = c.lookup.part.rows(other.code.code.key)
        words = other.words + (" " + c.lookup.part_row(rows[0]).description if rows else "")
        if mine <= stems(words):
            return True
    return False


def add(c: Context, job: Job, base: str, s: Said, machine: MachineRow | None, listed: dict[str, int]) -> None:
    """One part into the job, with evidence, unless it stands there already: then a surer status or a count is
    taken over. `listed`: part number or description -> place in job.parts."""
    row: PartRow | None = None
    why: str | None = None
    number: str | None = None
    certainty = 1.0
    if s.code is not None:
        rows = c.lookup.part.rows(s.code.code.key)
        if rows:
            row = c.lookup.part_row(rows[0])
        else:
            row, why = near_part(c, s.code.code, s.words)
            certainty = 0.5
            if row is None:
                number = s.code.code.text
    if row is None and s.code is None:
        row, rivals = by_words(c, s.words, s.span[0], machine)
        if row is None and rivals:
            why = "several parts of the register fit: " + ", ".join(r.part_number for r in rivals[:3])
    if row is None and number is None and not names_a_part(c, s.words) and not (s.unit == "L" and s.words):
        return
    if row is not None:
        number = row.part_number
    if row is not None and s.quantity is not None and is_size(s, row):
        s = replace(s, quantity=None, unit=None)
    unit = s.unit or (row.unit if row is not None and row.unit in ("each", "L", "m", "kg", "set") else "each")
    if row is not None and row.unit in ("L", "m", "kg", "set", "each") and s.unit is None:
        unit = row.unit
    quantity = s.quantity if s.quantity and s.quantity > 0 else 1.0
    description = row.description if row is not None else s.words or f"part {number}"
    key = number or description.lower()
    if key in listed:
        place = listed[key]
        known = job.parts[place]
        pointer = f"{base}/parts/{place}"
        entry = c.book.entries[pointer]
        c.book.told_again.append(s.span)
        if s.confidence > entry.confidence + 0.15:
            job.parts[place] = known.model_copy(update={"status": s.status})
        if known.quantity == 1 and quantity > 1 and s.confidence > 0.5:
            job.parts[place] = job.parts[place].model_copy(update={"quantity": quantity})
        return
    pointer = f"{base}/parts/{len(job.parts)}"
    job.parts.append(
        Part(
            description=description,
            part_number=number,
            quantity=quantity,
            unit=cast(PartUnit, unit),
            status=cast(PartStatus, s.status),
        )
    )
    listed[key] = len(job.parts) - 1
    heard = c.book.heard(*s.span)
    share = 0.25 if row is not None and s.code is not None and borne_out(c, s, row) else 0.5
    sure = (0.35 + 0.65 * s.confidence) * (1 - share + share * heard) * certainty
    if unit in ("L", "m", "kg") and s.quantity is None:
        why = why or "how much was not heard"
    if row is None and number is None and not re.search(r"[a-z]{3}", s.words.lower()):
        why = why or "what it was is not plain"
    if c.book.by_ear and row is None and c.lookup.register.parts:
        why = why or "no part of the register fits the words"
    if row is not None and s.code is not None and (other := as_near(c, s.code.first, s.code.last, row)):
        why = why or f"{other.part_number} is as near to what was heard as {row.part_number}"
    c.book.put(pointer, [s.span], sure, why is not None, why)


def as_near(c: Context, first: int, last: int, row: PartRow) -> PartRow | None:
    """The register's other part whose number is as near to what the recogniser first wrote in the tokens,
    where they were set right; None where there is none."""
    places = sorted({c.book.places[i] for i in range(first, last + 1)})
    words = [c.book.transcript.words[p] for p in places if p < len(c.book.transcript.words)]
    if not any(w.heard for w in words):
        return None
    key = code_key("".join(w.heard or w.text for w in words))
    near = [(d, c.lookup.part_row(r)) for d, r in c.lookup.part.near(key, 2)]
    own = min((d for d, r in near if r.part_number == row.part_number), default=None)
    others = [r for d, r in near if r.part_number != row.part_number and own is not None and d <= own]
    return others[0] if others else None


def borne_out(c: Context, s: Said, row: PartRow) -> bool:
    """Whether the words of a part fit the row of its number, and no row whose number is one edit away."""
    said = stems(s.words)
    if s.code is None or not said & stems(row.description):
        return False
    near = [c.lookup.part_row(r) for _, r in c.lookup.part.near(s.code.code.key, 1)]
    return not any(
        r.part_number != row.part_number
        and len(said & stems(r.description)) >= len(said & stems(row.description))
        for r in near
    )
