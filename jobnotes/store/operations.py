"""What can be done to a draft. Each operation is data: it comes as JSON from a page and is kept as JSON."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, TypeAdapter, ValidationError

from jobnotes.store.errors import InvalidEditError

Pointer = Annotated[str, StringConstraints(max_length=200, pattern=r"^/")]
Place = Annotated[int, Field(ge=0, le=10_000)]


class _Operation(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class SetValue(_Operation):
    """Puts a value at a pointer: a text, a number, null, or a small object such as a size or a reading.

    The place then counts as looked at. The same value again confirms it.
    """

    kind: Literal["set"] = "set"
    pointer: Pointer
    value: Any


class Confirm(_Operation):
    """Says that a marked value is right."""

    kind: Literal["confirm"] = "confirm"
    pointer: Pointer


class AddItem(_Operation):
    """Puts a new item into the list at a pointer, before `place` (from 0), else at the end."""

    kind: Literal["add"] = "add"
    pointer: Pointer
    value: Any
    place: Place | None = None


class RemoveItem(_Operation):
    """Takes an item out of its list."""

    kind: Literal["remove"] = "remove"
    pointer: Pointer


class MoveItem(_Operation):
    """Moves an item into another list, or to another place in its own (`place`, as it stands after), or a
    single value to the same field of another job, which it replaces there."""

    kind: Literal["move"] = "move"
    pointer: Pointer
    to: Pointer
    place: Place | None = None


class SplitJob(_Operation):
    """Makes a new job behind `job` and moves to it what stands at the pointers.

    Both keep date, customer, site and order number.
    """

    kind: Literal["split"] = "split"
    job: Place
    pointers: list[Pointer] = Field(max_length=500)


class JoinJobs(_Operation):
    """Joins `job` to the job `into`, and removes it. Where both name a value and they differ, that of `into`
    stays and is marked with the other."""

    kind: Literal["join"] = "join"
    job: Place
    into: Place


class AddJob(_Operation):
    """Puts an empty job before `place`, else at the end."""

    kind: Literal["add_job"] = "add_job"
    place: Place | None = None


class RemoveJob(_Operation):
    """Takes a job out, with its evidence."""

    kind: Literal["remove_job"] = "remove_job"
    job: Place


class Undo(_Operation):
    """Takes the last change back that is not taken back yet."""

    kind: Literal["undo"] = "undo"


class Redo(_Operation):
    """Makes the last change again that was taken back."""

    kind: Literal["redo"] = "redo"


Change = SetValue | Confirm | AddItem | RemoveItem | MoveItem | SplitJob | JoinJobs | AddJob | RemoveJob
Operation = Change | Undo | Redo

_ANY: TypeAdapter[Operation] = TypeAdapter(Annotated[Operation, Field(discriminator="kind")])


def operation_of(data: Any) -> Operation:
    """The operation that plain data describe, by `kind`. Raises InvalidEditError for anything else."""
    try:
        return _ANY.validate_python(data)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        where = "/".join(map(str, first["loc"])) or "its beginning"
        raise InvalidEditError(
            f"The change can't be understood: at {where}, {first['msg'][:1].lower()}{first['msg'][1:]}."
        ) from error
