"""The story of a job: complaint and cause, what was ruled out, checks, work, follow-up, safety, outcome."""

from __future__ import annotations

import re
from typing import cast

import numpy as np

from jobnotes.jobs import Check, Job, Reading
from jobnotes.jobs.model import MachineState, Outcome, Verdict
from jobnotes.language.context import Context
from jobnotes.language.decode import Marked
from jobnotes.language.findings import Floats
from jobnotes.language.labels import OUTCOMES, STATES
from jobnotes.language.lexicon import sayings, word_set
from jobnotes.language.part_rows import stems
from jobnotes.language.phrases import (
    caused,
    checked,
    done,
    names_something,
    plain,
    thing_before,
    to_do,
    with_measure,
)
from jobnotes.language.segments import Segment
from jobnotes.language.suspicion import ruled_out, suspected_at, suspicions
from jobnotes.language.text import short_form

# "not the pump", "weren't the switch": the pump, the switch was ruled out.
NOT_IT = re.compile(
    r"^(?:(?:it|that)\s?)?(?:['’]s|was|were|is|are|ai)?\s?(?:not|n['’]t)\s+(?:the\s+|a\s+|your\s+)?", re.I
)
# Group of marks -> field of the job.
LISTS = {"out": "ruled_out", "work": "work", "todo": "follow_up", "safe": "safety"}


def hazards(c: Context, mark: Marked) -> list[tuple[str, int, int]]:
    """The facts of one safety clause apart: "boom down, wheels chocked and the key out" are three. (text,
    first, last piece)."""
    pieces, keep = c.found.pieces, c.found.kept(mark.group)
    out: list[tuple[str, int, int]] = []
    first = mark.first
    for i in range(mark.first, mark.last + 2):
        ends = (
            i > mark.last or pieces[i].text in (",", ";", ".") or (pieces[i].text == "and" and i > mark.first)
        )
        if not ends:
            continue
        content = [k for k in range(first, i) if keep[k] >= 0.5 and pieces[k].text.isalpha()]
        if len(content) >= 2 or (i > mark.last and not out):
            text = short_form(first, i - 1, pieces, keep, c.words, c.found)
            if text:
                out.append((text, first, i - 1))
            first = i + 1
        elif i > mark.last and out and content:
            text, begin, _ = out[-1]
            out[-1] = (
                f"{text}, {short_form(first, mark.last, pieces, keep, c.words, c.found)}",
                begin,
                mark.last,
            )
    return out


def fill_story(c: Context, segment: Segment, job: Job, base: str) -> None:
    """Writes the story's fields with evidence."""
    for field in ("complaint", "cause"):
        marks = [m for m in c.marks(segment, field) if m.confidence >= 0.35]
        make = caused if field == "cause" else plain
        told = [(m, text) for m in marks if (text := make(c, m))]
        if told:
            best = max(told, key=lambda t: t[0].confidence)
            chosen = [
                t
                for t in told
                if t is best or (t[0].confidence > 0.6 and abs(t[0].first - best[0].last) < 18)
            ]
            chosen = chosen[:3]
            setattr(job, field, ", ".join(dict.fromkeys(t[1] for t in chosen)))
            c.book.put(f"{base}/{field}", [c.token_span(t[0]) for t in chosen], best[0].confidence)
    for group, field in LISTS.items():
        items: list[str] = []
        for mark in c.marks(segment, group):
            if mark.confidence < 0.4:
                continue
            for text, first, last in wordings(c, mark):
                if group == "out":
                    text = NOT_IT.sub("", text)
                    if any(stems(text) <= stems(i) for i in items):
                        continue  # ruled out twice
                if len(text) < 3 or text.lower() in (i.lower() for i in items):
                    continue
                span = (c.found.pieces[first].first, c.found.pieces[last].last)
                c.book.put(f"{base}/{field}/{len(items)}", [span], mark.confidence)
                items.append(text)
        setattr(job, field, items)
    add_service(c, job, base)
    rule_out_suspicions(c, segment, job, base)
    fill_checks(c, segment, job, base)
    fill_codes(c, segment, job, base)
    fill_outcome(c, segment, job, base)


def names_service(text: str) -> bool:
    """Whether a phrase speaks of a planned service."""
    return any(word in text.lower() for word in word_set("cues", "service"))


def add_service(c: Context, job: Job, base: str) -> None:
    """Adds a planned service that was done to the work, where the memo tells it by its parts alone."""
    entry = c.book.entries.get(f"{base}/complaint")
    if entry is None or job.complaint is None or not names_service(job.complaint):
        return
    used = sum(p.status == "fitted" for p in job.parts)
    if used >= 1 and not any(names_service(w) for w in job.work):
        name = next((x for x in job.complaint.split(",") if names_service(x)), job.complaint).strip()
        c.book.entries[f"{base}/work/{len(job.work)}"] = entry
        job.work = [*job.work, name]


