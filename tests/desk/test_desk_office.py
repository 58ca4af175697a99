"""The office's pages by requests: from waiting sheets to invoices and credit notes, stock, orders,
follow-ups, the fleet; who may see money, and what is said where something is missing."""

from __future__ import annotations

import datetime
import html
import re
from collections.abc import Iterator
from pathlib import Path

import pikepdf
import pytest
from click.testing import CliRunner
from desk_work import Shop
from lxml import etree
from office_work import CUSTOMERS_CSV, PARTS_CSV, RATES_CSV, office_shop, sign_jobs, weekday
from office_work import office_job as job
from office_work import office_part as part

from jobnotes.cli import commands
from jobnotes.jobs import Job
from jobnotes.jobs.model import Times

MONEY = (
    "/office",
    "/office/invoices",
    "/office/invoices/1001",
    "/office/invoices/1001/pdf",
    "/office/ledger.csv",
    "/office/stock",
    "/office/orders",
    "/office/orders.csv",
    "/office/orders.pdf",
    "/office/fleet",
)
FORMS = (
    "/office/drafts",
    "/office/drafts/1",
    "/office/invoices/1001",
    "/office/stock",
    "/office/orders",
)


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    made = office_shop(tmp_path / "workshop")
    yield made
    made.workshop.close()


def plain(page: str) -> str:
    """A page's words as they are read."""
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page)).split())


def alert(page: str) -> str:
    """What the page says went wrong."""
    found = re.search(r'role="alert">(.*?)</p>', page, re.S)
    return plain(found[1]) if found else ""


def field(page: str, name: str) -> str:
    """The value of a form's field."""
    found = re.search(rf'name="{name}" value="([^"]*)"', page)
    assert found, f"no field {name}"
    return html.unescape(found[1])


def new_draft(office, *sheets: int, customer: str = "Quillfen Aggregates") -> str:
    answer = office.post("/office/drafts", customer=customer, sheet=[str(each) for each in sheets])
    assert answer.status_code == 303, plain(answer.text)
    return answer.headers["location"]


def change(office, draft: str, action: str, **fields: str):
    """Sends a draft's form as its page would now."""
    return office.post(draft, action=action, version=field(office.get(draft).text, "version"), **fields)


def approve(office, draft: str):
    page = office.get(draft).text
    return office.post(draft, action="approve", version=field(page, "version"), seen=field(page, "seen"))


def invoice(office, *sheets: int) -> str:
    """Sheets, approved as they stand: the address of the invoice."""
    answer = approve(office, new_draft(office, *sheets))
    assert answer.status_code == 303, alert(answer.text)
    return answer.headers["location"]


# -- from sheets to invoices --


