"""`jobnotes office` as a user types it: every command in columns, as CSV and as JSON; what is refused, and in
which words."""

from __future__ import annotations

import csv
import io
import json
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pikepdf
import pytest
from click.testing import CliRunner
from lxml import etree
from places import REPOSITORY

import jobnotes.cli as program
from jobnotes.cli import commands
from jobnotes.errors import JobnotesError
from jobnotes.jobs.model import Times

sys.path.insert(0, str(REPOSITORY / "tests" / "desk"))

from desk_work import Shop
from office_work import OFFICE_TOML, RATES_CSV, office_shop, sign_jobs
from office_work import office_job as job
from office_work import office_part as part

Run = Callable[..., tuple[int, str, str]]


def run_in(folder: Path) -> Run:
    """Runs `jobnotes office` on the workshop in a folder: exit status, standard output, standard error."""

    def run(*arguments: object, typed: str | None = None) -> tuple[int, str, str]:
        given = ["office", *map(str, arguments), "--workshop", str(folder)]
        result = CliRunner().invoke(commands, given, input=typed)
        if isinstance(result.exception, JobnotesError):
            return program.FAILED, result.stdout, str(result.exception)
        if result.exception and not isinstance(result.exception, SystemExit):
            raise result.exception
        return result.exit_code, result.stdout, result.stderr

    return run


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    made = office_shop(tmp_path / "workshop")
    yield made
    made.workshop.close()


@pytest.fixture
def run(shop: Shop) -> Run:
    return run_in(shop.folder)


def table(run: Run, *arguments: object) -> list[dict[str, str]]:
    """What a command lists, after seeing that columns, CSV and JSON hold the same rows and cells."""
    status, columns, _ = run(*arguments)
    assert status == 0
    status, text, _ = run(*arguments, "--json")
    assert status == 0
    rows = json.loads(text)
    status, text, _ = run(*arguments, "--csv")
    assert status == 0
    listed = list(csv.DictReader(io.StringIO(text)))
    assert len(listed) == len(rows) > 0
    lines = [line for line in columns.splitlines() if not line.startswith(("Draft", "Net"))]
    assert len(lines) == len(rows) + 1 and lines[0].split() == list(rows[0])
    for row, cells, line in zip(rows, listed, lines[1:], strict=True):
        assert list(row) == list(cells)
        for name, value in row.items():
            shown = (
                "" if value is None else " ".join(map(str, value)) if isinstance(value, list) else str(value)
            )
            told = cells[name].removeprefix("'")
            # Noughts that say nothing are left out for people.
            assert told == shown or float(told) == float(shown), (name, told, shown)
            assert told in line
    return listed


def approved(run: Run) -> None:
    """The sheets that wait, on invoice 1001."""
    assert run("draft", "Quillfen Aggregates")[0] == 0
    status, out, told = run("approve", "1", "--yes")
    assert status == 0 and "Invoice 1001" in out, told


# -- where nothing is --


@pytest.mark.parametrize(
    ("command", "said"),
    [
        ("ready", "Every signed sheet is on an invoice."),
        ("drafts", "There is no draft of an invoice."),
        ("invoices", "There is no invoice."),
        ("stock", "There is no stock."),
        ("orders", "Nothing is to be ordered."),
        ("chase", "Nothing is on order."),
        ("follow-ups", "Nothing is left to do."),
        ("services", "No machine's type has an interval"),
        ("returns", "No fault came back."),
        ("spend", "Nothing is invoiced."),
        ("waits", "Nothing is invoiced."),
    ],
)
def test_nothing_is_said_in_words_and_is_an_empty_list(run: Run, command: str, said: str) -> None:
    status, out, told = run(command)
    assert (status, out) == (0, "") and said in told
    assert json.loads(run(command, "--json")[1]) == []
    assert run(command, "--csv")[1] == ""


