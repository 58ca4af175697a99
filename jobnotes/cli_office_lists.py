"""The commands of the office about stock, orders, follow-ups and machines: wiring only.

What is heavy is imported inside them.
"""

from __future__ import annotations

from pathlib import Path

import click

from jobnotes.cli_office import office
from jobnotes.cli_paths import SOMEWHERE
from jobnotes.cli_tables import AS_JSON, SHAPE, amount_of, open_office, show_rows
from jobnotes.cli_workshop import WORKSHOP
from jobnotes.errors import JobnotesError
from jobnotes.terminal import show


@office.command()
@click.option("--van", metavar="NAME", help="Of that engineer's van alone.")
@SHAPE
@AS_JSON
@WORKSHOP
def stock(van: str | None, folder: Path | None, shape: str) -> None:
    """List what the vans carry. A van has the name of its engineer."""
    with open_office(folder) as billing:
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
        show_rows(shape, rows, "There is no stock.")


@office.command("stock-take")
@click.argument("file", metavar="FILE", type=SOMEWHERE)
@click.option("--van", metavar="NAME", required=True, help="The engineer whose van was counted.")
@WORKSHOP
def stock_take(file: Path, van: str, folder: Path | None) -> None:
    """Take over a stock take: CSV with the columns part_number and count."""
    from jobnotes.office.stock import read_stock_take
    from jobnotes.store import TERMINAL

    with open_office(folder) as billing:
        take = read_stock_take(file, billing.register, billing.workshop.stock.entries())
        van = billing.van(van)
        billing.take_stock(van, take, TERMINAL)
        show(f"{len(take.counts)} part{'s' if len(take.counts) != 1 else ''} counted in the van of {van}.")


@office.command()
@click.option("--pdf", metavar="FILE", type=SOMEWHERE, help="Write the order list as PDF.")
@SHAPE
@AS_JSON
@WORKSHOP
def orders(pdf: Path | None, folder: Path | None, shape: str) -> None:
    """List what is to be ordered, by supplier: parts that sheets ask for, and vans that are short."""
    from jobnotes.files import write_atomically
    from jobnotes.workshop.billing import key_of

    with open_office(folder) as billing:
        if pdf is not None:
            write_atomically(pdf, billing.order_pdf())
            show(str(pdf))
            return
        rows = [
            {
                "key": key_of(each),
                "supplier": each.supplier,
                "part_number": each.part_number,
                "description": each.description,
                "quantity": each.quantity,
                "unit": each.unit,
                "why": each.why,
            }
            for each in billing.wanted()
        ]
        show_rows(shape, rows, "Nothing is to be ordered.")


@office.command()
@click.argument("keys", metavar="KEY...", nargs=-1, required=True)
@click.option("--reference", metavar="TEXT", default="", help="The supplier's order number.")
@WORKSHOP
def ordered(keys: tuple[str, ...], reference: str, folder: Path | None) -> None:
    """Write down that parts were ordered, named by their keys in `jobnotes office orders`."""
    from jobnotes.store import TERMINAL
    from jobnotes.workshop.billing import key_of

    with open_office(folder) as billing:
        wanted = {key_of(each): each for each in billing.wanted()}
        unknown = [key for key in keys if key not in wanted]
        if unknown:
            raise JobnotesError(
                f"Nothing is wanted by the key {unknown[0]!r}; `jobnotes office orders` lists all."
            )
        chosen = [wanted[key] for key in dict.fromkeys(keys)]
        billing.order(chosen, {}, reference, TERMINAL)
        show(f"{len(chosen)} part{'s' if len(chosen) != 1 else ''} on order.")


@office.command()
@click.argument("order", metavar="ORDER", type=int)
@click.option("--quantity", metavar="NUMBER", help="How many came.  [default: all that are still to come]")
@click.option("--van", metavar="NAME", default="", help="Into whose van.  [default: as ordered]")
@WORKSHOP
def received(order: int, quantity: str | None, van: str, folder: Path | None) -> None:
    """Write down that an order came, by its number in `jobnotes office chase`; it goes into a van's stock."""
    from jobnotes.store import TERMINAL

    with open_office(folder) as billing:
        due = next((each.quantity for each in billing.chased() if each.order == order), None)
        if due is None:
            raise JobnotesError(
                f"There is no order {order} still to come; `jobnotes office chase` lists all."
            )
        count = amount_of(quantity, "--quantity") if quantity is not None else due
        billing.workshop.orders.received(order, count, billing.van(van) if van else "", TERMINAL)
        show(f"Order {order}: {count} came.")