def test_from_waiting_sheets_to_credited_invoice(shop: Shop, visit) -> None:
    # One visit with no times, which is doubtful; one like every day's.
    sign_jobs(shop, [job(parts=[part()])])
    sign_jobs(shop, [job(4, times=Times())])
    office = visit("pru")
    waiting = plain(office.get("/office").text)
    assert "Quillfen Aggregates" in waiting and "sheet 1" in waiting and "sheet 2" in waiting
    assert "No invoice can go out" not in waiting
    draft = new_draft(office, 1, 2)
    assert "sheet 1" not in plain(office.get("/office").text)

    page = plain(office.get(draft).text)
    # 2 h at 58.00; 38 mi at 0.85; call-out; the accumulator; 3 % of labour.
    for amount in ("£116.00", "£32.30", "£35.00", "£186.40", "£3.48", "£440.48"):
        assert amount in page, amount
    assert "Sheet 2 gives no times" in page and "1 place to look at first" in page
    # What is not confirmed keeps it from being approved, by the page and by the form alike.
    assert re.search(r'value="approve" disabled', office.get(draft).text)
    refused = approve(office, draft)
    assert refused.status_code == 409 and "Sheet 2 gives no times" in alert(refused.text)
    look = field(office.get(draft).text, "look")
    assert change(office, draft, "confirm", key="2/labour", look=look).status_code == 303
    assert "gives no times" not in plain(office.get(draft).text).split("What the office changed")[0]

    # A line is changed, twice: the second change leaves the first as it is.
    assert (
        change(office, draft, "set", key="1/labour/normal", price="50", reason="as agreed").status_code == 303
    )
    assert change(office, draft, "set", key="1/labour/normal", text="Labour, brakes", reason="his wish")
    page = plain(office.get(draft).text)
    assert "Labour, brakes" in page and "£50.00 per h" in page and "£100.00" in page and "his wish" in page
    # One is left out, one is added.
    assert change(office, draft, "leave_out", key="1/call_out", reason="goodwill").status_code == 303
    added = {"text": "Disposal of oil", "quantity": "2", "price": "1,012.50", "vat_category": "standard"}
    assert change(office, draft, "add", reason="agreed", **added).status_code == 303
    page = plain(office.get(draft).text)
    assert "£2,025.00" in page and "Left out: 1/call_out goodwill" in page
    # 100 + 32.30 + 186.40 + 3.00 consumables; 32.30 + 35 travel and call-out of the second; 2025.
    assert "£2,414.00" in page
    # Taken back, the call-out stands there again.
    assert change(office, draft, "take_back", key="1/call_out", kind="drop").status_code == 303
    assert "£2,449.00" in plain(office.get(draft).text)
    paper = office.get(f"{draft}/pdf")
    assert paper.status_code == 200 and paper.content.startswith(b"%PDF-")

    done = approve(office, draft)
    assert done.status_code == 303 and done.headers["location"] == "/office/invoices/1001"
    assert office.get(draft).headers["location"] == "/office/invoices/1001"
    page = plain(office.get("/office/invoices/1001").text)
    assert "Invoice 1001" in page and "£2,449.00" in page and "£489.80" in page and "£2,938.80" in page
    assert "Prudence Able" in page and "1001" in plain(office.get("/office/invoices").text)
    assert "Every signed sheet is on an invoice" in plain(office.get("/office").text)

    # What is given out of it holds the same amounts.
    pdf = office.get("/office/invoices/1001/pdf")
    (shop.folder / "invoice.pdf").write_bytes(pdf.content)
    with pikepdf.open(shop.folder / "invoice.pdf") as opened:
        assert list(opened.attachments) == ["factur-x.xml"]
        inside = bytes(opened.attachments["factur-x.xml"].get_file().read_bytes())
    cii, ubl = office.get("/office/invoices/1001/cii"), office.get("/office/invoices/1001/ubl")
    assert cii.content == inside
    assert "invoice-1001-cii.xml" in cii.headers["content-disposition"]
    assert etree.fromstring(cii.content).xpath("string(//*[local-name()='GrandTotalAmount'])") == "2938.80"
    assert etree.fromstring(ubl.content).xpath("string(//*[local-name()='PayableAmount'])") == "2938.80"
    ledger = office.get("/office/ledger.csv").text.splitlines()
    assert len(ledger) == 2 and "1001,invoice," in ledger[1] and "2449.00,489.80,2938.80" in ledger[1]
    tomorrow = datetime.date.today() + datetime.timedelta(days=2)
    assert len(office.get(f"/office/ledger.csv?since={tomorrow}").text.splitlines()) == 1

    # A part of it is credited, then never more than is left, then the rest.
    part_of = {"how": "lines", "net 1/labour/normal": "40", "reason": "Half a job"}
    credited = office.post("/office/invoices/1001", **part_of)
    assert credited.headers["location"] == "/office/invoices/1002"
    page = plain(office.get("/office/invoices/1002").text)
    assert "Credit note 1002" in page and "£40.00" in page and "£48.00" in page and "Half a job" in page
    assert "Credited £48.00" in page and "To pay" not in page  # the customer pays nothing on it
    assert "£60.00 left" in plain(office.get("/office/invoices/1001").text)
    too_much = office.post("/office/invoices/1001", **{**part_of, "net 1/labour/normal": "60.01"})
    assert too_much.status_code == 422 and "60" in alert(too_much.text)
    assert "Sheet 1" not in plain(office.get("/office").text) and "sheet 1" not in office.get("/office").text
    rest = office.post("/office/invoices/1001", how="all", reason="Invoiced to the wrong site")
    assert rest.headers["location"] == "/office/invoices/1003"
    page = plain(office.get("/office/invoices/1003").text)
    assert "£2,409.00" in page and "£481.80" in page and "£2,890.80" in page
    again = office.post("/office/invoices/1001", how="all", reason="once more")
    assert again.status_code == 422 and "credited" in alert(again.text)
    assert "credited" in plain(office.get("/office/invoices").text)
    # In the ledger it comes to nought, and its sheets wait again.
    rows = [line.split(",") for line in office.get("/office/ledger.csv").text.splitlines()]
    gross = rows[0].index("gross")
    assert sum(float(row[gross]) for row in rows[1:]) == 0
    waiting = plain(office.get("/office").text)
    assert "sheet 1" in waiting and "sheet 2" in waiting
    audit = [(line.who, line.what, line.on) for line in shop.workshop.audit.lines()]
    assert ("pru", "approved", "invoice 1001") in audit and ("pru", "credited", "invoice 1001") in audit


def test_sheets_of_a_draft_are_chosen_anew_and_a_draft_discarded(shop: Shop, visit) -> None:
    sign_jobs(shop, [job()])
    sign_jobs(shop, [job(4)])
    office = visit("pru")
    draft = new_draft(office, 1)
    assert "Sheet 2" in plain(office.get(draft).text)
    assert change(office, draft, "sheets", sheet="2").status_code == 303
    assert "sheet 1" in plain(office.get("/office").text)
    none = change(office, draft, "sheets")
    assert none.status_code == 422 and "Choose a sheet" in alert(none.text)
    second = office.post("/office/drafts", customer="Quillfen Aggregates", sheet="2")
    assert second.status_code == 422 and "2" in alert(second.text)
    assert change(office, draft, "details", issued="2026-13-01", note="x").status_code == 422
    today = datetime.date.today().isoformat()
    assert change(office, draft, "details", issued=today, note="Thank you").status_code == 303
    assert shop.workshop.invoices.draft(1).note == "Thank you"
    assert change(office, draft, "drop").status_code == 303
    waiting = plain(office.get("/office").text)
    assert "sheet 1" in waiting and "sheet 2" in waiting and "Drafts of invoices" not in waiting


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"price": "2,5", "reason": "x"}, "not a number such as 58.50"),
        ({"price": "1e3", "reason": "x"}, "not a number"),
        ({"price": "nan", "reason": "x"}, "not a number"),
        ({"price": "-1", "reason": "x"}, "-1"),
        ({"quantity": "0", "reason": "x"}, "leave the line out"),
        ({"price": "60"}, "Say why"),
        ({"reason": "x"}, "Nothing on the line was changed"),
        ({"unit": "XXX", "reason": "x"}, "unit"),
        ({"vat_category": "none", "reason": "x"}, "vat_category"),
        ({"text": "x" * 501, "reason": "x"}, "text"),
        # What stands on the line already is no change.
        ({"price": "58", "quantity": "2.0", "reason": "x"}, "Nothing on the line was changed"),
    ],
)
def test_changes_that_no_line_can_have(shop: Shop, visit, fields: dict[str, str], said: str) -> None:
    sign_jobs(shop, [job()])
    office = visit("pru")
    draft = new_draft(office, 1)
    answer = change(office, draft, "set", key="1/labour/normal", **fields)
    assert answer.status_code == 422 and said in alert(answer.text), alert(answer.text)
    assert "£116.00" in plain(answer.text)
    assert shop.workshop.invoices.draft(1).version == 1


