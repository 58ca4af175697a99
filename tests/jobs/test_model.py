"""The model takes what the schema allows, refuses the rest, and comes back from JSON as it went."""

from __future__ import annotations

import json
import math
from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import BaseModel, ValidationError

from jobnotes.jobs import (
    MACHINE_TYPES,
    Amount,
    Check,
    Evidence,
    Job,
    Machine,
    Part,
    Reading,
    ReadMemo,
    Times,
    Transcript,
    Word,
)

# Every class of the model with the least that it needs.
LEAST: list[tuple[type[BaseModel], dict[str, Any]]] = [
    (Amount, {"value": 14, "unit": "t"}),
    (Machine, {}),
    (Check, {"what": "lock valve", "result": "ok"}),
    (Reading, {"quantity": "pressure", "value": 165, "unit": "bar"}),
    (Part, {"description": "lock valve"}),
    (Times, {}),
    (Job, {}),
    (Evidence, {"text": "one sixty-five bar"}),
    (Word, {"text": "bar"}),
    (Transcript, {"text": "One sixty-five bar."}),
    (ReadMemo, {"memo": "m1", "recorded_at": "2026-04-17T12:30:00", "transcript": {"text": "Bar."}}),
]


@pytest.mark.parametrize(("kind", "least"), LEAST)
def test_the_least_is_enough_and_each_of_it_is_needed(kind: type[BaseModel], least: dict[str, Any]) -> None:
    kind.model_validate(least)
    for name in least:
        with pytest.raises(ValidationError) as refusal:
            kind.model_validate({key: value for key, value in least.items() if key != name})
        assert [(e["loc"], e["type"]) for e in refusal.value.errors()] == [((name,), "missing")]


@pytest.mark.parametrize(("kind", "least"), LEAST)
def test_a_field_of_another_name_is_refused(kind: type[BaseModel], least: dict[str, Any]) -> None:
    with pytest.raises(ValidationError) as refusal:
        kind.model_validate({**least, "colour": "yellow"})
    assert [(e["loc"], e["type"]) for e in refusal.value.errors()] == [(("colour",), "extra_forbidden")]
    with pytest.raises(ValidationError):
        kind.model_validate(least).colour = "yellow"  # type: ignore[attr-defined]


@pytest.mark.parametrize(("kind", "least"), LEAST)
def test_every_field_is_always_written(kind: type[BaseModel], least: dict[str, Any]) -> None:
    written = json.loads(kind.model_validate(least).model_dump_json())
    assert set(written) == set(kind.model_fields)
    schema = kind.model_json_schema(mode="serialization")
    assert set(schema["required"]) == set(kind.model_fields)
    assert schema["additionalProperties"] is False


CLOCK_CHARACTERS = st.text(alphabet="0123456789:", min_size=4, max_size=6)


@given(st.times())
def test_every_minute_of_the_day_is_a_clock_time(moment: Any) -> None:
    clock = f"{moment:%H:%M}"
    assert Times(arrived=clock, left=clock).left == clock


@given(CLOCK_CHARACTERS | st.text(max_size=8))
def test_a_clock_time_is_two_digits_a_colon_two_digits(text: str) -> None:
    try:
        hour, minute = text.split(":")
        good = all(len(n) == 2 and n.isascii() and n.isdigit() for n in (hour, minute))
        good = good and int(hour) < 24 and int(minute) < 60
    except ValueError:
        good = False
    if good:
        assert Times(arrived=text).arrived == text
    else:
        with pytest.raises(ValidationError):
            Times(arrived=text)


@pytest.mark.parametrize(
    "text", ["24:00", "23:60", "7:05", "07:5", "07.05", "0705", "07:05:00", "07:05\n", " 07:05", "٠٧:٠٥", ""]
)
def test_other_writings_of_a_clock_time_are_refused(text: str) -> None:
    for name in ("arrived", "left"):
        with pytest.raises(ValidationError):
            Times.model_validate({name: text})


@given(st.dates())
def test_every_day_of_the_calendar_is_a_date(day: date) -> None:
    assert Job(date=day.isoformat()).date == day.isoformat()


@pytest.mark.parametrize(
    "text",
    [
        "2026-02-29",
        "2026-04-31",
        "2026-13-01",
        "2026-00-10",
        "17/04/2026",
        "17.4.2026",
        "2026-4-17",
        "today",
        "",
    ],
)
def test_days_that_are_none_are_refused(text: str) -> None:
    with pytest.raises(ValidationError):
        Job(date=text)


def test_a_leap_day_is_a_date() -> None:
    assert Job(date="2028-02-29").date == "2028-02-29"