@pytest.mark.parametrize(
    "arguments",
    [
        ("check",),
        ("start",),
        ("ready",),
        ("draft", "Quillfen Aggregates"),
        ("drafts",),
        ("show", "1"),
        ("change", "1", "1/labour/normal", "--price", "1"),
        ("add", "1", "--text", "x", "--price", "1", "--reason", "x"),
        ("discard", "1"),
        ("approve", "1", "--yes"),
        ("invoices",),
        ("files", "1", "--out", "x"),
        ("credit", "1", "--reason", "x", "--yes"),
        ("ledger",),
        ("stock",),
        ("stock-take", "x.csv", "--van", "x"),
        ("orders",),
        ("ordered", "1/0"),
        ("received", "1"),
        ("cancel", "1", "--reason", "x"),
        ("chase",),
        ("follow-ups",),
        ("reopen", "1", "--reason", "x"),
        ("close", "1", "x", "--reason", "x"),
        ("services",),
        ("returns",),
        ("spend",),
        ("waits",),
    ],
)
def test_a_workshop_that_is_not_there(tmp_path: Path, arguments: tuple[str, ...]) -> None:
    status, out, told = run_in(tmp_path / "nowhere")(*arguments)
    assert status == program.FAILED and out == ""
    assert "nowhere" in told and not (tmp_path / "nowhere").exists()


def test_every_command_is_tried_here() -> None:
    office = commands.commands["office"]
    (marked,) = [
        mark
        for mark in test_a_workshop_that_is_not_there.pytestmark  # type: ignore[attr-defined]
        if mark.name == "parametrize"
    ]
    assert {each[0] for each in marked.args[1]} == set(office.commands)  # type: ignore[attr-defined]


# -- office.toml and rates.csv --


def test_check_tells_what_is_there(run: Run) -> None:
    status, out, told = run("check")
    assert status == 0
    assert "GBP, bank holidays of ENG, Hallbeck Plant Repairs" in out and "rates.csv: 10 rates" in out
    assert told == ""


def test_check_names_faults_by_line(shop: Shop, run: Run) -> None:
    rates = RATES_CSV + "labour_normal,,,,60.00,\ncall_out,,2026-13-01,,5,\ntravel_hour,Who Knows,,,40.00,\n"
    shop.workshop.folder.rates.write_text(rates, encoding="utf-8")
    status, out, told = run("check")
    assert status == program.FAILED and "rates.csv: 11 rates" in out
    assert "rates.csv, line 12, column rate: labour_normal stands already in line 2" in told
    assert "rates.csv, line 13, column from: '2026-13-01' is not a date" in told
    assert "line 14, column customer: 'Who Knows' is not in customers.csv" in told
    assert "travel_hour is not used" in told
    toml = OFFICE_TOML.replace("step_min = 15", 'step_min = "15"').replace("[bank]", "[bonk]")
    shop.workshop.folder.office_settings.write_text(toml, encoding="utf-8")
    status, out, told = run("check")
    number = toml.splitlines().index('step_min = "15"') + 1
    assert status == program.FAILED and out == ""
    # Both files at once, so that nobody mends one fault after another.
    assert f"line {number}, [labour] step_min: must be a whole number" in told
    assert "bonk: there is no such key" in told and "rates.csv, line 12" in told


def test_start_puts_both_files_there_and_touches_none(shop: Shop, run: Run) -> None:
    folder = shop.workshop.folder
    folder.office_settings.unlink()
    status, out, told = run("check")
    assert status == program.FAILED and "There is no office.toml" in told and "jobnotes office start" in told
    before = folder.rates.read_bytes()
    status, out, _ = run("start")
    assert status == 0 and "there already" in out and folder.rates.read_bytes() == before
    assert folder.office_settings.read_bytes() == (REPOSITORY / "templates/office/office.toml").read_bytes()
    status, _, told = run("check")
    # What is put there can be read; it only wants filling in.
    assert (
        status == program.FAILED
        and "[seller]: address is missing" in told
        and "there is no such key" not in told
    )
    folder.rates.unlink()
    assert run("start")[0] == 0 and folder.rates.exists()