@office.command()
@click.argument("order", metavar="ORDER", type=int)
@click.option("--reason", metavar="TEXT", required=True, help="Why it won't come.")
@WORKSHOP
def cancel(order: int, reason: str, folder: Path | None) -> None:
    """Write down that an order won't come, by its number in `jobnotes office chase`."""
    from jobnotes.store import TERMINAL

    with open_office(folder) as billing:
        billing.workshop.orders.cancel(order, reason, TERMINAL)
        show(f"Order {order} is cancelled.")


@office.command()
@SHAPE
@AS_JSON
@WORKSHOP
def chase(folder: Path | None, shape: str) -> None:
    """List what is on order and has not come or been fitted, the oldest first."""
    with open_office(folder) as billing:
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
        show_rows(shape, rows, "Nothing is on order.")


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

    with open_office(folder) as billing:
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
                "closing": each.closing.id if each.closing else None,
                "done_on": each.closing.by_sheet if each.closing else each.proposed,
                "reason": each.closing.reason if each.closing else "",
            }
            for each in found
        ]
        show_rows(shape, rows, "No follow-up is closed." if closed else "Nothing is left to do.")


@office.command("close")
@click.argument("sheet", metavar="SHEET", type=int)
@click.argument("text", metavar="TEXT")
@click.option("--by-sheet", metavar="NUMBER", type=int, help="The later sheet on which it was done.")
@click.option("--reason", metavar="TEXT", default="", help="Why it needs nobody any more.")
@WORKSHOP
def close_follow_up(sheet: int, text: str, by_sheet: int | None, reason: str, folder: Path | None) -> None:
    """Close a follow-up of SHEET, whose words are TEXT, by a later sheet or with a reason."""
    from jobnotes.store import TERMINAL

    with open_office(folder) as billing:
        billing.workshop.follow_ups.close(sheet, text, TERMINAL, by_sheet=by_sheet, reason=reason)
        show(f"Sheet {sheet}, {text}: closed.")


@office.command()
@click.argument("closing", metavar="CLOSING", type=int)
@click.option("--reason", metavar="TEXT", required=True, help="Why it is to be done all the same.")
@WORKSHOP
def reopen(closing: int, reason: str, folder: Path | None) -> None:
    """Open a follow-up again, by its number in `jobnotes office follow-ups --closed`."""
    from jobnotes.store import TERMINAL

    with open_office(folder) as billing:
        billing.workshop.follow_ups.reopen(closing, TERMINAL, reason)
        show(f"Closing {closing} is taken back.")


@office.command()
@SHAPE
@AS_JSON
@WORKSHOP
def services(folder: Path | None, shape: str) -> None:
    """List when machines are due for service, by the hours that their sheets tell."""
    with open_office(folder) as billing:
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
        show_rows(shape, rows, "No machine's type has an interval in office.toml.")


@office.command()
@SHAPE
@AS_JSON
@WORKSHOP
def returns(folder: Path | None, shape: str) -> None:
    """List faults that came back on the same machine and component, the latest first."""
    with open_office(folder) as billing:
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
        show_rows(shape, rows, "No fault came back.")


@office.command()
@SHAPE
@AS_JSON
@WORKSHOP
def spend(folder: Path | None, shape: str) -> None:
    """List what was invoiced for each machine, net, the dearest first."""
    with open_office(folder) as billing:
        rows = [
            {"machine": each.machine, "net": each.net, "sheets": list(each.sheets)}
            for each in billing.spend()
        ]
        show_rows(shape, rows, "Nothing is invoiced.")


@office.command()
@SHAPE
@AS_JSON
@WORKSHOP
def waits(folder: Path | None, shape: str) -> None:
    """List how many days passed from visits to their invoices, month by month."""
    with open_office(folder) as billing:
        rows = [
            {"month": each.first_day.isoformat()[:7], "median_days": each.days, "visits": each.count}
            for each in billing.waits().months
        ]
        show_rows(shape, rows, "Nothing is invoiced.")


OFFICE_COMMANDS = (office,)
