"""What the office keeps so as to answer at once is what it would reckon anew, whatever has happened."""

from __future__ import annotations

import datetime
import re
import threading
from collections.abc import Callable, Iterator
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from desk_work import PASSWORD, Shop
from office_work import (
    LONDON,
    OFFICE_TOML,
    PARTS_CSV,
    made_jobs,
    office_job,
    office_part,
    office_shop,
    sign_jobs,
)

from jobnotes.desk import Desk, invoice_pages, stock_pages
from jobnotes.errors import JobnotesError
from jobnotes.jobs.invoice import Invoice
from jobnotes.office.drafting import credit_note
from jobnotes.office.kept import Kept, KeptEach
from jobnotes.store import IssuedInvoice, Signed
from jobnotes.store.operations import SetValue
from jobnotes.workshop import load_settings, save_settings
from jobnotes.workshop.billing import Billing

TODAY = datetime.date(2026, 6, 1)
MACHINES = ("WL31", "EX204", "TH7", "XX1")


class Nobody:
    """Stands for the thread that hears."""


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    made = office_shop(tmp_path / "workshop")
    sign_jobs(made, made_jobs(40, last=TODAY))
    yield made
    made.workshop.close()


def figures(billing: Billing) -> dict[str, Any]:
    """All that the office's pages show."""
    follow_ups = billing.follow_ups()
    return {
        "visits": list(billing.visits.all()),
        "documents": list(billing.documents()),
        "levels": billing.levels(),
        "wanted": billing.wanted(),
        "chased": billing.chased(),
        "follow-ups": [(each, [later.sheet for later in each.later], each.proposed) for each in follow_ups],
        "services": billing.services(),
        "returns": billing.returns(),
        "spend": billing.spend(),
        "waits": billing.waits(),
        "to invoice": billing.to_invoice(),
        "machines": [
            (
                billing.machine_follow_ups(key),
                billing.machine_service(key),
                billing.machine_returns(key),
                billing.machine_spend(key),
            )
            for key in MACHINES
        ],
    }


def office_of(shop: Shop) -> Billing:
    """An office that has kept nothing yet."""
    return Billing(shop.workshop, load_settings(shop.workshop.folder))


def approve(shop: Shop, customer: str, *sheets: int) -> IssuedInvoice:
    """An invoice without its paper."""
    billing, office = office_of(shop), shop.people["pru"]
    draft = shop.workshop.invoices.new_draft(customer, sheets, office)

    def make(number: int) -> tuple[Invoice, bytes]:
        made = billing.reckon(draft, number=number).invoice
        assert made is not None
        return made, b"%PDF"

    return shop.workshop.invoices.approve(draft.id, draft.version, office, make, 1001)


def credit(shop: Shop, number: int) -> None:
    def make(new: int, original: IssuedInvoice, _earlier: list[IssuedInvoice]) -> tuple[Invoice, bytes]:
        note = credit_note(
            original.document,
            [],
            issued=datetime.date.today(),
            reason="twice",
            number=new,
            printed_number=str(new),
        )
        return note, b"%PDF"

    shop.workshop.invoices.credit(number, shop.people["pru"], make)


def amend(shop: Shop, sheet: int) -> None:
    """The sheet with one more hour on the meter and other advice."""
    tam, workshop = shop.people["tam"], shop.workshop
    draft = workshop.sheets.amend(sheet, tam)
    for pointer, value in (("/jobs/0/machine/hours", 9_900.0), ("/jobs/0/complaint", "steering is heavy")):
        draft = workshop.drafts.edit(draft.id, draft.version, tam, SetValue(pointer=pointer, value=value))
    workshop.sheets.sign(
        draft.id,
        draft.version,
        tam,
        PASSWORD,
        Signed(tam.display_name),
        make_pdf=lambda _document: b"%PDF",
        zone=LONDON,
    )


def load_parts(shop: Shop, parts: str) -> None:
    given = shop.folder.parent / "firm-register"
    given.mkdir(exist_ok=True)
    (given / "parts.csv").write_text(parts, encoding="utf-8")
    shop.workshop.registers.load(shop.workshop.registers.compare(given))