def rule_out_suspicions(c: Context, segment: Segment, job: Job, base: str) -> None:
    """A suspicion that a good test follows is ruled out, also where the memo does not say so in words."""
    outs = c.marks(segment, "out")
    checks = c.marks(segment, "check")
    causes = c.marks(segment, "cause")
    for first, last in segment.stretches:
        for text, begin, end in suspicions(c, first, last):
            if any(begin - 2 <= m.first <= end + 40 for m in outs):
                continue  # said outright
            tests = [m for m in checks if begin - 3 <= m.last and m.first <= end + 25]
            blamed = any(end < m.first <= end + 25 and like(c, m, text) for m in causes)
            known = any(stems(text) & stems(x) for x in job.ruled_out) or (
                job.cause and stems(text) <= stems(job.cause)
            )
            if (
                tests
                and tests[0].label == "ok"
                and tests[0].confidence > 0.6
                and not blamed
                and not known
                and len(text) > 3
            ):
                place = f"{base}/ruled_out/{len(job.ruled_out)}"
                job.ruled_out = [*job.ruled_out, text]
                span = (c.found.pieces[begin].first, c.token_span(tests[0])[1])
                c.book.put(place, [span], 0.6)


def like(c: Context, mark: Marked, text: str) -> bool:
    """Whether a mark's words share a stem with a phrase."""
    first, last = c.token_span(mark)
    return bool(stems(" ".join(c.tokens[first : last + 1])) & stems(text))


def wordings(c: Context, mark: Marked) -> list[tuple[str, int, int]]:
    """The items of one mark, each with its pieces."""
    if mark.group == "safe":
        return hazards(c, mark)
    make = {"work": done, "out": ruled_out, "todo": to_do}.get(mark.group, plain)
    return [(make(c, mark), mark.first, mark.last)]


def fill_checks(c: Context, segment: Segment, job: Job, base: str) -> None:
    """What was looked at, tested or measured, and the verdict."""
    checks: list[Check] = []
    for mark in c.marks(segment, "check"):
        if mark.confidence < 0.6:
            continue
        read = readings_in(c, mark, job)
        text = checked(c, mark)
        if not names_something(c, text) and read and read[0].at and names_something(c, read[0].at):
            text = read[0].at  # "ninety now": where the figure was taken
        else:
            text = subject(c, mark, text)
        if len(text) < 3 or any(k.what == text and k.result == mark.label for k in checks):
            continue
        if not read and len(text.split()) == 1 and not names_something(c, text):
            continue  # "solid", "after": nobody can tell what was looked at
        c.book.put(f"{base}/checks/{len(checks)}", [c.token_span(mark)], mark.confidence)
        if len({r.quantity for r in read}) == 1:
            text = with_measure(text, read[0].quantity)
        if proves_the_repair(c, segment, mark, read) and "after" not in text.split():
            text = f"{text} after repair"
        result = by_figures(read) or cast(Verdict, mark.label)
        checks.append(Check(what=text, result=result))
    job.checks = checks


def proves_the_repair(c: Context, segment: Segment, mark: Marked, read: list[Reading]) -> bool:
    """Whether a check was made once the work was done: its figures are all of that time, or it is good
    "now", with work told before it."""
    if read:
        return all(r.stage == "after" for r in read)
    first, last = c.token_span(mark)
    told = any(m.first < mark.first for m in [*c.marks(segment, "work"), *c.marks(segment, "part", "fitted")])
    return (
        told
        and mark.label == "ok"
        and bool({"now", "afterwards"} & set(c.tokens[max(0, first - 2) : last + 2]))
    )


def subject(c: Context, mark: Marked, text: str) -> str:
    """What was checked, for a clause that names it by a pronoun ("put the meter on them, they're all
    good"): the thing suspected just before, or ruled out by it. A figure's clause takes what was named
    last before it."""
    if names_something(c, text):
        return text
    for i in range(mark.last, max(-1, mark.first - 30), -1):
        found = suspected_at(c, i)
        if found is not None and names_something(c, found[0]):
            return found[0]
    outs = [m for m in c.found.marks if m.group == "out" and mark.first <= m.first <= mark.last + 4]
    for out in outs:
        if name := ruled_out(c, out):
            return name
    has_figure = any(m.group == "value" and mark.first <= m.first <= mark.last for m in c.found.marks)
    if has_figure:
        thing = thing_before(c, mark, ("at", "check", "cause", "complaint"))
        return f"{thing} {text}".strip() if thing and thing not in text and len(thing.split()) < 5 else text
    return text


def readings_in(c: Context, mark: Marked, job: Job) -> list[Reading]:
    """The readings whose figure stands in a mark."""
    first, last = c.token_span(mark)
    return [
        job.readings[int(pointer.rsplit("/", 1)[1])]
        for pointer, span in c.reading_spans.items()
        if first <= span[0] <= last and pointer.startswith(c.base + "/")
    ]


def by_figures(held: list[Reading]) -> Verdict | None:
    """The verdict that readings give by themselves: ok where each is within 1.2 % of what it should be."""
    if held and all(
        r.expected is not None and abs(r.value - r.expected) <= 0.012 * abs(r.expected) for r in held
    ):
        return "ok"
    return None


