"""Random bodies and forms: never a fault of the program's own, never a word of another's draft."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import desk_work
import pytest
import schemathesis
from desk_work import PASSWORD, Browser, Shop
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from office_work import office_job, office_part, office_shop, sign_jobs
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from jobnotes.desk import Desk, make_app
from jobnotes.workshop import load_settings
from jobnotes.workshop.billing import Billing, mark_of

RAISE = False
SECRET = "Saltwillow"
QUIETLY = settings(
    deadline=None,
    database=None,
    suppress_health_check=[
        HealthCheck.function_scoped_fixture,
        HealthCheck.too_slow,
        HealthCheck.data_too_large,
    ],
)


class Doors:
    """One desk, with a draft of one's own (1) and one of another's (2), that all of these tests knock at."""

    def __init__(self, folder: Path) -> None:
        self.shop: Shop = desk_work.shop_in(folder / "workshop")
        self.shop.draft(5)
        other = self.shop.draft(1, "joss")
        from jobnotes.store import SetValue

        change = SetValue(pointer="/jobs/0/customer", value=SECRET)
        self.shop.workshop.drafts.edit(other.id, other.version, self.shop.people["joss"], change)
        self.app = make_app(Desk(self.shop.workshop, desk_work.Still()), hosts=None)
        self.client = TestClient(self.app, follow_redirects=False, raise_server_exceptions=RAISE)
        self.browser = Browser(self.client)
        assert self.browser.log_in("tam").status_code == 303

    def looked_at(self, answer: Any) -> None:
        """Holds an answer to what every answer must be."""
        assert answer.status_code < 500, f"{answer.request.url}: {answer.status_code} {answer.text[:300]}"
        assert SECRET not in answer.text and "Traceback" not in answer.text
        assert str(self.shop.folder) not in answer.text


@pytest.fixture(scope="module")
def doors(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Doors]:
    made = Doors(tmp_path_factory.mktemp("doors"))
    yield made
    made.client.close()
    made.shop.workshop.close()


def _cookies(doors: Doors) -> dict[str, str]:
    cookies = "; ".join(f"{name}={value}" for name, value in doors.client.cookies.items())
    return {"cookie": cookies, "x-token": doors.browser.token, "host": "testserver"}


def test_the_api_keeps_to_its_description(doors: Doors) -> None:
    described = schemathesis.openapi.from_asgi("/api/openapi.json", doors.app, headers=_cookies(doors))
    operations = [found.ok() for found in described.get_all_operations()]
    assert len(operations) >= 8
    kept = [status_code_conformance, content_type_conformance, response_schema_conformance]
    for operation in operations:

        @settings(QUIETLY, max_examples=100)
        @given(case=operation.as_strategy())
        def knock(case: Any) -> None:
            answer = case.call(headers=_cookies(doors))
            doors.looked_at(answer)
            case.validate_response(answer, checks=kept)

        knock()


TEXTS = st.one_of(
    st.text(max_size=60),
    st.sampled_from(
        ["", "1", "-1", "0", "08:10", "1 h 35", "6218", "nan", "1e999", "WL31", "../../etc", "\x00", "☂"]
    ),
)
POINTERS = st.one_of(
    st.sampled_from(
        [
            *desk_work.MARKED,
            "/jobs/0",
            "/jobs",
            "/jobs/0/parts",
            "/jobs/0/parts/0",
            "/jobs/0/parts/0/quantity",
            "/jobs/0/readings/0",
            "/jobs/0/machine",
            "/jobs/0/distance",
            "/jobs/00/customer",
            "/notes/0",
            "",
            "/",
            "/jobs/~1/~0",
        ]
    ),
    st.lists(st.sampled_from("jobs 0 1 -1 parts machine hours x evidence".split()), max_size=5).map(
        lambda steps: "/" + "/".join(steps)
    ),
    st.text(max_size=30),
)
ACTIONS = st.sampled_from(
    "save choose confirm add remove up down move:0 move:1 move:x undo redo split join add_job "
    "remove_job".split()
)
FIELD_NAMES = (
    "f.value f.unit f.what f.result f.at f.quantity f.expected f.stage f.part_number f.description "
    "f.status choice job into part at"
).split()
CHANGES = st.fixed_dictionaries(
    {"action": ACTIONS, "pointer": POINTERS},
    optional=dict.fromkeys(FIELD_NAMES, TEXTS),
)


@settings(QUIETLY, max_examples=600)
@given(change=CHANGES, stale=st.booleans())
def test_forms_of_a_draft(doors: Doors, change: dict[str, str], stale: bool) -> None:
    version = doors.shop.workshop.drafts.get(1, doors.shop.people["tam"]).version
    version = max(1, version - 1) if stale else version
    doors.looked_at(doors.browser.post("/drafts/1/change", **change, version=str(version)))
    doors.looked_at(doors.browser.post("/drafts/2/change", **change, version="2"))


FORMS = (
    "/drafts/1/comment",
    "/drafts/1/sign",
    "/drafts/2/sign",
    "/drafts/2/comment",
    "/sheets/1/do",
    "/people",
    "/people/2",
    "/words",
    "/firm",
    "/me",
    "/log-in",
    "/set-up",
    "/intake/1/again",
    "/intake",
    "/office/drafts",
    "/office/drafts/1",
    "/office/invoices/1",
    "/office/stock",
    "/office/stock/take",
    "/office/orders",
    "/office/follow-ups",
)


@settings(QUIETLY, max_examples=700)
@given(
    path=st.sampled_from(FORMS),
    fields=st.dictionaries(
        st.sampled_from(
            "action text version password signature customer drawn customer_drawn name display_name role "
            "heard meant firm address old again then code engineer file".split()
        ),
        st.one_of(
            TEXTS,
            st.sampled_from(["comment", "send_back", "take", "amend", "accept", "[[[1,2],[3,4]]]", "[[1]]"]),
        ),
        max_size=8,
    ),
)
def test_all_other_forms(doors: Doors, path: str, fields: dict[str, str]) -> None:
    # Who is logged in stays so, and signs nothing: a right password is never among them.
    assert PASSWORD not in fields.values()
    doors.looked_at(doors.browser.post(path, **fields))


JSON = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=20)),
    lambda inner: st.one_of(
        st.lists(inner, max_size=4), st.dictionaries(st.text(max_size=8), inner, max_size=4)
    ),
    max_leaves=8,
)
OPERATIONS = st.fixed_dictionaries(
    {"kind": st.sampled_from("set confirm add remove move split join add_job remove_job undo redo".split())},
    optional={
        "pointer": POINTERS,
        "to": POINTERS,
        "value": JSON,
        "place": st.integers(-2, 3),
        "job": st.integers(-1, 2),
        "into": st.integers(-1, 2),
        "pointers": st.lists(POINTERS, max_size=3),
    },
)


@settings(QUIETLY, max_examples=800)
@given(operation=st.one_of(OPERATIONS, JSON), pointer=POINTERS, value=JSON)
def test_json_bodies(doors: Doors, operation: Any, pointer: str, value: Any) -> None:
    import json

    version = doors.shop.workshop.drafts.get(1, doors.shop.people["tam"]).version
    headers = {"x-token": doors.browser.token, "content-type": "application/json"}
    for path, body in (
        ("/api/drafts/1/edits", {"version": version, "operation": operation}),
        ("/api/drafts/2/edits", {"version": 2, "operation": operation}),
        ("/api/drafts/1/check", {"pointer": pointer, "value": value}),
    ):
        doors.looked_at(doors.client.post(path, content=json.dumps(body), headers=headers))


@settings(QUIETLY, max_examples=4500)
@given(
    path=st.sampled_from([*FORMS, "/drafts/1/change", "/api/drafts/1/edits", "/api/drafts/1/check"]),
    body=st.one_of(
        st.binary(max_size=300), st.text(max_size=100).map(lambda text: text.encode("utf-8", "replace"))
    ),
    kind=st.sampled_from(
        [
            "application/json",
            "application/x-www-form-urlencoded",
            "multipart/form-data",
            "multipart/form-data; boundary=x",
            "text/plain; charset=nonsense",
            "",
        ]
    ),
)
def test_bodies_that_are_none(doors: Doors, path: str, body: bytes, kind: str) -> None:
    headers = {"x-token": doors.browser.token, "content-type": kind}
    doors.looked_at(doors.client.post(path, content=body, headers=headers))


@settings(QUIETLY, max_examples=400)
@given(
    path=st.sampled_from(
        [
            "/drafts",
            "/drafts/1",
            "/machines",
            "/machine",
            "/api/search",
            "/api/register/part",
            "/audit",
            "/log-in",
        ]
    ),
    asked=st.dictionaries(
        st.sampled_from(
            "state words by from at edit add split look fleet text field on then told table".split()
        ),
        st.one_of(TEXTS, POINTERS),
        max_size=4,
    ),
)
def test_addresses(doors: Doors, path: str, asked: dict[str, str]) -> None:
    doors.looked_at(doors.client.get(path, params=asked))


class Office:
    """A desk with sheets, a draft of an invoice and an invoice, that somebody of the office knocks at."""

    def __init__(self, folder: Path) -> None:
        self.shop: Shop = office_shop(folder / "office")
        follow_up = ["replace the seat"]
        wanted = office_part("AL-90", "Alternator 24 V 90 A", status="to_order")
        jobs = [
            office_job(9),
            office_job(7, parts=[wanted], follow_up=follow_up),
            office_job(5),
            office_job(3),
        ]
        sign_jobs(self.shop, jobs)
        work, pru = self.shop.workshop, self.shop.people["pru"]
        billing = Billing(work, load_settings(work.folder))
        first = work.invoices.new_draft("Quillfen Aggregates", [1], pru)
        made = billing.reckon(first).invoice
        assert made is not None
        billing.approve(first.id, first.version, mark_of(made), pru)
        self.draft = work.invoices.new_draft("Quillfen Aggregates", [2], pru).id
        billing.order(billing.wanted()[:1], {}, "", pru)
        self.app = make_app(Desk(work, desk_work.Still()), hosts=None)
        self.client = TestClient(self.app, follow_redirects=False, raise_server_exceptions=RAISE)
        self.browser = Browser(self.client)
        assert self.browser.log_in("pru").status_code == 303

    def looked_at(self, answer: Any) -> None:
        """Holds an answer to what every answer must be."""
        assert answer.status_code < 500, f"{answer.request.url}: {answer.status_code} {answer.text[:300]}"
        assert "Traceback" not in answer.text and str(self.shop.folder) not in answer.text


@pytest.fixture(scope="module")
def office(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Office]:
    made = Office(tmp_path_factory.mktemp("office"))
    yield made
    made.client.close()
    made.shop.workshop.close()


LINE = {"key": "2/labour/normal", "reason": "x"}
RIGHT: tuple[tuple[str, dict[str, str]], ...] = (
    ("/office/drafts", {"customer": "Quillfen Aggregates", "sheet": "3"}),
    ("/office/drafts/DRAFT", {"action": "set", "price": "60", **LINE}),
    ("/office/drafts/DRAFT", {"action": "add", "text": "x", "quantity": "1", "price": "2", "reason": "x"}),
    ("/office/drafts/DRAFT", {"action": "leave_out", **LINE}),
    ("/office/drafts/DRAFT", {"action": "confirm", "look": "x", **LINE}),
    ("/office/drafts/DRAFT", {"action": "take_back", "kind": "set", **LINE}),
    ("/office/drafts/DRAFT", {"action": "details", "issued": "2026-05-12", "note": "x"}),
    ("/office/drafts/DRAFT", {"action": "sheets", "sheet": "2"}),
    ("/office/drafts/DRAFT", {"action": "approve", "seen": ""}),
    ("/office/drafts/DRAFT", {"action": "drop"}),
    ("/office/invoices/1001", {"how": "lines", "net 1/labour/normal": "0.01", "reason": "x"}),
    ("/office/invoices/1", {"how": "all", "reason": "x"}),
    (
        "/office/stock",
        {"van": "Tamsin Quill", "part_number": "FF-77", "kind": "received", "quantity": "1", "reason": "x"},
    ),
    ("/office/orders", {"action": "ordered", "wanted": "Tamsin Quill/FF77", "reference": "x"}),
    ("/office/orders", {"action": "received", "order": "1", "quantity": "1", "van": "Tamsin Quill"}),
    ("/office/orders", {"action": "cancel", "order": "1", "reason": "x"}),
    ("/office/follow-ups", {"action": "close", "sheet": "2", "text": "replace the seat", "by_sheet": "3"}),
    ("/office/follow-ups", {"action": "reopen", "closing": "1", "reason": "x"}),
)
"""What each form of the office sends where all of it is right; the tests put something else in its places."""
OFFICE_FIELDS = [
    *"action key reason text quantity price unit vat_category issued note sheet seen look kind van".split(),
    *"customer part_number order wanted reference by_sheet closing how".split(),
    "quantity 2/0",
    "net 2/labour/normal",
    "net 1/labour/normal",
]
OFFICE_TEXTS = st.one_of(
    TEXTS,
    st.sampled_from(
        "1/labour/normal 2/labour/normal 2/call_out added/1 2/0 2 3 standard exempt HUR received correction "
        "count lines add set drop confirm 0.01 -3 1,000 2,5 1e-999999 2026-05-12 FF-77 2026-02-30".split()
    ),
    st.sampled_from(["Tamsin Quill", "Quillfen Aggregates", "replace the seat", "=1+1", "1_000", "١٢"]),
)


@settings(QUIETLY, max_examples=700)
@given(
    right=st.sampled_from(RIGHT),
    fields=st.dictionaries(st.sampled_from(OFFICE_FIELDS), OFFICE_TEXTS, max_size=2),
    version=st.one_of(st.none(), st.none(), TEXTS),
)
def test_forms_of_the_office(
    office: Office, right: tuple[str, dict[str, str]], fields: dict[str, str], version: str | None
) -> None:
    invoices = office.shop.workshop.invoices
    draft = invoices.draft(office.draft)
    if draft.state != "open":
        pru = office.shop.people["pru"]
        draft = next(iter(invoices.drafts()), None) or invoices.new_draft("Quillfen Aggregates", [2], pru)
        office.draft = draft.id
    given = {**right[1], "version": str(draft.version) if version is None else version, **fields}
    office.looked_at(office.browser.post(right[0].replace("DRAFT", str(office.draft)), **given))
    office.looked_at(office.browser.get(f"/office/drafts/{office.draft}"))


@settings(QUIETLY, max_examples=200)
@given(
    content=st.one_of(st.binary(max_size=200), TEXTS.map(lambda text: f"part_number,count\n{text}".encode()))
)
def test_stock_takes_that_are_none(office: Office, content: bytes) -> None:
    sent = {"token": office.browser.token, "van": "Tamsin Quill"}
    office.looked_at(office.client.post("/office/stock/take", files={"file": ("a.csv", content)}, data=sent))


@settings(QUIETLY, max_examples=300)
@given(
    path=st.sampled_from(
        "/office /office/invoices /office/ledger.csv /office/stock /office/orders /office/follow-ups "
        "/office/fleet /machine".split()
    ),
    asked=st.dictionaries(
        st.sampled_from("customer since until van look state older fleet".split()), OFFICE_TEXTS, max_size=4
    ),
)
def test_addresses_of_the_office(office: Office, path: str, asked: dict[str, str]) -> None:
    office.looked_at(office.client.get(path, params=asked))


def test_the_office_was_let_in(office: Office) -> None:
    # Nobody was logged out on the way; the forms above changed something, and no number was lost.
    assert office.browser.get("/office/invoices/1001").status_code == 200
    work = office.shop.workshop
    numbers = sorted(each.number for each in work.invoices.all(limit=10_000))
    assert numbers == list(range(1001, 1001 + len(numbers)))
    assert len(work.audit.lines(limit=100_000)) > 150
    assert office.draft > 5 and work.stock.entries() and work.follow_ups.closings()


def test_another_drafts_secret_would_have_been_seen(doors: Doors) -> None:
    # The word that none of these answers may hold is there to be leaked.
    owner = Browser(TestClient(doors.app, follow_redirects=False))
    owner.log_in("ilse")
    assert SECRET in owner.get("/drafts/2").text
    # Nobody was logged out on the way, so the forms above were looked at and not merely turned away.
    assert doors.browser.get("/drafts/1").status_code == 200
    assert doors.shop.workshop.drafts.get(1, doors.shop.people["tam"]).version > 20
