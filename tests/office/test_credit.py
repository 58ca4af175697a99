"""Credit notes: an invoice taken back, and never more than it was; documents against the published rules."""

from __future__ import annotations

import datetime
from decimal import Decimal
from typing import Any

import made
import pytest
from made import CREDITED, adjustment, credited, document, part, stops, visit

from jobnotes.errors import JobnotesError
from jobnotes.jobs.invoice import Invoice
from jobnotes.office.drafting import left_to_credit


def invoiced(**changes: Any) -> Invoice:
    """3 h at 58.50, 1 h of travel at 45.00, four relief valves at 118.75: net 695.50, VAT 139.10."""
    return document(visit(parts=(part(quantity=4),)), number=3, **changes)


def test_the_whole_invoice_is_credited() -> None:
    original = invoiced()
    note = credited(original, approved_by="Ida Marlow")
    assert (original.net, original.vat, original.gross) == (
        Decimal("695.50"),
        Decimal("139.10"),
        Decimal("834.60"),
    )
    assert (note.net, note.vat, note.gross) == (original.net, original.vat, original.gross)
    assert (note.kind, note.number, note.credits, note.credited_on) == (
        "credit_note",
        4,
        "3",
        original.issued,
    )
    assert (note.issued, note.due, note.reason, note.approved_by) == (CREDITED, None, "faulty", "Ida Marlow")
    assert note.terms == "To be set against invoice 3."
    assert [line.key for line in note.lines] == [line.key for line in original.lines]
    assert (note.buyer, note.seller, note.sheets) == (original.buyer, original.seller, original.sheets)
    assert {left.net for left in left_to_credit(original, [note]).values()} == {0}


def test_some_of_a_part_is_credited() -> None:
    original = invoiced()
    note = credited(original, lines={"12/part/HV7731": Decimal(1)})
    assert (note.net, note.vat, note.gross) == (Decimal("118.75"), Decimal("23.75"), Decimal("142.50"))
    assert left_to_credit(original, [note])["12/part/HV7731"].quantity == 3
    assert left_to_credit(original, [note])["12/part/HV7731"].net == Decimal("356.25")


def test_an_amount_of_a_line_is_credited() -> None:
    original = invoiced()
    note = credited(original, amounts={"12/labour/normal": Decimal("40.00")})
    (line,) = note.lines
    assert (line.quantity, line.price, line.net, line.unit) == (1, 40, 40, "C62")
    left = left_to_credit(original, [note])["12/labour/normal"]
    assert (left.quantity, left.net) == (3, Decimal("135.50"))
    rest = credited(original, note, lines={"12/labour/normal": Decimal(3)})
    assert rest.net == Decimal("135.50")
    assert left_to_credit(original, [note, rest])["12/labour/normal"].quantity == 0


def test_never_more_than_is_left() -> None:
    original = invoiced()
    note = credited(original, lines={"12/part/HV7731": Decimal(3)})
    with pytest.raises(JobnotesError, match=r"only 1 of 4 are left to credit"):
        credited(original, note, lines={"12/part/HV7731": Decimal(2)})
    with pytest.raises(JobnotesError, match=r"only 118\.75 of 475\.00 are left to credit"):
        credited(original, note, amounts={"12/part/HV7731": Decimal("118.76")})
    last = credited(original, note, lines={"12/part/HV7731": Decimal(1)})
    with pytest.raises(JobnotesError, match="only 0"):
        credited(original, note, last, lines={"12/part/HV7731": Decimal(1)})


def test_the_last_credit_takes_the_vat_that_is_left() -> None:
    """Three lines of 0.11, 20 %: VAT of 0.33 is 0.07 (0.066); of each 0.11 0.02 (0.022). By hand: 2, 2, 3."""
    added = tuple(
        adjustment("add", f"added/{n}", text="Washer", quantity="1", price="0.11") for n in (1, 2, 3)
    )
    gone = tuple(adjustment("drop", f"12/{key}") for key in ("labour/normal", "travel"))
    original = document(visit(), number=3, adjustments=(*added, *gone))
    assert (original.net, original.vat) == (Decimal("0.33"), Decimal("0.07"))
    notes: list[Invoice] = []
    for n in (2, 1, 3):
        notes.append(credited(original, *notes, lines={f"added/{n}": Decimal(1)}))
    assert [note.vat for note in notes] == [Decimal("0.02"), Decimal("0.02"), Decimal("0.03")]
    assert sum(note.gross for note in notes) == original.gross


