"""A workshop behind a desk: answered in this process for requests, served in its own for browsers."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import desk_work
import pages
import playwright.sync_api
import pytest
from desk_work import Browser, Server, Shop
from fastapi import FastAPI
from fastapi.testclient import TestClient

from jobnotes.desk import Desk, make_app

Enter = Callable[[str], Browser]


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    made = desk_work.shop_in(tmp_path / "workshop")
    yield made
    made.workshop.close()


@pytest.fixture
def app(shop: Shop) -> FastAPI:
    return make_app(Desk(shop.workshop, desk_work.Still()), hosts={"testserver"})


@pytest.fixture
def visit(app: FastAPI) -> Iterator[Enter]:
    """Somebody's browser: visit("tam") is logged in, visit("") is not."""
    clients: list[TestClient] = []

    def enter(name: str) -> Browser:
        client = TestClient(app, follow_redirects=False, raise_server_exceptions=False)
        clients.append(client)
        browser = Browser(client)
        if name:
            assert browser.log_in(name).status_code == 303
        return browser

    yield enter
    for client in clients:
        client.close()


@pytest.fixture(scope="module")
def server(shop: Shop) -> Iterator[Server]:
    """The desk of the module's own `shop`, which must be of the module's scope, in a process of its own."""
    running = Server(shop.folder)
    yield running
    running.stop()
    assert "Traceback" not in running.log(), running.log()


@pytest.fixture(scope="module")
def browser() -> Iterator[playwright.sync_api.Browser]:
    """A real browser."""
    with playwright.sync_api.sync_playwright() as playing:
        running = pages.chromium(playing)
        yield running
        running.close()


@pytest.fixture(scope="module")
def axe() -> Path:
    """Where axe-core stands."""
    return pages.axe()
