"""From scores to spans: lawful runs only, and how sure they are."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from jobnotes.language.decode import decode, log_softmax, transitions, viterbi
from jobnotes.language.labels import GROUPS, POINTED, SHORTENED, WIDTH

LABELS = ("O", "B-x", "I-x", "B-y", "I-y")


def scores(*wanted: str, sure: float = 5.0) -> np.ndarray:  # type: ignore[type-arg]
    """A row a word, the wanted label `sure` above the others."""
    out = np.zeros((len(wanted), len(LABELS)), np.float32)
    for row, label in enumerate(wanted):
        out[row, LABELS.index(label)] = sure
    return out


def spans(*wanted: str) -> list[tuple[int, int, str]]:
    return [(m.first, m.last, m.label) for m in decode(scores(*wanted), {"g": LABELS})]


RUNS = [
    (["O", "B-x", "I-x", "O"], [(1, 2, "x")]),
    (["B-x", "B-x"], [(0, 0, "x"), (1, 1, "x")]),
    (["B-x", "I-x", "B-y", "I-y"], [(0, 1, "x"), (2, 3, "y")]),
    (["B-x"], [(0, 0, "x")]),
    (["O", "O"], []),
    ([], []),
]


@pytest.mark.parametrize(("labels", "wanted"), RUNS)
def test_runs(labels: list[str], wanted: list[tuple[int, int, str]]) -> None:
    assert spans(*labels) == wanted


@pytest.mark.parametrize("labels", [["I-x", "I-x"], ["O", "I-x"], ["B-y", "I-x", "O"], ["O", "I-y", "O"]])
def test_an_inside_without_a_beginning_is_never_given(labels: list[str]) -> None:
    path = [LABELS[i] for i in viterbi(log_softmax(scores(*labels)), LABELS)]
    for before, label in zip(["O", *path], path, strict=False):
        if label.startswith("I-"):
            assert before[2:] == label[2:]


def test_a_doubtful_word_inside_a_run_is_bridged() -> None:
    table = scores("B-x", "I-x", "I-x", "I-x")
    table[2] = [0.4, 0, 0.3, 0, 0]  # a shade likelier outside
    path = viterbi(log_softmax(table), LABELS)
    assert [LABELS[i] for i in path] == ["B-x", "I-x", "I-x", "I-x"]


def test_confidence_is_the_mean_probability() -> None:
    (sure,) = decode(scores("B-x", "I-x", sure=9.0), {"g": LABELS})
    (unsure,) = decode(scores("B-x", "I-x", sure=1.0), {"g": LABELS})
    assert sure.confidence > 0.99
    e = np.exp(1.0)
    assert unsure.confidence == pytest.approx((e + 1) / (e + 4), abs=1e-5)


def test_a_job_begins_inside_nothing() -> None:
    labels = GROUPS["job"]
    table = np.zeros((4, len(labels)), np.float32)
    for row, label in enumerate(["O", "B-new", "I-job", "I-job"]):
        table[row, labels.index(label)] = 6
    (job,) = decode(table, {"job": labels})
    assert (job.first, job.last, job.label) == (1, 3, "new")


def test_allowed_transitions() -> None:
    table = transitions(LABELS)
    for i, before in enumerate(LABELS):
        for j, after in enumerate(LABELS):
            lawful = not after.startswith("I-") or before[2:] == after[2:]
            assert bool(table[i, j] == 0) is lawful, (before, after)


@settings(max_examples=50)
@given(
    st.integers(0, 12).flatmap(
        lambda n: arrays.arrays(np.float32, (n, WIDTH), elements=st.floats(-20, 20, width=32))
    )
)
def test_any_scores_give_lawful_spans(table: np.ndarray) -> None:  # type: ignore[type-arg]
    """Within the groups but those of words to keep or ahead, in order, never overlapping in one group, sure
    between 0 and 1."""
    found = decode(table, GROUPS)
    for group, labels in GROUPS.items():
        mine = [m for m in found if m.group == group]
        assert not mine or not group.startswith(("keep_", "ahead_"))
        assert all(f"B-{m.label}" in labels for m in mine)
        assert all(0 <= m.first <= m.last < len(table) and 0 <= m.confidence <= 1 for m in mine)
        assert all(a.last < b.first for a, b in pairwise(mine))


def test_each_shortened_clause_has_words_to_keep_and_to_point_to() -> None:
    kept = [g.removeprefix("keep_") for g in GROUPS if g.startswith("keep_")]
    ahead = [g.removeprefix("ahead_") for g in GROUPS if g.startswith("ahead_")]
    assert (kept, ahead) == (list(SHORTENED), list(POINTED))
    assert set(ahead) < set(kept) < set(GROUPS)
    # words are two by two: to keep or not
    assert all(len(labels) == 2 for g, labels in GROUPS.items() if g.startswith(("keep_", "ahead_")))
    assert sum(map(len, GROUPS.values())) == WIDTH
