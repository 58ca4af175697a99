"""The commands of the office about invoices: wiring only. What is heavy is imported inside them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

from jobnotes.cli_paths import SOMEWHERE
from jobnotes.cli_tables import AS_JSON, SHAPE, SINCE, UNTIL, amount_of, day_of, open_office, show_rows
from jobnotes.cli_workshop import WORKSHOP
from jobnotes.errors import JobnotesError
from jobnotes.terminal import show, tell

if TYPE_CHECKING:
    from jobnotes.store import AdjustmentKind, InvoiceDraft
    from jobnotes.workshop.billing import Billing

FAILED = 1


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
    with open_office(folder) as billing:
        lacks = billing.lacks()
        for sentence in lacks:
            tell(sentence)
        try:
            rules, rates = billing.rules, billing.rates
        except JobnotesError:  # told above, with whatever else there is
            context.exit(FAILED)
        folders = billing.workshop.folder
        # Of a file that is not there, nothing more is to be told than that.
        if folders.office_settings.exists():
            seller = rules.seller.name
            show(f"office.toml: {rules.currency}, bank holidays of {rules.part_of_country}, {seller}.")
        if folders.rates.exists():
            for remark in rates.remarks(billing.register, rules):
                tell(remark)
            show(f"rates.csv: {len(rates.rows)} rate{'s' if len(rates.rows) != 1 else ''}.")
        if lacks:
            context.exit(FAILED)


@office.command()
@SHAPE
@AS_JSON
@WORKSHOP
def ready(folder: Path | None, shape: str) -> None:
    """List the signed sheets that are on no invoice and in no draft of one."""
    with open_office(folder) as billing:
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
        show_rows(shape, rows, "Every signed sheet is on an invoice.")


@office.command()
@click.argument("customer", metavar="CUSTOMER")
@click.option("--sheet", "sheets", metavar="NUMBER", type=int, multiple=True, help="These sheets alone.")
@WORKSHOP
def draft(customer: str, sheets: tuple[int, ...], folder: Path | None) -> None:
    """Make a draft of an invoice from CUSTOMER's sheets: all that wait, or those that --sheet names."""
    from jobnotes.office.rates import name_key
    from jobnotes.store import TERMINAL

    with open_office(folder) as billing:
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
    with open_office(folder) as billing:
        rows = [
            {
                "draft": each.id,
                "customer": each.customer,
                "sheets": list(each.sheets),
                "begun_by": each.created_by,
            }
            for each in billing.workshop.invoices.drafts()
        ]
        show_rows(shape, rows, "There is no draft of an invoice.")


@office.command("show")
@click.argument("number", metavar="DRAFT", type=int)
@SHAPE
@AS_JSON
@WORKSHOP
def show_draft(number: int, folder: Path | None, shape: str) -> None:
    """Show what a draft comes to, line by line, and what keeps it from being approved."""
    with open_office(folder) as billing:
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
    show_rows(shape, rows, "There is nothing to charge.")
    if shape:
        return
    if made.invoice is not None:
        sums = made.invoice
        show(f"Net {sums.net}, VAT {sums.vat}, to pay {sums.gross} {sums.currency}")
    for doubt in made.doubts:
        tell(f"{doubt} Look at it; `jobnotes office change {draft.id} {doubt.key} --confirm`.")
    # Where a file is not there at all, how it is begun comes before what it lacks.
    lacks = [each for each in billing.lacks() if each not in made.stops] if made.stops else []
    for stop in (*lacks, *made.stops):
        tell(f"It can't be approved yet: {stop}")
    for stop in made.unpriced:
        how = f"`jobnotes office change {draft.id} {stop.key} --price AMOUNT`"
        tell(f"Give a price with {how}, or --leave-out.")


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
            given[name] = str(amount_of(given[name], f"--{name}"))
    with open_office(folder) as billing:
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
    return {*(line.key for line in lines), *(said.key for said in (*made.doubts, *made.unpriced))}


@office.command()
@click.argument("number", metavar="DRAFT", type=int)
@click.option("--text", required=True, help="What it says.")
@click.option("--quantity", metavar="NUMBER", default="1", show_default=True, help="Below nought: taken off.")
@click.option("--price", metavar="AMOUNT", required=True, help="The price of one, net.")
@click.option("--reason", metavar="TEXT", required=True, help="Why.")
@WORKSHOP
def add(number: int, text: str, quantity: str, price: str, reason: str, folder: Path | None) -> None:
    """Add a line of its own to a draft."""
    from jobnotes.office.adjusting import check_new
    from jobnotes.store import TERMINAL

    given = {
        "text": text,
        "quantity": str(amount_of(quantity, "--quantity")),
        "price": str(amount_of(price, "--price")),
    }
    with open_office(folder) as billing:
        draft = billing.workshop.invoices.draft(number)
        check_new(given, reason)
        draft = billing.workshop.invoices.adjust(number, draft.version, "add", "", given, reason, TERMINAL)
        _show_draft(billing, draft, "")


@office.command()
@click.argument("number", metavar="DRAFT", type=int)
@WORKSHOP
def discard(number: int, folder: Path | None) -> None:
    """Discard a draft of an invoice. Its sheets wait again."""
    from jobnotes.store import TERMINAL

    with open_office(folder) as billing:
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

    with open_office(folder) as billing:
        draft = billing.workshop.invoices.draft(number)
        if draft.invoice is not None:
            raise JobnotesError(f"Draft {number} was approved already, as number {draft.invoice}.")
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
    with open_office(folder) as billing:
        found = billing.workshop.invoices.all(
            customer=customer, since=day_of(since, "--since"), until=day_of(until, "--until"), limit=1_000_000
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
        show_rows(shape, rows, "There is no invoice.")


@office.command()
@click.argument("number", metavar="NUMBER", type=int)
@click.option("--out", metavar="DIR", type=SOMEWHERE, required=True, help="The folder to write into.")
@WORKSHOP
def files(number: int, out: Path, folder: Path | None) -> None:
    """Write the files of an invoice or credit note: PDF with the e-invoice inside, CII and UBL."""
    with open_office(folder) as billing:
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
        chosen[key] = amount_of(net, f"--line {key}")
    with open_office(folder) as billing:
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

    with open_office(folder) as billing:
        found = billing.issued_between(day_of(since, "--since"), day_of(until, "--until"))
        text = ledger_csv(found)
        if out is None:
            show(text.decode().replace("\r\n", "\n").rstrip("\n"))
        else:
            write_atomically(out, text)
            show(f"{out}: {len(found)} document{'s' if len(found) != 1 else ''}.")
