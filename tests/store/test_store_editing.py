"""Operations on a draft's document: evidence goes where its value goes, and undo gives back what was."""

from __future__ import annotations

import copy
import json
from typing import Any

import pytest
import store_work
from conftest import Firm
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as some

from jobnotes.jobs import Amount, Check, Evidence, Job, Part, Reading, ReadMemo, Transcript
from jobnotes.store import (
    AddItem,
    AddJob,
    Confirm,
    InvalidEditError,
    JoinJobs,
    MoveItem,
    Redo,
    RemoveItem,
    RemoveJob,
    SetValue,
    SplitJob,
    Undo,
    operation_of,
)
from jobnotes.store.documents import document_of
from jobnotes.store.draft_rows import new_draft
from jobnotes.store.editing import edited
from jobnotes.store.joining import LISTS, single_values
from jobnotes.store.pointers import NoPlaceError, parent, value_at

LINES = ("ruled_out", "fault_codes", "work", "follow_up", "safety")


def example(jobs: int = 2) -> dict[str, Any]:
    """A document whose every text is another, with evidence of confidence 0.5 that quotes it."""
    read = ReadMemo(memo="m", recorded_at="2026-05-12T10:58:00", transcript=Transcript(text=""))
    for n in range(jobs):
        job = Job(date="2026-05-12", customer=f"customer {n}", site=f"site {n}", complaint=f"complaint {n}")
        job.machine.fleet_number, job.machine.hours = f"WL{n}", 1000.0 + n
        job.machine.size = Amount(value=14 + n, unit="t")
        job.checks = [Check(what=f"check {n} {k}", result="ok") for k in range(2)]
        job.readings = [
            Reading(quantity="pressure", at=f"gauge {n} {k}", value=200 + k, unit="bar") for k in range(2)
        ]
        job.parts = [Part(description=f"part {n} {k}") for k in range(3)]
        for name in LINES:
            setattr(job, name, [f"{name} {n} {k}" for k in range(n + 1)])
        read.jobs.append(job)
    read.notes = ["a note", "another note"]
    document = document_of(read)
    for pointer in texts(document):
        if not pointer.endswith(("/result", "/quantity", "/unit", "/stage", "/status", "/date")):
            entry = Evidence(text=str(value_at(document, pointer)), confidence=0.5, check=True, why="unsure")
            document["evidence"][pointer] = entry.model_dump(mode="json")
    return document


def texts(data: Any, where: str = "") -> list[str]:
    """The pointers of all texts of a document's jobs and notes."""
    if isinstance(data, str):
        return [where]
    items = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    return [found for key, value in items if key != "evidence" for found in texts(value, f"{where}/{key}")]


def hold(document: dict[str, Any]) -> None:
    """Every pointer leads somewhere, and evidence that nobody set anew still quotes its own value.

    Where jobs were joined it may quote the other's too, behind " … ".
    """
    for pointer, entry in document["evidence"].items():
        value = value_at(document, pointer)
        if entry["confidence"] != 0.5:
            continue
        quoted = entry["text"].split(" … ")
        told = str(value).split("; ")
        assert set(told) <= set(quoted), pointer


def lists(document: dict[str, Any]) -> list[str]:
    found = [f"/jobs/{n}/{name}" for n in range(len(document["jobs"])) for name in LISTS]
    return [*found, "/notes"]


def items(document: dict[str, Any]) -> list[str]:
    return [f"{each}/{k}" for each in lists(document) for k in range(len(value_at(document, each)))]


def singles(document: dict[str, Any]) -> list[str]:
    return [f"/jobs/{n}{each}" for n in range(len(document["jobs"])) for each in single_values()]


FRESH = {
    "checks": {"what": "brakes", "result": "ok"},
    "readings": {"quantity": "voltage", "value": 12.6, "unit": "V"},
    "parts": {"description": "a hose", "quantity": 2},
}


