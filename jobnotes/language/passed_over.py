"""What was heard and nothing was made of: amounts, numbers, counts and figures that stand in no value of the job."""

from __future__ import annotations

import re

from jobnotes.jobs import Job
from jobnotes.language.context import Context
from jobnotes.language.figures import MEASURED, said_anew
from jobnotes.language.lexicon import load, sayings, word_set
from jobnotes.language.part_rows import part_nouns, stem, stems
from jobnotes.language.segments import Segment

Span = tuple[int, int]


def mark_passed_over(c: Context, segment: Segment, job: Job, base: str) -> None:
    for name, spans in (
        ("A dropped", dropped_parts(c, segment)),
        ("B amount", amounts(c, segment)),
        ("C spelled", spelled(c, segment)),
        ("D talk", talk_of_parts(c, segment, job)),
    ):
        if spans:
            add(c, f"{base}/parts", spans, name)
    for name, spans in (
        ("E figure", unread_figures(c, segment, job)),
        ("F exp", unheld_specifications(c, segment, job)),
        ("G spec", figures_by_limits(c, segment, job)),
    ):
        if spans:
            add(c, f"{base}/readings", spans, name)


def add(c, pointer, spans, name):
    said = "; ".join(c.doc[a : b + 1].text for a, b in spans)
    import os
    if name[0] not in os.environ.get("DET", "ABCDEFG"): return
    if pointer in c.book.entries: c.book.doubt(pointer, name)
    else: c.book.put(pointer, spans, 0.3, True, name)
    if os.environ.get("SHOW"): print("   ##", pointer, name, "|", said)


def taken(c: Context, first: int, last: int, within: str = "/") -> bool:
    """Whether some value rests on one of the tokens."""
    spans = [s for p, each in c.book.spans.items() if within in p and p.count("/") > 2 for s in each]
    return any(a <= last and first <= b for a, b in [*spans, *c.book.told_again])


RESTS = re.compile(r"/jobs/\d+/(parts/\d+|readings/\d+|machine/\w+|times/\w+|distance|order_number|customer|site|fault_codes/\d+|date)$")


def taken(c, first, last):
    return any(
        a <= last and first <= b
        for p, each in c.book.spans.items() if RESTS.match(p)
        for a, b in each
    ) or any(a <= last and first <= b for a, b in c.book.told_again)


def dropped_parts(c, segment):
    out = []
    for mark in c.marks(segment, "part"):
        span = c.token_span(mark)
        if not taken(c, *span) and any(c.tokens[i].isalnum() for i in range(span[0], span[1] + 1)):
            out.append(span)
    return out


def amounts(c, segment):
    out = []
    for q in c.found.quantities:
        if q.unit not in ("L", "kg", "m") or not segment.holds(c.piece_of(q.first)) or taken(c, q.first, q.last):
            continue
        out.append((q.first, q.last))
    return out


def spelled(c, segment):
    out = []
    place = 0
    while place < len(c.tokens):
        last = place
        n = 0
        while last < len(c.tokens) and (len(c.tokens[last]) == 1 and c.tokens[last].isalnum() or c.tokens[last] in ("-", ".") and n and last + 1 < len(c.tokens) or (n>=3 and c.tokens[last].isdecimal())):
            n += c.tokens[last].isalnum()
            last += 1
        if n >= 3 and last - place > n:
            a, b = place, last - 1
            while not c.tokens[b].isalnum(): b -= 1
            if b - a > n and segment.holds(c.piece_of(a)) and not taken(c, a, b):
                out.append((a, b))
        place = max(last, place + 1)
    return out


COUNT = frozenset("one two three four five six seven eight nine ten a an new".split())


def talk_of_parts(c, segment, job):
    nouns = part_nouns()
    listed = set()
    for part in job.parts:
        listed |= stems(part.description)
    out = []
    for i, w in enumerate(c.tokens):
        if stem(w) not in nouns or not segment.holds(c.piece_of(i)) or taken(c, i, i):
            continue
        begin, end = c.sentence(i)
        before = c.tokens[max(begin, i - 4) : i]
        after = c.tokens[i + 1 : min(end, i + 6) + 1]
        cue = None
        if "new" in before and not {"the", "with"} & set(before[before.index("new"):]):
            cue = "new"
        elif {"ordering", "ordered"} & set(after) or ("on", "order") in zip(after, after[1:]):
            cue = "ordering"
        if cue and stem(w) not in listed:
            out.append((i, i))
    return out


def told_values(job):
    vals = set()
    for r in job.readings:
        vals |= {r.value, r.expected}
    return vals


def unread_figures(c, segment, job):
    vals = told_values(job)
    out = []
    for mark in c.marks(segment, "value", "found", "after"):
        span = c.token_span(mark)
        if mark.confidence < 0.5 or taken(c, *span) or said_anew(c, span[1]):
            continue
        ns = c.numbers_in(*span)
        if any(n.value in vals for n in ns) or not ns:
            continue
        out.append(span)
    return out


def unheld_specifications(c, segment, job):
    vals = told_values(job)
    out = []
    for mark in c.marks(segment, "value", "exp"):
        span = c.token_span(mark)
        if mark.confidence < 0.5 or taken(c, *span):
            continue
        ns = c.numbers_in(*span)
        if any(n.value in vals or n.tenths in vals for n in ns) or not ns:
            continue
        out.append(span)
    return out


def figures_by_limits(c, segment, job):
    out = []
    spec = word_set("cues", "readings", "specification")
    for n in c.found.numbers:
        if taken(c, n.first, n.last) or not segment.holds(c.piece_of(n.first)): continue
        begin, end = c.sentence(n.first)
        near = c.tokens[max(begin, n.first - 5): n.last + 7]
        if {"limit", "limits", "should", "spec"} & set(near) and not any(m.group in ("value","part","name") and m.first <= c.piece_of(n.first) <= m.last for m in c.found.marks):
            if not n.plain or n.value > 10: out.append((n.first, n.last))
    return out