def test_a_new_line_needs_what_a_line_has(shop: Shop, visit) -> None:
    sign_jobs(shop, [job()])
    office = visit("pru")
    draft = new_draft(office, 1)
    missing = change(office, draft, "add", text="Disposal", reason="x")
    assert missing.status_code == 422 and "quantity, price" in alert(missing.text)
    off = {"text": "Taken off", "quantity": "-1", "price": "10", "reason": "goodwill"}
    assert change(office, draft, "add", **off).status_code == 303
    assert "−£10.00" in plain(office.get(draft).text)
    gone = change(office, draft, "take_back", key="1/travel", kind="set")
    assert gone.status_code == 422 and "1/travel" in alert(gone.text)
    assert change(office, draft, "nonsense").status_code == 422
    nowhere = change(office, draft, "set", key="7/labour/normal", price="1", reason="x")
    assert nowhere.status_code == 422 and "not there any more" in alert(nowhere.text)


# -- what keeps an invoice from going out --


def _stopped(office, draft: str, sentence: str) -> None:
    """The page says so, and approval is refused by the form too."""
    page = office.get(draft)
    assert page.status_code == 200 and sentence in plain(page.text), plain(page.text)
    assert "It can’t be approved yet" in plain(page.text)
    answer = office.post(
        draft,
        action="approve",
        version=field(page.text, "version"),
        seen=re.findall(r'name="seen" value="([^"]*)"', page.text)[0],
    )
    assert answer.status_code in (409, 422), answer.status_code
    assert not office.get("/office/invoices").text.count('href="/office/invoices/1001"')


def test_a_part_without_a_price_is_a_stop(shop: Shop, visit) -> None:
    sign_jobs(shop, [job(parts=[part("NP-5", "Bucket pin")])])
    office = visit("pru")
    draft = new_draft(office, 1)
    _stopped(office, draft, "NP-5")
    # A price given by hand lifts it.
    key = re.findall(r'name="key" value="(1/part/[^"]*)"', office.get(draft).text)[0]
    assert change(office, draft, "set", key=key, price="14.20", reason="his list").status_code == 303
    assert "£14.20" in plain(office.get(draft).text) and "NP-5" not in alert(office.get(draft).text)
    approved = approve(office, draft)
    assert approved.status_code == 303, alert(approved.text)


def test_a_customer_without_an_address_is_a_stop(shop: Shop, visit) -> None:
    sign_jobs(shop, [job(customer="Wharram Lifting", site="Wharram Dock")])
    office = visit("pru")
    _stopped(office, new_draft(office, 1, customer="Wharram Lifting"), "Wharram Lifting: address_1 is empty")


def test_a_customer_whom_the_register_does_not_know_is_a_stop(shop: Shop, visit) -> None:
    sign_jobs(shop, [job(customer="Somebody Else")])
    office = visit("pru")
    _stopped(office, new_draft(office, 1, customer="Somebody Else"), "there is no customer 'Somebody Else'")


def test_a_sheet_without_a_customer_can_not_be_chosen(shop: Shop, visit) -> None:
    sign_jobs(shop, [job(customer=None, site=None)])
    office = visit("pru")
    page = office.get("/office").text
    assert "No customer on the sheet" in page and re.search(r'value="1" disabled', page)
    assert office.post("/office/drafts", customer="", sheet="1").status_code == 422


def test_no_rates_yet(shop: Shop, visit) -> None:
    sign_jobs(shop, [job()])
    shop.workshop.folder.rates.unlink()
    office = visit("pru")
    page = plain(office.get("/office").text)
    assert "There is no rates.csv in the workshop's folder yet" in page and "sheet 1" in page
    _stopped(office, new_draft(office, 1), "There is no rates.csv")
    # Mended, it is taken up at once.
    shop.workshop.folder.rates.write_text(RATES_CSV, encoding="utf-8")
    assert "No invoice can go out" not in plain(office.get("/office").text)
    assert approve(office, "/office/drafts/1").status_code == 303


def test_a_fault_in_the_rates_is_named_by_line(shop: Shop, visit) -> None:
    sign_jobs(shop, [job()])
    shop.workshop.folder.rates.write_text(RATES_CSV + "call_out,,,,about forty,\n", encoding="utf-8")
    office = visit("pru")
    said = "rates.csv, line 12, column amount: 'about forty'"
    assert said in plain(office.get("/office").text)
    _stopped(office, new_draft(office, 1), said)
    shop.workshop.folder.rates.unlink()
    shop.workshop.folder.rates.mkdir()
    page = office.get("/office")
    assert page.status_code == 200 and "rates.csv is not a file" in plain(page.text)
    assert str(shop.folder) not in page.text
    assert office.get("/office/drafts/1").status_code == 200


def test_no_office_toml_yet(shop: Shop, visit) -> None:
    sign_jobs(shop, [job()])
    shop.workshop.folder.office_settings.unlink()
    office = visit("pru")
    page = plain(office.get("/office").text)
    assert "There is no office.toml in the workshop's folder yet" in page and "docs/office.md" in page
    assert "sheet 1" in page and str(shop.folder) not in page
    _stopped(office, new_draft(office, 1), "[seller]: vat_number is missing")


