"""Drafts: the list of what waits, and a draft that is heard, put right and made ready to be signed."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Path, Query, Request, Response
from fastapi.responses import RedirectResponse

from jobnotes.desk import fields
from jobnotes.desk.changes import change, table_of, value_at
from jobnotes.desk.entry import HASHING
from jobnotes.desk.render import page
from jobnotes.desk.sessions import Form, Posted, TheDesk, Who
from jobnotes.desk.signing import signatures_of
from jobnotes.desk.state import Desk
from jobnotes.desk.suggestions import Suggestions
from jobnotes.desk.views import SheetView, in_words, said_of, sheet_view
from jobnotes.errors import JobnotesError
from jobnotes.store import (
    ConflictError,
    Draft,
    Memo,
    MissingError,
    NotAllowedError,
    NotReadyError,
    Person,
    TooManyTriesError,
    WrongPasswordError,
)
from jobnotes.workshop import sealed_pdf

router = APIRouter(include_in_schema=False)
Number = Annotated[int, Path(ge=1, le=2**31 - 1)]
Text = Annotated[str, Query(max_length=300)]
SHOWN = 60
"""Lines of a list on one page."""
QUIET = ("set", "confirm")
"""Corrections that leave every other place where it was."""
FIELDS = {"machine": "Machine", "customer": "Customer", "site": "Site", "part": "Part", "words": "All words"}


@router.get("/")
def front(who: Who) -> Response:
    """The front page is the list of drafts."""
    return RedirectResponse("/drafts", 303)


@router.get("/drafts")
def drafts(
    request: Request,
    desk: TheDesk,
    who: Who,
    state: Text = "open",
    words: Text = "",
    by: Text = "",
    start: Annotated[int, Query(alias="from", ge=0, le=1_000_000)] = 0,
) -> Response:
    """What waits for a look, the oldest first; what is signed; what is withdrawn; or what a search finds."""
    workshop = desk.workshop
    state = state if state in ("open", "signed", "withdrawn") else "open"
    found, trouble = None, ""
    if words.strip():
        try:
            found = workshop.search(words, who, field=by if by in FIELDS else None)  # type: ignore[arg-type]
        except JobnotesError as error:
            trouble, found = str(error), []
    waiting = workshop.drafts.lines(who, "open")
    lines = (
        waiting
        if state == "open"
        else workshop.drafts.lines(who, "withdrawn")
        if state == "withdrawn"
        else []
    )
    sheets = workshop.sheets.lines(limit=SHOWN + 1, skip=start) if state == "signed" else []
    counts = {"open": len(waiting), "marked": sum(each.marked for each in waiting)}
    return page(
        request,
        "drafts.html",
        who,
        state=state,
        lines=lines[start : start + SHOWN],
        sheets=sheets[:SHOWN],
        more=start + SHOWN if len(lines) > start + SHOWN or len(sheets) > SHOWN else None,
        counts=counts,
        found=found,
        words=words,
        by=by,
        fields=FIELDS,
        trouble=trouble,
    )


def memo_of(desk: Desk, draft: Draft) -> Memo | None:
    """The memo of a draft, None where it has none."""
    return desk.workshop.memos.get(draft.memo_id) if draft.memo_id is not None else None


def is_played(memo: Memo | None) -> bool:
    """Whether there is something to hear: not of a typed memo, nor of a deleted recording."""
    return memo is not None and memo.ending != ".txt" and memo.forgotten_at is None


@router.get("/drafts/{number}")
def draft_page(
    request: Request,
    desk: TheDesk,
    who: Who,
    number: Number,
    at: Text = "",
    edit: Text = "",
    add: Text = "",
    split: Text = "",
    told: Text = "",
) -> Response:
    """A draft. `at` names the mark to look at, `edit` the place and `add` the list whose form is open."""
    draft = desk.workshop.drafts.get(number, who)
    desk.saw(who, f"draft {number}")
    return _shown(request, desk, who, draft, at=at, edit=edit, add=add, split=split)


def _shown(
    request: Request,
    desk: Desk,
    who: Person,
    draft: Draft,
    *,
    at: str = "",
    edit: str = "",
    add: str = "",
    split: str = "",
    told: str = "",
    trouble: str = "",
    conflict: ConflictError | None = None,
    typed: Posted | None = None,
    wrong: str = "",
    status: int = 200,
) -> Response:
    workshop, read = desk.workshop, draft.read
    problems = workshop.problems(draft)
    view = sheet_view(read.jobs, read.notes, read.evidence, problems)
    view.base = f"/drafts/{draft.id}"
    mine = draft.state == "open" and draft.engineer_id == who.id
    form = _form(request, desk, draft, edit, add, typed, wrong) if mine and (edit or add) else None
    current = view.mark_at(at or None)
    memo = memo_of(desk, draft)
    given: dict[str, Any] = {
        "draft": draft,
        "view": view,
        "mine": mine,
        "form": form,
        "current": current,
        "choices": _choices(request, desk, draft, current) if mine and current and form is None else [],
        "can_edit_current": current is not None and fields.target_of(current.pointer) is not None,
        "split": int(split) if split.isascii() and split.isdigit() and len(split) < 5 else None,
        "told": told,
        "trouble": trouble,
        "conflict": conflict,
        "kept": _kept(typed) if conflict is not None and typed is not None else [],
        "comments": workshop.drafts.comments(draft.id, who),
        "missing": [each.why for each in problems if each.kind == "missing"],
        "part": "x-part" in request.headers,
    }
    if not given["part"]:
        given |= {
            "memo": memo,
            "played": is_played(memo),
            "engineers": [
                each
                for each in workshop.people.all(active_only=True)
                if each.role != "office" and who.role != "engineer"
            ],
        }
    return page(request, "draft_part.html" if given["part"] else "draft.html", who, status=status, **given)


def _kept(typed: Posted) -> list[str]:
    """What somebody had typed, so that a conflict loses none of it."""
    return [text for name in typed.names("f.") if (text := typed.text(name).strip())]


def _form(
    request: Request, desk: Desk, draft: Draft, edit: str, add: str, typed: Posted | None, wrong: str
) -> dict[str, Any] | None:
    """The open form: what it is for, and its fields."""
    target = fields.target_of(f"{add}/0" if add else edit)
    if target is None or (add and not target.is_item):
        return None
    try:
        value = value_at(draft, add if add else target.pointer)
    except JobnotesError:
        return None
    if add:
        value = None

    def before(name: str) -> str | None:
        return typed.text(f"f.{name}") if typed is not None and typed.given(f"f.{name}") else None

    made = fields.fields_of(target, value, before)
    steps = target.pointer.split("/")
    return {
        "adding": bool(add),
        "pointer": add or edit,
        "target": target,
        "fields": made,
        "wrong": wrong,
        "marked": any(
            each.check and (place == edit or place.startswith(target.pointer))
            for place, each in draft.read.evidence.items()
        ),
        "job": int(steps[2]) if steps[1] == "jobs" else None,
        "said": None if add else said_of(draft.read.evidence, edit),
    }


def _choices(request: Request, desk: Desk, draft: Draft, current: Any) -> list[Any]:
    """What the register has for a marked code or name: a key each."""
    target = fields.target_of(current.pointer)
    table = table_of(target)
    if target is None or table is None:
        return []
    look_up: Suggestions = request.app.state.look_up
    register = desk.workshop.registers.current()
    try:
        value = value_at(draft, current.pointer)
    except JobnotesError:
        return []
    if isinstance(value, dict):
        value = value.get("part_number") or value.get("description")
    text = value if isinstance(value, str) and value else (current.said.text if current.said else "")
    found = look_up(register, table, text, 4) if text else []
    return [each for each in found if each.value != value][:3]


@router.post("/drafts/{number}/change")
def change_draft(request: Request, desk: TheDesk, who: Who, form: Form, number: Number) -> Response:
    """Does what a form on the page asks for."""
    draft = desk.workshop.drafts.get(number, who)
    pointer, action = form.text("pointer")[:300], form.text("action")
    again: dict[str, Any] = (
        {"edit": pointer} if action == "save" else {"add": pointer} if action == "add" else {}
    )
    values = form.without("f.")
    before = sheet_view(draft.read.jobs, draft.read.notes, draft.read.evidence)
    try:
        outcome = change(
            desk.workshop, draft, who, values, desk.workshop.registers.current(), request.app.state.look_up
        )
    except fields.TypedError as error:
        return _shown(
            request,
            desk,
            who,
            draft,
            **again,
            trouble=str(error),
            typed=form,
            wrong=error.name,
            status=422,
            at=form.text("at"),
        )
    except ConflictError as error:
        fresh = desk.workshop.drafts.get(number, who)
        quiet = all(each.kind in QUIET for each in error.corrections)
        return _shown(
            request,
            desk,
            who,
            fresh,
            **(again if quiet else {}),
            conflict=error,
            typed=form,
            status=409,
            at=form.text("at"),
        )
    except (NotAllowedError, MissingError):
        raise
    except JobnotesError as error:
        fresh = desk.workshop.drafts.get(number, who)
        return _shown(
            request,
            desk,
            who,
            fresh,
            **again,
            trouble=in_words(str(error)),
            typed=form,
            status=422,
            at=form.text("at"),
        )
    on = _next(before, outcome.draft, form.text("at") or pointer)
    if "x-part" in request.headers:
        return _shown(request, desk, who, outcome.draft, at=on, told=outcome.told)
    return RedirectResponse(f"/drafts/{number}" + (f"?at={on}" if on else "") + "#look", 303)


def _next(before: SheetView, draft: Draft, at: str) -> str:
    """The mark to look at next: the one after that which was looked at, if it is gone."""
    open_marks = {pointer for pointer, each in draft.read.evidence.items() if each.check}
    if at in open_marks:
        return at
    here = next((mark for mark in before.marks if mark.pointer == at), None)
    if here is None:
        return ""
    later = [mark.pointer for mark in before.marks if mark.number > here.number]
    earlier = [mark.pointer for mark in before.marks if mark.number < here.number]
    return next((each for each in [*later, *earlier] if each in open_marks), "")


@router.post("/drafts/{number}/comment")
def comment(desk: TheDesk, who: Who, form: Form, number: Number) -> Response:
    """Writes a word to a draft, sends it back, gives it to somebody, or withdraws it."""
    drafts_, action, text = desk.workshop.drafts, form.text("action"), form.text("text")
    if action == "comment":
        drafts_.comment(number, who, text)
    elif action == "send_back":
        drafts_.send_back(number, who, text)
    elif action == "take":
        drafts_.assign(number, who, who)
    elif action == "assign":
        drafts_.assign(number, desk.workshop.people.get(form.number("engineer")), who)
    elif action == "withdraw":
        drafts_.withdraw(number, who, text)
        return RedirectResponse("/drafts", 303)
    else:
        raise JobnotesError("The form asks for nothing that can be done; open the page anew.")
    return RedirectResponse(f"/drafts/{number}#talk", 303)


@router.get("/drafts/{number}/history")
def history(request: Request, desk: TheDesk, who: Who, number: Number) -> Response:
    """Every correction of a draft."""
    draft = desk.workshop.drafts.get(number, who)
    desk.saw(who, f"draft {number}")
    return page(request, "history.html", who, draft=draft, changes=desk.workshop.drafts.history(number, who))


@router.get("/drafts/{number}/sign")
def sign_page(request: Request, desk: TheDesk, who: Who, number: Number) -> Response:
    """What is about to be signed, and where to sign."""
    draft = desk.workshop.drafts.get(number, who)
    if draft.state != "open" or draft.engineer_id != who.id or draft.marked:
        return RedirectResponse(f"/drafts/{number}", 303)
    desk.saw(who, f"draft {number}")
    return _sign_page(request, desk, who, draft, {"signature": who.display_name})


def _sign_page(
    request: Request,
    desk: Desk,
    who: Person,
    draft: Draft,
    typed: dict[str, str],
    trouble: str = "",
    status: int = 200,
) -> Response:
    problems = desk.workshop.problems(draft)
    view = sheet_view(draft.read.jobs, draft.read.notes, draft.read.evidence, problems)
    return page(
        request,
        "sign.html",
        who,
        status=status,
        draft=draft,
        view=view,
        jobs=draft.read.jobs,
        doubts=[each for each in problems if each.kind == "doubt"],
        missing=[each.why for each in problems if each.kind == "missing"],
        typed={"customer": "", "drawn": "", "customer_drawn": "", **typed},
        trouble=trouble,
    )


@router.post("/drafts/{number}/sign")
def sign(request: Request, desk: TheDesk, who: Who, form: Form, number: Number) -> Response:
    """Signs a draft: a sheet for each job."""
    names = ("signature", "customer", "drawn", "customer_drawn")
    typed = {name: form.text(name) for name in names}
    try:
        signature, customer = signatures_of(typed)
        make_pdf = sealed_pdf(desk.workshop, desk.settings)
        with HASHING:
            signed = desk.workshop.sheets.sign(
                number,
                form.number("version"),
                who,
                form.text("password"),
                signature,
                make_pdf=make_pdf,
                zone=desk.settings.zone,
                customer=customer,
            )
    except (NotAllowedError, MissingError):
        raise
    except JobnotesError as error:
        kinds = {WrongPasswordError: 403, TooManyTriesError: 429, ConflictError: 409, NotReadyError: 409}
        status = next((code for kind, code in kinds.items() if isinstance(error, kind)), 422)
        sentence = "That is not your password." if isinstance(error, WrongPasswordError) else str(error)
        fresh = desk.workshop.drafts.get(number, who)
        response = _sign_page(request, desk, who, fresh, typed, sentence, status)
        if isinstance(error, TooManyTriesError):
            response.headers["retry-after"] = str(error.seconds)
        return response
    more = f"?with={len(signed) - 1}" if len(signed) > 1 else ""
    return RedirectResponse(f"/sheets/{signed[0].number}{more}", 303)
