"""The story of a job: complaint, cause, what was ruled out, checks, work, follow-up, safety, codes, outcome and state."""

from __future__ import annotations

import numpy as np

from jobnotes.jobs import Check, Job
from jobnotes.language.context import Context
from jobnotes.language.decode import Marked
from jobnotes.language.labels import OUTCOMES, STATES
from jobnotes.language.segments import Segment
from jobnotes.language.text import short_form

LISTS = {"out": "ruled_out", "work": "work", "todo": "follow_up", "safe": "safety"}


def phrase(c: Context, mark: Marked) -> str:
    """The short form of a mark; part numbers and the like are left out."""
    pieces = c.found.pieces
    dropped = frozenset(
        i
        for i in range(mark.first, mark.last + 1)
        if pieces[i].mark and pieces[i].text in ("PART", "FLEET", "SERIAL", "ORDER", "CLOCK")
    )
    return short_form(mark.first, mark.last, pieces, c.found.keep, c.words, c.found, dropped)


def fill_story(c: Context, segment: Segment, job: Job, base: str) -> None:
    """Writes the story's fields with evidence."""
    for field in ("complaint", "cause"):
        marks = [m for m in c.marks(segment, field) if m.confidence >= 0.35]
        told = [(m, text) for m in marks if (text := phrase(c, m))]
        if told:
            best = max(told, key=lambda t: t[0].confidence)
            chosen = [t for t in told if t is best or (t[0].confidence > 0.8 and abs(t[0].first - best[0].last) < 14)]
            chosen = chosen[:2]
            setattr(job, field, ", ".join(dict.fromkeys(t[1] for t in chosen)))
            c.book.put(f"{base}/{field}", [c.token_span(t[0]) for t in chosen], best[0].confidence)
    for group, field in LISTS.items():
        items: list[str] = []
        for mark in c.marks(segment, group):
            text = phrase(c, mark) if mark.confidence >= 0.4 else ""
            if len(text) < 3 or text in items:
                continue
            c.book.put(f"{base}/{field}/{len(items)}", [c.token_span(mark)], mark.confidence)
            items.append(text)
        setattr(job, field, items)
    fill_checks(c, segment, job, base)
    fill_codes(c, segment, job, base)
    fill_outcome(c, segment, job, base)


def fill_checks(c: Context, segment: Segment, job: Job, base: str) -> None:
    """What was looked at, tested or measured, and the verdict."""
    checks: list[Check] = []
    for mark in c.marks(segment, "check"):
        text = phrase(c, mark) if mark.confidence >= 0.4 else ""
        if len(text) < 3:
            continue
        c.book.put(f"{base}/checks/{len(checks)}", [c.token_span(mark)], mark.confidence)
        checks.append(Check(what=text, result=mark.label))  # type: ignore[arg-type]
    job.checks = checks


def fill_codes(c: Context, segment: Segment, job: Job, base: str) -> None:
    """Fault codes: SPN and FMI together, others as displayed."""
    codes: list[str] = []
    spans: list[tuple[int, int]] = []
    sure: list[float] = []
    spn: tuple[str, tuple[int, int]] | None = None
    marked = [(c.token_span(m), m.confidence) for m in c.marks(segment, "name", "fault")]
    for code in c.found.codes:
        if not segment.holds(c.piece_of(code.first)):
            continue
        key = code.code.key
        if code.kind == "fault" and key.startswith("SPN"):
            spn = (key[3:], (code.first, code.last))
            continue
        if code.kind == "fault" and key.startswith("FMI"):
            if spn is not None:
                codes.append(f"SPN {spn[0]} FMI {int(key[3:] or 0)}")
                spans.append((spn[1][0], code.last))
                sure.append(0.95)
            continue
        confidence = max((s for (a, b), s in marked if a <= code.last and code.first <= b), default=0.0)
        if (code.kind in ("fault", "code") and confidence > 0.4) or (code.kind == "fault" and confidence > 0.15):
            text = code.code.text
            if text not in codes:
                codes.append(text)
                spans.append((code.first, code.last))
                sure.append(0.4 + 0.6 * confidence)
    for (first, last), confidence in marked:
        if confidence < 0.5 or any(a <= last and first <= b for a, b in spans) or c.codes_in(first, last):
            continue
        numbers = c.numbers_in(first, last)
        if numbers:
            n = numbers[-1]
            text = n.digits or f"{n.value:g}"
            if text not in codes:
                codes.append(text)
                spans.append((n.first, n.last))
                sure.append(0.4 + 0.5 * confidence)
    job.fault_codes = codes
    for n, span in enumerate(spans):
        c.book.put(f"{base}/fault_codes/{n}", [span], sure[n])


def fill_outcome(c: Context, segment: Segment, job: Job, base: str) -> None:
    """How the job ended and how the machine was left, from the words of the whole job."""
    scores = c.found.job_scores
    places = segment.pieces()
    pooled = logsumexp(scores[places])
    outcome = softmax(pooled[: len(OUTCOMES)])
    state = softmax(pooled[len(OUTCOMES) :])
    spans = [(c.found.pieces[places[0]].first, c.found.pieces[places[-1]].last)]
    if (best := int(outcome.argmax())) != 0:
        job.outcome = OUTCOMES[best]  # type: ignore[assignment]
        c.book.put(f"{base}/outcome", telling(c, scores[:, best], places) or spans, float(outcome[best]))
    if (best := int(state.argmax())) != 0:
        job.machine_state = STATES[best]  # type: ignore[assignment]
        told = telling(c, scores[:, len(OUTCOMES) + best], places) or spans
        c.book.put(f"{base}/machine_state", told, float(state[best]))


def telling(c: Context, scores: np.ndarray, places: list[int]) -> list[tuple[int, int]]:  # type: ignore[type-arg]
    """The sentence that speaks most for a label."""
    best = max(places, key=lambda i: scores[i])
    return [c.sentence(c.found.pieces[best].first)]


def logsumexp(rows: np.ndarray) -> np.ndarray:  # type: ignore[type-arg]
    """Over the first axis."""
    top = rows.max(axis=0)
    return np.asarray(top + np.log(np.exp(rows - top).sum(axis=0)))


def softmax(row: np.ndarray) -> np.ndarray:  # type: ignore[type-arg]
    """Shares of one."""
    shares = np.exp(row - row.max())
    return np.asarray(shares / shares.sum())