def test_many_small_credits_never_take_more_vat_than_there_was() -> None:
    """0.13 x 4 = 0.52, VAT 0.10 (0.104); each 0.13 alone would be 0.03 (0.026)."""
    added = adjustment("add", "added/1", text="Washer", quantity="4", price="0.13")
    gone = tuple(adjustment("drop", f"12/{key}") for key in ("labour/normal", "travel"))
    original = document(visit(), number=3, adjustments=(added, *gone))
    notes: list[Invoice] = []
    for _ in range(4):
        notes.append(credited(original, *notes, lines={"added/1": Decimal(1)}))
    assert [note.vat for note in notes] == [Decimal(vat) for vat in ("0.03", "0.03", "0.03", "0.01")]
    assert all(note.gross >= note.net for note in notes)


def test_vat_once_taken_back_is_not_taken_again() -> None:
    """0.03 x 10 = 0.30, VAT 0.06; each 0.03 alone would be 0.01 (0.006): after six nothing is left."""
    added = adjustment("add", "added/1", text="Washer", quantity="10", price="0.03")
    gone = tuple(adjustment("drop", f"12/{key}") for key in ("labour/normal", "travel"))
    original = document(visit(), number=3, adjustments=(added, *gone))
    notes: list[Invoice] = []
    for _ in range(10):
        notes.append(credited(original, *notes, lines={"added/1": Decimal(1)}))
    assert [note.vat for note in notes] == [Decimal("0.01")] * 6 + [Decimal(0)] * 4


def test_pence_lost_in_rounding_come_back_at_the_end() -> None:
    """3 x 0.335 = 1.005: 1.01; one by one 0.34, 0.34, and 0.33 at the end."""
    added = adjustment("add", "added/1", text="Washer", quantity="3", price="0.335")
    original = document(visit(), number=3, adjustments=(added,))
    notes: list[Invoice] = []
    for _ in range(3):
        notes.append(credited(original, *notes, lines={"added/1": Decimal(1)}))
    assert [note.net for note in notes] == [Decimal("0.34"), Decimal("0.34"), Decimal("0.33")]
    assert left_to_credit(original, notes)["added/1"].quantity == 0


def taken_off(amount: str, **more: str) -> Invoice:
    """3 h at 58.50 and 1 h of travel at 45.00, less something."""
    less = adjustment("add", "added/1", "goodwill", text="Goodwill", quantity="-1", price=amount, **more)
    return document(visit(), number=3, adjustments=(less,))


def test_something_is_taken_off() -> None:
    original = taken_off("20.50")
    assert (original.net, original.vat, original.gross) == (Decimal(200), Decimal(40), Decimal(240))
    note = credited(original)
    assert (note.net, note.vat, note.gross) == (original.net, original.vat, original.gross)
    assert [line.net for line in note.lines] == [line.net for line in original.lines]


def test_more_taken_off_than_there_is_stops() -> None:
    less = adjustment("add", "added/1", text="Goodwill", quantity="-1", price="220.50")
    assert "There is nothing to charge: the lines come to 0.00." in stops(visit(), adjustments=(less,))
    below = adjustment("set", "12/labour/normal", quantity="-1")
    assert "quantity is '-1', not a number from 0" in stops(visit(), adjustments=(below,))


def test_what_was_taken_off_is_credited_with_what_it_was_taken_off() -> None:
    original = taken_off("200.00")  # 20.50 is left of 220.50
    with pytest.raises(JobnotesError, match=r"VAT at 20 % 20\.50 is left to credit, and 45\.00 is chosen"):
        credited(original, lines={"12/travel": Decimal(1)})
    with pytest.raises(JobnotesError, match="is left to credit"):
        credited(original, lines={"added/1": Decimal(-1)})
    with pytest.raises(JobnotesError, match="must be less than 0, as the line is"):
        credited(original, lines={"added/1": Decimal(1), "12/travel": Decimal(1)})
    with pytest.raises(JobnotesError, match=r"only -200\.00 of -200\.00 are left"):
        credited(original, amounts={"added/1": Decimal(-201), "12/labour/normal": Decimal(160)})
    some = credited(original, lines={"12/travel": Decimal(1)}, amounts={"added/1": Decimal("-40.00")})
    assert (some.net, some.vat) == (Decimal("5.00"), Decimal("1.00"))
    assert [(line.quantity, line.price, line.net) for line in some.lines][1] == (-1, 40, -40)
    rest = credited(original, some)
    assert some.gross + rest.gross == original.gross


