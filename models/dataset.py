#!/usr/bin/env python3
"""Turns annotated memos into what the clause reader is trained on: canonical words with a label a group.

    dataset.py OUT.json FOLDER...      (run from the repository root, in the project's environment)

One row a memo: `words` (text, or a mark in capitals), `marks` (true where the word is a mark), `labels`
{group: [a label a word]}, `jobs` [{first, last, outcome, state}] over the words, `speaker`, `name`.
"""

from __future__ import annotations

import json
import re
import sys
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parent))

from annotated import Annotated, Span, load, stems

from jobnotes.language.canonical import canonical
from jobnotes.language.labels import GROUPS, POINTED, REACH, SHORTENED
from jobnotes.language.pipeline import rules_pipeline
from jobnotes.register import Lookup, load_register

VALUE = {
    "exp": "exp",
    "old": "old",
    "hours": "hours",
    "arrived": "arrived",
    "left": "left",
    "labour": "labour",
    "travel": "travel",
    "dist": "dist",
    "size": "size",
    "date": "date",
}
NAMES = {"fleet", "serial", "order", "site", "customer", "machine", "fault"}
STORY = {"complaint", "cause", "out", "work", "todo", "safe", "note"}


def group_and_label(span: Span) -> tuple[str, str] | None:
    tag, a = span.tag, span.attributes
    if tag in STORY:
        return tag, tag
    if tag == "check" and "r" in a:
        return "check", a["r"]
    if tag == "part" and "s" in a:
        return "part", a["s"]
    if tag == "read" and "stage" in a:
        return "value", a["stage"]
    if tag in VALUE:
        return "value", VALUE[tag]
    if tag == "at":
        return "at", "at"
    if tag in NAMES:
        return "name", tag
    return None


def keep_words(phrase: str, group: str, words: list[int], pieces: list[Any], labels: dict[str, Any]) -> None:
    """Marks the clause's words that stand in its short form, and the nearest earlier word for each that
    it lacks."""
    wanted = stems(phrase)
    for i in words:
        if stems(pieces[i].text) & wanted:
            labels[f"keep_{group}"][i] = "K"
    lacking = wanted - set().union(*(stems(pieces[i].text) for i in words))
    if group not in POINTED:
        return
    for i in range(words[0] - 1, max(-1, words[0] - 1 - REACH), -1):
        if found := stems(pieces[i].text) & lacking:
            labels[f"ahead_{group}"][i] = "A"
            lacking -= found


def row_of(memo: Annotated, speaker: str, nlp: Any) -> dict[str, Any]:
    doc = nlp(memo.spoken)
    pieces = canonical(doc)
    starts = [doc[p.first].idx for p in pieces]
    ends = [doc[p.last].idx + len(doc[p.last]) for p in pieces]
    labels = {group: ["O"] * len(pieces) for group in GROUPS}

    def inside(span: Span) -> list[int]:
        return [
            i
            for i in range(len(pieces))
            if starts[i] < span.end and ends[i] > span.start and starts[i] >= span.start - 0
        ]

    def overlapping(span: Span) -> list[int]:
        return [i for i in range(len(pieces)) if starts[i] < span.end and ends[i] > span.start]

    for span in memo.spans:
        placed = group_and_label(span)
        if placed is None:
            continue
        group, label = placed
        words = inside(span) or overlapping(span)
        # punctuation at either end is no part of it
        while words and not re.search(r"\w", pieces[words[0]].text):
            words.pop(0)
        while words and not re.search(r"\w", pieces[words[-1]].text):
            words.pop()
        if group == "value" and any(labels[group][i] != "O" for i in words):
            inner = [i for i in words if labels[group][i] == "O"]
            words = inner or words  # a value inside another: the inner one came later and stands
        for n, i in enumerate(words):
            labels[group][i] = f"{'B' if n == 0 else 'I'}-{label}"
        phrase = span.attributes.get("as") or span.attributes.get("what")
        if phrase and group in SHORTENED and words:
            keep_words(phrase, group, words, pieces, labels)
    jobs = []
    seen: set[str] = set()
    truths = {}
    for span in memo.spans:
        if span.tag == "job":
            words = inside(span)
            if not words:
                continue
            label = "B-back" if span.job in seen else "B-new"
            for n, i in enumerate(words):
                labels["job"][i] = label if n == 0 else "I-job"
            if span.job not in seen:
                truths[span.job] = span.attributes
            jobs.append(
                {
                    "job": span.job,
                    "first": words[0],
                    "last": words[-1],
                    "outcome": truths[span.job].get("outcome", "none"),
                    "state": truths[span.job].get("state", "none"),
                }
            )
            seen.add(span.job or "")
    return {
        "speaker": speaker,
        "name": memo.name,
        "words": [p.text for p in pieces],
        "marks": [p.mark for p in pieces],
        "raw": {
            i: [t.text.lower() for t in doc[p.first : p.last + 1] if not t.is_space]
            for i, p in enumerate(pieces)
            if p.text in ("SITE", "CUSTOMER", "MAKE")
        },
        "labels": labels,
        "jobs": jobs,
    }


def main() -> None:
    out, folders = Path(sys.argv[1]), [Path(f) for f in sys.argv[2:]]
    rows = []
    for folder in folders:
        nlp = rules_pipeline(Lookup(load_register(folder / "register")))
        for file in sorted(folder.glob("*.xml")):
            rows.append(row_of(load(file), folder.name, nlp))
    out.write_text(json.dumps(rows))
    print(len(rows), "memos,", sum(len(r["words"]) for r in rows), "words")


if __name__ == "__main__":
    main()