@pytest.mark.parametrize(
    ("written", "said"),
    [
        (b"currency = \n", "office.toml is not TOML"),
        (b"[labour]\nstep_min = 'x'\n", "line 2, [labour] step_min: must be a whole number"),
        (b"[labour]\nstep = 15\n", "[labour] step: there is no such key"),
        (b"\xff\xfe", "office.toml is not UTF-8 text"),
        (b"[seller]\ntown = 'x'\n", "office.toml, [seller]: address is missing"),
    ],
)
def test_a_broken_office_toml_is_told_and_stops_nothing_else(
    shop: Shop, visit, written: bytes, said: str
) -> None:
    sign_jobs(shop, [job(parts=[part()], follow_up=["new seat"])])
    office, engineer = visit("pru"), visit("tam")
    draft = new_draft(office, 1)
    shop.workshop.folder.office_settings.write_bytes(written)
    page = office.get("/office")
    assert page.status_code == 200 and said in plain(page.text) and str(shop.folder) not in page.text
    _stopped(office, draft, said)
    refused = office.post(draft, action="approve", version="1", seen="")
    assert str(shop.folder) not in refused.text
    for path in (
        "/office/invoices",
        "/office/stock",
        "/office/orders",
        "/office/follow-ups",
        "/office/fleet",
    ):
        answer = office.get(path)
        assert answer.status_code == 200 and str(shop.folder) not in answer.text, path
    # The machine's story is the engineers' too, who have nothing to do with office.toml.
    story = engineer.get("/machine?fleet=WL31")
    assert story.status_code == 200 and "fitted an accumulator" not in alert(story.text)
    assert "office.toml" not in story.text
    assert change(office, draft, "drop").status_code == 303


def test_the_fleet_and_a_machine_say_what_is_wrong_with_office_toml(shop: Shop, visit) -> None:
    sign_jobs(shop, [job()])
    shop.workshop.folder.office_settings.write_text("[returns]\ndays = -1\n", encoding="utf-8")
    office = visit("pru")
    for path in ("/office/fleet", "/machine?fleet=WL31"):
        assert "line 2, [returns] days: must not be less than 0" in alert(office.get(path).text), path


def test_a_stale_page_changes_and_approves_nothing(shop: Shop, visit) -> None:
    sign_jobs(shop, [job()])
    first, second = visit("pru"), visit("ilse")
    draft = new_draft(first, 1)
    page = second.get(draft).text
    assert change(first, draft, "set", key="1/labour/normal", price="50", reason="agreed").status_code == 303
    for action, more in (
        ("approve", {"seen": field(page, "seen")}),
        ("set", {"key": "1/labour/normal", "price": "70", "reason": "x"}),
        ("leave_out", {"key": "1/call_out", "reason": "x"}),
        ("drop", {}),
        ("sheets", {"sheet": "1"}),
    ):
        answer = second.post(draft, action=action, version="1", **more)
        assert answer.status_code == 409, action
        assert "Prudence Able changed the draft meanwhile" in alert(answer.text), action
    assert [each.values for each in shop.workshop.invoices.draft(1).adjustments] == [{"price": "50"}]
    assert shop.workshop.invoices.draft(1).state == "open"


def test_what_was_looked_at_is_what_is_approved(shop: Shop, visit) -> None:
    sign_jobs(shop, [job()])
    office = visit("pru")
    draft = new_draft(office, 1)
    page = office.get(draft).text
    dearer = RATES_CSV.replace("labour_normal,,,,58.00", "labour_normal,,,,68.00")
    shop.workshop.folder.rates.write_text(dearer, encoding="utf-8")
    answer = office.post(draft, action="approve", version=field(page, "version"), seen=field(page, "seen"))
    assert answer.status_code == 409 and "has changed since you looked" in alert(answer.text)
    assert "£136.00" in plain(answer.text) and not shop.workshop.invoices.all()
    # The page that told so shows the new price, and what it shows can be approved.
    seen = {"version": field(answer.text, "version"), "seen": field(answer.text, "seen")}
    assert office.post(draft, action="approve", **seen).status_code == 303


def test_a_sheet_amended_after_its_invoice_is_told(shop: Shop, visit) -> None:
    sheet = sign_jobs(shop, [job()])[0]
    office = visit("pru")
    invoice(office, 1)
    shop.workshop.sheets.withdraw(sheet.number, shop.people["tam"], "the wrong machine")
    said = "Sheet 1 was withdrawn after"
    assert said in plain(office.get("/office").text)
    assert said in plain(office.get("/office/invoices/1001").text)


def test_an_invoice_is_looked_for(shop: Shop, visit) -> None:
    sign_jobs(shop, [job()])
    office = visit("pru")
    invoice(office, 1)
    today, after = datetime.date.today(), datetime.date.today() + datetime.timedelta(days=3)
    there = 'href="/office/invoices/1001"'
    assert there in office.get("/office/invoices?customer=quillfen+AGGREGATES&since=&until=").text
    assert there in office.get(f"/office/invoices?since={today - datetime.timedelta(days=2)}").text
    assert there not in office.get(f"/office/invoices?since={after}").text
    assert there not in office.get("/office/invoices?customer=Tarn+Syke+Farms").text
    wrong = office.get("/office/invoices?since=May")
    assert wrong.status_code == 422 and "write a date as 2026-05-12" in alert(wrong.text)
    for path in (
        "/office/invoices/1001/docx",
        "/office/invoices/9",
        "/office/drafts/9",
        "/office/invoices/0",
    ):
        assert office.get(path).status_code in (404, 422), path


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"how": "all"}, "needs a reason"),
        ({"how": "lines", "reason": "x"}, "Give the amount of one line"),
        ({"how": "lines", "net 1/labour/normal": "lots", "reason": "x"}, "not a number"),
        ({"how": "lines", "net 1/labour/normal": "-5", "reason": "x"}, "more than 0, in whole pence"),
        ({"how": "lines", "net 7/nothing": "5", "reason": "x"}, "no line 7/nothing"),
        ({"how": "lines", "net 1/labour/normal": "0.001", "reason": "x"}, "more than 0, in whole pence"),
        ({"reason": "x"}, "Choose whether"),
    ],
)
def test_credits_that_can_not_be(shop: Shop, visit, fields: dict[str, str], said: str) -> None:
    sign_jobs(shop, [job()])
    office = visit("pru")
    at = invoice(office, 1)
    answer = office.post(at, **fields)
    assert answer.status_code == 422 and said in alert(answer.text), alert(answer.text)
    assert len(shop.workshop.invoices.all()) == 1