def test_something_taken_off_at_another_rate() -> None:
    original = taken_off("20.50", vat_category="zero")
    assert [(total.base, total.vat) for total in original.vat_sums] == [
        (Decimal("220.50"), Decimal("44.10")),
        (Decimal("-20.50"), Decimal(0)),
    ]
    with pytest.raises(
        JobnotesError, match=r"come to 200\.00, and leave 0\.00 of the invoice: what was taken"
    ):
        credited(original, amounts={"12/travel": Decimal(45), "12/labour/normal": Decimal(155)})
    with pytest.raises(JobnotesError, match=r"come to 220\.50, and leave -20\.50 of the invoice"):
        credited(original, lines={"12/travel": Decimal(1), "12/labour/normal": Decimal(3)})
    with pytest.raises(JobnotesError, match=r"come to -20\.50"):
        credited(original, lines={"added/1": Decimal(-1)})
    travel = credited(original, lines={"12/travel": Decimal(1)})
    rest = credited(original, travel)
    assert travel.gross + rest.gross == original.gross
    assert [total.base for total in rest.vat_sums] == [Decimal("175.50"), Decimal("-20.50")]


def test_a_credit_names_the_sheets_that_it_is_about() -> None:
    original = document(visit(12), visit(13, arrived="13:00", left="14:00"), number=3)
    note = credited(original, lines={"13/labour/normal": Decimal(1)})
    assert [sheet.sheet for sheet in note.sheets] == [13]


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ({"reason": " "}, "Say why invoice 3 is credited"),
        ({"lines": {"12/nothing": Decimal(1)}}, "The invoice has no line 12/nothing"),
        ({"lines": {}}, "Nothing of invoice 3 is chosen"),
        ({"lines": {"12/travel": Decimal(0)}}, "must be more than 0"),
        ({"lines": {"12/travel": Decimal(-1)}}, "must be more than 0"),
        ({"lines": {"12/travel": Decimal("nan")}}, "must be more than 0"),
        ({"lines": {"12/travel": Decimal("0.0001")}}, "0.0001 of it come to less than a penny"),
        ({"amounts": {"12/travel": Decimal("1.005")}}, "in whole pence"),
        ({"amounts": {"12/travel": Decimal(-1)}}, "must be more than 0"),
        (
            {"lines": {"12/travel": Decimal(1)}, "amounts": {"12/travel": Decimal(1)}},
            "a quantity or an amount, not both",
        ),
        ({"issued": datetime.date(2026, 3, 12)}, "can't be dated before it"),
    ],
)
def test_a_credit_that_can_not_be_made(more: dict[str, Any], says: str) -> None:
    with pytest.raises(JobnotesError, match=says):
        credited(invoiced(), **more)


def test_a_wholly_credited_invoice_has_nothing_left() -> None:
    original = invoiced()
    with pytest.raises(JobnotesError, match="Nothing is left of invoice 3"):
        credited(original, credited(original))


def test_credits_of_another_invoice_do_not_belong() -> None:
    original = invoiced()
    other = credited(original).model_copy(update={"credits": "9"})
    with pytest.raises(ValueError, match="one invoice"):
        credited(original, other)
    with pytest.raises(ValueError, match="one invoice"):
        credited(credited(original))


def for_the_rules() -> dict[str, Invoice]:
    """Documents of all kinds as they are drafted and credited here."""
    register = made.register()
    register.parts[1].extra["vat_category"] = "zero"
    less = adjustment("add", "added/1", "goodwill", text="Goodwill", quantity="-1", price="20.50")
    mixed = document(
        visit(arrived="08:05", left="18:40", travel_min=50, parts=(part("OIL46", 2.5, unit="L"),)),
        visit(13, date=datetime.date(2026, 3, 9)),
        number=3,
        register=register,
        adjustments=(less,),
        rates=made.rates(consumables="3.3", minimum_charge="300", parts_mark_up="15"),
        settings=made.settings(labour={"step_min": 1}, bank={"iban": "GB82 WEST 1234 5698 7654 32"}),
    )
    amount = credited(mixed, amounts={"12/labour/normal": Decimal("10.00")})
    litre = credited(mixed, amount, lines={"12/part/OIL46": Decimal(1)})
    theirs = {"vat_category": "reverse_charge", "vat_number": "GB111222333"}
    exempt = made.settings(vat={"exempt_reason": "Insurance"})
    return {
        "mixed": mixed,
        "an amount": amount,
        "a quantity": litre,
        "the rest": credited(mixed, amount, litre),
        "reverse charge": document(visit(), number=3, register=made.customer(**theirs)),
        "exempt": document(visit(), number=3, register=made.customer(vat_category="exempt"), settings=exempt),
    }


@pytest.mark.parametrize("name", list(for_the_rules()))
def test_documents_keep_the_rules_of_en_16931(name: str) -> None:
    """EN 16931 as its Schematron has it (CEN/TC 434), for CII and UBL."""
    from rules_of_standards import names

    from jobnotes.office.einvoice import cii_xml, ubl_xml

    invoice = for_the_rules()[name]
    assert names("cii", cii_xml(invoice)) == set()
    assert names("ubl", ubl_xml(invoice)) == set()
