"""Values as they are typed: which fields a form for a place has, and what was typed as a value of the
model."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, get_args

from jobnotes.errors import JobnotesError
from jobnotes.jobs import MACHINE_TYPES
from jobnotes.jobs import model as jobs_model
from jobnotes.jobs.units import QUANTITIES
from jobnotes.paper import words

UNITS = [unit for quantity, units in QUANTITIES.items() if quantity != "time" for unit in units]
PART_UNITS = list(get_args(jobs_model.PartUnit))
LISTS = ("ruled_out", "checks", "readings", "fault_codes", "parts", "work", "follow_up", "safety")


@dataclass(frozen=True)
class Kind:
    """How one value is typed. `input`: text, long, number, date, time, minutes or choice. `section` of
    words.toml says the choices; `look_up` is a table of the register."""

    input: str
    choices: tuple[str, ...] = ()
    section: str = ""
    look_up: str = ""
    needed: bool = False
    code: bool = False
    suggestions: tuple[str, ...] = ()


def _choice(literal: Any, section: str, needed: bool = True) -> Kind:
    return Kind("choice", tuple(get_args(literal)), section, needed=needed)


SINGLE: dict[str, Kind] = {
    "/date": Kind("date"),
    "/customer": Kind("text", look_up="customer"),
    "/site": Kind("text", look_up="site"),
    "/order_number": Kind("text", code=True),
    "/machine/type": Kind("text", suggestions=MACHINE_TYPES),
    "/machine/make": Kind("text"),
    "/machine/model": Kind("text"),
    "/machine/fleet_number": Kind("text", look_up="machine", code=True),
    "/machine/serial_number": Kind("text", code=True),
    "/machine/hours": Kind("number"),
    "/complaint": Kind("long"),
    "/cause": Kind("long"),
    "/times/arrived": Kind("time"),
    "/times/left": Kind("time"),
    "/times/labour_min": Kind("minutes"),
    "/times/travel_min": Kind("minutes"),
    "/outcome": _choice(jobs_model.Outcome, "outcome", needed=False),
    "/machine_state": _choice(jobs_model.MachineState, "machine_state", needed=False),
    "/ruled_out/*": Kind("text", needed=True),
    "/fault_codes/*": Kind("text", needed=True, code=True),
    "/work/*": Kind("long", needed=True),
    "/follow_up/*": Kind("long", needed=True),
    "/safety/*": Kind("long", needed=True),
}
OBJECTS: dict[str, dict[str, Kind]] = {
    "/machine/size": {"value": Kind("number", needed=True), "unit": Kind("text", needed=True)},
    "/distance": {
        "value": Kind("number", needed=True),
        "unit": Kind("choice", ("mi", "km"), "unit", needed=True),
    },
    "/checks/*": {"what": Kind("text", needed=True), "result": _choice(jobs_model.Verdict, "verdict")},
    "/readings/*": {
        "at": Kind("text"),
        "quantity": _choice(jobs_model.Quantity, ""),
        "value": Kind("number", needed=True),
        "unit": Kind("choice", tuple(UNITS), "unit", needed=True),
        "expected": Kind("number"),
        "stage": _choice(jobs_model.Stage, "stage"),
    },
    "/parts/*": {
        "part_number": Kind("text", look_up="part", code=True),
        "description": Kind("text", needed=True, look_up="part"),
        "quantity": Kind("number", needed=True),
        "unit": Kind("choice", tuple(PART_UNITS), "unit", needed=True),
        "status": _choice(jobs_model.PartStatus, "part_status"),
    },
}
WHOLE = ("/machine/size", "/distance")
"""Objects that are one value: an amount and its unit are set together, and both may be left empty."""
NEW: dict[str, dict[str, str]] = {
    "/checks/*": {"result": "ok"},
    "/readings/*": {"quantity": "pressure", "unit": "bar", "stage": "found"},
    "/parts/*": {"quantity": "1", "unit": "each", "status": "fitted"},
}
LABELS = {
    "value": "Value",
    "unit": "Unit",
    "what": "What was looked at",
    "result": "Verdict",
    "at": "Where, or what",
    "quantity": "Quantity",
    "expected": "Expected",
    "stage": "When taken",
    "part_number": "Part number",
    "description": "Part",
    "status": "Status",
}


@dataclass(frozen=True)
class Field:
    """One field of a form. `pointer` is the place that it fills, `text` what stands in it."""

    name: str
    label: str
    pointer: str
    kind: Kind
    text: str
    choices: tuple[tuple[str, str], ...] = ()
    focus: bool = False
    hint: str = ""


@dataclass(frozen=True)
class Target:
    """What a form is for. `pointer` is the value or item, `field` its pattern in a job, `opened` the place
    that was chosen, which may lie within."""

    pointer: str
    field: str
    opened: str

    @property
    def is_item(self) -> bool:
        """Whether it is an item of a list."""
        return self.field.endswith("/*")


def target_of(pointer: str) -> Target | None:
    """The form for a place; None where there is none: a whole job, a list."""
    steps = pointer.split("/")
    if steps[1:2] == ["notes"] and len(steps) == 3:
        return Target(pointer, "/notes/*", pointer)
    if steps[:2] != ["", "jobs"] or len(steps) < 4:
        return None
    base, rest = "/".join(steps[:3]), "/" + "/".join(steps[3:])
    if rest == "/machine":
        rest = "/machine/fleet_number"
    field = words.pattern(rest)
    while field:
        if field in SINGLE or field in OBJECTS:
            return Target(base + rest, field, pointer)
        rest, field = rest.rpartition("/")[0], field.rpartition("/")[0]
    return None


def fields_of(
    target: Target, value: Any, typed: Callable[[str], str | None] = lambda _name: None
) -> list[Field]:
    """The form's fields, filled with the value, or with what was typed before."""
    kinds = OBJECTS.get(target.field)
    if kinds is None:
        kind = SINGLE.get(target.field, Kind("long", needed=True))
        text = typed("value")
        name = words.said("field", target.field)
        label = "Note" if target.field == "/notes/*" else name
        return [
            _field("value", label, target.pointer, kind, written(kind, value) if text is None else text, True)
        ]
    held = value if isinstance(value, dict) else {}
    wanted = target.opened.rpartition("/")[2] if target.opened != target.pointer else next(iter(kinds))
    made = []
    for name, kind in kinds.items():
        text = typed(name)
        if text is None:
            fresh = NEW.get(target.field, {}).get(name, "") if value is None else ""
            text = written(kind, held.get(name)) or fresh
        label = f"{words.said('field', target.field)}, {name}" if target.field in WHOLE else LABELS[name]
        made.append(_field(name, label, f"{target.pointer}/{name}", kind, text, name == wanted))
    return made


