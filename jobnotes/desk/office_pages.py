"""What the office and the owner look after: people, words, the firm, and who did what."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Any

from fastapi import APIRouter, Path, Query, Request, Response
from fastapi.responses import RedirectResponse

from jobnotes.desk.entry import HASHING
from jobnotes.desk.render import page
from jobnotes.desk.sessions import Form, TheDesk, Who
from jobnotes.desk.state import Desk
from jobnotes.errors import JobnotesError
from jobnotes.paper import Firm
from jobnotes.store import NotAllowedError, Person
from jobnotes.workshop import save_settings

router = APIRouter(include_in_schema=False)
Number = Annotated[int, Path(ge=1, le=2**31 - 1)]


def _refuse_all_but_owner(who: Person, what: str) -> None:
    if who.role != "owner":
        raise NotAllowedError(f"Only the owner {what}.")


@router.get("/people")
def people(request: Request, desk: TheDesk, who: Who) -> Response:
    """The accounts."""
    _refuse_all_but_owner(who, "looks after people")
    return _people(request, desk, who)


def _people(
    request: Request, desk: Desk, who: Person, *, trouble: str = "", typed: Any = None, status: int = 200
) -> Response:
    return page(
        request,
        "people.html",
        who,
        status=status,
        people=desk.workshop.people.all(),
        trouble=trouble,
        typed=typed or {"name": "", "display_name": "", "role": "engineer"},
    )


@router.post("/people")
def add_person(request: Request, desk: TheDesk, who: Who, form: Form) -> Response:
    """Adds a person."""
    _refuse_all_but_owner(who, "adds people")
    typed = {name: form.text(name) for name in ("name", "display_name", "role")}
    role: Any = typed["role"]
    try:
        with HASHING:
            desk.workshop.people.add(
                typed["name"], typed["display_name"], role, form.text("password"), by=who
            )
    except NotAllowedError:
        raise
    except JobnotesError as error:
        return _people(request, desk, who, trouble=str(error), typed=typed, status=422)
    return RedirectResponse("/people", 303)


@router.post("/people/{number}")
def change_person(request: Request, desk: TheDesk, who: Who, form: Form, number: Number) -> Response:
    """Gives a person another role or password, closes or opens the account, or logs them out."""
    _refuse_all_but_owner(who, "looks after people")
    all_people, action = desk.workshop.people, form.text("action")
    person = all_people.get(number)
    try:
        if action == "role":
            all_people.set_role(person, form.text("role"), who)  # type: ignore[arg-type]
        elif action in ("close", "open"):
            all_people.set_active(person, action == "open", who)
        elif action == "log_out":
            desk.workshop.log_ins.end_all(person)
            desk.workshop.audit.note(who, "logged out everywhere", person.name)
        elif action == "password" and person.id != who.id:
            with HASHING:
                all_people.change_password(person, form.text("password"), who)
        else:
            raise JobnotesError(
                "The form asks for nothing that can be done; your own password is under your name."
            )
    except JobnotesError as error:
        return _people(request, desk, who, trouble=str(error), status=422)
    return RedirectResponse("/people", 303)


@router.get("/words")
def words(request: Request, desk: TheDesk, who: Who) -> Response:
    """What may be learned, and what was."""
    return _words(request, desk, who)


def _words(request: Request, desk: Desk, who: Person, trouble: str = "", status: int = 200) -> Response:
    store = desk.workshop.words
    return page(
        request,
        "words.html",
        who,
        status=status,
        proposals=store.proposals(),
        learned=store.learned(),
        may_decide=who.role != "engineer",
        trouble=trouble,
    )


@router.post("/words")
def decide(request: Request, desk: TheDesk, who: Who, form: Form) -> Response:
    """Accepts or declines a proposal, or takes a decision back."""
    store, action = desk.workshop.words, form.text("action")
    key = (form.text("heard"), form.text("meant"))
    try:
        if action == "forget":
            word = next((each for each in store.learned() if (each.heard, each.meant) == key), None)
            if word is None:
                raise JobnotesError("That word is not here any more.")
            store.forget(word, who)
        else:
            proposal = next((each for each in store.proposals() if (each.heard, each.meant) == key), None)
            if proposal is None or action not in ("accept", "decline"):
                raise JobnotesError("That word is not proposed any more; somebody may have decided on it.")
            (store.accept if action == "accept" else store.decline)(proposal, who)
    except NotAllowedError:
        raise
    except JobnotesError as error:
        return _words(request, desk, who, str(error), 422)
    return RedirectResponse("/words", 303)


@router.get("/firm")
def firm(request: Request, desk: TheDesk, who: Who) -> Response:
    """The head of the sheets."""
    _refuse_all_but_owner(who, "changes the firm")
    held = desk.settings.firm
    typed = {
        "firm": held.name,
        "address": "\n".join(held.address),
        "telephone": held.telephone,
        "email": held.email,
    }
    return page(request, "firm.html", who, typed=typed, trouble="", done=False)


@router.post("/firm")
def change_firm(request: Request, desk: TheDesk, who: Who, form: Form) -> Response:
    """Changes the head of the sheets to come; signed ones stay as they are."""
    _refuse_all_but_owner(who, "changes the firm")
    typed = {name: form.text(name) for name in ("firm", "address", "telephone", "email")}
    lines = [" ".join(line.split()) for line in typed["address"].splitlines()]
    try:
        if not typed["firm"].strip():
            raise JobnotesError("Give the firm's name; it stands at the head of every sheet.")
        changed = Firm(
            " ".join(typed["firm"].split()),
            tuple(line for line in lines if line)[:8],
            " ".join(typed["telephone"].split()),
            typed["email"].strip(),
        )
        save_settings(desk.workshop.folder, replace(desk.settings, firm=changed))
    except JobnotesError as error:
        return page(request, "firm.html", who, status=422, typed=typed, trouble=str(error), done=False)
    desk.workshop.audit.note(who, "changed the firm", "settings", changed.name[:200])
    return page(request, "firm.html", who, typed=typed, trouble="", done=True)


@router.get("/audit")
def audit(
    request: Request,
    desk: TheDesk,
    who: Who,
    on: Annotated[str, Query(max_length=200)] = "",
) -> Response:
    """Who did or saw what, the newest first."""
    _refuse_all_but_owner(who, "looks into the audit")
    lines = desk.workshop.audit.lines(300, on.strip() or None)
    return page(request, "audit.html", who, lines=lines, on=on)
