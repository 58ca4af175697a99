"""The commands of the office: wiring only. What is heavy is imported inside them."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from jobnotes.cli_paths import SOMEWHERE
from jobnotes.cli_workshop import WORKSHOP
from jobnotes.errors import JobnotesError
from jobnotes.terminal import show, tell

if TYPE_CHECKING:
    from jobnotes.store import AdjustmentKind, InvoiceDraft
    from jobnotes.workshop import Billing

FAILED = 1
SHAPE = click.option(
    "--csv", "shape", flag_value="csv", default="", help="As CSV, the first line being headings."
)
AS_JSON = click.option("--json", "shape", flag_value="json", help="As JSON, a list of objects.")
SINCE = click.option("--since", metavar="DATE", help="From that day on, such as 2026-05-01.")
UNTIL = click.option("--until", metavar="DATE", help="Up to and with that day.")


@contextmanager
def _office(folder: Path | None) -> Iterator[Billing]:
    from jobnotes.store import Workshop
    from jobnotes.workshop import Billing, load_settings

    with Workshop(folder, create=False) as workshop:
        yield Billing(workshop, load_settings(workshop.folder))


def _out(shape: str, rows: Sequence[dict[str, Any]], nothing: str) -> None:
    """Shows rows: as JSON, as CSV, or in columns for people."""
    from jobnotes.office.ledger import harmless

    if shape == "json":
        show(json.dumps(rows, ensure_ascii=False, indent=2, default=str))
        return
    if not rows:
        tell(nothing)
        return
    heads = list(rows[0])
    if shape == "csv":
        text = io.StringIO()
        writer = csv.writer(text, lineterminator="\n")
        writer.writerow(heads)
        # Figures stay figures, those below nought too.
        writer.writerows(
            [
                [harmless(_cell(each)) if isinstance(each, str) else _cell(each) for each in row.values()]
                for row in rows
            ]
        )
        show(text.getvalue().rstrip("\n"))
        return
    cells = [heads, *([_cell(row[head]) for head in heads] for row in rows)]
    widths = [max(len(row[at]) for row in cells) for at in range(len(heads))]
    for row in cells:
        show("  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip())


def _cell(value: Any) -> str:
    from decimal import Decimal

    from jobnotes.paper.invoice_words import figure

    if value is None:
        return ""
    if isinstance(value, Decimal):
        # Money keeps its pence.
        return str(value) if value.as_tuple().exponent == -2 else figure(value)
    if isinstance(value, list | tuple):
        return " ".join(_cell(each) for each in value)
    return " ".join(str(value).split())


def _day(text: str | None, option: str) -> Any:
    import datetime

    if text is None:
        return None
    try:
        return datetime.date.fromisoformat(text)
    except ValueError:
        raise JobnotesError(f"{option} is {text!r}; write a date as 2026-05-12.") from None


def _amount(text: str, what: str) -> Any:
    from decimal import Decimal, InvalidOperation

    try:
        amount = Decimal(text)
    except InvalidOperation:
        raise JobnotesError(f"{what} is {text!r}, not a number.") from None
    if not amount.is_finite():
        raise JobnotesError(f"{what} is {text!r}, not a number.")
    return amount


@click.group()
def office() -> None:
    """Invoices, orders, stock, follow-ups and the fleet, from signed sheets."""


@office.command()
@WORKSHOP
def start(folder: Path | None) -> None:
    """Put an office.toml and a rates.csv to be filled in into the workshop, where there is none yet."""
    from jobnotes.files import write_atomically
    from jobnotes.place import beside
    from jobnotes.store import Workshop

    with Workshop(folder, create=False) as workshop:
        given = beside("templates/office", "office.toml")
        for file in (workshop.folder.office_settings, workshop.folder.rates):
            if file.exists():
                show(f"{file}: there already; it is left as it is.")
                continue
            write_atomically(file, (given / file.name).read_bytes())
            show(f"{file}: fill it in, then `jobnotes office check`.")


@office.command()
@WORKSHOP
@click.pass_context
def check(context: click.Context, folder: Path | None) -> None:
    """Check office.toml and rates.csv, naming each fault by line and key or column."""
    with _office(folder) as billing:
        lacks = billing.lacks()
        for sentence in lacks:
            tell(sentence)
        try:
            rules, rates = billing.rules, billing.rates
        except JobnotesError:  # told above, with whatever else there is
            context.exit(FAILED)
        for remark in rates.remarks(billing.register, rules):
            tell(remark)
        seller = rules.seller.name
        show(f"office.toml: {rules.currency}, bank holidays of {rules.part_of_country}, {seller}.")
        show(f"rates.csv: {len(rates.rows)} rates.")
        if lacks:
            context.exit(FAILED)


@office.command()
@SHAPE
@AS_JSON
@WORKSHOP
def ready(folder: Path | None, shape: str) -> None:
    """List the signed sheets that are on no invoice and in no draft of one."""
    with _office(folder) as billing:
        rows = [
            {
                "customer": each.customer,
                "sheet": visit.sheet,
                "date": visit.day_text,
                "fleet_number": visit.fleet_number,
                "machine": visit.machine,
                "site": visit.site,
                "engineer": visit.engineer,
                "outcome": visit.outcome,
            }
            for each in billing.to_invoice()
            for visit in each.visits
        ]
        _out(shape, rows, "Every signed sheet is on an invoice.")


@office.command()
@click.argument("customer", metavar="CUSTOMER")
@click.option("--sheet", "sheets", metavar="NUMBER", type=int, multiple=True, help="These sheets alone.")
@WORKSHOP
def draft(customer: str, sheets: tuple[int, ...], folder: Path | None) -> None:
    """Make a draft of an invoice from CUSTOMER's sheets: all that wait, or those that --sheet names."""
    from jobnotes.office.rates import name_key
    from jobnotes.store import TERMINAL

    with _office(folder) as billing:
        waiting = {name_key(each.customer): each for each in billing.to_invoice()}
        found = waiting.get(name_key(customer))
        if not sheets:
            if found is None:
                raise JobnotesError(f"No sheet of {customer!r} waits; `jobnotes office ready` lists them.")
            sheets = tuple(visit.sheet for visit in found.visits)
        customer = found.customer if found else customer
        made = billing.workshop.invoices.new_draft(customer, sheets, TERMINAL)
        _show_draft(billing, made, "")