# -- from sheets to invoices --


def test_a_draft_is_made_changed_and_approved(shop: Shop, run: Run, tmp_path: Path) -> None:
    sign_jobs(shop, [job(6, parts=[part()])])
    sign_jobs(shop, [job(5, times=Times())])
    rows = table(run, "ready")
    assert [(row["sheet"], row["customer"]) for row in rows] == [
        ("1", "Quillfen Aggregates"),
        ("2", "Quillfen Aggregates"),
    ]
    # By name without regard to capitals and spaces.
    status, out, told = run("draft", "quillfen  AGGREGATES")
    assert status == 0 and "Draft 1: Quillfen Aggregates" in out and "to pay 528.58 GBP" in out
    assert "Sheet 2 gives no times" in told and "change 1 2/labour --confirm" in told
    assert table(run, "drafts")[0]["sheets"] == "1 2"
    rows = table(run, "show", "1")
    assert {row["key"]: row["net"] for row in rows}["1/labour/normal"] == "116.00"

    status, _, told = run("approve", "1", "--yes")
    assert status == program.FAILED and "Sheet 2 gives no times" in told
    assert run("change", "1", "2/labour", "--confirm")[0] == 0
    assert run("change", "1", "1/labour/normal", "--price", "50", "--reason", "agreed")[0] == 0
    # The second change of a line leaves the first as it is.
    status, out, _ = run("change", "1", "1/labour/normal", "--text", "Labour, brakes", "--reason", "his wish")
    assert status == 0 and "Labour, brakes" in out and "100.00" in out
    assert run("change", "1", "1/call_out", "--leave-out", "--reason", "goodwill")[0] == 0
    assert "1/call_out" not in [row["key"] for row in table(run, "show", "1")]
    assert run("change", "1", "1/call_out", "--take-back")[0] == 0
    assert "1/call_out" in [row["key"] for row in table(run, "show", "1")]

    # Asked, and declined: nothing happens. 100 + 32.30 + 35 + 186.40 + 3, and 32.30 + 35, with VAT 508.80.
    status, out, told = run("approve", "1", typed="n\n")
    assert status == 0 and out == "" and "508.80 GBP to Quillfen Aggregates?" in told
    assert "Nothing was approved" in told and not shop.workshop.invoices.all()
    out_folder = tmp_path / "new" / "invoices"
    status, out, _ = run("approve", "1", "--out", out_folder, typed="y\n")
    assert status == 0 and "Invoice 1001: 508.80 GBP to Quillfen Aggregates" in out
    names = {"invoice-1001.pdf", "invoice-1001-cii.xml", "invoice-1001-ubl.xml"}
    # Whole files and nothing half-written beside them.
    assert {each.name for each in out_folder.iterdir()} == names
    with pikepdf.open(out_folder / "invoice-1001.pdf") as opened:
        inside = bytes(opened.attachments["factur-x.xml"].get_file().read_bytes())
    assert inside == (out_folder / "invoice-1001-cii.xml").read_bytes()
    ubl = etree.parse(out_folder / "invoice-1001-ubl.xml")
    assert ubl.xpath("string(//*[local-name()='PayableAmount'])") == "508.80"
    again = run("approve", "1", "--yes")
    assert again[0] == program.FAILED and "approved" in again[2]
    assert run("ready")[2].strip() == "Every signed sheet is on an invoice."

    rows = table(run, "invoices")
    assert (rows[0]["number"], rows[0]["gross"], rows[0]["kind"]) == ("1001", "508.80", "invoice")
    assert run("invoices", "--customer", "Tarn Syke Farms")[1] == ""
    assert run("invoices", "--since", "2999-01-01")[1] == ""
    other = tmp_path / "other"
    assert run("files", "1001", "--out", other)[0] == 0
    for name in names:
        assert (other / name).read_bytes() == (out_folder / name).read_bytes()
    assert [row["net"] for row in table(run, "spend")] == ["424.00"]
    assert table(run, "waits")[0]["visits"] == "2"


