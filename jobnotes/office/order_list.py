"""The order list as a file for a spreadsheet or a supplier."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable

from jobnotes.office.by_machine import shown
from jobnotes.office.ledger import harmless
from jobnotes.office.orders import Wanted

ORDER_COLUMNS = (
    "supplier",
    "part_number",
    "supplier_part_number",
    "description",
    "quantity",
    "unit",
    "why",
)


def order_list(wanted: Iterable[Wanted]) -> str:
    """The order list as CSV (RFC 4180) with a header line. A text that a spreadsheet would take for a formula
    has an apostrophe before it."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow(ORDER_COLUMNS)
    for each in wanted:
        texts = (each.named_supplier, each.part_number, each.supplier_part_number, each.description)
        writer.writerow(
            [*map(harmless, texts), shown(each.quantity), harmless(each.unit), harmless(each.why)]
        )
    return stream.getvalue()
