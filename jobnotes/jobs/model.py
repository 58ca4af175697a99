"""What one memo says, as jobs. Values only; evidence stands beside them, keyed by JSON Pointer (RFC 6901)."""

from __future__ import annotations

import datetime
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, field_validator

Text = Annotated[str, StringConstraints(min_length=1)]
Clock = Annotated[str, StringConstraints(pattern=r"^([01]\d|2[0-3]):[0-5]\d$")]
Minutes = Annotated[int, Field(ge=0)]

Quantity = Literal[
    "pressure",
    "voltage",
    "current",
    "resistance",
    "temperature",
    "length",
    "flow",
    "speed",
    "torque",
    "frequency",
    "mass",
    "volume",
    "ratio",
]
Verdict = Literal["ok", "not_ok", "unclear"]
Stage = Literal["found", "after"]
PartStatus = Literal["fitted", "to_order", "ordered", "not_used"]
PartUnit = Literal["each", "L", "m", "kg", "set"]
Outcome = Literal["complete", "temporary", "awaiting_parts", "unresolved"]
MachineState = Literal["in_service", "out_of_service"]

MACHINE_TYPES = (
    "excavator",
    "mini excavator",
    "wheeled excavator",
    "backhoe loader",
    "wheel loader",
    "skid steer loader",
    "compact track loader",
    "telehandler",
    "site dumper",
    "articulated dump truck",
    "crawler dozer",
    "grader",
    "roller",
    "plate compactor",
    "boom lift",
    "scissor lift",
    "forklift",
    "mobile crane",
    "crusher",
    "screener",
    "generator",
    "lighting tower",
    "compressor",
    "pump",
    "welder",
    "tractor",
    "paver",
    "conveyor",
    "concrete mixer",
)


class Strict(BaseModel):
    """Every object of the model: nothing but the named fields, and all of them always written."""

    model_config = ConfigDict(
        extra="forbid",
        strict=True,
        allow_inf_nan=False,
        validate_assignment=True,
        json_schema_serialization_defaults_required=True,
    )


class Amount(Strict):
    """A value with its unit as spoken, for example 14 t, 8 m, 60 kVA, 46 mi."""

    value: float
    unit: str


class Machine(Strict):
    """The machine worked on. `hours` is the hour meter's reading in h."""

    type: Text | None = Field(None, description="One of MACHINE_TYPES, or the spoken words for another.")
    make: Text | None = None
    model: Text | None = None
    size: Amount | None = Field(None, description="Class as spoken, for example 14 t, 8 m, 60 kVA.")
    fleet_number: Text | None = None
    serial_number: Text | None = None
    hours: Annotated[float, Field(ge=0)] | None = Field(None, description="Hour meter reading, h.")


class Check(Strict):
    """What was looked at, tested or measured, with the verdict."""

    what: str
    result: Verdict


class Reading(Strict):
    """A measured value. `expected` is the specified value that the memo gives, in the same unit."""

    quantity: Quantity
    at: Text | None = None
    value: float
    unit: str
    stage: Stage = "found"
    expected: float | None = None


class Part(Strict):
    """A part of the job. fitted: stayed on the machine; not_used: carried or tried, and taken away again."""

    description: str
    part_number: Text | None = None
    quantity: Annotated[float, Field(gt=0)] = 1
    unit: PartUnit = "each"
    status: PartStatus = "fitted"


class Times(Strict):
    """Arrival and leaving on a 24-hour clock; durations in min, only where spoken as a duration."""

    arrived: Clock | None = None
    left: Clock | None = None
    labour_min: Minutes | None = None
    travel_min: Minutes | None = Field(None, description="Both ways, min.")


class Job(Strict):
    """One machine worked on in one visit."""

    date: str | None = Field(None, json_schema_extra={"format": "date"})
    customer: Text | None = None
    site: Text | None = None
    order_number: Text | None = None
    machine: Machine = Field(default_factory=Machine)
    complaint: Text | None = None
    cause: Text | None = None
    ruled_out: list[str] = Field(default_factory=list)
    checks: list[Check] = Field(default_factory=list)
    readings: list[Reading] = Field(default_factory=list)
    fault_codes: list[str] = Field(default_factory=list)
    parts: list[Part] = Field(default_factory=list)
    work: list[str] = Field(default_factory=list)
    times: Times = Field(default_factory=Times)
    distance: Amount | None = None
    outcome: Outcome | None = None
    machine_state: MachineState | None = None
    follow_up: list[str] = Field(default_factory=list)
    safety: list[str] = Field(default_factory=list)

    @field_validator("date")
    @classmethod
    def real_date(cls, value: str | None) -> str | None:
        """A calendar date as YYYY-MM-DD, or a ValueError."""
        if value is not None and datetime.date.fromisoformat(value).isoformat() != value:
            raise ValueError("a date is written YYYY-MM-DD")
        return value


class Evidence(Strict):
    """Where a value comes from. `start` and `end` are seconds in the recording, None for a typed memo.

    `first` and `last` are word places in the transcript (0-based, inclusive). `confidence` is 0 to 1.
    `check`: a person should look here, for the reason in `why`.
    """

    text: str
    start: float | None = None
    end: float | None = None
    first: int | None = None
    last: int | None = None
    confidence: Annotated[float, Field(ge=0, le=1)] = 1.0
    check: bool = False
    why: str | None = None


class Word(Strict):
    """One word as heard: seconds from the start of the recording, probability 0 to 1; None for typed
    words.

    `heard`: what the recogniser wrote here, where `text` was set right from the register or the trade's words
    (several words where several became one). The probability is then at most that of what was heard.
    """

    text: str
    start: float | None = None
    end: float | None = None
    probability: float | None = None
    heard: str | None = None


class Transcript(Strict):
    """The words of a memo in order. `text` keeps the paragraphs; `words` hold every word once,
    punctuation on.

    `level_dbfs` is the level of the loud frames (dB to full scale), `voice_over_noise_db` how far the voice
    stands above the noise round it; None for a typed memo, or where no voice is to be measured.
    """

    text: str
    words: list[Word] = Field(default_factory=list)
    seconds: float | None = None
    level_dbfs: float | None = None
    voice_over_noise_db: float | None = None
    remarks: list[str] = Field(
        default_factory=list, description="What is wrong with the recording, a sentence each."
    )


class ReadMemo(Strict):
    """A memo with the jobs read from it: what `jobnotes read` writes."""

    memo: str
    recorded_at: str
    transcript: Transcript
    jobs: list[Job] = Field(default_factory=list)
    notes: list[str] = Field(default_factory=list)
    evidence: dict[str, Evidence] = Field(default_factory=dict)


def jobs_schema() -> dict[str, Any]:
    """The JSON Schema of `{"jobs": [...], "notes": [...]}`, published from the models (draft 2020-12)."""

    class Jobs(BaseModel):
        jobs: list[Job]
        notes: list[str] = Field(default_factory=list)

    schema = Jobs.model_json_schema(mode="serialization")
    schema["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    return schema