def fill_codes(c: Context, segment: Segment, job: Job, base: str) -> None:
    """Fault codes: SPN and FMI together, others as displayed."""
    codes: list[str] = []
    spans: list[tuple[int, int]] = []
    sure: list[float] = []
    spn: tuple[str, tuple[int, int]] | None = None
    alone: list[int] = []  # places of codes that lack their other half

    def put(text: str, span: tuple[int, int], certainty: float, half: bool = False) -> None:
        if text in codes:
            return
        if half:
            alone.append(len(codes))
        codes.append(text)
        spans.append(span)
        sure.append(certainty)

    marked = [(c.token_span(m), m.confidence) for m in c.marks(segment, "name", "fault")]
    for code in c.found.codes:
        if not segment.holds(c.piece_of(code.first)):
            continue
        key = code.code.key
        if code.kind == "fault" and key.startswith("SPN") and key[3:].isdecimal():
            if spn is not None:
                put(f"SPN {spn[0]}", spn[1], 0.5, True)
            spn = (key[3:], (code.first, code.last))
            continue
        if code.kind == "fault" and key.startswith("FMI") and key[3:].isdecimal():
            if spn is not None:
                put(f"SPN {spn[0]} FMI {int(key[3:])}", (spn[1][0], code.last), 0.95)
            else:
                put(f"FMI {int(key[3:])}", (code.first, code.last), 0.5, True)
            spn = None
            continue
        confidence = max((s for (a, b), s in marked if a <= code.last and code.first <= b), default=0.0)
        if code.kind == "code" and confidence <= 0.4 and displayed(c, code.first, code.last):
            confidence = 0.45
        if (code.kind in ("fault", "code") and confidence > 0.4) or (
            code.kind == "fault" and confidence > 0.15
        ):
            put(code.code.text, (code.first, code.last), 0.4 + 0.6 * confidence)
    if spn is not None:
        put(f"SPN {spn[0]}", spn[1], 0.5, True)
    for (first, last), confidence in marked:
        if confidence < 0.5 or any(a <= last and first <= b for a, b in spans) or c.codes_in(first, last):
            continue
        numbers = c.numbers_in(first, last)
        if numbers:
            n = numbers[-1]
            put(n.digits or f"{n.value:g}", (n.first, n.last), 0.4 + 0.5 * confidence)
    job.fault_codes = codes
    why = "one half of a code was said, SPN or FMI"
    for place, span in enumerate(spans):
        c.book.put(f"{base}/fault_codes/{place}", [span], sure[place], place in alone, why)


def displayed(c: Context, first: int, last: int) -> bool:
    """Whether the words beside a short code say that it stood on a display."""
    if any(
        m.group in ("part", "name")
        and m.label != "fleet"
        and c.token_span(m)[0] <= first <= c.token_span(m)[1]
        for m in c.found.marks
    ):
        return False
    return c.near(first, last, sayings("cues", "fault_places"), 4, 5)


def fill_outcome(c: Context, segment: Segment, job: Job, base: str) -> None:
    """How the job ended and how the machine was left, from the words of the whole job."""
    scores = c.found.job_scores
    assert scores is not None  # the clause reader has run
    places = segment.pieces()
    pooled = logsumexp(scores[places])
    outcome = softmax(pooled[: len(OUTCOMES)])
    state = softmax(pooled[len(OUTCOMES) :])
    spans = [(c.found.pieces[places[0]].first, c.found.pieces[places[-1]].last)]
    done = job.work or any(p.status == "fitted" for p in job.parts)
    told_of = done or job.checks or job.complaint or job.parts or job.safety or job.follow_up
    if not told_of:
        return  # a machine named, or nothing: no word of how it was left
    why = "taken from the memo as a whole; no plain word says it"
    if (best := int(outcome.argmax())) != 0 and (done or job.checks or OUTCOMES[best] != "complete"):
        job.outcome = cast(Outcome, OUTCOMES[best])
        told = telling(c, scores[:, best], places) or spans
        c.book.put(f"{base}/outcome", told, float(outcome[best]), bool(outcome[best] < UNSURE), why)
    if (best := int(state.argmax())) != 0:
        job.machine_state = cast(MachineState, STATES[best])
        told = telling(c, scores[:, len(OUTCOMES) + best], places) or spans
        c.book.put(f"{base}/machine_state", told, float(state[best]), bool(state[best] < UNSURE), why)


UNSURE = 0.8  # below this an outcome, or how the machine was left, is marked for a look


def telling(c: Context, scores: Floats, places: list[int]) -> list[tuple[int, int]]:
    """The sentence that speaks most for a label, as a token span. `scores`: one a piece."""
    best = max(places, key=lambda i: scores[i])
    return [c.sentence(c.found.pieces[best].first)]


def logsumexp(rows: Floats) -> Floats:
    """The logarithm of the sum of exponentials over the first axis: (pieces, labels) -> (labels,)."""
    top = rows.max(axis=0)
    return np.asarray(top + np.log(np.exp(rows - top).sum(axis=0)))


def softmax(row: Floats) -> Floats:
    """Scores (labels,) as shares of one."""
    shares = np.exp(row - row.max())
    return np.asarray(shares / shares.sum())
