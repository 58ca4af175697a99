"""Nobody keeps others out by holding what there is only so much of: connections, streams, unfinished
requests."""

from __future__ import annotations

import asyncio
import socket
import threading
import time
from typing import Any

import desk_work
import pytest
import uvicorn
from desk_work import Shop
from starlette.types import Message

from jobnotes.desk import Desk, guard, intake_pages, make_app, patience
from jobnotes.desk.guard import Guard


class Request:
    """Stands for a request whose browser stays."""

    async def is_disconnected(self) -> bool:
        return False


def test_a_body_that_never_ends_is_not_waited_for(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(guard, "LARGEST_BODY", 0)
    monkeypatch.setattr(guard, "PATIENCE_S", 0.2)
    sent: list[Message] = []

    async def reads_all(_scope: Any, receive: Any, _send: Any) -> None:
        while (await receive())["more_body"]:
            pass

    async def never() -> Message:
        await asyncio.sleep(30)
        raise AssertionError("it was waited for")

    async def send(message: Message) -> None:
        sent.append(message)

    scope = {"type": "http", "method": "POST", "path": "/log-in", "headers": [(b"host", b"localhost")]}
    asyncio.run(Guard(reads_all, hosts={"localhost"})(scope, never, send))
    assert sent[0]["status"] == 408


def test_a_connection_that_asks_for_nothing_is_closed(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(patience, "PATIENCE_S", 0.8)
    app = make_app(Desk(shop.workshop, desk_work.Still()), hosts={"127.0.0.1"})
    config = uvicorn.Config(app, port=0, log_level="warning", http=patience.PatientProtocol)
    server = uvicorn.Server(config)
    listening = socket.socket()
    listening.bind(("127.0.0.1", 0))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    try:
        while not server.started:
            time.sleep(0.02)
        whole = b"GET /log-in HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n"
        for begun in (b"", whole[:10], whole + whole[:10]):
            with socket.create_connection(listening.getsockname(), timeout=5) as connection:
                connection.sendall(begun)
                came = b""
                while piece := connection.recv(65_536):
                    came += piece
                assert came.startswith(b"HTTP/1.1 200") == (len(begun) > len(whole))
    finally:
        server.should_exit = True
        thread.join(10)


def test_one_person_does_not_take_all_streams(shop: Shop, visit, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(intake_pages._streams, shop.people["tam"].id, intake_pages.MOST_STREAMS_EACH)
    assert visit("tam").get("/intake/progress").status_code == 503
    desk, joss = Desk(shop.workshop, desk_work.Still()), shop.people["joss"]

    async def first() -> str:
        stream = intake_pages._events(Request(), desk, joss)  # type: ignore[arg-type]
        try:
            return await anext(stream)
        finally:
            await stream.aclose()  # type: ignore[attr-defined]

    assert asyncio.run(first()).startswith("data:")
    assert intake_pages._streams[joss.id] == 0


def test_a_stream_ends_with_the_log_in_though_there_is_news(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Busy(desk_work.Still):
        def standings(self) -> Any:
            file = shop.folder.parent / f"{time.monotonic_ns()}.txt"
            file.write_text(file.name, encoding="utf-8")
            shop.workshop.memos.take(file)
            return 0, [intake_pages.Standing(memo, None) for memo in shop.workshop.memos.waiting()]

    monkeypatch.setattr(intake_pages, "LOOK_S", 0.01)
    monkeypatch.setattr(intake_pages, "STILL_S", 0.2)
    monkeypatch.setattr(intake_pages, "_gone", lambda _request: True)

    async def all_of_it() -> int:
        stream = intake_pages._events(Request(), Desk(shop.workshop, Busy()), shop.people["tam"])  # type: ignore[arg-type]
        return len([each async for each in stream])

    assert asyncio.run(asyncio.wait_for(all_of_it(), 10)) > 0
