"""The door: the first run, logging in and out, one's own password."""

from __future__ import annotations

import hmac
import threading
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import RedirectResponse

from jobnotes.desk.render import page
from jobnotes.desk.sessions import (
    ENTRY,
    SESSION,
    TOKEN_FIELD,
    Form,
    Posted,
    TheDesk,
    Tries,
    Who,
    any_form,
    drop_cookie,
    entry_secret,
    form_token,
    local_path,
    new_secret,
    refuse_forged,
    session_token,
    set_cookie,
)
from jobnotes.desk.state import Desk
from jobnotes.errors import JobnotesError
from jobnotes.paper import Firm
from jobnotes.store import TERMINAL, NotAllowedError, TooManyTriesError, WrongPasswordError
from jobnotes.workshop import Settings, save_settings

router = APIRouter(include_in_schema=False)
AtTheDoor = Annotated[Posted, Depends(any_form)]
FIRST = ("code", "display_name", "name", "firm", "address", "telephone", "email")
"""The fields of the first run that are shown again where something is wrong."""
HASHING = threading.BoundedSemaphore(2)
"""A password takes 64 MiB and a tenth of a second to look at: so many at a time."""


def tries_of(request: Request) -> Tries:
    """Who tried to log in, and how often."""
    tries: Tries = request.app.state.tries
    return tries


def _door(request: Request, desk: Desk, template: str, *, status: int = 200, **given: Any) -> Response:
    """A page for somebody who is not logged in, with a secret of its own."""
    secret = entry_secret(request)
    fresh = "" if secret else new_secret()
    response = page(request, template, status=status, token=form_token(secret or fresh), **given)
    if fresh:
        set_cookie(response, desk, ENTRY, fresh)
    return response


@router.get("/set-up")
def set_up_page(request: Request, desk: TheDesk, code: str = "") -> Response:
    """The first run: the owner and the firm."""
    if desk.workshop.people.any():
        return RedirectResponse("/", 303)
    return _door(request, desk, "set_up.html", trouble="", typed={**dict.fromkeys(FIRST, ""), "code": code})


@router.post("/set-up")
def set_up(request: Request, desk: TheDesk, form: AtTheDoor) -> Response:
    """Makes the owner, and logs them in."""
    refuse_forged(entry_secret(request), form.text(TOKEN_FIELD))
    tries_of(request).count(_address(request))
    typed = {name: form.text(name) for name in FIRST}
    try:
        if desk.workshop.people.any():
            raise NotAllowedError("The desk is set up already; log in.")
        if not hmac.compare_digest(
            typed["code"].strip().encode("utf-8", "replace"), desk.set_up_code.encode()
        ):
            raise JobnotesError("The code is not the one that `jobnotes desk` has shown.")
        if form.text("password") != form.text("again"):
            raise JobnotesError("The two passwords are not the same.")
        if not typed["firm"].strip():
            raise JobnotesError("Give the firm's name; it stands at the head of every sheet.")
        save_settings(desk.workshop.folder, _with_firm(desk.settings, typed))
        with HASHING:
            desk.workshop.people.add(
                typed["name"], typed["display_name"], "owner", form.text("password"), by=TERMINAL
            )
            _, token = desk.workshop.log_ins.begin(typed["name"].strip(), form.text("password"))
    except JobnotesError as error:
        return _door(request, desk, "set_up.html", status=422, trouble=str(error), typed=typed)
    return _inside(desk, token, "/")


def _with_firm(settings: Settings, typed: dict[str, str]) -> Settings:
    lines = [" ".join(line.split()) for line in typed["address"].splitlines()]
    firm = Firm(
        name=" ".join(typed["firm"].split()),
        address=tuple(line for line in lines if line)[:8],
        telephone=" ".join(typed["telephone"].split()),
        email=typed["email"].strip(),
    )
    return Settings(firm, settings.zone_name, settings.speech_model, settings.recording_days)


@router.get("/log-in")
def log_in_page(request: Request, desk: TheDesk, then: str = "/") -> Response:
    """Asks for name and password."""
    if not desk.workshop.people.any():
        return RedirectResponse("/set-up", 303)
    return _door(request, desk, "log_in.html", trouble="", name="", then=local_path(then))


@router.post("/log-in")
def log_in(request: Request, desk: TheDesk, form: AtTheDoor) -> Response:
    """Logs in, and goes on to where one wanted to."""
    name, then = form.text("name"), local_path(form.text("then"))
    refuse_forged(entry_secret(request), form.text(TOKEN_FIELD))
    try:
        tries_of(request).count(_address(request))
        with HASHING:
            _, token = desk.workshop.log_ins.begin(name, form.text("password"))
        tries_of(request).right(_address(request))
    except (WrongPasswordError, TooManyTriesError) as error:
        status = 429 if isinstance(error, TooManyTriesError) else 401
        response = _door(
            request, desk, "log_in.html", status=status, trouble=str(error), name=name[:64], then=then
        )
        if isinstance(error, TooManyTriesError):
            response.headers["retry-after"] = str(error.seconds)
        return response
    return _inside(desk, token, then)


def _inside(desk: Desk, token: str, then: str) -> Response:
    response = RedirectResponse(then, 303)
    set_cookie(response, desk, SESSION, token)
    drop_cookie(response, desk, ENTRY)
    return response


@router.post("/log-out")
def log_out(request: Request, desk: TheDesk, who: Who, form: Form) -> Response:
    """Ends the log-in, here and in the workshop."""
    desk.workshop.log_ins.end(session_token(request))
    desk.workshop.audit.note(who, "logged out", who.name)
    response = RedirectResponse("/log-in", 303)
    drop_cookie(response, desk, SESSION)
    return response


@router.get("/me")
def me(request: Request, who: Who) -> Response:
    """One's own account."""
    return page(request, "me.html", who, trouble="")


@router.post("/me")
def change_own_password(request: Request, desk: TheDesk, who: Who, form: Form) -> Response:
    """Gives oneself another password; every log-in ends, this one too."""
    try:
        if form.text("password") != form.text("again"):
            raise JobnotesError("The two passwords are not the same.")
        with HASHING:
            desk.workshop.people.change_password(who, form.text("password"), who, form.text("old"))
    except (TooManyTriesError, WrongPasswordError) as error:
        status = 429 if isinstance(error, TooManyTriesError) else 403
        return page(request, "me.html", who, status=status, trouble=str(error))
    except JobnotesError as error:
        return page(request, "me.html", who, status=422, trouble=str(error))
    response = RedirectResponse("/log-in", 303)
    drop_cookie(response, desk, SESSION)
    return response


def _address(request: Request) -> str:
    return request.client.host if request.client else ""