@office.command()
@SHAPE
@AS_JSON
@WORKSHOP
def drafts(folder: Path | None, shape: str) -> None:
    """List the drafts of invoices."""
    with _office(folder) as billing:
        rows = [
            {
                "draft": each.id,
                "customer": each.customer,
                "sheets": list(each.sheets),
                "begun_by": each.created_by,
            }
            for each in billing.workshop.invoices.drafts()
        ]
        _out(shape, rows, "There is no draft of an invoice.")


@office.command("show")
@click.argument("number", metavar="DRAFT", type=int)
@SHAPE
@AS_JSON
@WORKSHOP
def show_draft(number: int, folder: Path | None, shape: str) -> None:
    """Show what a draft comes to, line by line, and what keeps it from being approved."""
    with _office(folder) as billing:
        _show_draft(billing, billing.workshop.invoices.draft(number), shape)


def _show_draft(billing: Billing, draft: InvoiceDraft, shape: str) -> None:
    made = billing.reckon(draft)
    lines = made.invoice.lines if made.invoice else ()
    rows = [
        {
            "key": line.key,
            "text": line.text,
            "quantity": line.quantity,
            "unit": line.unit,
            "price": line.price,
            "net": line.net,
            "vat": line.vat_category,
            "look": line.look,
        }
        for line in lines
    ]
    if not shape:
        show(f"Draft {draft.id}: {draft.customer}")
    _out(shape, rows, "There is nothing to charge.")
    if shape:
        return
    if made.invoice is not None:
        sums = made.invoice
        show(f"Net {sums.net}, VAT {sums.vat}, to pay {sums.gross} {sums.currency}")
    for doubt in made.doubts:
        tell(f"{doubt} Look at it; `jobnotes office change {draft.id} {_key(doubt)} --confirm`.")
    for stop in made.stops:
        tell(f"It can't be approved yet: {stop}")