@some.composite
def operations(draw: Any, document: dict[str, Any]) -> Any:
    """An operation that may or may not be possible in the document."""
    jobs = len(document["jobs"])
    number = some.integers(0, jobs)
    kind = draw(
        some.sampled_from("set set confirm add remove move move value split join add_job drop".split())
    )
    everything = items(document) + singles(document)
    if kind == "set" and everything:
        value = some.sampled_from(["Oddmarsh", 7, 12.5, None, {"value": 3, "unit": "t"}, "10:15", ""])
        pointer = draw(some.sampled_from(everything + texts(document)))
        return SetValue(pointer=pointer, value=draw(value))
    if kind == "confirm" and document["evidence"]:
        return Confirm(pointer=draw(some.sampled_from(sorted(document["evidence"]))))
    if kind == "add":
        pointer = draw(some.sampled_from(lists(document)))
        value = FRESH.get(pointer.rpartition("/")[2], "a word")
        return AddItem(pointer=pointer, value=value, place=draw(some.none() | some.integers(0, 4)))
    if kind == "remove" and items(document):
        return RemoveItem(pointer=draw(some.sampled_from(items(document))))
    if kind == "move" and items(document):
        pointer = draw(some.sampled_from(items(document)))
        same = [each for each in lists(document) if each.rpartition("/")[2] == pointer.split("/")[-2]]
        to = draw(some.sampled_from(same) | some.sampled_from(lists(document)))
        return MoveItem(pointer=pointer, to=to, place=draw(some.none() | some.integers(0, 3)))
    if kind == "value" and jobs:
        pointer = draw(some.sampled_from([each for each in singles(document) if each.startswith("/jobs/0/")]))
        to = f"/jobs/{draw(number)}" + pointer.removeprefix("/jobs/0")
        return MoveItem(pointer=pointer, to=to)
    if kind == "split" and jobs:
        job = draw(some.integers(0, jobs - 1))
        own = [each for each in everything if each.startswith(f"/jobs/{job}/")]
        chosen = draw(some.lists(some.sampled_from(own), min_size=1, max_size=6, unique=True))
        return SplitJob(job=job, pointers=chosen)
    if kind == "join":
        return JoinJobs(job=draw(number), into=draw(number))
    if kind == "drop" and jobs > 1:
        return RemoveJob(job=draw(number))
    return AddJob(place=draw(some.none() | number))


@given(some.data())
@settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
def test_evidence_follows_through_any_sequence(data: Any) -> None:
    document = example(data.draw(some.integers(1, 3)))
    for _ in range(data.draw(some.integers(1, 12))):
        before = copy.deepcopy(document)
        try:
            document, changes = edited(document, data.draw(operations(document)))
        except InvalidEditError:
            assert document == before
            continue
        assert changes
        hold(document)


@given(data=some.data())
@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)
def test_undoing_all_gives_the_first_document(firm: Firm, data: Any) -> None:
    first = example(data.draw(some.integers(1, 3)))
    drafts, who = firm.workshop.drafts, firm.engineer
    read = ReadMemo.model_validate(
        {"memo": "m", "recorded_at": "2026-05-12T10:58:00", "transcript": Transcript(text=""), **first}
    )
    with firm.workshop.database.writing() as session:
        number = new_draft(session, read, memo=None, engineer_id=who.id)
    draft = drafts.get(number, who)
    states = [document_of(draft.read)]
    assert states == [first]
    for _ in range(data.draw(some.integers(1, 10))):
        kind = data.draw(some.sampled_from(["do", "do", "do", "undo", "redo"]))
        change = data.draw(operations(document_of(draft.read)))
        operation = {"do": change, "undo": Undo(), "redo": Redo()}[kind]
        try:
            draft = drafts.edit(number, draft.version, who, operation)
        except InvalidEditError:
            assert drafts.get(number, who) == draft
        hold(document_of(draft.read))
    last = document_of(draft.read)
    undone = 0
    while draft.can_undo:
        draft = drafts.edit(number, draft.version, who, Undo())
        undone += 1
    assert document_of(draft.read) == first
    assert all(each.undone for each in drafts.history(number, who) if each.kind not in ("undo", "redo"))
    for _ in range(undone):
        draft = drafts.edit(number, draft.version, who, Redo())
    assert document_of(draft.read) == last


def test_set_keeps_what_was_heard() -> None:
    document = example()
    after, (change,) = edited(document, SetValue(pointer="/jobs/1/customer", value="Oddmarsh"))
    assert after["jobs"][1]["customer"] == "Oddmarsh"
    kept = after["evidence"]["/jobs/1/customer"]
    assert (kept["text"], kept["confidence"], kept["check"], kept["why"]) == ("customer 1", 1.0, False, None)
    assert (change.kind, change.old, change.new, change.heard) == (
        *("set", "customer 1", "Oddmarsh"),
        "customer 1",
    )
    assert document["jobs"][1]["customer"] == "customer 1"


def test_set_takes_over_the_evidence_above_it() -> None:
    document = example()
    document["evidence"] = {"/jobs/0/parts/1": document["evidence"]["/jobs/0/parts/1/description"]}
    after, _ = edited(document, SetValue(pointer="/jobs/0/parts/1/quantity", value=4))
    assert after["jobs"][0]["parts"][1]["quantity"] == 4.0
    assert after["evidence"]["/jobs/0/parts/1/quantity"]["text"] == "part 0 1"
    assert after["evidence"]["/jobs/0/parts/1"]["check"], "the part itself has still to be looked at"


