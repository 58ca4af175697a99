"""Who a request is from: the cookie of a log-in, and the token that shows that a form is one of ours."""

from __future__ import annotations

import hashlib
import hmac
import secrets
import threading
import time
from collections import defaultdict, deque
from typing import Annotated
from urllib.parse import urlsplit

from fastapi import Depends, Request, Response
from starlette.datastructures import FormData, UploadFile

from jobnotes.desk.state import Desk, desk_of
from jobnotes.errors import JobnotesError
from jobnotes.store import Person, TooManyTriesError

SESSION, ENTRY = "jobnotes_session", "jobnotes_entry"
TOKEN_FIELD, TOKEN_HEADER = "token", "x-token"
TRIES, TRIES_WITHIN_S = 20, 300.0
"""Wrong log-ins from one address within so many seconds; names have a limit of their own."""
MOST_FIELDS = 1_500
MOST_FILES = 20


class NotLoggedInError(JobnotesError):
    """Nobody is logged in."""


class ForgedError(JobnotesError):
    """The form, or the request, does not carry the token that its page was given."""


class Tries:
    """How often each address has tried to log in lately, and did not."""

    def __init__(self, most: int = TRIES, within_s: float = TRIES_WITHIN_S) -> None:
        self._most, self._within_s = most, within_s
        self._times: dict[str, deque[float]] = defaultdict(deque)
        self._lock = threading.Lock()

    def count(self, address: str) -> None:
        """Counts a try. Raises TooManyTriesError where there were too many."""
        now = time.monotonic()
        with self._lock:
            for known in [each for each, times in self._times.items() if now - times[-1] > self._within_s]:
                del self._times[known]
            times = self._times[address]
            while times and now - times[0] > self._within_s:
                times.popleft()
            if len(times) >= self._most:
                seconds = max(1, round(self._within_s - (now - times[0])))
                raise TooManyTriesError(f"Too many tries to log in; try again in {seconds} s.", seconds)
            times.append(now)

    def right(self, address: str) -> None:
        """Takes the last try back: it was a right one."""
        with self._lock:
            times = self._times.get(address)
            if times:
                times.pop()
            if times is not None and not times:
                del self._times[address]


def cookie_name(desk: Desk, name: str) -> str:
    """The cookie's name; under TLS with the prefix that keeps other hosts from setting it (RFC 6265bis)."""
    return f"__Host-{name}" if desk.secure else name


def set_cookie(response: Response, desk: Desk, name: str, value: str) -> None:
    """Sets a cookie for this desk alone, out of reach of scripts, until the browser is closed."""
    response.set_cookie(
        cookie_name(desk, name), value, path="/", httponly=True, samesite="strict", secure=desk.secure
    )


def drop_cookie(response: Response, desk: Desk, name: str) -> None:
    """Takes a cookie back."""
    response.delete_cookie(
        cookie_name(desk, name), path="/", httponly=True, samesite="strict", secure=desk.secure
    )


def session_token(request: Request) -> str:
    """The secret of the log-in, empty where there is none."""
    return request.cookies.get(cookie_name(desk_of(request), SESSION), "")


def entry_secret(request: Request) -> str:
    """The secret of a browser before anybody has logged in, empty where it has none yet."""
    return request.cookies.get(cookie_name(desk_of(request), ENTRY), "")


def new_secret() -> str:
    """A fresh one."""
    return secrets.token_urlsafe(32)


def form_token(secret: str) -> str:
    """The token that a page's forms carry: made from the cookie's secret, which no other site can read."""
    return hmac.new(secret.encode("utf-8", "replace"), b"jobnotes form", hashlib.sha256).hexdigest()


def refuse_forged(secret: str, token: str) -> None:
    """Raises ForgedError where the token is not the one made from the secret."""
    if not secret or not hmac.compare_digest(form_token(secret).encode(), token.encode("utf-8", "replace")):
        raise ForgedError(
            "This page has grown old, or the request is not from one of our pages. Open the page anew and "
            "try again."
        )


def logged_in(request: Request) -> Person:
    """The person of the request. Raises NotLoggedInError."""
    token = session_token(request)
    person = desk_of(request).workshop.log_ins.person_for(token) if token else None
    if person is None:
        raise NotLoggedInError("Log in first.")
    return person


Who = Annotated[Person, Depends(logged_in)]
TheDesk = Annotated[Desk, Depends(desk_of)]


class Posted:
    """The fields of a form. A field that is not there is empty."""

    def __init__(self, data: FormData) -> None:
        self._data = data

    def text(self, name: str) -> str:
        """The field as text."""
        value = self._data.get(name, "")
        return value if isinstance(value, str) else ""

    def texts(self, name: str) -> list[str]:
        """All fields of that name."""
        return [value for value in self._data.getlist(name) if isinstance(value, str)]

    def names(self, beginning: str) -> list[str]:
        """The names of the fields that begin so."""
        return [name for name in self._data if name.startswith(beginning)]

    def without(self, beginning: str) -> Posted:
        """The same form with a beginning taken off the names that have it."""
        pairs = [
            (name.removeprefix(beginning), value)
            for name, value in self._data.multi_items()
            if name.startswith(beginning)
            or name not in {each.removeprefix(beginning) for each in self.names(beginning)}
        ]
        return Posted(FormData(pairs))

    def given(self, name: str) -> bool:
        """Whether there is a field of that name."""
        return name in self._data

    def number(self, name: str) -> int:
        """The field as a whole number. Raises JobnotesError where it is none."""
        text = self.text(name)
        if not text.isascii() or not text.isdigit() or len(text) > 9:
            raise JobnotesError(f"The form's {name} is no number; open the page anew.")
        return int(text)

    def files(self, name: str) -> list[UploadFile]:
        """The files of that name."""
        return [value for value in self._data.getlist(name) if isinstance(value, UploadFile)]


async def any_form(request: Request) -> Posted:
    """A form that brings no files, its token not looked at yet."""
    return Posted(await request.form(max_files=0, max_fields=MOST_FIELDS))


async def own_form(request: Request, _who: Who) -> Posted:
    """A form from one of our pages, of who is logged in. Raises ForgedError for any other."""
    posted = await any_form(request)
    refuse_forged(session_token(request), posted.text(TOKEN_FIELD))
    return posted


async def own_upload(request: Request, _who: Who) -> Posted:
    """The same, with files. The token is looked for in the header first: a script sends it there."""
    posted = Posted(await request.form(max_files=MOST_FILES, max_fields=20))
    refuse_forged(session_token(request), request.headers.get(TOKEN_HEADER) or posted.text(TOKEN_FIELD))
    return posted


def own_request(request: Request, who: Who) -> Person:
    """The person of a request of a script that changes something. Raises ForgedError without the token."""
    refuse_forged(session_token(request), request.headers.get(TOKEN_HEADER, ""))
    return who


Form = Annotated[Posted, Depends(own_form)]
Upload = Annotated[Posted, Depends(own_upload)]
Sender = Annotated[Person, Depends(own_request)]


def local_path(text: str) -> str:
    """The path to go on to after logging in: one of this desk, else its front page."""
    if not text.isprintable() or len(text) > 500 or "\\" in text:
        return "/"
    try:
        parts = urlsplit(text)
    except ValueError:
        return "/"
    if parts.scheme or parts.netloc or not parts.path.startswith("/") or "//" in text:
        return "/"
    return text
