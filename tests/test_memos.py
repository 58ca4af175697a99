"""The reader against memos that it was never trained on, and the scorer that measures it."""

from __future__ import annotations

import copy
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "bench"))

from scoring import (
    GROUP_OF,
    GROUPS,
    Counts,
    MemoScore,
    Slot,
    critical,
    flagged,
    of_group,
    reliability,
    score_memo,
    shared,
    silent_error,
)
from understanding import HELD_OUT, SpokenMemo, annotated_memos, answers

REPOSITORY = Path(__file__).resolve().parents[1]
SPEAKERS = tuple(sorted(folder.name for folder in HELD_OUT.iterdir() if folder.is_dir()))


@dataclass
class Reading:
    """All held-out memos with what was read from them."""

    memos: list[SpokenMemo]
    answers: list[dict[str, Any]]
    scores: list[MemoScore]

    def slots(self) -> list[Slot]:
        return [s for score in self.scores for s in score.slots]


@pytest.fixture(scope="module")
def read() -> Reading:
    out = Reading([], [], [])
    for speaker in SPEAKERS:
        folder = HELD_OUT / speaker
        for memo, answer in answers(folder, annotated_memos(folder)):
            out.memos.append(memo)
            out.answers.append(answer)
            out.scores.append(score_memo(memo.truth, answer))
    return out


@pytest.fixture(scope="module")
def truths() -> list[SpokenMemo]:
    return [memo for speaker in SPEAKERS for memo in annotated_memos(HELD_OUT / speaker)]


# ---- the reader

# F1 as bench/understanding.py measured it on these 65 memos with 95 jobs: all 0.906, critical 0.951,
# visit 0.968, machine 0.993, times 0.937, parts 0.928, readings 0.934, checks 0.845, story 0.839. Each
# floor is 0.03 below. By speaker, all slots: clipped 0.907, full-sentences 0.915, hire-desk-call 0.913,
# midlands-steady 0.924, rambler 0.888, tired-at-night 0.873, young-keen 0.925.
FLOORS = {
    "all": 0.876,
    "critical": 0.921,
    "visit": 0.938,
    "machine": 0.963,
    "times": 0.907,
    "parts": 0.898,
    "readings": 0.904,
    "checks": 0.815,
    "story": 0.809,
}
SPEAKER_FLOORS = {
    "clipped": 0.877,
    "full-sentences": 0.885,
    "hire-desk-call": 0.883,
    "midlands-steady": 0.894,
    "rambler": 0.858,
    "tired-at-night": 0.843,
    "young-keen": 0.895,
}


def f1(slots: list[Slot]) -> float:
    return Counts.of(slots).f1


def test_the_reader_understands_memos_it_never_saw(read: Reading) -> None:
    slots = read.slots()
    measured = {"all": f1(slots), "critical": f1(critical(slots))}
    measured |= {group: f1(of_group(slots, group)) for group in GROUPS}
    assert measured.keys() == FLOORS.keys()
    assert {name: round(f, 3) for name, f in measured.items() if f < FLOORS[name]} == {}


@pytest.mark.parametrize("speaker", SPEAKERS)
def test_no_way_of_speaking_is_left_behind(read: Reading, speaker: str) -> None:
    slots = [
        s
        for memo, score in zip(read.memos, read.scores, strict=True)
        if memo.speaker == speaker
        for s in score.slots
    ]
    assert f1(slots) >= SPEAKER_FLOORS[speaker]


def test_silent_errors_and_job_counts_stay_where_they_were(read: Reading) -> None:
    # Measured: silent error 0.043, flagged 0.063, number of jobs right in 64 of 65.
    assert silent_error(read.slots()) <= 0.068
    assert flagged(read.slots()) <= 0.15, "an answer that marks everything is no answer"
    assert sum(s.jobs_wanted == s.jobs_given for s in read.scores) >= 63


def test_confidence_means_something(read: Reading) -> None:
    # Measured: 0.913 of the values at 0.9 or above are right, 0.61 of those below.
    bins = reliability(read.scores)
    sure = [b for b in bins if b.low >= 0.9]
    unsure = [b for b in bins if b.low < 0.9]
    share_sure = sum(b.right for b in sure) / sum(b.values for b in sure)
    share_unsure = sum(b.right for b in unsure) / sum(b.values for b in unsure)
    assert share_sure >= 0.875
    assert share_sure >= share_unsure + 0.1


