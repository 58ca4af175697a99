"""The desk as one application: its pages, its answers to scripts, and how it says no."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any
from urllib.parse import quote

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, RedirectResponse
from starlette.exceptions import HTTPException

from jobnotes import __version__
from jobnotes.desk import (
    api,
    draft_pages,
    entry,
    fleet_pages,
    intake_pages,
    invoice_pages,
    machine_pages,
    office_pages,
    sheet_pages,
    stock_pages,
)
from jobnotes.desk.guard import LOOPBACK, Guard
from jobnotes.desk.render import give_asset, page
from jobnotes.desk.sessions import ForgedError, NotLoggedInError, Tries, logged_in
from jobnotes.desk.state import Desk, desk_of
from jobnotes.desk.suggestions import Suggestions
from jobnotes.errors import JobnotesError
from jobnotes.store import (
    ConflictError,
    InvalidEditError,
    MissingError,
    NotAllowedError,
    NotReadyError,
    TooManyTriesError,
    WrongPasswordError,
)

ROOMS = (
    entry,
    intake_pages,
    draft_pages,
    sheet_pages,
    machine_pages,
    invoice_pages,
    stock_pages,
    fleet_pages,
    office_pages,
    api,
)
STATUS: dict[type[JobnotesError], int] = {
    NotLoggedInError: 401,
    ForgedError: 403,
    WrongPasswordError: 403,
    NotAllowedError: 403,
    MissingError: 404,
    ConflictError: 409,
    NotReadyError: 409,
    InvalidEditError: 422,
    TooManyTriesError: 429,
}


def make_app(desk: Desk, *, hosts: Iterable[str] | None = LOOPBACK) -> FastAPI:
    """The application. `hosts`: the names by which browsers may call it, None for any (under TLS alone)."""
    app = FastAPI(
        title="jobnotes desk",
        version=__version__,
        docs_url=None,
        redoc_url=None,
        openapi_url=None,
        swagger_ui_oauth2_redirect_url=None,
    )
    app.state.desk = desk
    app.state.tries = Tries()
    app.state.look_up = Suggestions()
    for room in ROOMS:
        app.include_router(room.router)
    app.add_api_route("/assets/{mark}/{name}", give_asset, include_in_schema=False)
    app.add_exception_handler(JobnotesError, _said_no)  # type: ignore[arg-type]
    app.add_exception_handler(RequestValidationError, _not_understood)  # type: ignore[arg-type]
    app.add_exception_handler(HTTPException, _no_such)  # type: ignore[arg-type]
    app.add_middleware(Guard, hosts=hosts)
    return app


def status_of(error: JobnotesError) -> int:
    """The HTTP status that an error answers with (RFC 9110)."""
    return next((status for kind, status in STATUS.items() if isinstance(error, kind)), 400)


def _said_no(request: Request, error: JobnotesError) -> Response:
    if isinstance(error, NotLoggedInError) and not _of_script(request):
        if request.method in ("GET", "HEAD"):
            then = request.url.path + (f"?{request.url.query}" if request.url.query else "")
            return RedirectResponse(f"/log-in?then={quote(then)}", 303)
        return RedirectResponse("/log-in", 303)
    more: dict[str, Any] = {}
    if isinstance(error, ConflictError):
        more = {"version": error.version, "changes": [each.in_words() for each in error.corrections]}
    if isinstance(error, NotReadyError):
        more = {"pointers": list(error.pointers)}
    response = _answer(request, status_of(error), str(error), more)
    if isinstance(error, TooManyTriesError):
        response.headers["retry-after"] = str(error.seconds)
    return response


def _not_understood(request: Request, error: RequestValidationError) -> Response:
    first = error.errors()[0]
    where = "/".join(str(step) for step in first["loc"])[:100]
    return _answer(request, 422, f"The request can't be understood: {first['msg']} ({where}).", {})


def _no_such(request: Request, error: HTTPException) -> Response:
    sentences = {404: "There is no such page.", 405: "That can't be done here."}
    sentence = sentences.get(error.status_code, str(error.detail))
    response = _answer(request, error.status_code, sentence, {})
    if error.headers:
        response.headers.update(error.headers)
    return response


def _of_script(request: Request) -> bool:
    return request.url.path.startswith("/api/") or "x-token" in request.headers


def _answer(request: Request, status: int, sentence: str, more: dict[str, Any]) -> Response:
    # A lone half of a letter, as JSON may bring it, can't be sent.
    sentence = sentence.encode("utf-8", "replace").decode()
    # Where the workshop stands on the disk is nobody's business who asks from elsewhere.
    sentence = sentence.replace(f"{desk_of(request).workshop.folder.path}/", "")
    if _of_script(request):
        return JSONResponse({"error": sentence, **more}, status)
    try:
        who = logged_in(request)
    except JobnotesError:
        who = None
    return page(request, "trouble.html", who, status=status, sentence=sentence)