def changes(shop: Shop) -> list[tuple[str, Callable[[], object], set[str]]]:
    """What may happen, and the figures that must be others after it."""
    workshop, pru = shop.workshop, shop.people["pru"]
    folder = workshop.folder
    asked = office_job(parts=[office_part(status="to_order")], follow_up=["renew the seat"])
    return [
        (
            "a sheet",
            lambda: sign_jobs(shop, [asked]),
            {"visits", "wanted", "follow-ups", "to invoice", "machines"},
        ),
        ("another engineer's", lambda: sign_jobs(shop, [office_job(fleet="XX1")], "joss"), {"levels"}),
        ("an amendment", lambda: amend(shop, 36), {"visits", "services", "machines"}),
        (
            "a withdrawal",
            lambda: workshop.sheets.withdraw(40, pru, "signed twice"),
            {"visits", "to invoice", "machines"},
        ),
        (
            "a closing",
            lambda: workshop.follow_ups.close(41, "renew the seat", pru, reason="not wanted"),
            {"follow-ups", "machines"},
        ),
        ("opened again", lambda: workshop.follow_ups.reopen(1, pru, "wanted"), {"follow-ups", "machines"}),
        (
            "a count",
            lambda: workshop.stock.add("Tamsin Quill", "count", "HR-3062", "", Decimal(1), pru),
            {"levels"},
        ),
        (
            "an order",
            lambda: workshop.orders.order(
                "Fenwold", "HR-3062", "", Decimal(1), "each", pru, sheet=41, place=0
            ),
            {"wanted", "chased"},
        ),
        (
            "a delivery",
            lambda: workshop.orders.received(1, Decimal(1), "Tamsin Quill", pru),
            {"levels", "chased"},
        ),
        (
            "the register",
            lambda: load_parts(shop, PARTS_CSV.replace("3,6,Marrow", "9,20,Marrow")),
            {"wanted"},
        ),
        (
            "the rules",
            lambda: folder.office_settings.write_text(f"{OFFICE_TOML}\n[returns]\ndays = 20\n"),
            {"returns"},
        ),
        (
            "other intervals",
            lambda: folder.office_settings.write_text(OFFICE_TOML.replace("= 500", "= 1000")),
            {"services", "machines"},
        ),
        (
            "an invoice",
            lambda: approve(shop, "Quillfen Aggregates", 1, 2),
            {"documents", "spend", "waits", "to invoice", "machines"},
        ),
        ("a credit note", lambda: credit(shop, 1001), {"documents", "spend", "to invoice", "machines"}),
    ]


def test_what_is_kept_is_what_would_be_reckoned_anew(shop: Shop) -> None:
    desk = Desk(shop.workshop, Nobody())  # type: ignore[arg-type]
    desk.billing.warm_up()
    before = figures(desk.billing)
    for what, change, must in changes(shop):
        change()
        after = figures(desk.billing)
        reckoned = figures(office_of(shop))
        assert [name for name in after if after[name] != reckoned[name]] == [], what
        assert must <= {name for name in after if after[name] != before[name]}, what
        before = after


def test_one_machine_is_told_as_among_all(shop: Shop) -> None:
    billing = office_of(shop)
    approve(shop, "Quillfen Aggregates", 1, 2)
    for key in ("WL31", "EX204"):
        assert billing.machine_service(key) == next(x for x in billing.services() if x.machine_key == key)
        returned = [each for each in billing.returns() if each.later.machine_key == key]
        assert returned and billing.machine_returns(key) == returned
        assert billing.machine_follow_ups(key) == [x for x in billing.follow_ups() if x.machine_key == key]
    assert billing.machine_spend("WL31") is not None and billing.machine_spend("TH7") is None
    assert not billing.machine_returns("NONE") and billing.machine_service("NONE") is None


def test_other_settings_read_no_sheet_again_unless_days_are_others(shop: Shop) -> None:
    desk = Desk(shop.workshop, Nobody())  # type: ignore[arg-type]
    first = desk.billing
    visits = first.visits.all()
    settings = load_settings(shop.workshop.folder)
    firm = replace(settings.firm, name="Hallbeck and Daughter")
    save_settings(shop.workshop.folder, replace(settings, firm=firm))
    second = desk.billing
    assert second.settings.firm.name == "Hallbeck and Daughter"
    assert second.visits.all() is visits
    late = office_job(date=None)
    sign_jobs(shop, [late])
    london = second.visits.all()[-1]
    save_settings(shop.workshop.folder, replace(settings, zone_name="Pacific/Kiritimati"))
    there = desk.billing.visits.all()[-1]
    assert there.date == there.signed_at.astimezone(ZoneInfo("Pacific/Kiritimati")).date()
    assert london.date == london.signed_at.astimezone(LONDON).date()


