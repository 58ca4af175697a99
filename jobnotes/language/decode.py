"""From the clause reader's scores to spans: the likeliest lawful run of labels in each group (Viterbi)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Scores = NDArray[np.float32]


@dataclass(frozen=True)
class Marked:
    """Words `first` to `last` of the canonical memo bear `label` of `group`; `confidence` 0 to 1 is the mean
    probability."""

    first: int
    last: int
    group: str
    label: str
    confidence: float


def log_softmax(scores: Scores) -> Scores:
    """Row by row."""
    top = scores - scores.max(axis=1, keepdims=True)
    return np.asarray(top - np.log(np.exp(top).sum(axis=1, keepdims=True)), np.float32)


def transitions(labels: Sequence[str]) -> Scores:
    """0 where label j may follow label i, else a large penalty. I-x follows B-x or I-x only."""
    n = len(labels)
    allowed = np.zeros((n, n), np.float32)
    for j, after in enumerate(labels):
        if after.startswith("I-") and after != "I-job":
            for i, before in enumerate(labels):
                if before[2:] != after[2:] or before[0] not in "BI":
                    allowed[i, j] = -1e4
    return allowed


def decode(scores: Scores, groups: dict[str, tuple[str, ...]]) -> list[Marked]:
    """All spans of all groups but the words to keep. `scores`: (words, labels of all groups side by side)."""
    found: list[Marked] = []
    start = 0
    for group, labels in groups.items():
        part = log_softmax(scores[:, start : start + len(labels)])
        start += len(labels)
        if not group.startswith(("keep_", "ahead_")):  # words, not spans
            found.extend(_spans(viterbi(part, labels), part, group, labels))
    return found


def viterbi(part: Scores, labels: Sequence[str]) -> list[int]:
    """The likeliest lawful labels of one group."""
    words, n = part.shape
    if not words:
        return []
    if all(part[:, 0] > -0.01):
        return [0] * words
    allowed = transitions(labels)
    best = part[0].copy()
    for j, label in enumerate(labels):
        if label.startswith("I-") and label != "I-job":
            best[j] -= 1e4
    back = np.zeros((words, n), np.int32)
    for i in range(1, words):
        step = best[:, None] + allowed
        back[i] = step.argmax(axis=0)
        best = step[back[i], np.arange(n)] + part[i]
    path = [int(best.argmax())]
    for i in range(words - 1, 0, -1):
        path.append(int(back[i, path[-1]]))
    return path[::-1]


def _spans(path: Sequence[int], part: Scores, group: str, labels: Sequence[str]) -> list[Marked]:
    found: list[Marked] = []
    open_at: int | None = None
    kind = ""

    def close(end: int) -> None:
        nonlocal open_at
        if open_at is not None:
            mine = [i for i, label in enumerate(labels) if label[2:] == kind]
            last = open_at if group == "job" else end  # a job is known by where it begins
            sure = np.exp(part[open_at : last + 1][:, mine]).sum(axis=1).mean()
            found.append(Marked(open_at, end, group, kind, float(min(1.0, sure))))
        open_at = None

    for i, number in enumerate(path):
        label = labels[number]
        if label == "O" or (label == "I-job" and group == "job" and open_at is None):
            close(i - 1)
        elif label.startswith("B-"):
            close(i - 1)
            open_at, kind = i, label[2:]
    close(len(path) - 1)
    return found
