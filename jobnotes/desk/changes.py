"""What a form on a draft's page asks for, as operations of the store."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError

from jobnotes.desk import fields
from jobnotes.desk.sessions import Posted
from jobnotes.desk.suggestions import Suggestions
from jobnotes.errors import JobnotesError
from jobnotes.register import Register
from jobnotes.register.lookup import code_key
from jobnotes.store import (
    AddItem,
    AddJob,
    Confirm,
    Draft,
    InvalidEditError,
    JoinJobs,
    MoveItem,
    Operation,
    Person,
    Redo,
    RemoveItem,
    RemoveJob,
    SetValue,
    SplitJob,
    Undo,
    Workshop,
)


@dataclass(frozen=True)
class Outcome:
    """What became of a form: the draft after it, and a sentence that says what was done."""

    draft: Draft
    told: str


def value_at(draft: Draft, pointer: str) -> Any:
    """What stands at a pointer, as plain data. Raises JobnotesError where nothing does."""
    data: Any = draft.read.model_dump(mode="json", include={"jobs", "notes"})
    for step in pointer.split("/")[1:]:
        if (
            isinstance(data, list)
            and step.isascii()
            and step.isdigit()
            and len(step) < 6
            and int(step) < len(data)
        ):
            data = data[int(step)]
        elif isinstance(data, dict) and step in data:
            data = data[step]
        else:
            raise JobnotesError("That place is not there any more; it may have moved.")
    return data


def change(
    workshop: Workshop, draft: Draft, who: Person, form: Posted, register: Register, look_up: Suggestions
) -> Outcome:
    """Does what the form says. Raises JobnotesError of the store's kinds, and fields.TypedError."""
    version = form.number("version")
    try:
        operations, told = _asked(draft, form, register, look_up)
    except ValidationError as error:
        raise InvalidEditError("The form asks for what can't be; open the page anew.") from error
    if not operations:
        if version != draft.version:
            # The store says what has changed meanwhile.
            workshop.drafts.edit(draft.id, version, who, Undo())
        return Outcome(draft, "Nothing was changed.")
    for operation in operations:
        draft = workshop.drafts.edit(draft.id, version, who, operation)
        version = draft.version
    return Outcome(draft, told)


def _saved(draft: Draft, opened: str, form: Posted) -> list[Operation]:
    """Sets what differs from what stands there, and takes the mark off the place that was opened."""
    target = fields.target_of(opened)
    if target is None:
        raise JobnotesError("There is nothing to edit at that place.")
    typed = fields.typed_value(target, form.text)
    old = value_at(draft, target.pointer)
    evidence = draft.read.evidence
    marked = {pointer for pointer, each in evidence.items() if each.check}
    operations: list[Operation] = []
    if isinstance(typed, dict) and isinstance(old, dict) and target.field not in fields.WHOLE:
        for name, value in typed.items():
            place = f"{target.pointer}/{name}"
            if value != old.get(name) or (place == opened and place in marked):
                operations.append(SetValue(pointer=place, value=value))
    elif typed != old or any(_within(each, target.pointer) for each in marked):
        operations.append(SetValue(pointer=target.pointer, value=typed))
    done = {each.pointer for each in operations if isinstance(each, SetValue)}
    if opened in marked and not any(_within(opened, each) for each in done):
        operations.append(Confirm(pointer=opened))
    return operations


def _within(pointer: str, above: str) -> bool:
    return pointer == above or pointer.startswith(above + "/")


def _added(pointer: str, form: Posted) -> AddItem:
    target = fields.target_of(f"{pointer}/0")
    if target is None or not target.is_item:
        raise JobnotesError("Nothing can be added there.")
    return AddItem(pointer=pointer, value=fields.typed_value(target, form.text))


def _stepped(draft: Draft, pointer: str, action: str) -> MoveItem:
    above, _, last = pointer.rpartition("/")
    items = value_at(draft, above)
    value_at(draft, pointer)
    if not isinstance(items, list):
        raise JobnotesError("Only an item of a list goes up and down.")
    place = int(last) + (1 if action == "down" else -1)
    if not 0 <= place < len(items):
        raise JobnotesError("It stands at the end of its list already.")
    return MoveItem(pointer=pointer, to=above, place=place)


