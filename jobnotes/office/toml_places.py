"""Where a key stands in a TOML file, and what is wrong with it in words."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from pydantic import BaseModel
from pydantic_core import ErrorDetails

Path = tuple[str, ...]

HEADER = re.compile(r"^\s*\[\s*([^\[\]]+?)\s*\]\s*(#.*)?$")
KEY = re.compile(r"^\s*((?:[\w-]+|\"[^\"]*\"|'[^']*')(?:\s*\.\s*(?:[\w-]+|\"[^\"]*\"|'[^']*'))*)\s*=")
STEP = re.compile(r"[\w-]+|\"[^\"]*\"|'[^']*'")

SENTENCES = {
    "string_type": "must be text in quotation marks",
    "int_type": "must be a whole number",
    "int_from_float": "must be a whole number",
    "decimal_type": "must be a number, without quotation marks",
    "is_instance_of": "must be a number, without quotation marks",
    "finite_number": "must be a number",
    "tuple_type": "must be a list in square brackets",
    "dict_type": "must be a table",
    "model_type": "must be a table",
    "date_type": "must be a date such as 2026-06-15, without quotation marks",
    "literal_error": "must be one of {expected}",
    "greater_than": "must be more than {gt}",
    "greater_than_equal": "must not be less than {ge}",
    "less_than_equal": "must not be more than {le}",
    "decimal_max_places": "must not have more than {decimal_places} decimals",
    "string_too_long": "must not be longer than {max_length} signs",
}
# What a pattern asks for, by the key's last step.
SHAPES = {
    "normal_from": "must be a time such as 07:30",
    "normal_until": "must be a time such as 17:30",
    "account": "must be 6 to 10 figures",
    "sort_code": "must be six figures, such as 12-34-56",
    "prefix": "may have 20 letters, figures and the signs / _ . - only",
}


def places(text: str) -> dict[Path, int]:
    """The line, from 1, of every table and key that stands on a line of its own. The text is valid TOML."""
    found: dict[Path, int] = {}
    table: Path = ()
    for number, line in enumerate(text.splitlines(), 1):
        if header := HEADER.match(line):
            table = _steps(header[1])
            found.setdefault(table, number)
        elif key := KEY.match(line):
            found.setdefault((*table, *_steps(key[1])), number)
    return found


def _steps(text: str) -> Path:
    return tuple(step.strip("\"'") for step in STEP.findall(text))


def fault_in_words(fault: ErrorDetails, where: Mapping[Path, int], model: type[BaseModel]) -> tuple[int, str]:
    """A fault that pydantic found: its line, 0 where there is none, and it as part of a sentence:
    "line 12, [labour] step_min: must be ..."."""
    path = tuple(str(step) for step in fault["loc"] if not isinstance(step, int) and step != "[key]")
    line = next((where[path[:n]] for n in range(len(path), -1, -1) if path[:n] in where), 0)
    name = path[0] if len(path) == 1 else f"[{path[0]}] {'.'.join(path[1:])}" if path else "the file"
    return line, f"{f'line {line}, ' if line else ''}{name}: {_sentence(fault, path, model)}"


def _sentence(fault: ErrorDetails, path: Path, model: type[BaseModel]) -> str:
    kind, context = fault["type"], fault.get("ctx", {})
    if kind == "extra_forbidden":
        return f"there is no such key; give {_listed(_keys(model, path[:-1]))}"
    if "[key]" in fault["loc"]:
        return f"there is no such key; give {context.get('expected', '')}"
    if kind == "value_error":
        return str(context["error"])
    if kind == "string_pattern_mismatch":
        return SHAPES.get(path[-1], f"{fault['input']!r} has the wrong shape")
    sentence = SENTENCES.get(kind)
    return sentence.format(**context) if sentence else fault["msg"]


def _keys(model: type[BaseModel], path: Path) -> list[str]:
    for step in path:
        inner: Any = model.model_fields[step].annotation
        model = inner
    return list(model.model_fields)


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
