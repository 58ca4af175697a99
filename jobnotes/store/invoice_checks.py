"""What must hold of an invoice or credit note before it gets its number for good."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from decimal import Decimal

from jobnotes.errors import JobnotesError
from jobnotes.jobs.invoice import Invoice
from jobnotes.jobs.money import NOUGHT, to_penny
from jobnotes.store.errors import ConflictError, NotAllowedError
from jobnotes.store.office_values import InvoiceKind, IssuedInvoice

SUM_NAMES = ("net", "vat", "gross")


def fault_in_sums(document: Invoice) -> str | None:
    """What does not add up in a document, in words; None where all does (EN 16931: BR-CO-10, BR-CO-13,
    BR-CO-14, BR-CO-15, BR-DEC)."""
    lines = sum((line.net for line in document.lines), NOUGHT)
    bases = sum((each.base for each in document.vat_sums), NOUGHT)
    taxes = sum((each.vat for each in document.vat_sums), NOUGHT)
    amounts = [getattr(document, name) for name in SUM_NAMES] + [line.net for line in document.lines]
    if any(amount != to_penny(amount) for amount in amounts):
        return "an amount is not in whole pence"
    if lines != document.net or bases != document.net:
        return f"the lines come to {lines}, the bases of VAT to {bases}, and net it says {document.net}"
    if taxes != document.vat:
        return f"the VAT comes to {taxes}, and it says {document.vat}"
    if document.net + document.vat != document.gross:
        return f"{document.net} and {document.vat} are not {document.gross}"
    return None


def refuse_unfit(document: Invoice, kind: InvoiceKind, number: int) -> None:
    """Raises JobnotesError for a document that is not of that kind and number, or does not add up."""
    name = f"{kind.replace('_', ' ')} {number}"
    if document.kind != kind or document.number != number or not document.printed_number.strip():
        raise JobnotesError(f"The document that was made is not that of {name}. Nothing was approved.")
    if not document.lines:
        raise JobnotesError(f"There is no line on {name}, so there is nothing to approve.")
    if fault := fault_in_sums(document):
        raise JobnotesError(f"The sums of {name} do not fit: {fault}. Nothing was approved.")
    if document.gross < 0:
        raise JobnotesError(f"It comes to {document.gross}, and no {kind.replace('_', ' ')} is below nought.")


def refuse_other_sheets(document: Invoice, revisions: Mapping[int, int], version: int) -> None:
    """Raises JobnotesError where the document charges other sheets than its draft, and ConflictError where it
    was made of an older revision of one."""
    made = {each.sheet: each.revision for each in document.sheets}
    if set(made) != set(revisions) or len(document.sheets) != len(made):
        raise JobnotesError(
            "The invoice that was made does not name each sheet of its draft once. Nothing was approved."
        )
    for sheet, revision in revisions.items():
        if made[sheet] != revision:
            raise ConflictError(
                f"Sheet {sheet} has been amended; look at the invoice anew. Nothing was approved.",
                version,
                (),
            )


def refuse_crediting(original: IssuedInvoice, wholly_credited: bool) -> None:
    """Raises NotAllowedError for a credit note, and for an invoice that is wholly credited."""
    if original.kind != "invoice":
        raise NotAllowedError(f"Number {original.number} is a credit note, which can't be credited.")
    if wholly_credited:
        raise NotAllowedError(f"Invoice {original.number} is wholly credited already.")


def refuse_too_much(document: Invoice, original: IssuedInvoice, earlier: Sequence[IssuedInvoice]) -> None:
    """Raises JobnotesError where a credit note is of another invoice, or credits more than is left: of the
    sums, or of one line, which keeps its key."""
    charged = original.document
    if document.credits != charged.printed_number or document.currency != charged.currency:
        raise JobnotesError(
            f"The credit note that was made does not credit invoice {original.number}. Nothing was approved."
        )
    named = [(each.sheet, each.revision) for each in document.sheets]
    if set(named) - set(original.sheets) or len(named) != len(set(named)):
        raise JobnotesError(
            f"The credit note does not name its sheets as invoice {original.number} does. Nothing was "
            "approved."
        )
    for name in SUM_NAMES:
        left = getattr(original, name) - sum((getattr(each, name) for each in earlier), NOUGHT)
        if getattr(document, name) > left:
            word = name.replace("vat", "VAT")
            raise JobnotesError(
                f"The credit note comes to {getattr(document, name)} {word}, and of invoice "
                f"{original.number} only {left} is left to be credited. Nothing was approved."
            )
    if not document.gross and original.gross:
        raise JobnotesError("The credit note comes to nothing. Nothing was approved.")
    _refuse_too_much_of_a_line([each.document for each in earlier] + [document], charged)


def _refuse_too_much_of_a_line(credits: Sequence[Invoice], charged: Invoice) -> None:
    nets: dict[str, Decimal] = {line.key: line.net for line in charged.lines}
    credited: dict[str, Decimal] = defaultdict(lambda: NOUGHT)
    for document in credits:
        for line in document.lines:
            credited[line.key] += line.net
    for key, amount in credited.items():
        # A line below nought, as for something taken back, is credited by one below nought.
        if key in nets and abs(amount) > abs(nets[key]):
            raise JobnotesError(
                f"Of the line {key} {nets[key]} was charged, and {amount} would be credited. "
                "Nothing was approved."
            )