@office.command()
@click.argument("number", metavar="DRAFT", type=int)
@click.argument("key", metavar="LINE")
@click.option("--text", help="Another text.")
@click.option("--quantity", metavar="NUMBER", help="Another quantity.")
@click.option("--price", metavar="AMOUNT", help="Another price, net.")
@click.option("--confirm", "kind", flag_value="confirm", help="It is right as it stands.")
@click.option("--leave-out", "kind", flag_value="drop", help="It is not charged.")
@click.option("--take-back", "kind", flag_value="take_back", help="As it was before the office changed it.")
@click.option("--reason", metavar="TEXT", default="", help="Why.")
@WORKSHOP
def change(
    number: int,
    key: str,
    text: str | None,
    quantity: str | None,
    price: str | None,
    kind: AdjustmentKind | Literal["take_back"] | None,
    reason: str,
    folder: Path | None,
) -> None:
    """Change a LINE of a draft, named by its key in `jobnotes office show`."""
    from jobnotes.office.adjusting import check_adjustment
    from jobnotes.store import TERMINAL

    values = {"text": text, "quantity": quantity, "price": price}
    given = {name: value for name, value in values.items() if value is not None}
    if (kind is None) == (not given):
        raise click.UsageError(
            "Give what the line is to have, or one of --confirm, --leave-out, --take-back."
        )
    for name in ("quantity", "price"):
        if name in given:
            given[name] = str(_amount(given[name], f"--{name}"))
    with _office(folder) as billing:
        invoices = billing.workshop.invoices
        draft = invoices.draft(number)
        if kind == "take_back":
            changed: list[AdjustmentKind] = [each.kind for each in draft.adjustments if each.key == key]
            if not changed:
                raise JobnotesError(f"Nothing was changed on the line {key}.")
            # With a line that was added goes whatever was changed on it.
            if "add" in changed:
                changed = ["add"]
            for each in changed:
                draft = invoices.take_back(number, draft.version, key, each, TERMINAL)
        elif key not in _keys(billing, draft):
            raise JobnotesError(
                f"Draft {number} has no line {key}; `jobnotes office show {number}` lists them."
            )
        elif kind is None:
            draft = billing.change_line(number, draft.version, key, given, reason, TERMINAL)
        else:
            reason = reason or ("looked at" if kind == "confirm" else "")
            check_adjustment(kind, key, {}, reason)
            draft = invoices.adjust(number, draft.version, kind, key, {}, reason, TERMINAL)
        _show_draft(billing, draft, "")


def _keys(billing: Billing, draft: InvoiceDraft) -> set[str]:
    """What can be changed or confirmed of a draft: its lines, and what is doubtful about it."""
    made = billing.reckon(draft)
    lines = made.invoice.lines if made.invoice else ()
    return {*(line.key for line in lines), *(_key(doubt) for doubt in made.doubts)}


def _key(doubt: str) -> str:
    """What a doubt is confirmed by."""
    return str(getattr(doubt, "key", ""))


@office.command()
@click.argument("number", metavar="DRAFT", type=int)
@WORKSHOP
def discard(number: int, folder: Path | None) -> None:
    """Discard a draft of an invoice. Its sheets wait again."""
    from jobnotes.store import TERMINAL

    with _office(folder) as billing:
        draft = billing.workshop.invoices.draft(number)
        billing.workshop.invoices.drop(number, draft.version, TERMINAL)
        show(f"Draft {number} is discarded.")