def test_chosen_sheets_alone_and_a_draft_discarded(shop: Shop, run: Run) -> None:
    for before in (7, 6, 5):
        sign_jobs(shop, [job(before)])
    assert run("draft", "Quillfen Aggregates", "--sheet", "1", "--sheet", "3")[0] == 0
    assert [row["sheet"] for row in table(run, "ready")] == ["2"]
    taken = run("draft", "Quillfen Aggregates", "--sheet", "3")
    assert taken[0] == program.FAILED and "3" in taken[2]
    assert run("draft", "Quillfen Aggregates", "--sheet", "99")[0] == program.FAILED
    nobody = run("draft", "Nobody")
    assert nobody[0] == program.FAILED and "No sheet of 'Nobody' waits" in nobody[2]
    status, out, _ = run("discard", "1")
    assert status == 0 and "Draft 1 is discarded" in out
    assert len(table(run, "ready")) == 3
    assert run("discard", "1")[0] == program.FAILED


@pytest.mark.parametrize(
    ("arguments", "status", "said"),
    [
        (("show", "9"), 1, "no such draft"),
        (("show", "one"), 2, "is not a valid integer"),
        (("approve", "9", "--yes"), 1, "no such draft"),
        (("discard", "9"), 1, "no such draft"),
        (("change", "9", "1/labour/normal", "--price", "1"), 1, "no such draft"),
        (("change", "1", "1/labour/evening", "--price", "1", "--reason", "x"), 1, "no line 1/labour/evening"),
        (("change", "1", "nowhere", "--confirm"), 1, "no line nowhere"),
        (("change", "1", "nowhere", "--take-back"), 1, "Nothing was changed on the line nowhere"),
        (("change", "1", "1/labour/normal"), 2, "Give what the line is to have"),
        (("change", "1", "1/labour/normal", "--confirm", "--price", "1"), 2, "Give what the line is to have"),
        (("change", "1", "1/labour/normal", "--price", "1"), 1, "Say why"),
        (("change", "1", "1/labour/normal", "--leave-out"), 1, "Say why"),
        (("change", "1", "1/labour/normal", "--price", "1,50", "--reason", "x"), 1, "--price is '1,50'"),
        (("change", "1", "1/labour/normal", "--price", "nan", "--reason", "x"), 1, "--price is 'nan'"),
        (("change", "1", "1/labour/normal", "--price", "-1", "--reason", "x"), 1, "'-1'"),
        (("change", "1", "1/labour/normal", "--quantity", "0", "--reason", "x"), 1, "quantity must not be 0"),
        (("invoices", "--since", "May"), 1, "--since is 'May'; write a date as 2026-05-12"),
        (("invoices", "--until", "2026-02-30"), 1, "--until is '2026-02-30'"),
        (("ledger", "--since", "12/05/2026"), 1, "--since is '12/05/2026'"),
        (("files", "9", "--out", "x"), 1, "9"),
        (("credit", "9", "--reason", "x", "--yes"), 1, "9"),
        (("credit", "1"), 2, "--reason"),
        (("credit", "1", "--reason", "x", "--line", "1/labour/normal"), 2, "a line's key, = and an amount"),
        (("credit", "1", "--reason", "x", "--line", "1/labour/normal=ten"), 1, "'ten'"),
        (("stock-take", "nowhere.csv", "--van", "Tamsin Quill"), 1, "nowhere.csv"),
        (("follow-ups", "--older-than", "-1"), 2, "--older-than"),
        (("close", "1", "paint it", "--reason", "x"), 1, "does not advise that"),
        (("close", "77", "x", "--reason", "x"), 1, "77"),
    ],
)
def test_what_is_refused(shop: Shop, run: Run, arguments: tuple[str, ...], status: int, said: str) -> None:
    sign_jobs(shop, [job()])
    assert run("draft", "Quillfen Aggregates")[0] == 0
    ended, out, told = run(*arguments)
    assert (ended, out) == (status, "") and said in told, told
    draft = shop.workshop.invoices.draft(1)
    assert (draft.version, draft.state) == (1, "open") and not shop.workshop.invoices.all()


