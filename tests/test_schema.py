"""The published JSON Schema means what the rules say. The rules stand here a second time, written by hand."""

from __future__ import annotations

import copy
from collections.abc import Callable
from typing import Any

import jsonschema
import pytest
from pydantic import ValidationError

from jobnotes.jobs import Job, jobs_schema

# A rule is a dictionary of what JSON Schema would say; "null" says that a value may be missing.
TEXT = {"type": {"string", "null"}, "minLength": 1}
SAID = {"type": {"string"}}
LIST = {"type": {"array"}, "items": SAID}
NUMBER = {"type": {"number"}}
MINUTES = {"type": {"integer", "null"}, "minimum": 0}
CLOCK = {"type": {"string", "null"}, "pattern": r"^([01]\d|2[0-3]):[0-5]\d$"}


def one_of(*names: str | None) -> dict[str, Any]:
    return {"enum": set(names)}


def whole(null: bool = False, **properties: dict[str, Any]) -> dict[str, Any]:
    """An object of just these properties, all of them there."""
    return {
        "type": {"object", "null"} if null else {"object"},
        "properties": properties,
        "required": set(properties),
        "additionalProperties": False,
    }


def several(items: dict[str, Any]) -> dict[str, Any]:
    return {"type": {"array"}, "items": items}


AMOUNT = whole(null=True, value=NUMBER, unit=SAID)
JOB = whole(
    date={"type": {"string", "null"}, "format": "date"},
    customer=TEXT,
    site=TEXT,
    order_number=TEXT,
    machine=whole(
        type=TEXT,
        make=TEXT,
        model=TEXT,
        size=AMOUNT,
        fleet_number=TEXT,
        serial_number=TEXT,
        hours={"type": {"number", "null"}, "minimum": 0},
    ),
    complaint=TEXT,
    cause=TEXT,
    ruled_out=LIST,
    checks=several(whole(what=SAID, result=one_of("ok", "not_ok", "unclear"))),
    readings=several(
        whole(
            quantity=one_of(
                *("pressure", "voltage", "current", "resistance", "temperature", "length", "flow"),
                *("speed", "torque", "frequency", "mass", "volume", "ratio"),
            ),
            at=TEXT,
            value=NUMBER,
            unit=SAID,
            stage=one_of("found", "after"),
            expected={"type": {"number", "null"}},
        )
    ),
    fault_codes=LIST,
    parts=several(
        whole(
            description=SAID,
            part_number=TEXT,
            quantity={"type": {"number"}, "exclusiveMinimum": 0},
            unit=one_of("each", "L", "m", "kg", "set"),
            status=one_of("fitted", "to_order", "ordered", "not_used"),
        )
    ),
    work=LIST,
    times=whole(arrived=CLOCK, left=CLOCK, labour_min=MINUTES, travel_min=MINUTES),
    distance=AMOUNT,
    outcome=one_of("complete", "temporary", "awaiting_parts", "unresolved", None),
    machine_state=one_of("in_service", "out_of_service", None),
    follow_up=LIST,
    safety=LIST,
)
# Notes may be missing, and beside the two there may be more: memo, transcript, evidence.
RULES = {
    "type": {"object"},
    "properties": {"jobs": several(JOB), "notes": LIST},
    "required": {"jobs"},
    "additionalProperties": True,
}


def meaning(node: dict[str, Any], definitions: dict[str, Any]) -> dict[str, Any]:
    """A node of a schema in the form of the rules: references followed, what only a reader needs left out."""
    if "$ref" in node:
        return meaning(definitions[node["$ref"].removeprefix("#/$defs/")], definitions)
    if "anyOf" in node:
        branches = [meaning(branch, definitions) for branch in node["anyOf"]]
        (real,) = [branch for branch in branches if branch != {"type": {"null"}}]
        assert len(branches) == 2, "only a value or null is spoken of in the rules"
        beside = meaning({key: value for key, value in node.items() if key != "anyOf"}, definitions)
        if "enum" in real:
            return {**beside, "enum": real["enum"] | {None}}
        return {**beside, **real, "type": real["type"] | {"null"}}
    result: dict[str, Any] = {}
    for key, value in node.items():
        if key in ("title", "description", "default", "$schema", "$defs"):
            continue
        if key == "type":
            result[key] = {value} if isinstance(value, str) else set(value)
        elif key in ("enum", "required"):
            result[key] = set(value)
        elif key == "const":
            result["enum"] = {value}
        elif key == "items":
            result[key] = meaning(value, definitions)
        elif key == "properties":
            result[key] = {name: meaning(each, definitions) for name, each in value.items()}
        else:
            result[key] = value
    if "enum" in result:
        result.pop("type", None)
    if result.get("type") == {"object"}:
        result.setdefault("additionalProperties", True)
        result.setdefault("required", set())
    return result


def test_published_schema_means_the_rules() -> None:
    schema = jobs_schema()
    assert meaning(schema, schema["$defs"]) == RULES


def test_published_schema_is_a_schema() -> None:
    schema = jobs_schema()
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    jsonschema.Draft202012Validator.check_schema(schema)


