"""Which values a person should look at, and why: unsure or implausible ones, and what was spoken of only."""

from __future__ import annotations

import re

from jobnotes.jobs import Job
from jobnotes.jobs.plausible import doubts
from jobnotes.language.context import Context
from jobnotes.language.figures import MEASURED
from jobnotes.language.lexicon import load, word_set
from jobnotes.language.passed_over import mark_passed_over
from jobnotes.language.segments import Segment
from jobnotes.register import MachineRow

# What money and safety hang on: wrong and unmarked is the worst here.
CRITICAL = re.compile(
    r"/jobs/\d+/(customer|order_number|date|machine/(fleet_number|serial_number|hours)"
    r"|parts/\d+|readings/\d+|times/\w+|distance)$"
)
# Below this confidence a critical value is marked; chosen on memos that neither rules nor training had seen,
# so that from typed words about one value in fifteen is marked, from sound one in six.
SURE = 0.88
LEAST_TOLD = 10  # min: a shorter time is hardly one of labour or travel
OPENING = 9  # pieces that are shown where a job lacks what should be named at once


def mark_doubts(c: Context, segment: Segment, job: Job, base: str, row: MachineRow | None) -> None:
    """Marks in the evidence of one job."""
    unsure(c, base)
    implausible(c, job, base, row)
    unheard(c, segment, job, base)
    if c.book.by_ear:
        mark_passed_over(c, segment, job, base)


def unsure(c: Context, base: str) -> None:
    """Critical values below SURE."""
    for pointer, entry in list(c.book.entries.items()):
        if (
            pointer.startswith(base + "/")
            and not entry.check
            and CRITICAL.fullmatch(pointer)
            and entry.confidence < SURE
        ):
            c.book.doubt(pointer, "not sure that this was heard and placed rightly")


def implausible(c: Context, job: Job, base: str, row: MachineRow | None) -> None:
    """What the plausibility checks say."""
    site = next((s for s in c.lookup.register.sites if s.site == job.site), None)
    if not base.endswith("/0"):
        site = None  # the drive to a later job may begin at the one before
    found = doubts(
        job,
        c.recorded_at.replace(tzinfo=None),
        last_hours=row.last_hours if row is not None else None,
        miles_from_depot=site.miles_from_depot if site is not None else None,
    )
    for doubt in found:
        pointer = base + doubt.pointer
        while pointer not in c.book.entries and pointer.count("/") > base.count("/") + 1:
            pointer = pointer.rpartition("/")[0]
        if pointer not in c.book.entries:
            c.book.put(pointer, [(0, min(3, len(c.tokens) - 1))], 0.5)
        c.book.doubt(pointer, doubt.why)


def unheard(c: Context, segment: Segment, job: Job, base: str) -> None:
    """Critical fields that were spoken of and not found: an entry with the words at the field's pointer."""
    spoken = load("cues")["spoken_of"]
    empty = {
        "times/labour_min": job.times.labour_min is None,
        "times/travel_min": job.times.travel_min is None,
        "times/arrived": job.times.arrived is None,
        "times/left": job.times.left is None,
        "distance": job.distance is None,
        "order_number": job.order_number is None,
        "machine/hours": job.machine.hours is None,
        "machine/fleet_number": job.machine.fleet_number is None,
    }
    for field, missing in empty.items():
        if not missing or f"{base}/{field}" in c.book.entries:
            continue
        span = said(c, segment, [tuple(cue.split()) for cue in spoken.get(field, [])])
        if span is not None:
            c.book.put(f"{base}/{field}", [span], 0.3, True, "spoken of, but no value was found")
    times_untold(c, segment, job, base)
    nobody_named(c, segment, job, base)
    if c.book.by_ear:
        machine_unfound(c, segment, job, base)
        durations_unread(c, segment, job, base)
    figures = left_over(c, segment)
    if figures:
        c.book.put(f"{base}/readings", figures, 0.3, True, "a figure was heard that could not be placed")


def nobody_named(c: Context, segment: Segment, job: Job, base: str) -> None:
    """A job without a customer cannot be invoiced."""
    if job.customer is None and f"{base}/customer" not in c.book.entries:
        c.book.put(f"{base}/customer", [opening(c, segment)], 0.3, True, "no customer was found for this job")


def machine_unfound(c: Context, segment: Segment, job: Job, base: str) -> None:
    """A heard machine that is no row of the register: its number, and the serial number that goes with it."""
    entries = c.book.entries
    numbered = entries.get(f"{base}/machine/fleet_number")
    if numbered is None and job.machine.serial_number is None and not numberless(c, segment):
        why = "no machine of the register was found in what was heard"
        c.book.put(f"{base}/machine/fleet_number", [opening(c, segment)], 0.3, True, why)
        numbered = entries[f"{base}/machine/fleet_number"]
    if numbered is not None and numbered.check and job.machine.serial_number is None:
        why = "it goes with the machine's number, of which the register has no row"
        update = {"confidence": 0.3, "check": True, "why": why}
        entries.setdefault(f"{base}/machine/serial_number", numbered.model_copy(update=update))


def numberless(c: Context, segment: Segment) -> bool:
    """Whether the memo says that the machine has no number, or that it could not be read."""
    denials = word_set("cues", "passed_over", "numberless")
    return any(
        word in ("number", "numbers")
        and segment.holds(c.piece_of(place))
        and denials.intersection(c.tokens[max(0, place - 5) : place])
        for place, word in enumerate(c.tokens)
    )