# -- who may --


def test_engineers_see_no_money(shop: Shop, visit) -> None:
    sign_jobs(shop, [job(parts=[part()], follow_up=["new seat"])])
    sign_jobs(shop, [job(3, follow_up=["grease the pins"])])
    office, engineer = visit("pru"), visit("tam")
    invoice(office, 1)
    draft = new_draft(office, 2)
    for path in (*MONEY, draft, f"{draft}/pdf"):
        answer = engineer.get(path)
        assert answer.status_code == 403, path
        assert "£" not in answer.text and "Only the office" in answer.text, path
    before = shop.workshop.invoices.draft(1), len(shop.workshop.stock.entries())
    for path in FORMS:
        answer = engineer.post(path, action="drop", version="1", how="all", reason="x", sheet="1")
        assert answer.status_code == 403, path
    take = engineer.client.post(
        "/office/stock/take",
        files={"file": ("a.csv", b"part_number,count\nFF-77,1\n")},
        data={"token": engineer.token},
    )
    assert take.status_code == 403
    assert (shop.workshop.invoices.draft(1), len(shop.workshop.stock.entries())) == before
    # A machine's page has what was spent for the office alone.
    assert "£" in office.get("/machine?fleet=WL31").text
    story = engineer.get("/machine?fleet=WL31")
    assert story.status_code == 200 and "£" not in story.text and "Invoiced" not in story.text


def test_forged_forms_change_nothing(shop: Shop, visit) -> None:
    sign_jobs(shop, [job(follow_up=["new seat"])])
    office = visit("pru")
    draft = new_draft(office, 1)
    page = office.get(draft).text
    right, office.token = office.token, "0" * 64
    given = {"action": "approve", "version": "1", "seen": field(page, "seen")}
    forms: list[tuple[str, dict[str, str]]] = [
        (draft, given),
        (draft, {"action": "drop", "version": "1"}),
        ("/office/drafts", {"customer": "Quillfen Aggregates", "sheet": "1"}),
        ("/office/stock", {"van": "Tamsin Quill", "part_number": "FF-77", "kind": "count", "quantity": "1"}),
        ("/office/orders", {"action": "ordered", "wanted": "Tamsin Quill/FF77"}),
        ("/office/follow-ups", {"action": "close", "sheet": "1", "text": "new seat", "reason": "x"}),
    ]
    for path, fields in forms:
        assert office.post(path, **fields).status_code == 403, path
    take = {"file": ("take.csv", b"part_number,count\nFF-77,1\n")}
    for token in ("", "0" * 64):
        sent = {"token": token, "van": "Tamsin Quill"}
        assert office.client.post("/office/stock/take", files=take, data=sent).status_code == 403
    elsewhere = {"origin": "http://elsewhere.test"}
    sent = {"token": right, **given}
    assert office.client.post(draft, data=sent, headers=elsewhere).status_code == 403
    assert shop.workshop.invoices.draft(1).version == 1 and not shop.workshop.invoices.all()
    assert not shop.workshop.stock.entries() and not shop.workshop.follow_ups.closings()


# -- stock and orders --


def _take(office, content: bytes, van: str = "Tamsin Quill"):
    return office.client.post(
        "/office/stock/take",
        files={"file": ("count.csv", content, "text/csv")},
        data={"token": office.token, "van": van},
    )


def _level(shop: Shop, number: str, van: str = "Tamsin Quill") -> str:
    from jobnotes.workshop import load_settings
    from jobnotes.workshop.billing import Billing

    billing = Billing(shop.workshop, load_settings(shop.workshop.folder))
    return next(
        str(each.quantity) for each in billing.levels() if (each.part_number, each.van) == (number, van)
    )


def test_stock_goes_up_and_down(shop: Shop, visit) -> None:
    sign_jobs(shop, [job(parts=[part("FF-77", "Fuel filter", quantity=2)])])
    office = visit("pru")
    page = plain(office.get("/office/stock?look=filter&van=Tamsin+Quill").text)
    assert "FF-77" in page and "Hydraulic oil 46" not in page.split("Write down a change")[0]
    assert _level(shop, "FF-77") == "4"
    written = {"van": "Tamsin Quill", "part_number": "ff 77", "reason": "came by post"}
    for kind, quantity, level in (("received", "3", "7"), ("correction", "-2", "5"), ("count", "11", "11")):
        assert office.post("/office/stock", kind=kind, quantity=quantity, **written).status_code == 303
        assert _level(shop, "FF-77") == level
    assert "came by post" in plain(office.get("/office/stock").text)
    for fields, said in (
        ({"kind": "received", "quantity": "lots"}, "not a number"),
        ({"kind": "received", "quantity": "-1"}, "more than nothing"),
        ({"kind": "count", "quantity": "-1"}, "less than nothing"),
        ({"kind": "correction", "quantity": "1", "reason": ""}, "reason"),
        ({"kind": "thrown", "quantity": "1"}, "counted, came, or is corrected"),
        ({"kind": "count", "quantity": "1", "part_number": "ZZ-1"}, "no part 'ZZ-1'"),
        ({"kind": "count", "quantity": "1", "van": "Nobody"}, "no van of 'Nobody'"),
    ):
        answer = office.post("/office/stock", **{**written, **fields})
        assert answer.status_code == 422 and said in alert(answer.text), (fields, alert(answer.text))
    assert _level(shop, "FF-77") == "11"