FULL: dict[str, Any] = {
    "date": "2026-04-17",
    "customer": "Hollin Moss Aggregates",
    "site": "Top Pit",
    "order_number": "HM 2207",
    "machine": {
        "type": "grader",
        "make": "Ravensett",
        "model": "G9",
        "size": {"value": 9, "unit": "t"},
        "fleet_number": "GR7",
        "serial_number": "RVS-00713",
        "hours": 4410.5,
    },
    "complaint": "blade creeps",
    "cause": "lock valve leaks",
    "ruled_out": ["spool"],
    "checks": [{"what": "lock valve", "result": "not_ok"}],
    "readings": [
        {
            "quantity": "pressure",
            "at": "blade lift",
            "value": 165,
            "unit": "bar",
            "stage": "found",
            "expected": 190,
        }
    ],
    "fault_codes": ["SPN 100 FMI 1"],
    "parts": [
        {
            "description": "lock valve",
            "part_number": "RV-88",
            "quantity": 0.5,
            "unit": "each",
            "status": "fitted",
        }
    ],
    "work": ["fitted lock valve"],
    "times": {"arrived": "07:05", "left": "23:59", "labour_min": 0, "travel_min": 50},
    "distance": {"value": 31, "unit": "mi"},
    "outcome": "complete",
    "machine_state": "in_service",
    "follow_up": ["look at the other valve"],
    "safety": ["blade on blocks"],
}


def at(path: str, value: Any) -> Callable[[dict[str, Any]], None]:
    """Sets the value at a path of the job, such as machine/hours."""

    def change(job: dict[str, Any]) -> None:
        *before, last = [int(step) if step.isdigit() else step for step in path.split("/")]
        place: Any = job
        for step in before:
            place = place[step]
        place[last] = value

    return change


GOOD = [
    *(
        at(name, None)
        for name in ("date", "customer", "site", "order_number", "complaint", "cause", "distance")
    ),
    *(
        at(name, None)
        for name in ("outcome", "machine_state", "machine/size", "machine/hours", "times/arrived")
    ),
    *(at(name, []) for name in ("ruled_out", "checks", "readings", "fault_codes", "parts", "work", "safety")),
    *(at("times/left", clock) for clock in ("00:00", "19:30", "23:59")),
    *(at("parts/0/unit", unit) for unit in ("each", "L", "m", "kg", "set")),
    *(at("parts/0/status", status) for status in ("fitted", "to_order", "ordered", "not_used")),
    at("readings/0/value", -12.5),
    at("readings/0/expected", None),
    at("machine/type", "stump grinder"),
    at("work/0", ""),
]
BAD = [
    *(at(name, "") for name in ("customer", "site", "order_number", "complaint", "cause", "machine/make")),
    *(at(name, None) for name in ("machine", "times", "checks", "readings", "parts", "work", "safety")),
    *(at("times/arrived", clock) for clock in ("24:00", "7:05", "07:60", "07:05:00", "seven", "")),
    *(at("times/labour_min", minutes) for minutes in (-1, 12.5, "50")),
    *(at("parts/0/quantity", quantity) for quantity in (0, -1, None)),
    at("parts/0/unit", "litres"),
    at("parts/0/status", "used"),
    at("parts/0/description", None),
    at("readings/0/quantity", "level"),
    at("readings/0/value", None),
    at("readings/0/stage", None),
    at("checks/0/result", "fine"),
    at("machine/hours", -1),
    at("machine/size", {"value": 9}),
    at("machine/size", {"value": 9, "unit": "t", "kind": "long"}),
    at("distance", 31),
    at("outcome", "done"),
    at("machine_state", "parked"),
    at("fault_codes", [None]),
    at("work", "fitted lock valve"),
    at("colour", "yellow"),
    at("machine/colour", "yellow"),
]


def accepted(job: dict[str, Any]) -> tuple[bool, bool]:
    """What the published schema says, and what the model says."""
    by_schema = jsonschema.Draft202012Validator(jobs_schema()).is_valid({"jobs": [job]})
    try:
        Job.model_validate(job)
    except ValidationError:
        return by_schema, False
    return by_schema, True


@pytest.mark.parametrize("change", range(len(GOOD)))
def test_what_the_rules_allow_passes(change: int) -> None:
    job = copy.deepcopy(FULL)
    GOOD[change](job)
    assert accepted(job) == (True, True)


@pytest.mark.parametrize("change", range(len(BAD)))
def test_what_the_rules_forbid_does_not_pass_the_schema(change: int) -> None:
    job = copy.deepcopy(FULL)
    BAD[change](job)
    assert not accepted(job)[0]


def test_every_property_must_be_there() -> None:
    validator = jsonschema.Draft202012Validator(jobs_schema())
    for path in ((), ("machine",), ("times",), ("checks", 0), ("readings", 0), ("parts", 0)):
        inner: Any = FULL
        for step in path:
            inner = inner[step]
        for name in inner:
            job = copy.deepcopy(FULL)
            place: Any = job
            for step in path:
                place = place[step]
            del place[name]
            assert not validator.is_valid({"jobs": [job]}), f"{path} without {name}"


def test_what_the_model_writes_passes_the_schema() -> None:
    validator = jsonschema.Draft202012Validator(jobs_schema())
    for job in (Job(), Job.model_validate(FULL)):
        validator.validate({"jobs": [job.model_dump(mode="json")], "notes": []})
    assert Job.model_validate(FULL).model_dump(mode="json") == FULL
