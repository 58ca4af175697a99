"""Sums: rounding, EN 16931 worked through by hand, and what must hold for any work whatever."""

from __future__ import annotations

import datetime
from decimal import ROUND_HALF_UP, Decimal
from random import Random
from typing import Any

import made
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made import adjustment, drafted, part, visit

from jobnotes.errors import JobnotesError
from jobnotes.jobs.invoice import CATEGORY_CODES, Invoice, line_net
from jobnotes.jobs.money import NOUGHT, share_of, to_penny
from jobnotes.office.drafting import Left, credit_note, left_to_credit
from jobnotes.office.visits import Visit


@pytest.mark.parametrize(
    ("amount", "penny"),
    [
        ("1.005", "1.01"),
        ("1.004999", "1.00"),
        ("-1.005", "-1.01"),
        ("2.675", "2.68"),
        ("0.125", "0.13"),
        ("7", "7"),
    ],
)
def test_halves_go_away_from_nought(amount: str, penny: str) -> None:
    """EN 16931-1, 6.5.12.4; 2.675 and 0.125 are those that binary and bankers' rounding get wrong."""
    assert to_penny(Decimal(amount)) == Decimal(penny)
    assert to_penny(Decimal(amount)).as_tuple().exponent == -2


def test_a_share_is_rounded_once() -> None:
    assert share_of(Decimal("1033.88"), Decimal(20)) == Decimal("206.78")
    assert share_of(Decimal("0.43"), Decimal("17.5")) == Decimal("0.08")  # 0.07525


def test_en_16931_worked_through() -> None:
    """Two rates on one invoice, every sum reckoned by hand.

    Labour 215 min at 58.50/60 = 209.625: 209.63. Travel 50 min at 45/60 = 37.50. Oil 2.5 L at 3.68
    (3.20 + 15 %) = 9.20, zero-rated. BR-CO-10 and 13: net 256.33. BG-23: S 247.13 at 20 % = 49.426: 49.43,
    Z 9.20 at 0 % = 0. BR-CO-14: VAT 49.43. BR-CO-15 and 16: gross and due 305.76.
    """
    register = made.register()
    register.parts[1].extra["vat_category"] = "zero"
    found = drafted(
        visit(arrived="08:05", left="11:40", travel_min=50, parts=(part("OIL46", 2.5, unit="L"),)),
        settings=made.settings(labour={"step_min": 1}),
        rates=made.rates(parts_mark_up="15"),
        register=register,
    )
    invoice = found.invoice
    assert invoice is not None
    assert [line.net for line in invoice.lines] == [Decimal("209.63"), Decimal("37.50"), Decimal("9.20")]
    assert [(s.category, s.rate, s.base, s.vat) for s in invoice.vat_sums] == [
        ("standard", 20, Decimal("247.13"), Decimal("49.43")),
        ("zero", 0, Decimal("9.20"), 0),
    ]
    assert (invoice.net, invoice.vat, invoice.gross) == (
        Decimal("256.33"),
        Decimal("49.43"),
        Decimal("305.76"),
    )


def test_vat_is_of_the_sum_not_the_sum_of_the_lines() -> None:
    """BR-CO-17: three lines of 0.12 are 0.36, VAT 0.07 (0.072); line by line it would be 0.06."""
    added = tuple(adjustment("add", f"added/{n}", text="x", quantity="1", price="0.12") for n in (1, 2, 3))
    gone = tuple(adjustment("drop", f"12/{key}") for key in ("labour/normal", "travel"))
    invoice = drafted(visit(), adjustments=(*added, *gone)).invoice
    assert invoice is not None
    assert invoice.vat == Decimal("0.07")