def test_a_stock_take_is_taken_whole_or_not_at_all(shop: Shop, visit) -> None:
    sign_jobs(shop, [job()])
    office = visit("pru")
    assert _take(office, b"part_number,count\nFF-77,9\nOIL 46,12.5\n").status_code == 303
    assert (_level(shop, "FF-77"), _level(shop, "OIL46")) == ("9", "12.5")
    for content, said in (
        (b"part_number,count\nFF-77,1\nZZ-9,4\n", "line 3: part 'ZZ-9' is not in the register"),
        (b"part_number,count\nFF-77,1\nFF-77,2\n", "stands already in line 2"),
        (b"part_number,count\nFF-77,-1\n", "not a number of nought or more"),
        ("part_number,count\nFF-77,1 ½\n".encode("latin-1"), "not UTF-8"),
        (b"part_number;count\nFF-77;1\n", "there is no column"),
        (b"", "no counts"),
        (b"part_number,count\n" + b"FF-77,1\n" * 70_000, "longer than 500 kB"),
    ):
        answer = _take(office, content)
        assert answer.status_code == 422 and said in alert(answer.text), alert(answer.text)
    assert _take(office, b"part_number,count\nFF-77,1\n", "Nobody").status_code == 422
    assert _take(office, b"x" * 1_100_000).status_code == 413
    no_file = office.client.post("/office/stock/take", data={"token": office.token, "van": "Tamsin Quill"})
    assert no_file.status_code == 422 and "Choose the file" in alert(no_file.text)
    assert _level(shop, "FF-77") == "9" and len(shop.workshop.stock.entries()) == 2


def test_what_is_ordered_comes_or_does_not(shop: Shop, visit) -> None:
    wanted = part("AL-90", "Alternator 24 V 90 A", status="to_order")
    sign_jobs(shop, [job(parts=[wanted, part("ZZ-1", "Seat", status="ordered")])])
    office = visit("pru")
    page = office.get("/office/orders").text
    assert "Corran Electrical" in page and "AL-90" in plain(page)
    assert "Ordered by the engineer" in plain(page)
    listed = office.get("/office/orders.csv").text
    assert "AL-90" in listed and listed.startswith("supplier")
    assert office.get("/office/orders.pdf").content.startswith(b"%PDF-")
    none = office.post("/office/orders", action="ordered", wanted="9/9")
    assert none.status_code == 422 and "Choose the parts" in alert(none.text)
    nought = office.post("/office/orders", **{"action": "ordered", "wanted": "1/0", "quantity 1/0": "0"})
    assert nought.status_code == 422 and "more than nought" in alert(nought.text)
    given = {"action": "ordered", "wanted": "1/0", "quantity 1/0": "3", "reference": "PO 88"}
    assert office.post("/office/orders", **given).status_code == 303
    page = plain(office.get("/office/orders").text)
    assert (
        "3 × Alternator" in page and "PO 88" in page and "AL-90" not in page.split("Ordered, not here yet")[0]
    )

    order = str(shop.workshop.orders.entries()[0].id)
    came = {"action": "received", "order": order, "van": "Tamsin Quill"}
    too_many = office.post("/office/orders", quantity="4", **came)
    assert too_many.status_code == 422 and "still to come" in alert(too_many.text)
    nobody = office.post("/office/orders", quantity="1", **{**came, "van": "Nobody"})
    assert nobody.status_code == 422 and "no van of 'Nobody'" in alert(nobody.text)
    assert office.post("/office/orders", quantity="2", **came).status_code == 303
    assert "1 × Alternator" in plain(office.get("/office/orders").text)
    assert _level(shop, "AL-90") == "2"
    no_reason = office.post("/office/orders", action="cancel", order=order, reason="")
    assert no_reason.status_code == 422 and "reason" in alert(no_reason.text)
    assert office.post("/office/orders", action="cancel", order=order, reason="sold out").status_code == 303
    assert "× Alternator" not in plain(office.get("/office/orders").text).split("Ordered, not here yet")[1]
    assert office.post("/office/orders", action="received", order="99", quantity="1").status_code == 422


# -- follow-ups, the fleet, a machine --


def _tell(office, state: str = "open") -> str:
    return plain(office.get(f"/office/follow-ups?state={state}&look=&older=").text)


def test_a_follow_up_is_closed_by_sheet_by_reason_and_opened_again(shop: Shop, visit) -> None:
    sign_jobs(shop, [job(40, follow_up=["replace the seat", "grease the pins"])])
    sign_jobs(shop, [job(3, work=["replaced the seat"])])
    office = visit("pru")
    assert "Replace the seat" in _tell(office) and "its work reads alike" in _tell(office)
    assert "Left to do" in office.get("/machine?fleet=WL31").text
    assert "Replace the seat" in plain(office.get("/machine?fleet=WL31").text)
    close = {"action": "close", "sheet": "1", "text": "replace the seat"}
    for fields, said in (
        ({}, "reason"),
        ({"by_sheet": "1"}, "not later"),
        ({"by_sheet": "77"}, "77"),
        ({"by_sheet": "x"}, "no number"),
        ({"text": "paint it", "reason": "x"}, "does not advise that"),
    ):
        answer = office.post("/office/follow-ups", **{**close, **fields})
        assert answer.status_code == 422 and said in alert(answer.text), alert(answer.text)
    assert office.post("/office/follow-ups", by_sheet="2", **close).status_code == 303
    assert "Replace the seat" not in _tell(office) and "done on sheet 2" in _tell(office, "closed")
    # The machine does not list it any more.
    assert "Replace the seat" not in plain(office.get("/machine?fleet=WL31").text)
    assert "Grease the pins" in plain(office.get("/machine?fleet=WL31").text)
    other = {**close, "text": "grease the pins", "reason": "the customer does it"}
    assert office.post("/office/follow-ups", **other).status_code == 303
    assert "Nothing is left to do" in _tell(office) and "the customer does it" in _tell(office, "closed")
    closing = str(shop.workshop.follow_ups.closings()[0].id)
    reopen = {"action": "reopen", "closing": closing, "reason": "opened again"}
    assert office.post("/office/follow-ups", **reopen).status_code == 303
    assert "Replace the seat" in _tell(office)
    assert "Replace the seat" in plain(office.get("/machine?fleet=WL31").text)
    assert office.post("/office/follow-ups", **reopen).status_code == 403


