"""The learned component: an 8-bit encoder of about 14 million weights that marks what part each word
plays.

Reads findings (through `canonical`); writes findings.pieces, findings.marks (spans over the pieces,
labels of labels.py), findings.keep and ahead (the probability that a word belongs in the short form of
its clause, or of a later one), findings.job_scores and findings.job_new (the probability that a new job
begins at a word).
"""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from spacy.language import Language
from spacy.tokens import Doc

from jobnotes.errors import JobnotesError
from jobnotes.language.canonical import canonical
from jobnotes.language.decode import Marked, decode, log_softmax
from jobnotes.language.findings import Piece, findings
from jobnotes.language.labels import GROUPS, OUTCOMES, POINTED, SHORTENED, STATES, WIDTH
from jobnotes.language.lexicon import sayings
from jobnotes.language.word_pieces import WordPieces
from jobnotes.place import beside

LONGEST = 512  # pieces that the encoder takes at once
OVERLAP = 200  # words by which two windows of a long memo overlap, at most half a window


@cache
def encoder() -> tuple[Any, WordPieces]:
    """The session and its vocabulary, loaded once. Raises JobnotesError where one is missing or damaged."""
    folder = beside("models/reader", "reader.onnx")
    import onnxruntime  # takes long to load

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = 1
    options.log_severity_level = 3
    try:
        words = (folder / "vocabulary.txt").read_text(encoding="utf-8").split("\n")[:-1]
        session = onnxruntime.InferenceSession(
            str(folder / "reader.onnx"), options, providers=["CPUExecutionProvider"]
        )
    except Exception as error:
        raise JobnotesError(
            f"The clause reader in {folder} is missing or damaged; install jobnotes again."
        ) from error
    return session, WordPieces(words)


def scores_of(pieces: list[Piece]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """(words, labels) and (words, outcomes and states). A long memo is read in windows that overlap."""
    session, vocabulary = encoder()
    ids = [vocabulary.word(p.text, p.mark) for p in pieces]
    labels = np.zeros((len(pieces), WIDTH), np.float32)
    jobs = np.zeros((len(pieces), len(OUTCOMES) + len(STATES)), np.float32)
    first = overlap = 0
    while first < len(pieces):
        last, length = first, 2
        while last < len(pieces) and length + len(ids[last]) <= LONGEST:
            length += len(ids[last])
            last += 1
        row = [vocabulary.ids["[CLS]"]]
        places = []
        for word in ids[first:last]:
            places.append(len(row))
            row.extend(word)
        row.append(vocabulary.ids["[SEP]"])
        given = np.array([row], np.int64)
        out = session.run(None, {"ids": given, "mask": np.ones(given.shape, np.float32)})
        skip = 0 if first == 0 else overlap // 2
        labels[first + skip : last] = out[0][0][places[skip:]]
        jobs[first + skip : last] = out[1][0][places[skip:]]
        if last >= len(pieces):
            break
        overlap = min(OVERLAP, (last - first) // 2)
        first = max(first + 1, last - overlap)
    return labels, jobs


def _columns(scores: NDArray[np.float32], group: str) -> NDArray[np.float32]:
    names = list(GROUPS)
    start = sum(len(GROUPS[g]) for g in names[: names.index(group)])
    return scores[:, start : start + len(GROUPS[group])]


def _shares(scores: NDArray[np.float32], group: str) -> list[float]:
    """The probability of a group's second label, word by word."""
    return [float(v) for v in np.exp(log_softmax(_columns(scores, group))[:, 1])]


def tidy(marks: list[Marked], pieces: list[Piece]) -> list[Marked]:
    """The marks without those that small talk or the way to a place bears, and with a part's name in one
    piece ("two metres of half-inch" "two-wire hose")."""
    out: list[Marked] = []
    for mark in marks:
        if mark.group in ("name", "value") and _names_a_spot(mark, pieces):
            continue
        talk = [n for n in marks if n.group == "note" and n.first <= mark.first and mark.last <= n.last]
        if mark.group == "part" and any(n.confidence > mark.confidence for n in talk):
            continue
        before = out[-1] if out else None
        if (
            before is not None
            and mark.group == "part"
            and (before.group, before.label, before.last + 1) == (mark.group, mark.label, mark.first)
            and not any(p.mark and p.text in ("PART", "CODE") for p in pieces[before.first : before.last + 1])
            and not pieces[mark.first].mark
        ):
            sure = max(before.confidence, mark.confidence)
            out[-1] = Marked(before.first, mark.last, mark.group, mark.label, sure)
            continue
        out.append(mark)
    return out


def _names_a_spot(mark: Marked, pieces: list[Piece]) -> bool:
    """Whether a number or name stands within a few words of what says that it finds a place or a person."""
    before = " ".join(p.text for p in pieces[max(0, mark.first - 9) : mark.first])
    return any(f" {cue} " in f" {before} " for cue in sayings("cues", "spots", "say")) and mark.label in (
        "fleet",
        "serial",
        "order",
        "hours",
        "fault",
    )


@Language.component("clauses")
def clauses(doc: Doc) -> Doc:
    """Writes findings.pieces, marks, keep, job_scores and job_new."""
    found = findings(doc)
    found.pieces = canonical(doc)
    if not found.pieces:
        return doc
    scores, jobs = scores_of(found.pieces)
    found.marks = tidy(decode(scores, GROUPS), found.pieces)
    found.keep = {name: _shares(scores, f"keep_{name}") for name in SHORTENED}
    found.ahead = {name: _shares(scores, f"ahead_{name}") for name in POINTED}
    found.job_scores = jobs
    begins = log_softmax(_columns(scores, "job"))
    found.job_new = np.exp(begins[:, GROUPS["job"].index("B-new")])
    return doc