def test_a_stop_keeps_a_draft_from_being_approved(shop: Shop, run: Run) -> None:
    sign_jobs(shop, [job(parts=[part("NP-5", "Bucket pin")])])
    status, _, told = run("draft", "Quillfen Aggregates")
    assert status == 0 and "It can't be approved yet: Sheet 1: Bucket pin (NP-5) has no price" in told
    key = told.split("office change 1 ")[1].split()[0]
    status, _, told = run("approve", "1", "--yes")
    assert status == program.FAILED and "NP-5" in told and not shop.workshop.invoices.all()
    # A price given by hand lifts it.
    status, out, told = run("change", "1", key, "--price", "14.20", "--reason", "his list")
    assert status == 0 and "14.20" in out and told == ""
    assert run("approve", "1", "--yes")[0] == 0


def test_credit_notes(shop: Shop, run: Run, tmp_path: Path) -> None:
    sign_jobs(shop, [job()])
    approved(run)
    status, out, told = run("credit", "1001", "--reason", "Half", "--line", "1/labour/normal=50", typed="n\n")
    assert (
        (status, out) == (0, "")
        and "Credit lines of invoice 1001?" in told
        and "Nothing was credited" in told
    )
    given = ("credit", "1001", "--reason", "Half", "--line", "1/labour/normal=50", "--yes")
    status, out, _ = run(*given, "--out", tmp_path / "notes")
    assert status == 0 and "Credit note 1002: 60.00 GBP to Quillfen Aggregates" in out
    assert {each.name for each in (tmp_path / "notes").iterdir()} == {
        "credit-note-1002.pdf",
        "credit-note-1002-cii.xml",
        "credit-note-1002-ubl.xml",
    }
    too_much = run("credit", "1001", "--reason", "x", "--line", "1/labour/normal=66.01", "--yes")
    assert too_much[0] == program.FAILED and "66" in too_much[2]
    nowhere = run("credit", "1001", "--reason", "x", "--line", "7/x=1", "--yes")
    assert nowhere[0] == program.FAILED and "no line 7/x" in nowhere[2]
    # 186.78 less 50 is 136.78; with VAT 164.14, since 224.14 less 60.00 is left.
    status, out, told = run("credit", "1001", "--reason", "All of it", typed="y\n")
    assert (
        status == 0 and "Credit note 1003: 164.14 GBP" in out and "all that is left of invoice 1001?" in told
    )
    assert run("credit", "1001", "--reason", "x", "--yes")[0] == program.FAILED
    assert [row["credits"] for row in table(run, "invoices")] == ["1001", "1001", ""]
    assert len(table(run, "ready")) == 1

    rows = list(csv.DictReader(io.StringIO(run("ledger")[1])))
    assert sum(float(row["gross"]) for row in rows) == 0 and len(rows) == 3
    file = tmp_path / "ledger.csv"
    status, out, _ = run("ledger", "--out", file)
    assert status == 0 and "3 documents" in out and file.read_bytes().count(b"\r\n") == 4
    assert len(run("ledger", "--until", "2020-01-01")[1].splitlines()) == 1


# -- stock, orders, follow-ups, the fleet --