def test_follow_ups_are_looked_for(shop: Shop, visit) -> None:
    sign_jobs(shop, [job(40, follow_up=["replace the seat"])])
    sign_jobs(shop, [job(2, fleet="WL13", follow_up=["grease the pins"])])
    office = visit("pru")
    older = plain(office.get("/office/follow-ups?older=30").text)
    assert "Replace the seat" in older and "Grease the pins" not in older
    found = plain(office.get("/office/follow-ups?look=wl13").text)
    assert "Grease the pins" in found and "Replace the seat" not in found
    wrong = office.get("/office/follow-ups?older=a+month")
    assert wrong.status_code == 422 and "number of days" in alert(wrong.text)


def test_engineers_close_what_their_own_sheets_left(shop: Shop, visit) -> None:
    sign_jobs(shop, [job(follow_up=["replace the seat"])])
    mine, other = visit("tam"), visit("joss")
    assert "Replace the seat" in plain(mine.get("/office/follow-ups").text)
    assert "Tamsin Quill or the office closes it" in plain(other.get("/office/follow-ups").text)
    assert 'value="close"' not in other.get("/office/follow-ups").text
    close = {"action": "close", "sheet": "1", "text": "replace the seat", "reason": "done by the customer"}
    refused = other.post("/office/follow-ups", **close)
    assert refused.status_code == 403 and not shop.workshop.follow_ups.closings()
    # Shelves lead to money; an engineer has none.
    assert 'href="/office/invoices"' not in mine.get("/office/follow-ups").text
    assert mine.post("/office/follow-ups", **close).status_code == 303
    assert [each.who for each in shop.workshop.follow_ups.closings()] == ["Tamsin Quill"]
    reopen = {"action": "reopen", "closing": "1", "reason": "x"}
    assert other.post("/office/follow-ups", **reopen).status_code == 403
    assert mine.post("/office/follow-ups", **reopen).status_code == 303
    assert 'href="/office/follow-ups"' in mine.get("/me").text


def _hours(before: int, hours: float, **given: object) -> Job:
    made = job(before, **given)
    made.machine.hours = hours
    return made


def test_the_fleet_shows_services_returns_and_spend(shop: Shop, visit) -> None:
    # 10 h a day; serviced 60 days ago at 4000 h, so due at 4500 h, which it has passed.
    service = {"complaint": "500-hour service", "work": ["did the 500-hour service"]}
    sign_jobs(shop, [_hours(60, 4000, **service)])
    fault = {
        "complaint": "boom creeping down",
        "cause": "boom ram seals worn",
        "work": ["resealed the boom ram"],
    }
    sign_jobs(shop, [_hours(30, 4300, **fault)])
    sign_jobs(shop, [_hours(5, 4550, **fault)])
    office = visit("pru")
    page = plain(office.get("/office/fleet").text)
    services, _, rest = page.partition("Faults that came back")
    returns, _, spend = rest.partition("Spend by machine")
    assert "4,500" in services.replace("4500", "4,500") and "due" in services.split("Machine")[-1]
    assert "apart" in returns and "Boom creeping down" in returns
    assert "sheet 2" in returns and "sheet 3" in returns
    assert "Nothing is invoiced yet" in spend
    invoice(office, 2)
    spend = plain(office.get("/office/fleet").text).partition("Spend by machine")[2]
    assert "£186.78" in spend  # 116.00 + 32.30 + 35.00 + 3.48
    story = plain(office.get("/machine?fleet=WL31").text)
    assert "£186.78 net" in story and "Next service" in story and "Came back" in story
    mine = plain(visit("tam").get("/machine?fleet=WL31").text)
    assert "Next service" in mine and "£" not in mine and "186.78" not in mine


HOSTILE = "<script>alert(1)</script><b>\"'{{ 7 * 7 }}"