def _field(name: str, label: str, pointer: str, kind: Kind, text: str, focus: bool) -> Field:
    choices: tuple[tuple[str, str], ...] = ()
    if kind.input == "choice":
        keys = kind.choices if text in kind.choices or not text else (*kind.choices, text)
        choices = tuple((key, words.said(kind.section, key)) for key in keys)
        if not kind.needed:
            choices = (("", "Not said"), *choices)
    hint = {
        "minutes": "Minutes, or hours and minutes: 95, 1 h 35, 1:35",
        "time": "24 hours, as 16:25 or 1625",
    }
    return Field(name, label, pointer, kind, text, choices, focus, hint.get(kind.input, ""))


def written(kind: Kind, value: Any) -> str:
    """A value as it stands in a field."""
    if value is None:
        return ""
    if kind.input == "minutes":
        return words.minutes(value)
    if isinstance(value, int | float):
        return words.number(value)
    return str(value)


class TypedError(JobnotesError):
    """Something typed that is no such value. `name` is the field's."""

    def __init__(self, name: str, sentence: str) -> None:
        super().__init__(sentence)
        self.name = name


def value_of(kind: Kind, name: str, label: str, text: str) -> Any:
    """What was typed, as a value of the model; None for nothing. Raises TypedError."""
    text = text.replace("\r\n", "\n").strip()
    if not text:
        if kind.needed:
            raise TypedError(name, f"{label}: something has to stand here.")
        return None
    if kind.input == "number":
        return _number(name, label, text)
    if kind.input == "minutes":
        return minutes_of(name, label, text)
    if kind.input == "time":
        return _clock(name, label, text)
    if kind.input in ("text", "date"):
        return " ".join(text.split())
    return text


def _clock(name: str, label: str, text: str) -> str:
    found = re.fullmatch(r"(\d{1,2})\s*[:. ]?\s*(\d\d)", text, re.ASCII)
    if found is None or int(found[1]) > 23 or int(found[2]) > 59:
        raise TypedError(name, f"{label}: {text[:40]!r} is no time of day; write 16:25.")
    return f"{int(found[1]):02}:{found[2]}"


def _number(name: str, label: str, text: str) -> float:
    plain = text.replace(",", "").replace(" ", "").replace("−", "-")
    if not re.fullmatch(r"-?(\d{1,15}(\.\d{0,9})?|\.\d{1,9})", plain, re.ASCII):
        raise TypedError(name, f"{label}: {text[:40]!r} is no number.")
    value = float(plain)
    if not math.isfinite(value):
        raise TypedError(name, f"{label}: {text[:40]!r} is no number.")
    return value


def minutes_of(name: str, label: str, text: str) -> int:
    """A duration in min: "95", "1 h 35 min", "1:35", "1.5 h". Raises TypedError."""
    low = text.lower().strip()
    if found := re.fullmatch(r"(\d{1,5})\s*(?:m|min|mins|minutes)?", low, re.ASCII):
        return int(found[1])
    if found := re.fullmatch(r"(\d{1,3}):(\d\d)", low, re.ASCII):
        return int(found[1]) * 60 + int(found[2])
    if found := re.fullmatch(
        r"(\d{1,3}(?:\.\d{1,4})?)\s*(?:h|hr|hrs|hours?)\s*(?:(\d{1,4})\s*(?:m|min|mins|minutes)?)?",
        low,
        re.ASCII,
    ):
        return round(float(found[1]) * 60) + int(found[2] or 0)
    raise TypedError(name, f"{label}: {text[:40]!r} is no duration; write minutes, or hours as 1 h 35.")


def typed_value(target: Target, read: Callable[[str], str]) -> Any:
    """What a form says as a whole: a value, or an object. Raises TypedError."""
    kinds = OBJECTS.get(target.field)
    if kinds is None:
        kind = SINGLE.get(target.field, Kind("long", needed=True))
        return value_of(kind, "value", words.said("field", target.field), read("value"))
    if target.field in WHOLE and not any(read(name).strip() for name in kinds if name == "value"):
        return None
    return {name: value_of(kind, name, LABELS[name], read(name)) for name, kind in kinds.items()}