def _moved(pointer: str, job: str) -> MoveItem:
    steps = pointer.split("/")
    if len(steps) < 5 or not job.isascii() or not job.isdigit():
        raise JobnotesError("Only an item of a list goes to another job.")
    return MoveItem(pointer=pointer, to=f"/jobs/{job}/{steps[3]}")


def _chosen(
    draft: Draft, opened: str, choice: str, register: Register, look_up: Suggestions
) -> list[Operation]:
    """Takes a row of the register over: the code or name, and what the row settles besides."""
    target = fields.target_of(opened)
    table = table_of(target)
    rows = look_up(register, table, choice) if target is not None and table is not None else []
    row = next((each for each in rows if code_key(each.value) == code_key(choice)), None)
    if target is None or row is None:
        raise JobnotesError(f"The register has no {choice[:60]!r}.")
    if table == "machine":
        place, above = target.pointer, target.pointer.rpartition("/")[0]
    elif table == "part":
        place, above = f"{target.pointer}/part_number", target.pointer
    else:
        place, above = target.pointer, target.pointer.rpartition("/")[0]
    operations: list[Operation] = [SetValue(pointer=place, value=row.value)]
    for name, value in row.fills.items():
        if (
            value is not None
            and value_at(draft, f"{above}/{name}") != value
            and (table != "site" or _open(draft, above, name))
        ):
            operations.append(SetValue(pointer=f"{above}/{name}", value=value))
    marked = {pointer for pointer, each in draft.read.evidence.items() if each.check}
    if opened in marked and opened not in {each.pointer for each in operations if isinstance(each, SetValue)}:
        operations.append(Confirm(pointer=opened))
    return operations


def _open(draft: Draft, above: str, name: str) -> bool:
    """Whether a value is not said yet, so that a site may name its customer."""
    return value_at(draft, f"{above}/{name}") is None


def table_of(target: fields.Target | None) -> Any:
    """The table of the register in which the place's value is found, None for none."""
    if target is None:
        return None
    if target.field == "/parts/*":
        last = target.opened.rpartition("/")[2]
        return "part" if target.opened == target.pointer or last in ("part_number", "description") else None
    return (fields.SINGLE[target.field].look_up or None) if target.field in fields.SINGLE else None


def _asked(
    draft: Draft, form: Posted, register: Register, look_up: Suggestions
) -> tuple[list[Operation], str]:
    """The operations that a form asks for, and the sentence for when they are done."""
    action, pointer = form.text("action"), form.text("pointer")
    if action in ("up", "down", "remove") or action.startswith("move:"):
        # The form may have been opened at one value of the item.
        target = fields.target_of(pointer)
        pointer = target.pointer if target is not None else pointer
    match action.partition(":")[0]:
        case "save":
            return _saved(draft, pointer, form), "Saved."
        case "choose":
            return _chosen(draft, pointer, form.text("choice"), register, look_up), "Taken over."
        case "confirm":
            return [Confirm(pointer=pointer)], "Confirmed."
        case "add":
            return [_added(pointer, form)], "Added."
        case "remove":
            return [RemoveItem(pointer=pointer)], "Removed."
        case "up" | "down":
            return [_stepped(draft, pointer, action)], "Moved."
        case "move":
            return [_moved(pointer, action.partition(":")[2])], "Moved to the other job."
        case "undo":
            return [Undo()], "Undone."
        case "redo":
            return [Redo()], "Done again."
        case "split":
            split = SplitJob(job=form.number("job"), pointers=form.texts("part"))
            return [split], "A new job stands behind it."
        case "join":
            return [JoinJobs(job=form.number("job"), into=form.number("into"))], "Joined."
        case "add_job":
            return [AddJob()], "A new job stands at the end."
        case "remove_job":
            return [RemoveJob(job=form.number("job"))], "The job is removed; undo brings it back."
        case _:
            raise JobnotesError("The form asks for nothing that can be done; open the page anew.")
