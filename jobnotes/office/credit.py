"""Credit notes: an approved invoice taken back, whole or in part, and what is left of it."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from jobnotes.errors import JobnotesError
from jobnotes.jobs.invoice import Invoice, Line, VatCategory, VatSum, line_net, vat_sums
from jobnotes.jobs.money import NOUGHT, to_penny
from jobnotes.office.words import credit_terms

Rate = tuple[VatCategory, Decimal]
TOGETHER = "what was taken off must be credited with what it was taken off"


@dataclass(frozen=True)
class Left:
    """What can still be credited of a line: `quantity` in its unit, `net` in the invoice's currency.

    A line of which an amount was credited has all of its quantity left, and less of its net.
    """

    quantity: Decimal
    net: Decimal


def left_to_credit(original: Invoice, earlier: Sequence[Invoice]) -> dict[str, Left]:
    """What is left of each line of an invoice after its credit notes so far, by key; nought of both where a
    line is wholly credited."""
    left = {line.key: Left(line.quantity, line.net) for line in original.lines}
    lines = {line.key: line for line in original.lines}
    for note in earlier:
        for credited in note.lines:
            before = left[credited.key]
            quantity = credited.quantity if _by_quantity(credited, lines[credited.key]) else Decimal(0)
            left[credited.key] = Left(before.quantity - quantity, before.net - credited.net)
    return {key: Left(part.quantity if part.net else Decimal(0), part.net) for key, part in left.items()}


def _by_quantity(credited: Line, line: Line) -> bool:
    """Whether a line of a credit note takes back some of the quantity, not only some of the amount."""
    return (credited.unit, credited.price, credited.price_quantity) == (
        line.unit,
        line.price,
        line.price_quantity,
    )


def credit_note(
    original: Invoice,
    earlier: Sequence[Invoice],
    *,
    issued: datetime.date,
    reason: str,
    lines: Mapping[str, Decimal] | None = None,
    amounts: Mapping[str, Decimal] | None = None,
    number: int | None = None,
    printed_number: str = "",
    approved_by: str = "",
) -> Invoice:
    """A credit note to an invoice, given those before. `lines` are quantities by key, in the line's unit, and
    `amounts` net amounts by key; with neither, all that is left is credited.

    VAT is that of the rate over what is credited; a credit that takes the last of a category and rate takes
    the VAT that is left of it, so that an invoice less its credit notes comes to nought to the penny.

    Raises JobnotesError where no reason is given, more would be credited than is left, a line is named that
    the invoice has not, or nothing is left or chosen; ValueError for documents that do not belong together.
    """
    if original.kind != "invoice" or any(note.credits != original.printed_number for note in earlier):
        raise ValueError("credit notes are to one invoice")
    name = f"invoice {original.printed_number}"
    if not reason.strip():
        raise JobnotesError(f"Say why {name} is credited: the reason stands on the credit note.")
    if issued < max(note.issued for note in (original, *earlier)):
        raise JobnotesError(f"A credit note to {name} can't be dated before it, or before an earlier one.")
    left = left_to_credit(original, earlier)
    if not sum((part.net for part in left.values()), NOUGHT):
        raise JobnotesError(f"Nothing is left of {name}: it is wholly credited.")
    chosen = _chosen(original, left, lines, amounts)
    if not chosen:
        raise JobnotesError(f"Nothing of {name} is chosen to be credited.")
    sums = _sums(original, earlier, chosen)
    net = sum((line.net for line in chosen), NOUGHT)
    _refuse_leaving_less_than_nought(left, chosen, net)
    vat = sum((total.vat for total in sums), NOUGHT)
    sheets = {source.sheet for line in chosen for source in line.sources}
    return original.model_copy(
        update={
            "kind": "credit_note",
            "number": number,
            "printed_number": printed_number,
            "issued": issued,
            "tax_point": issued,
            "due": None,
            "terms": credit_terms(original.printed_number),
            "note": "",
            "credits": original.printed_number,
            "credited_on": original.issued,
            "reason": reason.strip(),
            "approved_by": approved_by,
            "sheets": tuple(sheet for sheet in original.sheets if sheet.sheet in sheets) or original.sheets,
            "lines": tuple(chosen),
            "vat_sums": sums,
            "net": net,
            "vat": vat,
            "gross": net + vat,
        }
    )


def _refuse_leaving_less_than_nought(left: Mapping[str, Left], chosen: Sequence[Line], net: Decimal) -> None:
    """Something taken off must neither be credited by itself nor be what is left at the end."""
    rest = {key: part.net for key, part in left.items()}
    for line in chosen:
        rest[line.key] -= line.net
    over = sum(rest.values(), NOUGHT)
    if net <= 0 or over < 0 or (over == 0 and any(rest.values())):
        raise JobnotesError(
            f"The credit note would come to {net}, and leave {over} of the invoice: {TOGETHER}."
        )


def _chosen(
    original: Invoice,
    left: Mapping[str, Left],
    quantities: Mapping[str, Decimal] | None,
    amounts: Mapping[str, Decimal] | None,
) -> list[Line]:
    """The credit note's lines, in the order of the invoice's."""
    whole = quantities is None and amounts is None
    quantities, amounts = quantities or {}, amounts or {}
    for key in (*quantities, *amounts):
        if key not in left:
            raise JobnotesError(f"The invoice has no line {key}.")
        if key in quantities and key in amounts:
            raise JobnotesError(f"{key}: give a quantity or an amount, not both.")
    chosen = []
    for line in original.lines:
        part = left[line.key]
        if whole and part.net:
            chosen.append(_rest(line, part))
        elif line.key in quantities:
            chosen.append(_some(line, part, quantities[line.key]))
        elif line.key in amounts:
            chosen.append(_amount(line, part, amounts[line.key]))
    return chosen


def _sign(line: Line) -> int:
    """1, or -1 for something taken off: there all of it is below nought."""
    return -1 if line.quantity < 0 else 1


def _some(line: Line, left: Left, quantity: Decimal) -> Line:
    sign = _sign(line)
    if not quantity.is_finite() or quantity * sign <= 0:
        raise JobnotesError(f"{line.key}: the quantity to credit must be {_than_nought(sign)}.")
    if quantity * sign > left.quantity * sign:
        raise JobnotesError(f"{line.key}: only {left.quantity} of {line.quantity} are left to credit.")
    net = line_net(quantity, line.price, line.price_quantity)
    if not net and quantity != left.quantity:
        raise JobnotesError(f"{line.key}: {quantity} of it come to less than a penny.")
    if quantity == left.quantity or net * sign >= left.net * sign:
        # Pence that earlier roundings, or an amount credited before, have taken are not there any more.
        return _rest(line, left, quantity)
    return _credited(line, quantity=quantity, net=net)


def _than_nought(sign: int) -> str:
    return "more than 0" if sign > 0 else "less than 0, as the line is"


def _rest(line: Line, left: Left, quantity: Decimal | None = None) -> Line:
    quantity = left.quantity if quantity is None else quantity
    if line_net(quantity, line.price, line.price_quantity) == left.net:
        return _credited(line, quantity=quantity, net=left.net)
    return _amount(line, left, left.net)


def _amount(line: Line, left: Left, amount: Decimal) -> Line:
    sign = _sign(line)
    if not amount.is_finite() or amount * sign <= 0 or amount != to_penny(amount):
        raise JobnotesError(f"{line.key}: the amount to credit must be {_than_nought(sign)}, in whole pence.")
    if amount * sign > left.net * sign:
        raise JobnotesError(f"{line.key}: only {left.net} of {line.net} are left to credit.")
    if amount == left.net == line_net(left.quantity, line.price, line.price_quantity):
        return _credited(line, quantity=left.quantity, net=amount)
    return _credited(
        line,
        quantity=Decimal(sign),
        unit="C62",
        price=abs(amount),
        price_quantity=Decimal(1),
        net=to_penny(amount),
    )


def _credited(line: Line, **changes: object) -> Line:
    return line.model_copy(update={**changes, "remarks": (), "look": None, "changed": None})


def _sums(original: Invoice, earlier: Sequence[Invoice], lines: Sequence[Line]) -> tuple[VatSum, ...]:
    reasons = {total.category: total.reason for total in original.vat_sums}
    bases: dict[Rate, Decimal] = {}
    taxes: dict[Rate, Decimal] = {}
    for document, sign in ((original, 1), *((note, -1) for note in earlier)):
        for total in document.vat_sums:
            key = (total.category, total.rate)
            bases[key] = bases.get(key, NOUGHT) + sign * total.base
            taxes[key] = taxes.get(key, NOUGHT) + sign * total.vat
    sums = []
    for total in vat_sums(lines, reasons):
        key = (total.category, total.rate)
        sign = -1 if bases[key] < 0 else 1
        if not 0 <= total.base * sign <= bases[key] * sign:
            raise JobnotesError(
                f"Of the lines with VAT at {total.rate} % {bases[key]} is left to credit, and {total.base} "
                f"is chosen: {TOGETHER}."
            )
        # Many small credits, each rounded up, must not take more VAT than there was.
        vat = sign * min(total.vat * sign, taxes[key] * sign)
        if total.base == bases[key]:
            vat = taxes[key]
        sums.append(total.model_copy(update={"vat": vat}))
    return tuple(sums)