def test_hostile_text_is_shown_as_text(shop: Shop, visit, tmp_path: Path) -> None:
    given = tmp_path / "hostile"
    given.mkdir()
    escaped = HOSTILE.replace('"', '""')
    row = f'"{escaped}",HOS1,30,"<i>Lane</i>",Brackmere,QX1 1AA,GB,,\n'
    (given / "customers.csv").write_text(CUSTOMERS_CSV + row, encoding="utf-8")
    part_row = f'XS-1,"{escaped}",each,5.00,1,2,2,"{escaped}"\n'
    (given / "parts.csv").write_text(PARTS_CSV + part_row, encoding="utf-8")
    shop.workshop.registers.load(shop.workshop.registers.compare(given))
    made = job(
        customer=HOSTILE,
        site=HOSTILE,
        complaint=HOSTILE,
        cause="boom ram seals worn " + HOSTILE,
        work=[HOSTILE],
        order_number=HOSTILE[:40],
        parts=[part("XS-1", HOSTILE), part(None, HOSTILE, status="to_order")],
        follow_up=[HOSTILE],
    )
    sign_jobs(shop, [made])
    sign_jobs(shop, [made.model_copy(update={"date": weekday(2).isoformat()})])
    office = visit("pru")
    draft = new_draft(office, 1, customer=HOSTILE)
    added = {"text": HOSTILE, "quantity": "1", "price": "1", "reason": HOSTILE}
    assert change(office, draft, "add", **added).status_code == 303
    assert change(office, draft, "details", issued="", note=HOSTILE).status_code == 303
    wanted = re.findall(r'name="wanted" value="([^"]*)"', office.get("/office/orders").text)
    order = {"action": "ordered", "wanted": html.unescape(wanted[0]), "reference": HOSTILE}
    assert office.post("/office/orders", **order).status_code == 303
    close = {"action": "close", "sheet": "1", "text": HOSTILE, "reason": HOSTILE}
    assert office.post("/office/follow-ups", **close).status_code == 303
    stock = {"van": "Tamsin Quill", "part_number": "XS-1", "kind": "received", "quantity": "1"}
    assert office.post("/office/stock", reason=HOSTILE, **stock).status_code == 303
    pages = [
        office.get(path)
        for path in (
            "/office",
            draft,
            "/office/stock",
            "/office/orders",
            "/office/follow-ups",
            "/office/follow-ups?state=closed",
            "/office/fleet",
            "/machine?fleet=WL31",
        )
    ]
    approved = approve(office, draft)
    assert approved.status_code == 303, alert(approved.text)
    credited = office.post(approved.headers["location"], how="all", reason=HOSTILE)
    assert credited.status_code == 303, alert(credited.text)
    pages += [office.get(each.headers["location"]) for each in (approved, credited)]
    pages += [office.get("/office/invoices"), office.get("/office/fleet")]
    pages += [
        office.post("/office/stock", **{**stock, "part_number": HOSTILE}),
        office.get(f"/office/stock?look={HOSTILE}"),
    ]
    for page in pages:
        assert page.status_code in (200, 422), page.request.url
        assert "alert(1)" in page.text, page.request.url
        assert "<script>alert" not in page.text and "<b>" not in page.text, page.request.url
        assert "<i>Lane" not in page.text and "49" not in re.findall(r"\{\{ ?7 ?\* ?7 ?\}\}|49\b", page.text)
    ledger = office.get("/office/ledger.csv")
    assert ledger.headers["content-type"].startswith("text/csv")


def test_ids_are_unique_and_buttons_tell_rows_apart(shop: Shop, visit) -> None:
    sign_jobs(
        shop,
        [job(40, parts=[part(), part("ZZ-1", "Seat", status="to_order")], follow_up=["a seat", "a lamp"])],
    )
    sign_jobs(
        shop, [job(5, fleet="WL13", times=Times(), parts=[part("AL-90", "Alternator", status="to_order")])]
    )
    office = visit("pru")
    waiting = office.get("/office").text
    draft = new_draft(office, 1, 2)
    pages = {
        path: office.get(path).text
        for path in (draft, "/office/stock", "/office/orders", "/office/follow-ups")
    }
    pages["/office"] = waiting
    for path, page in pages.items():
        ids = re.findall(r'\sid="([^"]*)"', page)
        assert len(ids) == len(set(ids)), (path, sorted(each for each in ids if ids.count(each) > 1))
        labels = re.findall(r'<label[^>]* for="([^"]*)"', page)
        assert set(labels) <= set(ids), path
        for label in re.findall(r"<label.*?</label>", page, re.S):
            assert "<a " not in label and "<button" not in label, (path, label)
        for tag in ("button", "summary"):
            names = [plain(each) for each in re.findall(rf"<{tag}[ >].*?</{tag}>", page, re.S)]
            assert len(names) == len(set(names)), (
                path,
                sorted(each for each in names if names.count(each) > 1),
            )


def test_something_is_taken_off_by_the_command_too(shop: Shop) -> None:
    sign_jobs(shop, [job()])
    shop.workshop.invoices.new_draft("Quillfen Aggregates", [1], shop.people["pru"])
    given = ["--text", "Goodwill", "--quantity", "-1", "--price", "20", "--reason", "agreed"]
    run = CliRunner().invoke(commands, ["office", "add", "1", *given, "--workshop", str(shop.folder)])
    assert run.exit_code == 0, run.output
    made = shop.workshop.invoices.draft(1).adjustments
    assert [(each.kind, dict(each.values)) for each in made] == [
        ("add", {"text": "Goodwill", "quantity": "-1", "price": "20"})
    ]


def test_a_draft_dated_at_the_end_of_the_calendar_can_be_looked_at(shop: Shop, visit) -> None:
    sign_jobs(shop, [job(date="9999-12-31")])
    office = visit("pru")
    draft = shop.workshop.invoices.new_draft("Quillfen Aggregates", [1], shop.people["pru"])
    path = f"/office/drafts/{draft.id}"
    office.post(path, version=draft.version, action="details", issued="9999-12-31", note="")
    page = office.client.get(path)
    assert page.status_code == 200 and "more than a year from today" in page.text
    assert "Sheet 1 has no date that can be right" in page.text
    for other in ("/office", "/office/stock", "/office/orders", "/office/follow-ups", "/office/fleet"):
        assert office.client.get(other).status_code == 200, other


def test_a_draft_before_the_office_has_begun_says_how_it_begins(shop: Shop) -> None:
    sign_jobs(shop, [job()])
    shop.workshop.folder.office_settings.unlink()
    run = CliRunner().invoke(
        commands, ["office", "draft", "Quillfen Aggregates", "--workshop", str(shop.folder)]
    )
    assert run.exit_code == 0, run.output
    first = next(line for line in run.stderr.splitlines() if line.startswith("It can't be approved"))
    assert "There is no office.toml" in first and "`jobnotes office start`" in first