@office.command()
@click.argument("number", metavar="DRAFT", type=int)
@click.option("--out", metavar="DIR", type=SOMEWHERE, help="Write PDF and e-invoices there.")
@click.option("--yes", is_flag=True, help="Approve without asking.")
@WORKSHOP
def approve(number: int, out: Path | None, yes: bool, folder: Path | None) -> None:
    """Approve a draft: it gets the next number, and can't be changed any more."""
    from jobnotes.store import TERMINAL
    from jobnotes.workshop.billing import mark_of, refuse_unready

    with _office(folder) as billing:
        draft = billing.workshop.invoices.draft(number)
        made = billing.reckon(draft)
        refuse_unready(made)
        assert made.invoice is not None
        what = f"{made.invoice.gross} {made.invoice.currency} to {made.invoice.buyer.name}"
        if not yes and not click.confirm(f"Approve {what}?", err=True):
            tell("Nothing was approved.")
            return
        issued = billing.approve(number, draft.version, mark_of(made.invoice), TERMINAL)
        show(f"Invoice {issued.printed_number}: {what}")
        if out is not None:
            _write(billing, issued.number, out)


@office.command()
@SINCE
@UNTIL
@click.option("--customer", metavar="NAME", help="Of that customer alone.")
@SHAPE
@AS_JSON
@WORKSHOP
def invoices(
    since: str | None, until: str | None, customer: str | None, folder: Path | None, shape: str
) -> None:
    """List invoices and credit notes, the newest first."""
    with _office(folder) as billing:
        found = billing.workshop.invoices.all(
            customer=customer, since=_day(since, "--since"), until=_day(until, "--until"), limit=1_000_000
        )
        rows = [
            {
                "number": each.printed_number,
                "kind": each.kind,
                "date": each.issued,
                "customer": each.customer,
                "net": each.net,
                "vat": each.vat,
                "gross": each.gross,
                "credited": each.credited,
                "credits": each.credits,
            }
            for each in found
        ]
        _out(shape, rows, "There is no invoice.")


@office.command()
@click.argument("number", metavar="NUMBER", type=int)
@click.option("--out", metavar="DIR", type=SOMEWHERE, required=True, help="The folder to write into.")
@WORKSHOP
def files(number: int, out: Path, folder: Path | None) -> None:
    """Write the files of an invoice or credit note: PDF with the e-invoice inside, CII and UBL."""
    with _office(folder) as billing:
        _write(billing, number, out)


def _write(billing: Billing, number: int, out: Path) -> None:
    from jobnotes.files import write_atomically
    from jobnotes.intake.outputs import made_folder

    made = billing.files(billing.workshop.invoices.get(number))
    made_folder(out)
    for name, content in made.items():
        write_atomically(out / name, content)
        show(str(out / name))


@office.command()
@click.argument("number", metavar="NUMBER", type=int)
@click.option("--reason", metavar="TEXT", required=True, help="Why; it stands on the credit note.")
@click.option(
    "--line", "lines", metavar="KEY=NET", multiple=True, help="So much of a line, net, instead of all."
)
@click.option("--out", metavar="DIR", type=SOMEWHERE, help="Write PDF and e-invoices there.")
@click.option("--yes", is_flag=True, help="Credit without asking.")
@WORKSHOP
def credit(
    number: int, reason: str, lines: tuple[str, ...], out: Path | None, yes: bool, folder: Path | None
) -> None:
    """Credit an invoice: all that is left of it, or amounts of its lines."""
    from jobnotes.store import TERMINAL

    chosen = {}
    for line in lines:
        key, equals, net = line.rpartition("=")
        if not equals:
            raise click.UsageError(f"--line is {line!r}; give a line's key, = and an amount.")
        chosen[key] = _amount(net, f"--line {key}")
    with _office(folder) as billing:
        issued = billing.workshop.invoices.get(number)
        what = f"{'lines' if chosen else 'all that is left'} of invoice {issued.printed_number}"
        if not yes and not click.confirm(f"Credit {what}?", err=True):
            tell("Nothing was credited.")
            return
        note = billing.credit(number, reason, TERMINAL, chosen or None)
        show(f"Credit note {note.printed_number}: {note.gross} {note.document.currency} to {note.customer}")
        if out is not None:
            _write(billing, note.number, out)