@pytest.mark.parametrize("category", ["exempt", "reverse_charge"])
def test_no_vat_says_why(category: str) -> None:
    """BR-E-10 and BR-AE-10."""
    found = drafted(
        visit(),
        register=made.customer(vat_category=category, vat_number="GB111222333"),
        settings=made.settings(vat={"exempt_reason": "Insurance (VAT Act 1994, Schedule 9)"}),
    )
    assert found.ready and found.invoice is not None
    (total,) = found.invoice.vat_sums
    assert (total.category, total.rate, total.vat) == (category, 0, 0)
    assert total.reason.startswith({"exempt": "Insurance", "reverse_charge": "Reverse charge"}[category])


def check(document: Invoice) -> None:
    """The sums of EN 16931, reckoned anew with exact fractions of pence."""
    assert document.net == sum(line.net for line in document.lines)  # BR-CO-10, BR-CO-13
    assert document.vat == sum(total.vat for total in document.vat_sums)  # BR-CO-14
    assert document.gross == document.net + document.vat  # BR-CO-15, BR-CO-16
    groups = {(line.vat_category, line.vat_rate) for line in document.lines}
    assert {(total.category, total.rate) for total in document.vat_sums} == groups
    for total in document.vat_sums:
        lines = [
            line
            for line in document.lines
            if (line.vat_category, line.vat_rate) == (total.category, total.rate)
        ]
        assert total.base == sum(line.net for line in lines)
        if document.kind == "invoice":  # BR-CO-17
            exact = total.base * total.rate / 100
            assert total.vat == exact.quantize(Decimal("0.01"), ROUND_HALF_UP)
    for amount in (document.net, document.vat, document.gross, *(line.net for line in document.lines)):
        assert amount == amount.quantize(Decimal("0.01"))
    assert document.net >= 0 and document.gross >= 0


clock = st.integers(0, 1439).map(lambda minute: f"{minute // 60:02}:{minute % 60:02}")
parts = st.lists(
    st.builds(
        lambda which, quantity: part(which[0], quantity, unit=which[1]),
        st.sampled_from([("HV-7731", "each"), ("OIL46", "L"), ("HS-12", "m")]),
        st.integers(1, 4000).map(lambda n: n / 100),
    ),
    max_size=4,
)
fields = st.fixed_dictionaries(
    {
        "date": st.dates(datetime.date(2026, 3, 1), datetime.date(2026, 3, 12)),
        "arrived": st.one_of(st.none(), clock),
        "left": st.one_of(st.none(), clock),
        "labour_min": st.one_of(st.none(), st.integers(0, 600)),
        "travel_min": st.one_of(st.none(), st.integers(0, 300)),
        "engineer_id": st.integers(1, 2),
        "site": st.sampled_from(["Brindlegate Yard", "Ashlow Pit", ""]),
        "parts": parts,
    }
)
work = st.lists(fields, min_size=1, max_size=5)
vat = st.sampled_from(["standard", "zero", "exempt"])
amount = st.integers(1, 20000).map(lambda n: str(Decimal(n) / 100))


def visits_of(work: list[dict[str, Any]]) -> list[Visit]:
    return [visit(n, **{**each, "parts": tuple(each["parts"])}) for n, each in enumerate(work, 1)]


def invoice_of(
    visits: list[Visit], of_labour: str, of_parts: str, rate: str, step: int, **changes: Any
) -> Invoice | None:
    return drafted(
        *visits,
        settings=made.settings(
            vat={"lines": {"labour": of_labour, "part": of_parts}, "exempt_reason": "Exempt."},
            labour={"step_min": step},
        ),
        rates=made.rates(labour_normal=rate, consumables="3.3", minimum_charge="95", parts_mark_up="12.5"),
        **changes,
    ).invoice


@settings(max_examples=60, deadline=None)
@given(work, vat, vat, amount, st.integers(1, 30))
def test_sums_hold_for_any_work(
    work: list[dict[str, Any]], of_labour: str, of_parts: str, rate: str, step: int
) -> None:
    invoice = invoice_of(visits_of(work), of_labour, of_parts, rate, step)
    if invoice is not None:
        check(invoice)