# ---- the memos


def test_the_memos_are_held_out(truths: list[SpokenMemo]) -> None:
    trained_on = {p.name for p in (REPOSITORY / "models" / "training").iterdir() if p.is_dir()}
    assert trained_on.isdisjoint(SPEAKERS)
    assert len(truths) == 65
    assert len({m.spoken for m in truths}) == 65


def test_every_slot_is_asked_for(truths: list[SpokenMemo]) -> None:
    asked = {s.name for memo in truths for s in score_memo(memo.truth, memo.truth).slots}
    assert asked == set(GROUP_OF)


# ---- the scorer


def test_truth_against_itself_is_perfect(truths: list[SpokenMemo]) -> None:
    scores = [score_memo(memo.truth, copy.deepcopy(memo.truth)) for memo in truths]
    slots = [s for score in scores for s in score.slots]
    counts = Counts.of(slots)
    assert (counts.precision, counts.recall, counts.f1) == (1.0, 1.0, 1.0)
    assert silent_error(slots) == 0
    assert all(score.jobs_wanted == score.jobs_given for score in scores)


def test_jobs_are_paired_in_whatever_order_they_stand(truths: list[SpokenMemo]) -> None:
    several = [memo.truth for memo in truths if len(memo.truth["jobs"]) > 1]
    assert len(several) == 25
    for truth in several:
        turned = {"jobs": truth["jobs"][::-1]}
        assert f1(score_memo(truth, turned).slots) == 1.0


Job = dict[str, Any]


def set_to(value: Any, *path: str | int) -> Callable[[Job], None]:
    """A damage: another value at the path."""

    def damage(job: Job) -> None:
        place: Any = job
        for key in path[:-1]:
            place = place[key]
        assert place[path[-1]] != value
        place[path[-1]] = value

    return damage


def dropped(key: str) -> Callable[[Job], None]:
    return lambda job: job[key].pop(0)


def added(key: str, item: Any) -> Callable[[Job], None]:
    return lambda job: job[key].append(item)


MADE_UP_PART = {
    "description": "gearbox",
    "part_number": None,
    "quantity": 1.0,
    "unit": "each",
    "status": "fitted",
}
# What is done to the first job of fs01, and the slots that must show it.
DAMAGES = [
    (set_to(5672.0, "machine", "hours"), [("hours", "wrong")]),
    (set_to("TC2014", "machine", "fleet_number"), [("fleet_number", "wrong")]),
    (set_to("HSK22-7714", "machine", "serial_number"), [("serial_number", "wrong")]),
    (set_to(None, "machine", "model"), [("model", "missing")]),
    (set_to("t" * 9, "machine", "type"), [("type", "wrong")]),
    (set_to({"value": 22.0, "unit": "m"}, "machine", "size"), [("size", "wrong")]),
    (set_to("2026-02-02", "date"), [("date", "wrong")]),
    (set_to("Quenbury Station", "site"), [("site", "wrong")]),
    (set_to("QX771", "order_number"), [("order_number", "made up")]),
    (set_to("13:21", "times", "left"), [("left", "wrong")]),
    (set_to(150, "times", "labour_min"), [("labour_min", "made up")]),
    (set_to({"value": 19.0, "unit": "mi"}, "distance"), [("distance", "wrong")]),
    (set_to({"value": 38.0, "unit": "km"}, "distance"), [("distance", "wrong")]),
    (set_to("oil level low", "cause"), [("cause", "wrong")]),
    (set_to("out_of_service", "machine_state"), [("machine_state", "wrong")]),
    (set_to("ordered", "parts", 0, "status"), [("part", "wrong")]),
    (set_to(2.0, "parts", 0, "quantity"), [("part", "wrong")]),
    (set_to("KM4421", "parts", 0, "part_number"), [("part_number", "wrong")]),
    (added("parts", MADE_UP_PART), [("part", "made up")]),
    (dropped("parts"), [("part", "missing")]),
    (set_to(751.0, "readings", 0, "value"), [("reading", "missing"), ("reading", "made up")]),
    (set_to("Hz", "readings", 0, "unit"), [("reading", "missing"), ("reading", "made up")]),
    (set_to(1500.0, "readings", 0, "expected"), [("reading.expected", "wrong")]),
    (set_to("after", "readings", 0, "stage"), [("reading.stage", "wrong")]),
    (set_to(None, "readings", 0, "at"), [("reading.at", "missing")]),
    (set_to("not_ok", "checks", 0, "result"), [("check.result", "wrong")]),
    (dropped("work"), [("work", "missing")]),
    (added("safety", "wheels chocked"), [("safety", "made up")]),
    (added("ruled_out", "pump"), [("ruled_out", "made up")]),
    (added("fault_codes", "SPN 94 FMI 1"), [("fault_code", "made up")]),
]