def test_what_is_set_later_is_checked_too() -> None:
    job = Job()
    for name, value in (("date", "2026-02-30"), ("customer", ""), ("outcome", "done"), ("work", "oiled")):
        with pytest.raises(ValidationError):
            setattr(job, name, value)
    with pytest.raises(ValidationError):
        job.times.arrived = "25:00"
    with pytest.raises(ValidationError):
        job.machine.hours = -0.1
    assert job == Job()


def test_jobs_do_not_share_their_lists() -> None:
    first, second = Job(), Job()
    first.work.append("oiled the pins")
    first.machine.make = "Ravensett"
    assert second == Job()


@pytest.mark.parametrize("confidence", [-0.01, 1.01, math.nan])
def test_confidence_is_a_share(confidence: float) -> None:
    with pytest.raises(ValidationError):
        Evidence(text="bar", confidence=confidence)


@pytest.mark.parametrize("quantity", [0, -1, math.nan])
def test_no_part_without_a_quantity(quantity: float) -> None:
    with pytest.raises(ValidationError):
        Part(description="lock valve", quantity=quantity)


def test_machine_types_are_each_named_once() -> None:
    assert len(set(MACHINE_TYPES)) == len(MACHINE_TYPES)
    assert all(name == name.lower().strip() for name in MACHINE_TYPES)


FINITE = st.floats(allow_nan=False, allow_infinity=False)
SOME_TEXT = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=12)
CLOCKS = st.none() | st.times().map(lambda moment: f"{moment:%H:%M}")
MINUTES = st.none() | st.integers(0, 10_000)
AMOUNTS = st.none() | st.builds(Amount, value=FINITE, unit=SOME_TEXT)
JOBS = st.builds(
    Job,
    date=st.none() | st.dates().map(str),
    customer=st.none() | SOME_TEXT,
    machine=st.builds(
        Machine,
        type=st.none() | st.sampled_from(MACHINE_TYPES) | SOME_TEXT,
        size=AMOUNTS,
        hours=st.none() | st.floats(0, 1e6),
    ),
    checks=st.lists(st.builds(Check, what=SOME_TEXT), max_size=2),
    readings=st.lists(
        st.builds(
            Reading, at=st.none() | SOME_TEXT, value=FINITE, unit=SOME_TEXT, expected=st.none() | FINITE
        ),
        max_size=2,
    ),
    parts=st.lists(
        st.builds(Part, description=SOME_TEXT, part_number=st.none(), quantity=st.floats(1e-3, 1e3)),
        max_size=2,
    ),
    times=st.builds(Times, arrived=CLOCKS, left=CLOCKS, labour_min=MINUTES, travel_min=MINUTES),
    distance=AMOUNTS,
    outcome=st.sampled_from(["complete", "temporary", "awaiting_parts", "unresolved", None]),
    work=st.lists(SOME_TEXT, max_size=2),
)


@given(JOBS)
def test_a_job_comes_back_from_json_as_it_went(job: Job) -> None:
    text = job.model_dump_json()
    assert Job.model_validate_json(text) == job
    # What another program makes of the JSON and writes again is still the same job.
    assert Job.model_validate(json.loads(json.dumps(json.loads(text)))) == job


def test_a_whole_memo_comes_back_from_json_as_it_went() -> None:
    memo = ReadMemo(
        memo="m1",
        recorded_at="2026-04-17T12:30:00",
        transcript=Transcript(
            text="Blade lift one sixty-five bar – 40 °C.",
            words=[Word(text="Blade", start=0.25, end=0.5, probability=0.875), Word(text="lift")],
            seconds=31.5,
            remarks=["The sound is clipped."],
        ),
        jobs=[Job(date="2026-04-17", times=Times(arrived="08:05")), Job()],
        notes=["the van wants a tyre"],
        evidence={
            "/jobs/0/times/arrived": Evidence(text="five past eight", first=3, last=5, check=True, why="?")
        },
    )
    assert ReadMemo.model_validate_json(memo.model_dump_json()) == memo
    assert ReadMemo.model_validate_json(memo.model_dump_json(indent=1)).model_dump() == memo.model_dump()


@pytest.mark.parametrize("text", ["20260417", "2026-W16-5", "2026W165"])
def test_other_forms_of_a_date_are_refused(text: str) -> None:
    with pytest.raises(ValidationError):
        Job(date=text)


@pytest.mark.parametrize("value", ["343", True])
def test_what_only_looks_like_a_number_is_refused(value: Any) -> None:
    with pytest.raises(ValidationError):
        Reading(quantity="pressure", value=value, unit="bar")


@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_what_json_cannot_write_is_refused(value: float) -> None:
    with pytest.raises(ValidationError):
        Reading(quantity="pressure", value=value, unit="bar")