def test_set_of_an_object_to_nothing_keeps_its_words() -> None:
    document = example()
    after, _ = edited(document, SetValue(pointer="/jobs/0/machine/size", value=None))
    assert [p for p in after["evidence"] if p.startswith("/jobs/0/machine/size")] == ["/jobs/0/machine/size"]
    hold(after)


def test_the_same_value_confirms() -> None:
    after, (change,) = edited(example(), SetValue(pointer="/jobs/0/site", value="site 0"))
    assert change.kind == "confirm"
    assert not after["evidence"]["/jobs/0/site"]["check"]


def test_confirm_clears_the_mark_once() -> None:
    after, (change,) = edited(example(), Confirm(pointer="/jobs/0/site"))
    assert not after["evidence"]["/jobs/0/site"]["check"]
    assert (change.kind, change.old, change.new) == ("confirm", "site 0", "site 0")
    with pytest.raises(InvalidEditError, match="nothing to confirm"):
        edited(after, Confirm(pointer="/jobs/0/site"))


def test_remove_renumbers_what_stood_behind() -> None:
    after, _ = edited(example(), RemoveItem(pointer="/jobs/0/parts/0"))
    assert [part["description"] for part in after["jobs"][0]["parts"]] == ["part 0 1", "part 0 2"]
    assert after["evidence"]["/jobs/0/parts/0/description"]["text"] == "part 0 1"
    assert "/jobs/0/parts/2/description" not in after["evidence"]


def test_ten_items_are_renumbered_as_numbers() -> None:
    document = example(1)
    for k in range(12):
        document, _ = edited(document, AddItem(pointer="/jobs/0/work", value=f"added {k}"))
    document["evidence"]["/jobs/0/work/11"]["text"] = "added 10"
    document["evidence"]["/jobs/0/work/11"]["confidence"] = 0.5
    after, _ = edited(document, RemoveItem(pointer="/jobs/0/work/2"))
    assert after["jobs"][0]["work"][10] == after["evidence"]["/jobs/0/work/10"]["text"] == "added 10"


def test_move_to_another_job_takes_evidence_along() -> None:
    after, _ = edited(example(), MoveItem(pointer="/jobs/0/readings/0", to="/jobs/1/readings", place=1))
    assert [each["at"] for each in after["jobs"][1]["readings"]] == ["gauge 1 0", "gauge 0 0", "gauge 1 1"]
    assert after["evidence"]["/jobs/1/readings/1/at"]["text"] == "gauge 0 0"
    hold(after)


def test_split_and_join_keep_everything() -> None:
    document = example(1)
    moved = ["/jobs/0/parts/0", "/jobs/0/parts/2", "/jobs/0/machine/fleet_number", "/jobs/0/work/0"]
    after, _ = edited(document, SplitJob(job=0, pointers=moved))
    old, new = after["jobs"]
    assert [part["description"] for part in old["parts"]] == ["part 0 1"]
    assert [part["description"] for part in new["parts"]] == ["part 0 0", "part 0 2"]
    assert (old["machine"]["fleet_number"], new["machine"]["fleet_number"]) == (None, "WL0")
    assert (new["customer"], new["site"], new["date"]) == ("customer 0", "site 0", "2026-05-12")
    assert after["evidence"]["/jobs/1/customer"]["text"] == "customer 0"
    hold(after)
    joined, _ = edited(after, JoinJobs(job=1, into=0))
    (job,) = joined["jobs"]
    assert sorted(part["description"] for part in job["parts"]) == ["part 0 0", "part 0 1", "part 0 2"]
    assert {k: v for k, v in job.items() if k != "parts"} == {
        key: value for key, value in document["jobs"][0].items() if key != "parts"
    }
    hold(joined)


def test_join_marks_what_differs_and_loses_nothing() -> None:
    after, _ = edited(example(), JoinJobs(job=1, into=0))
    (job,) = after["jobs"]
    assert job["customer"] == "customer 0"
    entry = after["evidence"]["/jobs/0/customer"]
    assert entry["check"] and "customer 1" in entry["why"]
    assert job["complaint"] == "complaint 0; complaint 1"
    assert after["evidence"]["/jobs/0/machine/size"]["why"].endswith("the other one had 15 t.")
    every = json.dumps(after, ensure_ascii=False)
    assert all(str(value_at(example(), p)) in every for p in texts(example()))


