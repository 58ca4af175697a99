"""Requests that should not get through: nobody's, another's, forged, from elsewhere, too large, too many."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from desk_work import PASSWORD, Shop, marked, token_in
from fastapi.routing import APIRoute

from jobnotes.desk import Desk, guard, make_app
from jobnotes.desk.app import ROOMS
from jobnotes.errors import JobnotesError

OPEN = {"/log-in", "/set-up", "/assets/{mark}/{name}"}
FILLED = {"number": "1", "table": "machine", "mark": "x", "name": "x", "kind": "pdf"}


def _routes() -> list[tuple[str, str]]:
    return sorted(
        (method, route.path)
        for room in ROOMS
        for route in room.router.routes
        if isinstance(route, APIRoute)
        for method in route.methods
    )


def test_nothing_is_to_be_had_without_a_session(shop: Shop, visit) -> None:
    shop.draft(2)
    nobody = visit("")
    routes = _routes()
    assert len(routes) > 30, routes
    for method, path in routes:
        if path in OPEN:
            continue
        answer = nobody.client.request(method, path.format(**FILLED))
        assert answer.status_code in (303, 401), f"{method} {path}: {answer.status_code}"
        if answer.status_code == 303:
            assert answer.headers["location"].startswith("/log-in"), path
        assert "Quillfen" not in answer.text and "WL31" not in answer.text, path


def test_another_engineers_draft_stays_shut(shop: Shop, visit) -> None:
    draft = shop.draft(2)
    other = visit("joss")
    page, api = f"/drafts/{draft.id}", f"/api/drafts/{draft.id}"
    edit = {"version": 1, "operation": {"kind": "set", "pointer": "/jobs/0/customer", "value": "x"}}
    answers = [
        other.get(page),
        other.get(f"{page}/history"),
        other.get(f"{page}/sign"),
        other.get(api),
        other.get(f"{api}/waveform"),
        other.get(f"{api}/recording"),
        other.post(f"{page}/change", action="confirm", pointer=marked(draft)[0], version="1"),
        other.post(f"{page}/comment", action="take", text="x"),
        other.post(f"{page}/comment", action="withdraw", text="x"),
        other.post(f"{page}/sign", version="1", password=PASSWORD, signature="x"),
        other.ask(f"{api}/edits", edit),
        other.ask(f"{api}/check", {"pointer": "/jobs/0/customer", "value": "x"}),
    ]
    for answer in answers:
        assert answer.status_code == 403, f"{answer.request.url}: {answer.status_code}"
        assert "Quillfen" not in answer.text
    assert other.get("/api/drafts").json() == []
    assert "Quillfen" not in other.get("/drafts?words=quillfen").text.split("</form>")[-1]
    assert shop.workshop.drafts.get(draft.id, shop.people["tam"]).version == 1


def test_the_office_reads_and_sends_back_but_does_not_edit(shop: Shop, visit) -> None:
    draft = shop.draft(1)
    office = visit("pru")
    assert office.get(f"/drafts/{draft.id}").status_code == 200
    refused = office.post(
        f"/drafts/{draft.id}/change", action="confirm", pointer=marked(draft)[0], version="1"
    )
    assert refused.status_code == 403
    sent = office.post(f"/drafts/{draft.id}/comment", action="send_back", text="Which pump was it?")
    assert sent.status_code == 303
    page = visit("tam").get(f"/drafts/{draft.id}").text
    assert "Which pump was it?" in page
    assert "Sent back" in visit("tam").get("/drafts").text
    assert visit("tam").post(f"/drafts/{draft.id}/comment", action="send_back", text="x").status_code == 403


@pytest.mark.parametrize("token", ["", "0" * 64, "not even hexadecimal ☂"])
def test_a_forged_token_changes_nothing(shop: Shop, visit, token: str) -> None:
    draft = shop.draft(1)
    mine = visit("tam")
    right, mine.token = mine.token, token
    change = {"action": "confirm", "pointer": marked(draft)[0], "version": "1"}
    assert mine.post(f"/drafts/{draft.id}/change", **change).status_code == 403
    if token.isascii():
        edit = {"version": 1, "operation": {"kind": "confirm", "pointer": marked(draft)[0]}}
        assert mine.ask(f"/api/drafts/{draft.id}/edits", edit).status_code == 403
    assert (
        mine.client.post("/intake", files={"file": ("a.txt", b"words")}, data={"token": token}).status_code
        == 403
    )
    assert shop.workshop.drafts.get(draft.id, shop.people["tam"]).version == 1
    assert not shop.workshop.memos.waiting()
    # Another's token is as good as none.
    mine.token = visit("joss").token
    assert mine.post(f"/drafts/{draft.id}/change", **change).status_code == 403
    mine.token = right
    assert mine.post(f"/drafts/{draft.id}/change", **change).status_code == 303


def test_requests_from_another_site_or_for_another_name_are_refused(shop: Shop, visit) -> None:
    mine = visit("tam")
    form = {"token": mine.token}
    for headers in (
        {"origin": "https://elsewhere.example"},
        {"origin": "null"},
        {"sec-fetch-site": "cross-site"},
    ):
        assert mine.client.post("/log-out", data=form, headers=headers).status_code == 403
    assert mine.client.get("/drafts", headers={"host": "elsewhere.example"}).status_code == 421
    assert mine.get("/drafts").status_code == 200
    assert mine.client.post("/log-out", data=form, headers={"origin": "http://testserver"}).status_code == 303
    assert mine.get("/drafts").status_code == 303


def test_every_answer_keeps_its_page_to_itself(shop: Shop, visit) -> None:
    shop.draft(1)
    mine = visit("tam")
    for path in ("/drafts", "/drafts/1", "/log-in", "/nowhere", "/api/drafts", "/api/drafts/77"):
        headers = mine.get(path).headers
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy and "unsafe" not in policy and "http" not in policy
        assert headers["cache-control"] == "no-store" and headers["x-content-type-options"] == "nosniff"
    for path in ("/drafts", "/drafts/1", "/intake", "/me", "/log-in"):
        page = mine.get(path).text
        assert not re.search(r"<script(?![^>]*\bsrc=)|<style|\sstyle=|\son\w+=|javascript:", page), path
        assert not re.search(r'(?:src|href|action)="(?:https?:)?//', page), path


def test_cookies_are_out_of_reach(shop: Shop) -> None:
    from fastapi.testclient import TestClient

    for secure in (False, True):
        app = make_app(Desk(shop.workshop, _still(), secure=secure), hosts=None)
        base = "https://testserver" if secure else "http://testserver"
        with TestClient(app, base_url=base, follow_redirects=False) as client:
            token = token_in(client.get("/log-in").text)
            answer = client.post("/log-in", data={"name": "tam", "password": PASSWORD, "token": token})
            cookie = next(each for each in answer.headers.get_list("set-cookie") if "session=" in each)
            assert "HttpOnly" in cookie and "samesite=strict" in cookie.lower() and "Path=/" in cookie
            assert ("Secure" in cookie) == secure and cookie.startswith("__Host-") == secure


def _still():  # type: ignore[no-untyped-def]
    from desk_work import Still

    return Still()


def test_wrong_passwords_are_limited_by_name_and_by_address(shop: Shop, visit) -> None:
    nobody = visit("")
    statuses = [nobody.log_in("tam", "wrong password").status_code for _ in range(6)]
    assert statuses == [401] * 5 + [429]
    refused = nobody.log_in("tam", PASSWORD)
    assert refused.status_code == 429 and int(refused.headers["retry-after"]) > 0
    # Others are not shut out by that, but one address has a limit over all names too.
    assert visit("joss").get("/drafts").status_code == 200
    statuses = [nobody.log_in(f"name{number}", "wrong password").status_code for number in range(20)]
    assert statuses[0] == 401 and statuses[-1] == 429
    assert "Name and password do not belong together" in nobody.log_in("x", "y").text or statuses[-1] == 429


def test_log_in_leads_nowhere_else(visit) -> None:
    for then in (
        "https://elsewhere.example",
        "//elsewhere.example",
        "/\\elsewhere",
        "http:/x",
        "\x00/",
        "[",
        "//[",
    ):
        nobody = visit("")
        token = token_in(nobody.get("/log-in", params={"then": then}).text)
        answer = nobody.post("/log-in", name="tam", password=PASSWORD, then=then, token=token)
        assert answer.status_code == 303 and answer.headers["location"] == "/", then


def test_too_much_is_refused_before_it_is_taken(shop: Shop, visit, monkeypatch: pytest.MonkeyPatch) -> None:
    mine = visit("tam")
    announced = mine.client.post("/drafts/1/change", content=b"", headers={"content-length": "5000000"})
    assert announced.status_code == 413
    assert mine.client.post("/log-in", content=b"x" * 1_100_000).status_code == 413

    def pieces():  # type: ignore[no-untyped-def]
        yield from (b"x" * 200_000 for _ in range(8))

    # Nobody announced these.
    assert mine.client.post("/api/drafts/1/edits", content=pieces()).status_code == 413
    monkeypatch.setattr(guard, "LARGEST_UPLOAD", 300_000)
    files = {"file": ("long.wav", b"x" * 400_000)}
    refused = mine.client.post("/intake", files=files, headers={"x-token": mine.token})
    assert refused.status_code == 413 and not shop.workshop.memos.waiting()
    many = [("file", (f"{number}.txt", b"words")) for number in range(40)]
    assert mine.client.post("/intake", files=many, headers={"x-token": mine.token}).status_code == 400


@pytest.mark.parametrize(
    "name",
    ["../../etc/passwd", "/etc/passwd", "..\\..\\boot.ini", "a\x00b.txt", "CON", "x" * 500, "☂ / ☂.wav", "."],
)
def test_a_clients_name_is_never_a_path(shop: Shop, visit, name: str) -> None:
    before = set(Path("/etc").glob("passw*"))
    mine = visit("tam")
    files = {"file": (name, f"words {name}".encode())}
    answer = mine.client.post("/intake", files=files, headers={"x-token": mine.token})
    assert answer.status_code in (200, 400), answer.text
    assert set(Path("/etc").glob("passw*")) == before
    for path in shop.folder.rglob("*"):
        assert re.fullmatch(r"[\w.-]+", path.name), path
    for memo in shop.workshop.memos.all():
        assert "/" not in memo.file_name and "\\" not in memo.file_name and memo.file_name.isprintable()


@pytest.mark.parametrize(
    "path",
    [
        "/assets/x/..%2f..%2fbase.html",
        "/assets/x/../base.html",
        "/assets/x/%2e%2e/%2e%2e/desk.css",
        "/assets/x/base.html",
        "/assets/%00/desk.css%00",
        "/sheets/1/../../etc/passwd",
        "/api/drafts/..%2f1",
        "/drafts/1%00",
        "/drafts/-1",
        "/drafts/99999999999999999999999",
        "/machine?fleet=..%2f..%2fetc",
        "/sheets/1/pdf?revision=99999999999999999999",
    ],
)
def test_path_tricks(visit, path: str) -> None:
    answer = visit("tam").get(path)
    assert answer.status_code in (404, 422, 400, 403), answer.text
    assert "root:" not in answer.text and "{% extends" not in answer.text and "{#" not in answer.text


def test_the_first_run_needs_the_code(tmp_path: Path) -> None:
    from desk_work import Browser, quick_passwords
    from fastapi.testclient import TestClient

    from jobnotes.store import Workshop

    quick_passwords()
    with Workshop(tmp_path / "new") as workshop:
        desk = Desk(workshop, _still())
        with TestClient(make_app(desk, hosts=None), follow_redirects=False) as client:
            browser = Browser(client)
            assert browser.get("/").status_code == 303
            assert browser.get("/log-in").headers["location"] == "/set-up"
            browser.token = token_in(browser.get("/set-up").text)
            given = {
                "display_name": "Ilse Brandreth",
                "name": "ilse",
                "password": PASSWORD,
                "again": PASSWORD,
                "firm": "Hallbeck Plant Repairs",
                "address": "Unit 4\nBrackmere",
            }
            refused = browser.post("/set-up", code="guessed", **given)
            assert refused.status_code == 422 and not workshop.people.any()
            assert browser.post("/set-up", code=desk.set_up_code, **given).status_code == 303
            assert [each.role for each in workshop.people.all()] == ["owner"]
            assert desk.settings.firm.address == ("Unit 4", "Brackmere")
            assert browser.get("/people").status_code == 200
            second = browser.post("/set-up", code=desk.set_up_code, **{**given, "name": "second"})
            assert second.status_code in (403, 422) and len(workshop.people.all()) == 1


def test_only_the_owner_looks_after_people(shop: Shop, visit) -> None:
    for name in ("tam", "pru"):
        someone = visit(name)
        for path in ("/people", "/firm", "/audit"):
            assert someone.get(path).status_code == 403
        added = someone.post("/people", name="new", display_name="New", role="owner", password=PASSWORD)
        assert added.status_code == 403
        assert someone.post("/people/1", action="role", role="owner").status_code == 403
        assert someone.post("/firm", firm="x").status_code == 403
    owner = visit("ilse")
    added = owner.post("/people", name="new", display_name="New Hand", role="engineer", password=PASSWORD)
    assert added.status_code == 303 and "New Hand" in owner.get("/people").text
    new = visit("new")
    assert new.get("/drafts").status_code == 200
    number = str(shop.workshop.people.named("new").id)
    assert owner.post(f"/people/{number}", action="close").status_code == 303
    # A closed account is out at once.
    assert new.get("/drafts").status_code == 303


def test_who_saw_what_is_noted(shop: Shop, visit) -> None:
    draft = shop.draft(0)
    mine = visit("tam")
    for _ in range(3):
        mine.get(f"/drafts/{draft.id}")
    lines = [line for line in shop.workshop.audit.lines() if line.on == f"draft {draft.id}"]
    assert [(line.who, line.what) for line in lines].count(("tam", "saw")) == 1
    assert f"saw draft {draft.id}" in visit("ilse").get("/audit").text


def test_a_signed_sheet_is_everybodys_but_not_its_corrections(shop: Shop, visit) -> None:
    draft = shop.draft(1)
    mine = visit("tam")
    changed = mine.post(
        f"/drafts/{draft.id}/change",
        **{"action": "save", "pointer": marked(draft)[0], "version": "1", "f.value": "6219"},
    )
    assert changed.status_code == 303
    early = mine.post(f"/drafts/{draft.id}/sign", version="1", password=PASSWORD, signature="Tamsin Quill")
    assert early.status_code == 409
    wrong = mine.post(f"/drafts/{draft.id}/sign", version="2", password="not mine at all", signature="T")
    assert wrong.status_code == 403 and "not your password" in wrong.text
    signed = mine.post(f"/drafts/{draft.id}/sign", version="2", password=PASSWORD, signature="Tamsin Quill")
    assert signed.status_code == 303 and signed.headers["location"] == "/sheets/1"
    assert mine.get("/sheets/1/pdf").content.startswith(b"%PDF-")
    assert "6219" in mine.get("/sheets/1").text and "1 correction" in mine.get("/sheets/1").text
    others = visit("joss").get("/sheets/1").text
    assert "6219 h" in others and "1 correction" not in others
    assert visit("joss").post("/sheets/1/do", action="amend").status_code == 403
    assert visit("joss").post("/sheets/1/do", action="withdraw", text="x").status_code == 403


def test_no_answer_tells_where_the_workshop_stands(
    shop: Shop, visit, monkeypatch: pytest.MonkeyPatch
) -> None:
    mine = visit("tam")

    def full(*_given: object, **_more: object) -> None:
        raise JobnotesError(f"{shop.workshop.folder.database} could not be written: the disk is full.")

    monkeypatch.setattr(shop.workshop.drafts, "lines", full)
    for path in ("/drafts", "/api/drafts"):
        said = mine.get(path).text
        assert "the disk is full" in said and str(shop.folder) not in said