@office.command()
@SINCE
@UNTIL
@click.option("--out", metavar="FILE", type=SOMEWHERE, help="Write it there.  [default: standard output]")
@WORKSHOP
def ledger(since: str | None, until: str | None, out: Path | None, folder: Path | None) -> None:
    """Write invoices and credit notes as CSV for a ledger; docs/office.md tells the columns."""
    from jobnotes.files import write_atomically
    from jobnotes.office.ledger import ledger_csv

    with _office(folder) as billing:
        first, last = _day(since, "--since"), _day(until, "--until")
        found = [
            each
            for each in billing.documents()
            if (first is None or each.issued >= first) and (last is None or each.issued <= last)
        ]
        text = ledger_csv(found)
        if out is None:
            show(text.decode().replace("\r\n", "\n").rstrip("\n"))
        else:
            write_atomically(out, text)
            show(f"{out}: {len(found)} document{'s' if len(found) != 1 else ''}.")


@office.command()
@click.option("--van", metavar="NAME", help="Of that engineer's van alone.")
@SHAPE
@AS_JSON
@WORKSHOP
def stock(van: str | None, folder: Path | None, shape: str) -> None:
    """List what the vans carry. A van has the name of its engineer."""
    with _office(folder) as billing:
        rows = [
            {
                "van": each.van,
                "part_number": each.part_number,
                "description": each.description,
                "quantity": each.quantity,
                "unit": each.unit,
                "minimum": each.minimum,
                "marks": ", ".join(each.marks),
            }
            for each in billing.levels()
            if van is None or each.van.casefold() == van.casefold()
        ]
        _out(shape, rows, "There is no stock.")


@office.command("stock-take")
@click.argument("file", metavar="FILE", type=SOMEWHERE)
@click.option("--van", metavar="NAME", required=True, help="The engineer whose van was counted.")
@WORKSHOP
def stock_take(file: Path, van: str, folder: Path | None) -> None:
    """Take over a stock take: CSV with the columns part_number and count."""
    from jobnotes.office.stock import read_stock_take
    from jobnotes.store import TERMINAL

    with _office(folder) as billing:
        take = read_stock_take(file, billing.register, billing.workshop.stock.entries())
        billing.take_stock(billing.van(van), take, TERMINAL)
        show(f"{len(take.counts)} part{'s' if len(take.counts) != 1 else ''} counted in the van of {van}.")


@office.command()
@click.option("--pdf", metavar="FILE", type=SOMEWHERE, help="Write the order list as PDF.")
@SHAPE
@AS_JSON
@WORKSHOP
def orders(pdf: Path | None, folder: Path | None, shape: str) -> None:
    """List what is to be ordered, by supplier: parts that sheets ask for, and vans that are short."""
    from jobnotes.files import write_atomically

    with _office(folder) as billing:
        if pdf is not None:
            write_atomically(pdf, billing.order_pdf())
            show(str(pdf))
            return
        rows = [
            {
                "supplier": each.supplier,
                "part_number": each.part_number,
                "description": each.description,
                "quantity": each.quantity,
                "unit": each.unit,
                "why": each.why,
            }
            for each in billing.wanted()
        ]
        _out(shape, rows, "Nothing is to be ordered.")


@office.command()
@SHAPE
@AS_JSON
@WORKSHOP
def chase(folder: Path | None, shape: str) -> None:
    """List what is on order and has not come or been fitted, the oldest first."""
    with _office(folder) as billing:
        rows = [
            {
                "days": each.age_days,
                "part_number": each.part_number,
                "description": each.description,
                "quantity": each.quantity,
                "supplier": each.supplier,
                "reference": each.reference,
                "machine": each.machine,
                "sheet": each.sheet,
                "order": each.order,
            }
            for each in billing.chased()
        ]
        _out(shape, rows, "Nothing is on order.")