@settings(max_examples=40, deadline=None)
@given(work, st.randoms(use_true_random=False))
def test_the_order_of_sheets_makes_no_difference(work: list[dict[str, Any]], random: Random) -> None:
    visits = visits_of(work)
    shuffled = random.sample(visits, len(visits))
    one, two = (
        drafted(*visits, rates=made.rates(consumables="3")),
        drafted(*shuffled, rates=made.rates(consumables="3")),
    )
    assert one == two


@settings(max_examples=60, deadline=None)
@given(work, vat, vat, amount, st.integers(0, 3000), st.randoms(use_true_random=False))
def test_an_invoice_less_its_credits_is_nought(
    work: list[dict[str, Any]], of_labour: str, of_parts: str, rate: str, pence_off: int, random: Random
) -> None:
    """In random steps, of random lines, by quantity and by amount, and the rest at the end; with something
    taken off, too."""
    less = adjustment(
        "add",
        "added/1",
        text="Goodwill",
        quantity="-3",
        price=str(Decimal(pence_off) / 100),
        vat_category="zero",
    )
    off = (less,) if pence_off else ()
    invoice = invoice_of(visits_of(work), of_labour, of_parts, rate, 7, number=1, adjustments=off)
    if invoice is None or invoice.net <= 0:
        return
    notes: list[Invoice] = []

    def note(**chosen: Any) -> None:
        more = {"issued": invoice.issued, "reason": "credit", "number": 2, "printed_number": "2"}
        try:
            notes.append(credit_note(invoice, notes, **more, **chosen))
        except JobnotesError:
            # What was taken off must not be credited by itself, nor may the rest without it.
            assert off and chosen
        else:
            check(notes[-1])

    for _ in range(random.randint(0, 6)):
        left = {key: part for key, part in left_to_credit(invoice, notes).items() if part.net}
        if not left:
            break
        keys = random.sample(sorted(left), random.randint(1, len(left)))
        if random.random() < 0.5:
            lines = {line.key: line for line in invoice.lines}
            some = {key: Decimal(random.randint(1, 100)) / 100 * left[key].quantity for key in keys}
            worth = {
                key: quantity
                for key, quantity in some.items()
                if line_net(quantity, lines[key].price, lines[key].price_quantity)
            }
            if worth:
                note(lines=worth)
        else:
            note(
                amounts={
                    key: to_penny(left[key].net * random.randint(1, 100) / 100) or left[key].net
                    for key in keys
                }
            )
    if sum(part.net for part in left_to_credit(invoice, notes).values()):
        note()
    assert invoice.net == sum(each.net for each in notes)
    assert invoice.vat == sum(each.vat for each in notes)
    assert invoice.gross == sum(each.gross for each in notes)
    assert all(part == Left(Decimal(0), NOUGHT) for part in left_to_credit(invoice, notes).values())
    with pytest.raises(JobnotesError, match="wholly credited"):
        credit_note(invoice, notes, issued=invoice.issued, reason="once more", printed_number="9")


@settings(max_examples=40, deadline=None)
@given(work, vat, amount)
def test_the_whole_credit_is_the_invoice(work: list[dict[str, Any]], of_parts: str, rate: str) -> None:
    invoice = invoice_of(visits_of(work), "standard", of_parts, rate, 15, number=1)
    if invoice is None or not invoice.net:
        return
    whole = credit_note(invoice, [], issued=invoice.issued, reason="wrong customer", printed_number="2")
    assert (whole.net, whole.vat, whole.gross) == (invoice.net, invoice.vat, invoice.gross)
    assert whole.vat_sums == invoice.vat_sums


def test_categories_are_those_of_en_16931() -> None:
    """UNTDID 5305 as EN 16931 takes it: S standard, Z zero, E exempt, AE reverse charge."""
    assert CATEGORY_CODES == {"standard": "S", "zero": "Z", "exempt": "E", "reverse_charge": "AE"}