def durations_unread(c: Context, segment: Segment, job: Job, base: str) -> None:
    """Times of labour and travel that are missing, where a duration beside the visit's other times is in no
    value: "away at half past one, five hours' lever"."""
    missing = [f for f in ("labour_min", "travel_min") if getattr(job.times, f) is None]
    missing = [f for f in missing if f"{base}/times/{f}" not in c.book.entries]
    if not missing:
        return
    held = {p: s for p, s in c.book.spans.items() if p.startswith((f"{base}/times/", f"{base}/distance"))}
    for d in c.found.durations:
        if not segment.holds(c.piece_of(d.first)) or not LEAST_TOLD <= d.minutes < 24 * 60:
            continue
        if any(a <= d.last and d.first <= b for spans in c.book.spans.values() for a, b in spans):
            continue
        begin, end = c.sentence(d.first)
        if any(begin <= a <= end for spans in held.values() for a, _ in spans):
            why = "a duration was heard beside the times of this visit, and nothing was made of it"
            c.book.put(f"{base}/times/{missing[0]}", [(d.first, d.last)], 0.3, True, why)
            return


def opening(c: Context, segment: Segment) -> tuple[int, int]:
    """The first words of a job, as tokens."""
    begin, end = segment.stretches[0]
    return c.found.pieces[begin].first, c.found.pieces[min(end, begin + OPENING)].last


def times_untold(c: Context, segment: Segment, job: Job, base: str) -> None:
    """A job that cannot be invoiced as it stands: no time at all, or one end of the visit alone."""
    times = job.times
    entries = c.book.entries
    told = ("arrived", "left", "labour_min")
    if all(getattr(times, f) is None for f in told) and not any(f"{base}/times/{f}" in entries for f in told):
        begin, end = segment.stretches[-1]
        words = [i for i in range(begin, end + 1) if c.found.pieces[i].text.isalnum()] or [end]
        closing = (c.found.pieces[words[-5:][0]].first, c.found.pieces[words[-1]].last)
        c.book.put(f"{base}/times", [closing], 0.3, True, "no time was found for this job")
    for field, other in (("arrived", "left"), ("left", "arrived")):
        entry = entries.get(f"{base}/times/{other}")
        if getattr(times, field) is None and entry is not None and f"{base}/times/{field}" not in entries:
            why = f"only the time {'of arriving' if other == 'arrived' else 'of leaving'} was found"
            entries[f"{base}/times/{field}"] = entry.model_copy(
                update={"confidence": 0.3, "check": True, "why": why}
            )


def shared_between(c: Context, jobs: list[Job]) -> None:
    """Of several jobs: an order number, miles or travel found in one alone may
    belong to another, or to all."""
    if len(jobs) < 2:
        return
    shared: dict[str, list[object]] = {
        "order_number": [job.order_number for job in jobs],
        "distance": [job.distance for job in jobs],
        "times/travel_min": [job.times.travel_min for job in jobs],
    }
    for field, values in shared.items():
        told = [n for n, value in enumerate(values) if value is not None]
        if len(told) != 1:
            continue
        entry = c.book.entries.get(f"/jobs/{told[0]}/{field}")
        if entry is None:
            continue
        for number in range(len(jobs)):
            pointer = f"/jobs/{number}/{field}"
            why = "said once for several jobs; is it for this one?"
            if number != told[0] and pointer not in c.book.entries:
                c.book.entries[pointer] = entry.model_copy(
                    update={"confidence": 0.3, "check": True, "why": why}
                )
            elif number == told[0] and field != "order_number":
                c.book.doubt(pointer, why)


def said(c: Context, segment: Segment, cues: list[tuple[str, ...]]) -> tuple[int, int] | None:
    """The first place in the segment where any of the cues is said, and not denied."""
    for first, last in segment.stretches:
        begin, end = c.found.pieces[first].first, c.found.pieces[last].last
        for place in range(begin, end + 1):
            for cue in cues:
                if tuple(c.tokens[place : place + len(cue)]) == cue:
                    before = c.tokens[max(begin, place - 3) : place]
                    if {"no", "not", "never", "n't", "without"} & set(before):
                        continue
                    return place, place + len(cue) - 1
    return None


def left_over(c: Context, segment: Segment) -> list[tuple[int, int]]:
    """Measured quantities in no mark at all: perhaps readings that were passed over."""
    out: list[tuple[int, int]] = []
    for q in c.found.quantities:
        if q.kind not in MEASURED or q.kind in ("volume", "mass", "length") or q.unit == "m":
            continue
        piece = c.piece_of(q.first)
        if not segment.holds(piece):
            continue
        held = any(
            m.group in ("value", "part", "name") and m.first <= piece <= m.last and m.confidence > 0.3
            for m in c.found.marks
        )
        after = c.tokens[q.last + 1 : q.last + 2]
        if (
            held
            or c.book_has(q.first, q.last)
            or (
                q.unit == "V"
                and after
                and after[0].isalpha()
                and q.value in load("units")["nominal"]["voltages"]
            )
        ):
            continue
        out.append((q.first, q.last))
    return out