def test_stock_and_a_stock_take(shop: Shop, run: Run, tmp_path: Path) -> None:
    sign_jobs(shop, [job(parts=[part("FF-77", "Fuel filter", quantity=8)])])
    rows = {row["part_number"]: row for row in table(run, "stock")}
    assert rows["FF-77"]["quantity"] == "-2" and "below nought" in rows["FF-77"]["marks"]
    assert run("stock", "--van", "nobody")[1] == ""
    file = tmp_path / "count.csv"
    file.write_text("part_number,count\nFF-77,9\nZZ-1,4\n", encoding="utf-8")
    status, _, told = run("stock-take", file, "--van", "Tamsin Quill")
    assert status == program.FAILED and "count.csv, line 3: part 'ZZ-1' is not in the register" in told
    assert not shop.workshop.stock.entries()
    file.write_text("part_number,count\nFF-77,9\n", encoding="utf-8")
    nobody = run("stock-take", file, "--van", "Nobody")
    assert nobody[0] == program.FAILED and "Tamsin Quill" in nobody[2]
    status, out, _ = run("stock-take", file, "--van", "tamsin quill")
    assert status == 0 and "1 part counted in the van of Tamsin Quill." in out
    assert {row["part_number"]: row["quantity"] for row in table(run, "stock")}["FF-77"] == "9"


def test_orders_and_what_has_not_come(shop: Shop, run: Run, tmp_path: Path) -> None:
    wanted = part("AL-90", "Alternator 24 V 90 A", status="to_order")
    sign_jobs(shop, [job(parts=[wanted, part("ZZ-1", "Seat", status="ordered")])])
    rows = table(run, "orders")
    assert ("Corran Electrical", "AL-90", "1") in [
        (row["supplier"], row["part_number"], row["quantity"]) for row in rows
    ]
    assert [row["part_number"] for row in table(run, "chase")] == ["ZZ-1"]
    file = tmp_path / "orders.pdf"
    status, out, _ = run("orders", "--pdf", file)
    assert status == 0 and out.strip() == str(file) and file.read_bytes().startswith(b"%PDF-")
    nowhere = run("orders", "--pdf", tmp_path / "nowhere" / "orders.pdf")
    assert nowhere[0] == program.FAILED and "folder does not exist" in nowhere[2]


def test_a_part_ordered_received_and_cancelled(shop: Shop, run: Run) -> None:
    sign_jobs(shop, [job(parts=[part("AL-90", "Alternator 24 V 90 A", quantity=3, status="to_order")])])
    key = next(row["key"] for row in table(run, "orders") if row["part_number"] == "AL-90")
    assert run("ordered", "nothing")[0] == program.FAILED
    assert run("ordered", key, "--reference", "CE-118")[0] == 0
    assert key not in {row["key"] for row in json.loads(run("orders", "--json")[1])}
    (due,) = table(run, "chase")
    assert (due["reference"], due["quantity"]) == ("CE-118", "3")
    assert "still to come" in run("received", "99")[2]
    assert run("received", due["order"], "--quantity", "2", "--van", "tamsin quill")[0] == 0
    (left,) = table(run, "chase")
    assert left["quantity"] == "1"
    stock = {row["part_number"]: row["quantity"] for row in table(run, "stock")}
    assert stock["AL-90"] == "2"
    assert run("cancel", due["order"], "--reason", "no longer made")[0] == 0
    assert "Nothing is on order." in run("chase")[2]


def test_a_line_is_added_to_a_draft(shop: Shop, run: Run) -> None:
    sign_jobs(shop, [job()])
    assert run("draft", "Quillfen Aggregates")[0] == 0
    refused = run("add", "1", "--text", "Parking", "--price", "lots", "--reason", "paid at the gate")
    assert refused[0] == program.FAILED and "not a number" in refused[2]
    status, out, _ = run("add", "1", "--text", "Parking", "--price", "7.50", "--reason", "paid at the gate")
    assert status == 0 and "Parking" in out and "added/1" in out


