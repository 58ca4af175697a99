"""The marks of the clause reader put in order: none on small talk or on the way to a place, a part's name
in one piece; and the shares of its words to keep."""

from __future__ import annotations

import numpy as np
import pytest
from hand_marked import context, mark

from jobnotes.language import Reader
from jobnotes.language.clauses import _shares, tidy
from jobnotes.language.labels import GROUPS, WIDTH

Marks = list[tuple[str, str, str, float]]  # words, group, label, how sure

HOSE = "I fitted two metres of half-inch two-wire hose."
SHOWED = "He showed me his new hose."
TIDY: list[tuple[str, Marks, Marks]] = [  # (text, marks, the marks that are left)
    # one part's name in two marks side by side
    (
        HOSE,
        [("two metres of half - inch", "part", "fitted", 0.8), ("two - wire hose", "part", "fitted", 0.9)],
        [("NUM metres of NUM inches two - wire hose", "part", "fitted", 0.9)],
    ),
    (
        "I fitted a hose, two filters.",
        [("a hose", "part", "fitted", 0.8), ("two filters", "part", "fitted", 0.9)],
        [("a hose", "part", "fitted", 0.8), ("two filters", "part", "fitted", 0.9)],
    ),
    (
        "I fitted a hose two filters.",
        [("a hose", "part", "fitted", 0.8), ("two filters", "part", "to_order", 0.9)],
        [("a hose", "part", "fitted", 0.8), ("two filters", "part", "to_order", 0.9)],
    ),
    # a number ends a part
    (
        "I fitted H R five one six one two filters.",
        [("h r five one six one", "part", "fitted", 0.8), ("two filters", "part", "fitted", 0.9)],
        [("PART", "part", "fitted", 0.8), ("two filters", "part", "fitted", 0.9)],
    ),
    (
        "I fitted a hose H R five one six one.",
        [("a hose", "part", "fitted", 0.8), ("h r five one six one", "part", "fitted", 0.9)],
        [("a hose", "part", "fitted", 0.8), ("PART", "part", "fitted", 0.9)],
    ),
    (
        "I fitted a hose, fitted two filters.",
        [("fitted", "work", "work", 0.8), ("a hose", "work", "work", 0.9)],
        [("fitted", "work", "work", 0.8), ("a hose", "work", "work", 0.9)],
    ),
    # small talk
    (
        SHOWED,
        [("he showed me his new hose", "note", "note", 0.9), ("new hose", "part", "fitted", 0.6)],
        [("he showed me his new hose", "note", "note", 0.9)],
    ),
    (
        SHOWED,
        [("he showed me his new hose", "note", "note", 0.5), ("new hose", "part", "fitted", 0.6)],
        [("he showed me his new hose", "note", "note", 0.5), ("new hose", "part", "fitted", 0.6)],
    ),
    (
        SHOWED,
        [("he showed me his new", "note", "note", 0.9), ("new hose", "part", "fitted", 0.6)],
        [("he showed me his new", "note", "note", 0.9), ("new hose", "part", "fitted", 0.6)],
    ),
    (
        SHOWED,
        [("he showed me his new hose", "note", "note", 0.9), ("new hose", "cause", "cause", 0.6)],
        [("he showed me his new hose", "note", "note", 0.9), ("new hose", "cause", "cause", 0.6)],
    ),
]


@pytest.mark.parametrize(("text", "marks", "left"), TIDY)
def test_marks_put_in_order(reader: Reader, text: str, marks: Marks, left: Marks) -> None:
    c = context(reader, text)
    for said, group, label, sure in marks:
        mark(c, said, group, label, sure)
    found = tidy(c.found.marks, c.found.pieces)
    words = [" ".join(p.text for p in c.found.pieces[m.first : m.last + 1]) for m in found]
    assert [(w, m.group, m.label, m.confidence) for w, m in zip(words, found, strict=True)] == left


SPOTS = [  # (text, the marked words, group, label, whether the mark stands)
    ("Grid reference four seven one two.", "four seven one two", "name", "order", False),
    ("Grid reference four seven one two.", "four seven one two", "name", "fleet", False),
    ("Grid reference four seven one two.", "four seven one two", "name", "fault", False),
    ("Grid reference four seven one two.", "four seven one two", "value", "hours", False),
    ("Ring him on four seven one two.", "four seven one two", "name", "serial", False),
    ("His phone number is four seven one two.", "four seven one two", "name", "order", False),
    ("Grid reference Q X, then along the lane and on to four seven.", "four seven", "name", "order", True),
    ("Order number four seven one two.", "four seven one two", "name", "order", True),
    ("Four seven one two is the order, grid reference to come.", "four seven one two", "name", "order", True),
    ("I rang him on about the order, four seven one two.", "four seven one two", "name", "order", True),
    # what a spot may be told with
    ("Grid reference four seven one two.", "four seven one two", "value", "found", True),
    ("Postcode Q X four.", "q x four", "name", "site", True),
    ("Grid reference is the farm gate, left at ten past four.", "ten past four", "value", "left", True),
]


@pytest.mark.parametrize(("text", "said", "group", "label", "stands"), SPOTS)
def test_a_number_that_finds_a_place_or_a_person(
    reader: Reader, text: str, said: str, group: str, label: str, stands: bool
) -> None:
    c = context(reader, text)
    mark(c, said, group, label)
    assert bool(tidy(c.found.marks, c.found.pieces)) is stands


@pytest.mark.parametrize("group", ["keep_check", "keep_complaint", "ahead_check", "ahead_todo"])
def test_the_share_of_a_word_is_its_own_group_s(group: str) -> None:
    scores = np.zeros((3, WIDTH), np.float32)
    begins = sum(len(labels) for labels in list(GROUPS.values())[: list(GROUPS).index(group)])
    scores[1, begins + 1] = 9
    scores[2, begins] = 9
    assert _shares(scores, group) == pytest.approx([0.5, 1.0, 0.0], abs=0.001)
    others = [g for g in GROUPS if g.startswith(("keep_", "ahead_")) and g != group]
    assert all(_shares(scores, g) == pytest.approx([0.5] * 3) for g in others)