@office.command("follow-ups")
@click.option("--machine", metavar="FLEET", default="", help="Of the machine with that fleet number.")
@click.option("--customer", metavar="NAME", default="", help="Of that customer.")
@click.option("--site", metavar="NAME", default="", help="At that site.")
@click.option("--older-than", "days", metavar="DAYS", type=click.IntRange(min=0), help="Older ones alone.")
@click.option("--closed", is_flag=True, help="Those that are closed.")
@SHAPE
@AS_JSON
@WORKSHOP
def follow_ups(
    machine: str,
    customer: str,
    site: str,
    days: int | None,
    closed: bool,
    folder: Path | None,
    shape: str,
) -> None:
    """List what sheets left to do, the oldest first."""
    from jobnotes.office.follow_ups import choose

    with _office(folder) as billing:
        found = choose(
            billing.follow_ups(),
            machine=machine,
            customer=customer,
            site=site,
            at_least_days=None if days is None else days + 1,
            state="closed" if closed else "open",
        )
        rows = [
            {
                "sheet": each.sheet,
                "days": each.age_days,
                "text": each.text,
                "machine": each.machine,
                "customer": each.customer,
                "site": each.site,
                "done_on": each.closing.by_sheet if each.closing else each.proposed,
                "reason": each.closing.reason if each.closing else "",
            }
            for each in found
        ]
        _out(shape, rows, "No follow-up is closed." if closed else "Nothing is left to do.")


@office.command("close")
@click.argument("sheet", metavar="SHEET", type=int)
@click.argument("text", metavar="TEXT")
@click.option("--by-sheet", metavar="NUMBER", type=int, help="The later sheet on which it was done.")
@click.option("--reason", metavar="TEXT", default="", help="Why it needs nobody any more.")
@WORKSHOP
def close_follow_up(sheet: int, text: str, by_sheet: int | None, reason: str, folder: Path | None) -> None:
    """Close a follow-up of SHEET, whose words are TEXT, by a later sheet or with a reason."""
    from jobnotes.store import TERMINAL

    with _office(folder) as billing:
        billing.workshop.follow_ups.close(sheet, text, TERMINAL, by_sheet=by_sheet, reason=reason)
        show(f"Sheet {sheet}, {text}: closed.")


@office.command()
@SHAPE
@AS_JSON
@WORKSHOP
def services(folder: Path | None, shape: str) -> None:
    """List when machines are due for service, by the hours that their sheets tell."""
    with _office(folder) as billing:
        rows = [
            {
                "machine": each.machine,
                "customer": each.customer,
                "last_hours": each.last_hours,
                "hours_a_day": round(each.rate.per_day, 2) if each.rate else None,
                "due_hours": each.due_hours,
                "due": each.due_day,
                "earliest": each.earliest,
                "latest": each.latest,
                "overdue": each.overdue,
                "why": each.why,
            }
            for each in billing.services()
        ]
        _out(shape, rows, "No machine's type has an interval in office.toml.")


@office.command()
@SHAPE
@AS_JSON
@WORKSHOP
def returns(folder: Path | None, shape: str) -> None:
    """List faults that came back on the same machine and component, the latest first."""
    with _office(folder) as billing:
        rows = [
            {
                "machine": each.machine,
                "component": ", ".join(each.of),
                "days": each.days,
                "earlier_sheet": each.earlier.sheet,
                "earlier": each.earlier.complaint,
                "later_sheet": each.later.sheet,
                "later": each.later.complaint,
            }
            for each in billing.returns()
        ]
        _out(shape, rows, "No fault came back.")


@office.command()
@SHAPE
@AS_JSON
@WORKSHOP
def spend(folder: Path | None, shape: str) -> None:
    """List what was invoiced for each machine, net, the dearest first."""
    with _office(folder) as billing:
        rows = [
            {"machine": each.machine, "net": each.net, "sheets": list(each.sheets)}
            for each in billing.spend()
        ]
        _out(shape, rows, "Nothing is invoiced.")


@office.command()
@SHAPE
@AS_JSON
@WORKSHOP
def waits(folder: Path | None, shape: str) -> None:
    """List how many days passed from visits to their invoices, month by month."""
    with _office(folder) as billing:
        rows = [
            {"month": each.first_day.isoformat()[:7], "median_days": each.days, "visits": each.count}
            for each in billing.waits().months
        ]
        _out(shape, rows, "Nothing is invoiced.")


OFFICE_COMMANDS = (office,)
