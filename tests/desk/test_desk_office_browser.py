"""The office's pages in a real browser: what axe-core finds, what a keyboard reaches, what a phone shows."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pages
import pytest
from desk_work import Server, Shop
from office_work import OFFICE_TOML, office_job, office_part, office_shop, sign_jobs
from pages import done, log_in, page_at, tab_to, violations
from playwright.sync_api import Browser, Page, expect

from jobnotes.jobs.model import Times
from jobnotes.workshop import load_settings
from jobnotes.workshop.billing import Billing, mark_of

LONG = "Weighbridge-and-crusher-hydraulic-return-line-filter-housing-with-bypass"
OPEN_ALL = "document.querySelectorAll('details').forEach(each => { each.open = true })"
TWICE = """() => {
    const ids = [...document.querySelectorAll('[id]')].map(each => each.id)
    return ids.filter((each, place) => ids.indexOf(each) !== place)
}"""
IN_LABELS = "() => [...document.querySelectorAll('label :is(a, button)')].map(each => each.outerHTML)"


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    """Sheets of every kind: with a part without a price, without times, of one day's round, with follow-ups,
    ordered parts, a fault that came back; an invoice and a credit note."""
    made = office_shop(tmp_path_factory.mktemp("office") / "workshop")
    fault = {
        "complaint": "boom creeping down",
        "cause": "boom ram seals worn",
        "work": ["resealed the boom ram"],
    }
    wanted = [office_part("AL-90", "Alternator 24 V 90 A", status="to_order"), office_part()]
    jobs = [
        office_job(40, parts=[office_part(), office_part("ZZ-1", LONG, status="ordered")], **fault),
        office_job(20, parts=wanted, follow_up=["replace the seat", LONG], **fault),
        office_job(12, work=["replaced the seat"], times=Times()),
        office_job(12, fleet="WL13", site="Quillfen Wharf", distance=None, parts=[office_part("NP-5", LONG)]),
        office_job(9, customer="Tarn Syke Farms", site="Tarn Syke", complaint=LONG, follow_up=["new lamp"]),
        office_job(8, customer=None, site=None),
        office_job(7, customer="Oddmarsh Plant Hire", site="Oddmarsh Yard"),
        office_job(6, customer="Oddmarsh Plant Hire", site="Oddmarsh Yard", times=Times()),
    ]
    for place, job in enumerate(jobs):
        job.machine.hours = 4000.0 + 70 * place
    sign_jobs(made, jobs)
    work, pru = made.workshop, made.people["pru"]
    billing = Billing(work, load_settings(work.folder))
    draft = work.invoices.new_draft("Quillfen Aggregates", [1], pru)
    invoice = billing.reckon(draft).invoice
    assert invoice is not None
    billing.approve(draft.id, draft.version, mark_of(invoice), pru)
    billing.credit(1001, "Half a job", pru, {"1/labour/normal": invoice.lines[0].net / 2})
    billing.order([each for each in billing.wanted() if each.sheet][:1], {}, "PO 88", pru)
    work.follow_ups.close(2, LONG, pru, reason="the customer does it")
    work.stock.add("Tamsin Quill", "count", "FF-77", "Fuel filter", 2, pru)  # type: ignore[arg-type]
    yield made
    work.close()


def _page(browser: Browser, server: Server, size: str, name: str = "pru") -> Page:
    return page_at(browser, server, size, name)


def _draft_of(shop: Shop, *sheets: int, customer: str = "Quillfen Aggregates") -> int:
    """The open draft with these sheets; a new one where there is none."""
    invoices = shop.workshop.invoices
    for draft in invoices.drafts():
        if draft.sheets == sheets:
            return draft.id
    return invoices.new_draft(customer, sheets, shop.people["pru"]).id


@pytest.mark.parametrize("size", ["desk", "phone"])
def test_every_page_of_the_office_passes_axe(
    browser: Browser, server: Server, shop: Shop, axe: Path, size: str
) -> None:
    draft = f"/office/drafts/{_draft_of(shop, 2, 3, 4)}"
    page = _page(browser, server, size)
    found: dict[str, list[str]] = {}

    def look(what: str) -> None:
        """Holds the page as it stands, and with all of it opened, to WCAG, to its width and its ids."""
        for how in ("", ", opened"):
            if how:
                page.evaluate(OPEN_ALL)
            if lines := violations(page, axe):
                found[what + how] = lines
            wide = page.evaluate("document.documentElement.scrollWidth")
            assert wide <= pages.SIZES[size][0], f"{what}{how} is {wide} px wide"
            assert page.evaluate(TWICE) == [], f"{what}{how}: ids that stand there twice"
            assert page.evaluate(IN_LABELS) == [], f"{what}{how}: something to press within a label"

    for path in (
        "/office",
        draft,
        "/office/invoices",
        "/office/invoices?customer=Nobody",
        "/office/invoices?since=May",
        "/office/invoices/1001",
        "/office/invoices/1002",
        "/office/stock",
        "/office/stock?van=Tamsin+Quill&look=filter",
        "/office/stock?look=nothing+of+the+kind",
        "/office/orders",
        "/office/follow-ups",
        "/office/follow-ups?state=closed",
        "/office/follow-ups?look=nothing+of+the+kind",
        "/office/follow-ups?older=May",
        "/office/fleet",
        "/machine?fleet=WL31",
        "/office/drafts/999",
    ):
        page.goto(server.address + path)
        page.wait_for_load_state("load")
        look(path)

    # What a person sees who typed something that can't be.
    page.goto(server.address + draft)
    page.locator("#new-text").fill("Disposal of oil")
    page.locator("#new-price").fill("twelve")
    page.locator("#new-reason").fill("agreed")
    page.get_by_role("button", name="Add", exact=True).click()
    expect(page.get_by_role("alert")).to_contain_text("not a number")
    look("a price that is none")
    page.goto(f"{server.address}/office/stock")
    page.locator("#part-number").fill("ZZ-1")
    page.locator("#quantity").fill("1")
    page.get_by_role("button", name="Write down").click()
    expect(page.get_by_role("alert")).to_contain_text("no part 'ZZ-1'")
    look("a part that is none")
    page.goto(f"{server.address}/office/invoices/1001")
    page.locator("#how-lines").check()
    page.locator("#reason").fill("x")
    page.get_by_role("button", name="Make the credit note").click()
    expect(page.get_by_role("alert")).to_contain_text("amount of one line")
    look("a credit of nothing")

    # Nothing is set up yet, or it is broken.
    settings, rates = shop.workshop.folder.office_settings, shop.workshop.folder.rates
    kept = rates.read_text(encoding="utf-8")
    try:
        settings.write_text("[labour]\nstep = 15\n", encoding="utf-8")
        rates.unlink()
        for path in ("/office", draft, "/office/fleet", "/machine?fleet=WL31"):
            page.goto(server.address + path)
            expect(page.locator(".trouble").first).to_contain_text("office.toml")
            look(f"{path} without rules")
    finally:
        settings.write_text(OFFICE_TOML, encoding="utf-8")
        rates.write_text(kept, encoding="utf-8")

    page.context.clear_cookies()
    log_in(page, server.address, "tam")
    for path in ("/office/follow-ups", "/office/follow-ups?state=closed", "/machine?fleet=WL31", "/office"):
        page.goto(server.address + path)
        look(f"{path} for an engineer")
    assert not found, "\n".join(f"{path}: {line}" for path, lines in found.items() for line in lines)
    done(page)


def _focused(page: Page) -> None:
    """Where the keyboard is can be seen, and is not behind what is fixed on the screen."""
    width, top, bottom = page.evaluate(
        """() => {
            const at = document.activeElement, box = at.getBoundingClientRect()
            return [parseFloat(getComputedStyle(at).outlineWidth), box.top, box.bottom]
        }"""
    )
    assert width >= 2, page.evaluate("document.activeElement.outerHTML")
    assert bottom > 0 and top < page.viewport_size["height"]  # type: ignore[index]


def _send(page: Page) -> None:
    """Sends the form with the Enter key, and waits for the page that answers."""
    with page.expect_navigation():
        page.keyboard.press("Enter")


@pytest.mark.parametrize("size", ["desk", "phone"])
def test_from_a_waiting_sheet_to_an_approved_invoice_by_keys_alone(
    browser: Browser, server: Server, shop: Shop, size: str
) -> None:
    before = {each.number for each in shop.workshop.invoices.all()}
    # Another day for each size: a second visit on one day would be something to look at.
    days = {"desk": 4, "phone": 3}
    job = office_job(days[size], times=Times(), customer="Tarn Syke Farms", site="Tarn Syke", distance=None)
    sheet = sign_jobs(shop, [job])[0].number
    page = _page(browser, server, size)
    tab_to(page, 'nav.rooms a[href="/office"]')
    page.keyboard.press("Enter")
    page.wait_for_url("**/office")
    # Of what waits of the customer, that sheet alone: the others are taken out with the space bar.
    form = page.locator("form.card", has_text="Tarn Syke Farms")
    for box in form.locator("input[type=checkbox]").all():
        if box.get_attribute("value") != str(sheet):
            tab_to(page, f"#{box.get_attribute('id')}")
            _focused(page)
            page.keyboard.press("Space")
    tab_to(page, 'form:has(input[value="Tarn Syke Farms"]) button')
    _focused(page)
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile(r"/office/drafts/\d+$"))
    assert shop.workshop.invoices.draft(int(page.url.rpartition("/")[2])).sheets == (sheet,)

    # No times and no miles: two doubts, each confirmed.
    doubts = page.locator(".doubt-line")
    for left in (1, 0):
        tab_to(page, '.doubt-line button[value="confirm"]')
        _focused(page)
        _send(page)
        expect(doubts).to_have_count(left)
    # A line is opened and its price changed.
    tab_to(page, ".charges summary")
    _focused(page)
    page.keyboard.press("Enter")
    tab_to(page, '.charges [open] input[name="price"]')
    page.keyboard.press("Control+a")
    page.keyboard.type("41.50")
    tab_to(page, '.charges [open] input[name="reason"]')
    page.keyboard.type("agreed")
    _send(page)
    expect(page.locator(".bill")).to_contain_text("£41.50")
    expect(page.locator(".bill")).to_contain_text("Changed")
    # The way down to the approval is a link at the head of the page.
    tab_to(page, 'a[href="#approve"]')
    page.keyboard.press("Enter")
    page.wait_for_url("**#approve")
    tab_to(page, 'button[value="approve"]', most=10)
    _focused(page)
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile(r"/office/invoices/\d+$"), timeout=60_000)
    number = int(page.url.rpartition("/")[2])
    assert number not in before
    issued = shop.workshop.invoices.get(number)
    assert (str(issued.net), str(issued.gross)) == (
        "41.50",
        "49.80",
    ) and issued.approved_by == "Prudence Able"
    tab_to(page, f'a[href="/office/invoices/{number}/pdf"]')
    pdf = page.context.request.get(f"{server.address}/office/invoices/{number}/pdf").body()
    assert pdf.startswith(b"%PDF-")
    done(page)


@pytest.mark.parametrize("size", ["desk", "phone"])
def test_everything_to_press_is_large_enough(browser: Browser, server: Server, shop: Shop, size: str) -> None:
    """24 px both ways (WCAG 2.2, 2.5.8), links within a sentence aside."""
    draft = f"/office/drafts/{_draft_of(shop, 2, 3, 4)}"
    page = _page(browser, server, size)
    for path in (
        "/office",
        draft,
        "/office/invoices/1001",
        "/office/stock",
        "/office/orders",
        "/office/follow-ups",
    ):
        page.goto(server.address + path)
        page.evaluate(OPEN_ALL)
        small = page.evaluate(
            """() => [...document.querySelectorAll('main :is(button, summary, input, select, .button)')]
                .filter(each => each.checkVisibility() && each.type !== 'hidden')
                .map(each => [each.textContent.trim() || each.name, each.getBoundingClientRect()])
                .filter(([, box]) => box.height < 24 || box.width < 24).map(([text]) => text)"""
        )
        assert small == [], path
    done(page)


def test_a_part_to_order_has_room_for_its_words_on_a_phone(browser: Browser, server: Server) -> None:
    page = _page(browser, server, "phone")
    page.goto(f"{server.address}/office/orders")
    words, row = page.locator(".ticks .tick").first.bounding_box(), page.locator(".ticks > li").first
    whole = row.bounding_box()
    assert words and whole and words["width"] > 0.9 * whole["width"]
    done(page)


def test_a_follow_up_is_closed_and_opened_by_keys_alone(browser: Browser, server: Server, shop: Shop) -> None:
    page = _page(browser, server, "desk", "tam")
    tab_to(page, 'nav.rooms a[href="/office/follow-ups"]')
    page.keyboard.press("Enter")
    page.wait_for_url("**/office/follow-ups")
    card = page.locator("li.card", has_text="Replace the seat")
    place = 1 + page.locator("li.card").evaluate_all(
        "cards => cards.findIndex(each => each.textContent.includes('Replace the seat'))"
    )
    tab_to(page, f"li.card:nth-child({place}) summary")
    page.keyboard.press("Enter")
    # The later sheet whose work reads alike is proposed already.
    expect(card.locator("select")).to_have_value("3")
    tab_to(page, f'li.card:nth-child({place}) button[value="close"]')
    _focused(page)
    _send(page)
    expect(card).to_have_count(0)
    assert [each.by_sheet for each in shop.workshop.follow_ups.closings() if not each.undone][-1] == 3
    tab_to(page, "#state")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Tab")
    _send(page)
    assert "state=closed" in page.url
    expect(page.locator("li.card", has_text="Replace the seat")).to_contain_text("done on sheet 3")
    done(page)