def test_many_threads_are_told_the_same_while_sheets_and_stock_come(shop: Shop) -> None:
    billing = office_of(shop)
    done, faults = threading.Event(), []

    def ask() -> None:
        sheets = entries = 0
        try:
            while not done.is_set():
                visits, stock = len(billing.visits.all()), len(billing.stock_entries())
                assert visits >= sheets and stock >= entries
                sheets, entries = visits, stock
                returned = billing.returns()
                assert returned == sorted(
                    returned, key=lambda each: (each.later.date, each.later.sheet), reverse=True
                )
                assert len({(level.van, level.part_number) for level in billing.levels()}) >= 8
                billing.wanted(), billing.chased(), billing.services(), billing.follow_ups()
        except BaseException as fault:
            faults.append(fault)

    threads = [threading.Thread(target=ask, daemon=True) for _ in range(6)]
    for thread in threads:
        thread.start()
    try:
        for count in range(6):
            sign_jobs(shop, [office_job(before=count)])
            shop.workshop.stock.add(
                "Tamsin Quill", "received", "FF-77", "", Decimal(count + 1), shop.people["pru"]
            )
    finally:
        done.set()
    for thread in threads:
        thread.join()
    assert faults == []
    assert len(billing.visits.all()) == 46 and len(billing.stock_entries()) == 6
    assert figures(billing) == figures(office_of(shop))


def test_a_value_is_made_once_for_all_who_ask_and_not_kept_where_it_fails() -> None:
    kept: Kept[int] = Kept()
    made: list[int] = []
    go = threading.Barrier(8)

    def make() -> int:
        made.append(1)
        return len(made)

    def ask() -> None:
        go.wait()
        kept.of((), make, marks=("same",))

    threads = [threading.Thread(target=ask) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert made == [1]

    def fails() -> int:
        raise JobnotesError("not today")

    with pytest.raises(JobnotesError):
        kept.of((), fails, marks=("other",))
    assert kept.of((), make, marks=("same",)) == 1
    assert kept.of((), make, marks=("other",)) == 2


def test_of_many_only_those_that_changed_are_made_again() -> None:
    kept: KeptEach[str, list[int], int] = KeptEach()
    made: list[list[int]] = []

    def total(numbers: list[int]) -> int:
        made.append(numbers)
        return sum(numbers)

    assert kept.of({"a": [1], "b": [2, 3]}, total, marks=(1,)) == [1, 5]
    assert kept.of({"a": [1], "b": [2, 4], "c": []}, total, marks=(1,)) == [1, 6, 0]
    assert made == [[1], [2, 3], [2, 4], []]
    assert kept.of({"b": [2, 4]}, total, marks=(1,)) == [6] and len(made) == 4
    assert kept.of({"b": [2, 4]}, total, marks=(2,)) == [6] and len(made) == 5


def test_all_that_waits_can_be_reached_page_by_page(
    shop: Shop, visit: Callable[[str], Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(invoice_pages, "CUSTOMERS", 1)
    office = visit("pru")
    seen: list[str] = []
    path: str | None = "/office"
    while path:
        page = office.get(path).text
        seen += re.findall(r'name="customer" value="([^"]+)"', page)
        more = re.search(r'href="(/office\?[^"]*from=\d+)"', page)
        path = more[1].replace("&amp;", "&") if more else None
    billing = office_of(shop)
    assert seen == [each.customer for each in billing.to_invoice()] and len(seen) == 3
    found = office.get("/office?look=oddmarsh plant").text
    assert re.findall(r'name="customer" value="([^"]+)"', found) == ["Oddmarsh Plant Hire"]
    assert "No customer of that name" in office.get("/office?look=nobody").text


def test_of_many_orders_a_few_are_drawn_and_the_rest_found(
    shop: Shop, visit: Callable[[str], Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    billing = office_of(shop)
    wanted, chased = billing.wanted(), billing.chased()
    assert len(wanted) > 2 and len(chased) > 2
    monkeypatch.setattr(stock_pages, "MOST_WANTED", 1)
    monkeypatch.setattr(stock_pages, "MOST_CHASED", 1)
    office = visit("pru")
    page = office.get("/office/orders").text
    suppliers = {each.supplier for each in wanted}
    assert len(re.findall('name="wanted"', page)) == len(suppliers) < len(wanted)
    assert f"and {len(chased) - 1} more; look for" in page
    assert len(re.findall('<li class="card">', page)) == 1
    monkeypatch.setattr(stock_pages, "MOST_WANTED", 100)
    page = office.get("/office/orders?look=ram seal").text
    assert (
        len(re.findall('name="wanted"', page)) == sum("ram seal" in each.description for each in wanted) > 0
    )