@pytest.mark.parametrize(("damage", "expected"), DAMAGES)
def test_a_damaged_answer_scores_lower(
    truths: list[SpokenMemo], damage: Callable[[Job], None], expected: list[tuple[str, str]]
) -> None:
    truth = next(memo.truth for memo in truths if memo.name == "fs01")
    answer = copy.deepcopy(truth)
    damage(answer["jobs"][0])
    slots = score_memo(truth, answer).slots
    assert sorted((s.name, s.verdict) for s in slots if not s.right) == sorted(expected)
    assert f1(slots) < 1.0


def test_every_memo_suffers_when_a_job_is_lost_or_told_twice(truths: list[SpokenMemo]) -> None:
    for memo in truths:
        lost = score_memo(memo.truth, {"jobs": memo.truth["jobs"][1:]})
        assert lost.jobs_given == lost.jobs_wanted - 1
        assert Counts.of(lost.slots).recall < 1.0
        assert all(s.right or s.verdict == "missing" for s in lost.slots if len(memo.truth["jobs"]) == 1)
        twice = score_memo(memo.truth, {"jobs": [*memo.truth["jobs"], memo.truth["jobs"][0]]})
        assert Counts.of(twice.slots).precision < 1.0 == Counts.of(twice.slots).recall


def test_a_mark_takes_the_silence_from_an_error(truths: list[SpokenMemo]) -> None:
    truth = next(memo.truth for memo in truths if memo.name == "fs01")
    answer = copy.deepcopy(truth)
    answer["jobs"][0]["machine"]["hours"] = 5672.0
    answer["jobs"][0]["parts"][1]["quantity"] = 7.0
    silent = silent_error(score_memo(truth, answer).slots)
    counted = len(critical(score_memo(truth, answer).slots))
    assert silent == pytest.approx(2 / counted)
    answer["evidence"] = {"/jobs/0/parts/1": {"confidence": 0.4, "check": True}}
    assert silent_error(score_memo(truth, answer).slots) == pytest.approx(1 / counted)
    # A mark on the machine stands for its hours; one on the first part says nothing of the eleventh.
    answer["evidence"]["/jobs/0/machine"] = {"confidence": 0.4, "check": True}
    assert silent_error(score_memo(truth, answer).slots) == 0
    answer["evidence"] = {"/jobs/0/parts/11": {"confidence": 0.4, "check": True}}
    assert silent_error(score_memo(truth, answer).slots) == pytest.approx(2 / counted)


def test_reliability_counts_each_value_once(truths: list[SpokenMemo]) -> None:
    truth = next(memo.truth for memo in truths if memo.name == "fs01")
    answer = copy.deepcopy(truth)
    answer["jobs"][0]["readings"][0]["stage"] = "after"
    answer["evidence"] = {
        "/jobs/0/readings/0": {"confidence": 0.95, "check": False},
        "/jobs/0/readings/1": {"confidence": 1.0, "check": False},
        "/jobs/0/site": {"confidence": 0.3, "check": False},
    }
    bins = reliability([score_memo(truth, answer)])
    assert [(b.low, b.values, b.right) for b in bins] == [(0.3, 1, 1), (0.9, 2, 1)]


def test_words_are_shared_without_endings_and_small_words() -> None:
    assert shared("fitted the new fan belts", "Fitting new fan belt") == 1.0
    assert shared("boom won't extend", "boom wont extend") == 1.0
    assert shared("pump", "a new pump") == pytest.approx(2 / 3)
    assert shared("pump", "the valve") == 0.0
    assert shared("it is", "it is") == 0.0
    assert shared(None, "pump") == 0.0
