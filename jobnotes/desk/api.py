"""What scripts ask for, as JSON. The same rights hold as on the pages; a change needs the page's token."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Path, Query, Request, Response
from pydantic import BaseModel, ConfigDict, Field, JsonValue

from jobnotes.desk import fields
from jobnotes.desk.draft_pages import is_played, memo_of
from jobnotes.desk.intake_pages import standing_data, visible
from jobnotes.desk.sessions import Sender, TheDesk, Who
from jobnotes.desk.state import Desk
from jobnotes.desk.views import in_words
from jobnotes.errors import JobnotesError
from jobnotes.paper import words
from jobnotes.store import Draft, MissingError, Person, operation_of
from jobnotes.store.finding import FIELDS

ANSWERS: dict[int | str, dict[str, Any]] = {
    code: {
        "description": what,
        "content": {"application/json": {"schema": {"$ref": "#/components/schemas/Refusal"}}},
    }
    for code, what in {
        400: "It can't be done, and why",
        401: "Nobody is logged in",
        403: "Not allowed, or without the page's token",
        404: "There is none",
        409: "The draft was changed meanwhile, or is not ready",
        413: "Too much at once",
        422: "Not understood",
    }.items()
}
router = APIRouter(prefix="/api", responses=ANSWERS)
Number = Annotated[int, Path(ge=1, le=2**31 - 1)]
Words = Annotated[str, Query(max_length=200)]


class Given(BaseModel):
    """What is sent here: nothing but the named fields."""

    model_config = ConfigDict(extra="forbid")


class Edit(Given):
    """An operation for the version of a draft that one has seen. docs/desk.md lists the operations."""

    version: Annotated[int, Field(ge=1, le=2**31 - 1)]
    operation: dict[str, JsonValue]


class Trial(Given):
    """A value tried at a place of a draft. With `typed` it is text as it stands in a form's field; with
    `item` it is an item for the list at `pointer`, the text of each of its fields."""

    pointer: Annotated[str, Field(max_length=200, pattern="^/")]
    value: JsonValue = None
    typed: Annotated[str, Field(max_length=4_000)] | None = None
    item: dict[str, Annotated[str, Field(max_length=4_000)]] | None = None


class Refusal(BaseModel):
    """Why something was not done. For a conflict the newest version and what was changed; for a draft that is
    not ready the places still to be looked at."""

    error: str
    version: int | None = None
    changes: list[str] | None = None
    pointers: list[str] | None = None


class Line(BaseModel):
    """A draft in a list."""

    id: int
    version: int
    state: str
    memo: str
    engineer: str
    created_at: str
    changed_at: str
    amends: int | None
    returned: bool
    marked: int
    jobs: list[str]


class Problem(BaseModel):
    """What is not right with a draft."""

    pointer: str
    kind: Literal["marked", "doubt", "missing"]
    why: str


class WholeDraft(BaseModel):
    """A draft with its document."""

    id: int
    version: int
    state: str
    engineer: str
    marked: int
    can_undo: bool
    can_redo: bool
    returned: bool
    amends: int | None
    read: dict[str, JsonValue]
    problems: list[Problem]


class Tried(BaseModel):
    """What would be wrong with a value, a sentence each; empty where nothing is."""

    wrong: list[str]


class Wave(BaseModel):
    """The shape of a recording: levels of equal pieces of it, 0 to 1 of the loudest."""

    seconds: float
    peaks: list[float]


class Suggested(BaseModel):
    """A row of the register."""

    value: str
    more: str


class Hit(BaseModel):
    """A draft or sheet that was found."""

    kind: Literal["draft", "sheet"]
    number: int
    revision: int
    state: str
    title: str
    date: str


class MemoStanding(BaseModel):
    """How far a memo is. `share` of it heard, 0 to 1, while it is being heard."""

    id: int
    file_name: str
    state: str
    share: float | None
    failure: str | None
    draft: int | None


@router.get("/drafts")
def drafts(desk: TheDesk, who: Who, state: Literal["open", "signed", "withdrawn"] = "open") -> list[Line]:
    """The drafts that the person may see, the oldest first."""
    return [
        Line(
            id=each.id,
            version=each.version,
            state=each.state,
            memo=each.memo,
            engineer=each.engineer,
            created_at=each.created_at.isoformat(),
            changed_at=each.changed_at.isoformat(),
            amends=each.amends,
            returned=each.returned,
            marked=each.marked,
            jobs=list(each.jobs),
        )
        for each in desk.workshop.drafts.lines(who, state)
    ]


@router.get("/drafts/{number}")
def draft(desk: TheDesk, who: Who, number: Number) -> WholeDraft:
    """A draft in its newest version."""
    found = desk.workshop.drafts.get(number, who)
    desk.saw(who, f"draft {number}")
    return _whole(desk, found)


def _whole(desk: Desk, found: Draft) -> WholeDraft:
    return WholeDraft(
        id=found.id,
        version=found.version,
        state=found.state,
        engineer=found.engineer,
        marked=found.marked,
        can_undo=found.can_undo,
        can_redo=found.can_redo,
        returned=found.returned,
        amends=found.amends,
        read=found.read.model_dump(mode="json"),
        problems=[Problem(**asdict(each)) for each in desk.workshop.problems(found)],
    )


@router.post("/drafts/{number}/edits")
def edit(desk: TheDesk, who: Sender, number: Number, given: Edit) -> WholeDraft:
    """Does one operation to a draft. 409 with what was changed where somebody else was first."""
    operation = operation_of(given.operation)
    return _whole(desk, desk.workshop.drafts.edit(number, given.version, who, operation))


@router.post("/drafts/{number}/check")
def check(desk: TheDesk, who: Sender, number: Number, given: Trial) -> Tried:
    """Tries a value at a place, and changes nothing."""
    found = desk.workshop.drafts.get(number, who)
    value: Any = given.value
    if given.item is not None:
        return _added(desk, found, given.pointer, given.item)
    if given.typed is not None:
        try:
            value = _typed(given.pointer, given.typed)
        except fields.TypedError as error:
            return Tried(wrong=[str(error)])
    return Tried(wrong=[in_words(each) for each in desk.workshop.check(found, given.pointer, value)])


def _added(desk: Desk, draft: Draft, pointer: str, item: dict[str, str]) -> Tried:
    """An item tried as it is being typed: what is not typed yet is no fault."""
    target = fields.target_of(f"{pointer}/0")
    if target is None or not target.is_item:
        raise MissingError(f"There is no list at {pointer}.")
    try:
        value = fields.typed_value(target, lambda name: item.get(name, ""))
    except fields.TypedError as error:
        return Tried(wrong=[str(error)] if item.get(error.name, "").strip() else [])
    return Tried(wrong=[in_words(each) for each in desk.workshop.check(draft, pointer, value, added=True)])


def _typed(pointer: str, text: str) -> Any:
    """What stands in the field of a form, as a value."""
    target = fields.target_of(pointer)
    if target is None:
        raise MissingError(f"There is no field for {pointer}.")
    kinds = fields.OBJECTS.get(target.field)
    if kinds is None:
        kind = fields.SINGLE.get(target.field, fields.Kind("long", needed=True))
        return fields.value_of(kind, "value", words.said("field", target.field), text)
    name = pointer.rpartition("/")[2]
    if name not in kinds:
        raise MissingError(f"There is no field for {pointer}.")
    return fields.value_of(kinds[name], name, fields.LABELS[name], text)


def _played(desk: Desk, who: Person, number: int) -> Any:
    found = desk.workshop.drafts.get(number, who)
    memo = memo_of(desk, found)
    if memo is None or not is_played(memo):
        raise MissingError("There is no recording to this draft.")
    path = desk.workshop.memos.recording(memo)
    try:
        return desk.sounds.played(memo.sha256, path)
    except JobnotesError as error:
        raise JobnotesError(str(error).replace(str(path), memo.file_name)) from error


@router.get("/drafts/{number}/waveform")
def waveform(desk: TheDesk, who: Who, number: Number) -> Wave:
    """The shape of the recording, to be drawn."""
    sound = _played(desk, who, number)
    return Wave(seconds=sound.seconds, peaks=list(sound.peaks))


@router.get("/drafts/{number}/recording", include_in_schema=False)
def recording(request: Request, desk: TheDesk, who: Who, number: Number) -> Response:
    """The recording as WAV, whole or the piece that is asked for (RFC 9110, section 14)."""
    wav = _played(desk, who, number).wav
    desk.saw(who, f"draft {number}", "heard the recording of")
    headers = {"accept-ranges": "bytes"}
    asked = request.headers.get("range", "")
    unit, _, span = asked.partition("=")
    first, dash, last = span.partition("-")
    if (
        unit != "bytes"
        or not dash
        or not (first + last).isascii()
        or not (first + last).isdigit()
        or "," in span
    ):
        return Response(wav, media_type="audio/wav", headers=headers)
    size = len(wav)
    if first:
        begin = int(first[:12])
        end = min(int(last[:12]), size - 1) if last else size - 1
    else:
        begin, end = max(0, size - int(last[:12])), size - 1
    if begin > end or begin >= size:
        return Response(status_code=416, headers={**headers, "content-range": f"bytes */{size}"})
    headers["content-range"] = f"bytes {begin}-{end}/{size}"
    return Response(wav[begin : end + 1], 206, media_type="audio/wav", headers=headers)


@router.get("/register/{table}")
def look_up(
    request: Request,
    desk: TheDesk,
    who: Who,
    table: Literal["machine", "part", "customer", "site"],
    text: Words = "",
) -> list[Suggested]:
    """What the register has for a text, the best first."""
    found = request.app.state.look_up(desk.workshop.registers.current(), table, text)
    return [Suggested(value=each.value, more=each.more) for each in found]


@router.get("/search")
def search(
    desk: TheDesk,
    who: Who,
    words: Annotated[str, Query(min_length=1, max_length=200)],
    field: Literal["machine", "customer", "site", "part", "words"] | None = None,
) -> list[Hit]:
    """Drafts and sheets that hold the words."""
    assert field is None or field in FIELDS
    return [Hit(**asdict(each)) for each in desk.workshop.search(words, who, field=field)]


@router.get("/memos")
def memos(desk: TheDesk, who: Who) -> list[MemoStanding]:
    """The memos that wait, are being heard, have failed or were done lately."""
    _, standings = desk.hearing.standings()
    return [MemoStanding(**standing_data(each)) for each in visible(who, standings)]


@router.get("/openapi.json", include_in_schema=False)
def schema(request: Request, who: Who) -> dict[str, Any]:
    """The description of all this (OpenAPI 3.1)."""
    described: dict[str, Any] = request.app.openapi()
    return described