def test_a_closed_follow_up_is_opened_again(shop: Shop, run: Run) -> None:
    sign_jobs(shop, [job(follow_up=["grease the pins"])])
    assert run("close", "1", "grease the pins", "--reason", "done by the customer")[0] == 0
    (row,) = table(run, "follow-ups", "--closed")
    assert run("reopen", row["closing"], "--reason", "they had not")[0] == 0
    assert [row["text"] for row in table(run, "follow-ups")] == ["grease the pins"]


def test_follow_ups_are_listed_and_closed(shop: Shop, run: Run) -> None:
    sign_jobs(shop, [job(40, follow_up=["replace the seat", "grease the pins"])])
    sign_jobs(shop, [job(4, work=["replaced the seat"])])
    sign_jobs(shop, [job(3, fleet="WL13", follow_up=["paint it"])])
    assert [row["text"] for row in table(run, "follow-ups")] == [
        "replace the seat",
        "grease the pins",
        "paint it",
    ]
    assert [row["text"] for row in table(run, "follow-ups", "--machine", "wl13")] == ["paint it"]
    assert len(table(run, "follow-ups", "--older-than", "30")) == 2
    assert run("follow-ups", "--customer", "Nobody")[1] == ""
    assert len(table(run, "follow-ups", "--site", "Quillfen Quarry")) == 3
    assert run("close", "1", "replace the seat")[0] == program.FAILED
    not_later = run("close", "1", "replace the seat", "--by-sheet", "1")
    assert not_later[0] == program.FAILED and "not later" in not_later[2]
    other = run("close", "1", "replace the seat", "--by-sheet", "3")
    assert other[0] == program.FAILED and "another machine" in other[2]
    status, out, _ = run("close", "1", "replace the seat", "--by-sheet", "2")
    assert status == 0 and "Sheet 1, replace the seat: closed." in out
    assert run("close", "1", "grease the pins", "--reason", "done by the customer")[0] == 0
    rows = table(run, "follow-ups", "--closed")
    assert {(row["text"], row["done_on"], row["reason"]) for row in rows} == {
        ("replace the seat", "2", ""),
        ("grease the pins", "", "done by the customer"),
    }
    assert run("close", "1", "grease the pins", "--reason", "x")[0] == program.FAILED


def test_services_and_returns(shop: Shop, run: Run) -> None:
    fault = {
        "complaint": "boom creeping down",
        "cause": "boom ram seals worn",
        "work": ["resealed the boom ram"],
    }
    for before, hours in ((30, 4300.0), (5, 4550.0)):
        made = job(before, **fault)
        made.machine.hours = hours
        sign_jobs(shop, [made])
    rows = table(run, "services")
    assert rows[0]["last_hours"] == "4550" and rows[0]["overdue"] in ("True", "False")
    rows = table(run, "returns")
    assert (rows[0]["earlier_sheet"], rows[0]["later_sheet"]) == ("1", "2")


def test_no_cell_of_a_csv_runs_as_a_formula(shop: Shop, run: Run) -> None:
    formula = '=cmd|"/c calc"!A1'
    made = job(complaint=formula, site=formula, follow_up=["+" + formula, "@x", "-1"])
    made.machine.fleet_number = "-WL31"
    sign_jobs(shop, [made, job(2, parts=[part(None, formula, status="to_order")])])
    for command in ("ready", "follow-ups", "orders"):
        listed = list(csv.reader(io.StringIO(run(command, "--csv")[1])))
        for cell in (cell for row in listed for cell in row):
            assert not cell.startswith(("=", "+", "-", "@")), (command, cell)
        assert any(cell.startswith("'=") for row in listed for cell in row), command
    # As JSON it is what was said, and a number below nought stays a number.
    assert formula in [row["site"] for row in json.loads(run("ready", "--json")[1])]
    sign_jobs(shop, [job(parts=[part("FF-77", "Fuel filter", quantity=8)])])
    assert "-2" in [row["quantity"] for row in csv.DictReader(io.StringIO(run("stock", "--csv")[1]))]
