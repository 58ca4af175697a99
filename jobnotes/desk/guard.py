"""What every request passes first: whose name it calls the desk by, from where it comes, how much it brings;
and what every answer carries."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Iterable
from contextlib import suppress
from typing import Any

from starlette.types import ASGIApp, Message, Receive, Scope, Send

LARGEST_BODY = 1_000_000
"""Bytes of any request but an upload: a signature of 20,000 points has about 300,000."""
LARGEST_UPLOAD = 200_000_000
"""Bytes of one upload. Half an hour as a phone records it has 15 to 60 MB."""
UPLOAD_PATH = "/intake"
PATIENCE_S, SLOWEST = 60.0, 50_000
"""A request that takes so long, and its limit at so many bytes a second besides, is not waited for."""
SAFE = frozenset({"GET", "HEAD", "OPTIONS"})
LOOPBACK = frozenset({"127.0.0.1", "localhost", "[::1]"})

POLICY = "; ".join(
    [
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self'",
        "font-src 'self'",
        "media-src 'self'",
        "connect-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    ]
)
HEADERS = {
    b"content-security-policy": POLICY.encode(),
    b"x-content-type-options": b"nosniff",
    b"x-frame-options": b"DENY",
    b"referrer-policy": b"same-origin",
    b"cross-origin-opener-policy": b"same-origin",
    b"cross-origin-resource-policy": b"same-origin",
    b"permissions-policy": b"camera=(), microphone=(), geolocation=()",
}


class _CutShortError(Exception):
    pass


class Guard:
    """Refuses requests for another host, from another site, too large or too slow; adds the headers that
    keep pages to themselves.

    `hosts` are the names by which the desk may be called, None for any: a page elsewhere whose name was made
    to lead to 127.0.0.1 is then refused. Under TLS the certificate sees to that.
    """

    def __init__(self, app: ASGIApp, *, hosts: Iterable[str] | None) -> None:
        self._app = app
        self._hosts = None if hosts is None else frozenset(hosts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Passes a request on, or answers it."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        headers = {name: value.decode("latin-1") for name, value in scope["headers"]}
        began, over = False, False

        async def answer(message: Message) -> None:
            nonlocal began
            if over and not began:
                return  # whatever the application makes of a body cut short
            if message["type"] == "http.response.start":
                began = True
                given = {name.lower() for name, _ in message["headers"]}
                more = [(name, value) for name, value in HEADERS.items() if name not in given]
                if b"cache-control" not in given:
                    more.append((b"cache-control", b"no-store"))
                message = {**message, "headers": [*message["headers"], *more]}
            await send(message)

        limit = LARGEST_UPLOAD if scope["path"] == UPLOAD_PATH else LARGEST_BODY
        refusal = self._refusal(scope, headers, limit)
        if refusal is not None:
            await _refuse(scope, answer, *refusal)
            return
        taken, whole = 0, scope["method"] in SAFE
        deadline = asyncio.get_running_loop().time() + PATIENCE_S + limit / SLOWEST
        cut_short = _too_large(limit)

        async def counted() -> Message:
            nonlocal taken, over, whole, cut_short
            try:
                async with asyncio.timeout_at(None if whole else deadline):
                    message = await receive()
            except TimeoutError:
                over, cut_short = True, (408, "The request took too long to come.")
                raise _CutShortError from None
            whole = whole or not message.get("more_body", False)
            taken += len(message.get("body", b""))
            if taken > limit:
                over = True
                raise _CutShortError
            return message

        with suppress(_CutShortError):
            await self._app(scope, counted, answer)
        if over and not began:
            over = False
            await _refuse(scope, answer, *cut_short)

    def _refusal(self, scope: Scope, headers: dict[bytes, str], limit: int) -> tuple[int, str] | None:
        host = headers.get(b"host", "")
        if self._hosts is not None and host.rpartition(":")[0] not in self._hosts and host not in self._hosts:
            return 421, "This desk is not called by that name."
        length = headers.get(b"content-length", "0")
        if not length.isascii() or not length.isdigit() or len(length) > 15:
            return 400, "The request's length is no number."
        if int(length) > limit:
            return _too_large(limit)
        if scope["method"] not in SAFE:
            if headers.get(b"sec-fetch-site", "same-origin") not in ("same-origin", "none"):
                return 403, "The request comes from another site."
            origin = headers.get(b"origin")
            if origin is not None and origin.partition("://")[2] != host:
                return 403, "The request comes from another site."
        return None


def _too_large(limit: int) -> tuple[int, str]:
    return 413, f"That is too much at once; {limit // 1_000_000} MB are the most."


async def _refuse(scope: Scope, send: Any, status: int, sentence: str) -> None:
    if scope["path"].startswith("/api/"):
        body, kind = json.dumps({"error": sentence}).encode(), b"application/json"
    else:
        body, kind = sentence.encode(), b"text/plain; charset=utf-8"
    length = str(len(body)).encode()
    await send(
        {
            "type": "http.response.start",
            "status": status,
            "headers": [(b"content-type", kind), (b"content-length", length), (b"connection", b"close")],
        }
    )
    await send({"type": "http.response.body", "body": body})