def test_join_upwards_keeps_the_later_place() -> None:
    after, (change,) = edited(example(3), JoinJobs(job=0, into=2))
    assert len(after["jobs"]) == 2
    assert after["jobs"][1]["customer"] == "customer 2"
    assert change.new == "/jobs/1"
    hold(after)


@pytest.mark.parametrize(
    ("operation", "says"),
    [
        (SetValue(pointer="/jobs/9/site", value="x"), "no place"),
        (SetValue(pointer="/jobs/0/siet", value="x"), "no place"),
        (SetValue(pointer="/jobs/00/site", value="x"), "no place"),
        (SetValue(pointer="/jobs/-1/site", value="x"), "no place"),
        (SetValue(pointer="/jobs/0", value={}), "no value of a job"),
        (SetValue(pointer="/jobs/0/parts", value=[]), "is a list"),
        (SetValue(pointer="/evidence", value={}), "no value of a job"),
        (SetValue(pointer="/jobs/0/date", value="31.02.2026"), "/jobs/0/date"),
        (SetValue(pointer="/jobs/0/times/left", value="25:10"), "/jobs/0/times/left"),
        (SetValue(pointer="/jobs/0/machine/hours", value=-1), "/jobs/0/machine/hours"),
        (SetValue(pointer="/jobs/0/machine/hours", value=True), "/jobs/0/machine/hours"),
        (SetValue(pointer="/jobs/0/machine/hours", value=float("nan")), "/jobs/0/machine/hours"),
        (SetValue(pointer="/jobs/0/machine/hours", value="many"), "/jobs/0/machine/hours"),
        (SetValue(pointer="/jobs/0/customer", value=""), "/jobs/0/customer"),
        (SetValue(pointer="/jobs/0/customer", value="a\0b"), "control character"),
        (SetValue(pointer="/jobs/0/customer", value="\ud800"), "can't|unicode|utf"),
        (SetValue(pointer="/jobs/0/customer", value="x" * 2001), "2000 are the most"),
        (SetValue(pointer="/jobs/0/times/labour_min", value=2**60), "can't be signed"),
        (AddItem(pointer="/jobs/0/parts", value={"description": "x", "price": 3}), "/jobs/0/parts"),
        (AddItem(pointer="/jobs/0/parts", value={"description": "x"}, place=9), "has 3 items"),
        (AddItem(pointer="/jobs", value={}), "no value of a job"),
        (RemoveItem(pointer="/jobs/0/customer"), "in no list"),
        (RemoveItem(pointer="/jobs/0"), "no value of a job"),
        (MoveItem(pointer="/jobs/0/parts/0", to="/jobs/1/readings"), "/readings"),
        (MoveItem(pointer="/jobs/0/customer", to="/jobs/1/site"), "same field"),
        (JoinJobs(job=1, into=1), "to itself"),
        (JoinJobs(job=0, into=7), "no place"),
        (SplitJob(job=0, pointers=[]), "what belongs"),
        (SplitJob(job=0, pointers=["/jobs/1/site"]), "not of the job"),
        (SplitJob(job=0, pointers=["/jobs/0/machine", "/jobs/0/machine/make"]), "named twice"),
        (RemoveJob(job=4), "no place"),
    ],
    ids=str,
)
def test_what_can_not_be_done_is_said(operation: Any, says: str) -> None:
    document = example()
    before = copy.deepcopy(document)
    with pytest.raises(InvalidEditError, match=rf"(?i){says}"):
        edited(document, operation)
    assert document == before


def test_operations_come_as_json() -> None:
    for operation in (SetValue(pointer="/a", value=1), SplitJob(job=0, pointers=["/x"]), Undo(), AddJob()):
        assert operation_of(json.loads(operation.model_dump_json())) == operation
    for wrong in ({}, [], None, {"kind": "drop"}, {"kind": "undo", "more": 1}, {"kind": "set", "value": 1}):
        with pytest.raises(InvalidEditError, match="can't be understood"):
            operation_of(wrong)


@given(some.text("/~ab01", max_size=12))
def test_any_pointer_gives_a_value_or_no_place(pointer: str) -> None:
    data = {"a": [1, {"b": 2, "": 3}], "~/": {"0": 4}, "": 5}
    try:
        value_at(data, pointer)
    except NoPlaceError:
        return
    assert pointer == "" or parent(pointer)


def test_the_worker_reads_what_it_writes() -> None:
    assert len(store_work.PlainReader().understand(heard(store_work.memo_text(3, jobs=2))).jobs) == 2


def heard(text: str) -> Any:
    from jobnotes.intake import Heard

    return Heard("m", Transcript(text=text), store_work.RECORDED_AT)
