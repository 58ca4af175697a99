"""Intake: files come in, and one sees what becomes of them."""

from __future__ import annotations

import asyncio
import json
import os
import tempfile
import time
from collections import Counter
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

from fastapi import APIRouter, Request, Response
from fastapi.responses import JSONResponse, RedirectResponse, StreamingResponse
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile

from jobnotes.desk.render import page
from jobnotes.desk.sessions import Form, Posted, TheDesk, Upload, Who, logged_in
from jobnotes.desk.state import Desk, Standing
from jobnotes.errors import JobnotesError
from jobnotes.store import Person

router = APIRouter(include_in_schema=False)
LOOK_S = 0.4
"""So often a stream looks whether something has changed."""
STILL_S = 15.0
"""A stream without news says so after so long. So often it looks whether its person is still logged in."""
MOST_STREAMS, MOST_STREAMS_EACH = 200, 20
"""Streams at a time, in all and of one person: nobody takes all of them from the others."""
_streams: Counter[int] = Counter()


def visible(who: Person, standings: list[Standing]) -> list[Standing]:
    """The memos that a person sees: the office all, an engineer their own, nobody's, and those they
    brought."""
    if who.role != "engineer":
        return standings
    return [
        each
        for each in standings
        if each.memo.engineer_id in (None, who.id) or each.memo.taken_by == who.name
    ]


def standing_data(each: Standing) -> dict[str, Any]:
    """How far a memo is, as plain data."""
    memo = each.memo
    return {
        "id": memo.id,
        "file_name": memo.file_name,
        "state": memo.state,
        "share": each.share,
        "failure": memo.failure,
        "draft": memo.draft_id,
    }


@router.get("/intake")
def intake(request: Request, desk: TheDesk, who: Who, told: str = "") -> Response:
    """The page to bring files to."""
    _, standings = desk.hearing.standings()
    engineers = [each for each in desk.workshop.people.all(active_only=True) if each.role != "office"]
    return page(
        request,
        "intake.html",
        who,
        standings=visible(who, standings),
        engineers=engineers if who.role != "engineer" else [],
        trouble=[],
    )


@router.post("/intake")
async def take(request: Request, desk: TheDesk, who: Who, form: Upload) -> Response:
    """Takes files in. A script gets what became of each, a form the page."""
    files = [each for each in form.files("file") if each.filename or each.size]
    trouble: list[str] = []
    taken: list[dict[str, Any]] = []
    if not files:
        trouble.append("Choose a file first.")
    for file in files:
        try:
            taken.append(await run_in_threadpool(_take, desk, who, form, file))
        except JobnotesError as error:
            trouble.append(str(error))
    if taken:
        desk.hearing.more()
    if "x-token" in request.headers:
        return JSONResponse({"taken": taken, "trouble": trouble}, 400 if trouble and not taken else 200)
    if not trouble:
        return RedirectResponse("/intake", 303)
    _, standings = await run_in_threadpool(desk.hearing.standings)
    return page(
        request,
        "intake.html",
        who,
        status=400,
        standings=visible(who, standings),
        engineers=[],
        trouble=trouble,
    )


def _take(desk: Desk, who: Person, form: Posted, file: UploadFile) -> dict[str, Any]:
    """Takes one file in. What the client calls it is shown to people and is never a path."""
    name = file.filename or "memo"
    engineer: Person | None = who if who.role != "office" else None
    if who.role != "engineer" and form.text("engineer"):
        engineer = desk.workshop.people.get(form.number("engineer"))
        if engineer.role == "office" or not engineer.active:
            raise JobnotesError(f"{engineer.display_name} signs no sheets; a memo is an engineer's.")
    handle, temporary = tempfile.mkstemp(prefix="jobnotes-", suffix=".part")
    path = Path(temporary)
    try:
        with os.fdopen(handle, "wb") as stream:
            while piece := file.file.read(1 << 20):
                stream.write(piece)
        changed = form.text("changed")
        # When a memo was recorded may hang on when its file was changed last; the browser tells it in ms.
        if changed.isascii() and changed.isdigit() and 9 < len(changed) < 14:
            os.utime(path, (int(changed) / 1000, int(changed) / 1000))
        try:
            took = desk.workshop.memos.take(path, file_name=name, engineer=engineer, by=who)
        except JobnotesError as error:
            raise JobnotesError(str(error).replace(str(path), name[:120])) from error
    finally:
        path.unlink(missing_ok=True)
    memo = took.memo
    seen = who.role != "engineer" or memo.engineer_id in (None, who.id)
    if not seen:
        return {"id": None, "file_name": name[:120], "new": False, "draft": None}
    return {"id": memo.id, "file_name": memo.file_name, "new": took.new, "draft": memo.draft_id}


@router.post("/intake/{number}/again")
def again(desk: TheDesk, who: Who, form: Form, number: int) -> Response:
    """Lets a failed memo wait again."""
    if 0 < number < 2**31:
        memo = desk.workshop.memos.get(number)
        if visible(who, [Standing(memo, None)]):
            desk.workshop.memos.retry(number, who)
            desk.hearing.more()
    return RedirectResponse("/intake", 303)


@router.get("/intake/progress")
async def progress(request: Request, desk: TheDesk, who: Who) -> Response:
    """How far the memos are, as server-sent events."""
    if _streams.total() >= MOST_STREAMS or _streams[who.id] >= MOST_STREAMS_EACH:
        return Response("Too many pages are open.", 503, media_type="text/plain")
    return StreamingResponse(
        _events(request, desk, who), media_type="text/event-stream", headers={"x-accel-buffering": "no"}
    )


async def _events(request: Request, desk: Desk, who: Person) -> AsyncIterator[str]:
    _streams[who.id] += 1
    try:
        last, quiet, looked = "", 0.0, time.monotonic()
        while not await request.is_disconnected():
            # However much there is to tell: whoever was logged out is told no more.
            if time.monotonic() - looked >= STILL_S:
                looked = time.monotonic()
                if await run_in_threadpool(_gone, request):
                    return
            _, standings = await run_in_threadpool(desk.hearing.standings)
            data = json.dumps([standing_data(each) for each in visible(who, standings)])
            if data != last:
                last, quiet = data, 0.0
                yield f"data: {data}\n\n"
            elif quiet >= STILL_S:
                quiet = 0.0
                yield ": still here\n\n"
            await asyncio.sleep(LOOK_S)
            quiet += LOOK_S
    finally:
        _streams[who.id] -= 1


def _gone(request: Request) -> bool:
    try:
        logged_in(request)
    except JobnotesError:
        return True
    return False
