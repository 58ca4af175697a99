"""Machine, customer, site, order number and hour meter: by the register, or as said and then marked."""

from __future__ import annotations

import pytest
from hand_marked import context, halves, mark, span_of, whole
from memo_words import RECORDED_AT

from jobnotes.jobs import Amount, Job, ReadMemo
from jobnotes.language import Reader, from_text
from jobnotes.language.identity import alike, fill_hours, fill_order, order_for_the_lot, told_over
from jobnotes.language.machine_rows import ends_so
from jobnotes.language.reader import covers_all, share_site
from jobnotes.register import CustomerRow, MachineRow, Register, SiteRow


@pytest.fixture(scope="module")
def own() -> Reader:
    """A small register with near-alike rows."""

    def machine(
        fleet: str, kind: str, make: str, model: str, size: Amount | None, customer: str
    ) -> MachineRow:
        return MachineRow(fleet, kind, make, model, size, f"{model}X{fleet}", customer)

    return Reader(
        Register(
            customers=[CustomerRow("Hollin Plant Hire"), CustomerRow("Tuckersett Farms")],
            sites=[
                SiteRow("Brindlegate Upper Yard", "Hollin Plant Hire", "QX", 12),
                SiteRow("Brindlegate Lower Yard", "Hollin Plant Hire", "QX", 14),
                SiteRow("Tuckersett Top Barn", "Tuckersett Farms", "QX", 20),
            ],
            machines=[
                machine(
                    "EX31", "excavator", "Tronvek", "TK210", Amount(value=21, unit="t"), "Hollin Plant Hire"
                ),
                machine(
                    "EX13", "excavator", "Tronvek", "TK140", Amount(value=14, unit="t"), "Hollin Plant Hire"
                ),
                machine(
                    "TH214", "telehandler", "Ostermoor", "OT9", Amount(value=9, unit="m"), "Tuckersett Farms"
                ),
                machine(
                    "TH241", "telehandler", "Ostermoor", "OT7", Amount(value=7, unit="m"), "Hollin Plant Hire"
                ),
            ],
        )
    )


def read(reader: Reader, opening: str) -> ReadMemo:
    text = (
        f"{opening} The boom would not lift. The relief valve was stuck, so I cleaned it, and it "
        f"lifts now. Two hours' labour."
    )
    return reader.read(from_text(text), "memo", RECORDED_AT)


def job(reader: Reader, opening: str) -> Job:
    (only,) = read(reader, opening).jobs
    return only


SAYINGS = [
    "T H two one four",
    "TH214",
    "T-H214",
    "TH-214",
    "th214",
    "Tango Hotel two one four",
    "T H, er, two one four",
]


@pytest.mark.parametrize("said", SAYINGS)
def test_a_fleet_number_brings_its_row(own: Reader, said: str) -> None:
    result = read(own, f"The telehandler, {said}, at Tuckersett Top Barn.")
    machine = result.jobs[0].machine
    assert (machine.fleet_number, machine.type, machine.make, machine.model) == (
        "TH214",
        "telehandler",
        "Ostermoor",
        "OT9",
    )
    assert machine.size == Amount(value=9, unit="m")
    assert (result.jobs[0].customer, result.jobs[0].site) == ("Tuckersett Farms", "Tuckersett Top Barn")
    assert not result.evidence["/jobs/0/machine/fleet_number"].check


UNKNOWN = ["T H two one five", "Z Q nine nine nine", "E X three three"]


@pytest.mark.parametrize("said", UNKNOWN)
def test_a_number_that_no_row_has_is_marked_and_no_row_is_taken(own: Reader, said: str) -> None:
    result = read(own, f"Fleet number {said}, at Tuckersett Top Barn.")
    machine = result.jobs[0].machine
    assert machine.serial_number is None
    assert machine.fleet_number is not None
    entry = result.evidence["/jobs/0/machine/fleet_number"]
    assert entry.check
    assert entry.why


def test_a_machine_denied_is_not_taken(own: Reader) -> None:
    assert (
        job(own, "The telehandler, T H two four one, not T H two one four.").machine.fleet_number == "TH241"
    )


def test_make_and_model_alone_name_the_one_row_that_fits(own: Reader) -> None:
    machine = job(own, "The Tronvek T K one four oh excavator at Brindlegate Upper Yard.").machine
    assert (machine.fleet_number, machine.model) == ("EX13", "TK140")


def test_a_make_with_several_rows_names_no_fleet_number(own: Reader) -> None:
    machine = job(own, "An Ostermoor telehandler.").machine
    assert machine.fleet_number is None
    assert machine.serial_number is None


def test_a_site_that_two_rows_fit_is_marked(own: Reader) -> None:
    result = read(own, "The excavator at Brindlegate.")
    entry = result.evidence["/jobs/0/site"]
    assert entry.check
    assert "Yard" in (entry.why or "")


def test_a_site_that_one_row_fits_brings_its_customer(own: Reader) -> None:
    found = job(own, "The pump at Tuckersett Top Barn.")
    assert (found.site, found.customer) == ("Tuckersett Top Barn", "Tuckersett Farms")


HOURS = [
    ("six thousand two hundred and eighteen hours on the clock", 6218),
    ("6,218 hours", 6218),
    ("hour meter four two one six", 4216),
    ("nine thousand, no, nine thousand one hundred hours", 9100),
    ("twenty-eight hundred hours", 2800),
]


@pytest.mark.parametrize(("said", "hours"), HOURS)
def test_hour_meter(own: Reader, said: str, hours: float) -> None:
    assert job(own, f"The telehandler, T H two one four, {said}.").machine.hours == hours


NO_HOURS = [
    "The telehandler, T H two one four, in for its two hundred and fifty hour service.",
    "The telehandler, T H two one four. It is due its five-hundred-hour service next month.",
    "The telehandler, T H two one four. It stood for three hours.",
    "The telehandler, T H two one four. I was there two hours.",
]


@pytest.mark.parametrize("opening", NO_HOURS)
def test_no_hour_meter(own: Reader, opening: str) -> None:
    assert job(own, opening).machine.hours is None


ORDERS = [
    ("order number Q R four seven one two", "QR4712"),
    ("order number QR4712", "QR4712"),
    ("order number four four seven one", "4471"),
    ("order number 4471", "4471"),
]


@pytest.mark.parametrize(("said", "number"), ORDERS)
def test_order_number(own: Reader, said: str, number: str) -> None:
    assert job(own, f"The telehandler, T H two one four, {said}.").order_number == number


@pytest.mark.parametrize(
    "said", ["no order number", "the parts are on order", "in good order", "out of order"]
)
def test_no_order_number(own: Reader, said: str) -> None:
    assert job(own, f"The telehandler, T H two one four, {said}.").order_number is None


def test_what_no_register_knows_is_as_said_and_marked(bare_reader: Reader) -> None:
    result = read(bare_reader, "The telehandler, fleet number T H two one four.")
    machine = result.jobs[0].machine
    assert (machine.type, machine.fleet_number) == ("telehandler", "TH214")
    assert result.evidence["/jobs/0/machine/fleet_number"].check


ALIKE = [
    ("mini excavator", "excavator", True),
    ("wheeled excavator", "mini excavator", True),
    ("telehandler", "forklift", False),
]


@pytest.mark.parametrize(("one", "other", "same"), ALIKE)
def test_types_that_share_a_word_are_alike(one: str, other: str, same: bool) -> None:
    assert alike(one, other) is same


# -- a meter read out in groups, or put right at its end ---

OVER = "Three thousand three hundred and thirty-eight"
SPAN = "three thousand three hundred and thirty - eight"
TOLD_OVER = [  # (text, the marked words, hours, the last words that bear it)
    ("Meter ten four one one.", "ten four one one", 10411, "one one"),
    ("Meter fifteen two thirty.", "fifteen two thirty", 15230, "two thirty"),
    ("Meter double one four six.", "double one four six", 1146, "four six"),
    ("Meter three eighty-one.", "three eighty - one", 381, "eighty - one"),
    (f"{OVER}, no, eighty-eight.", SPAN, 3388, "eighty - eight"),
    (f"{OVER}, sorry, eighty-three on it.", SPAN, 3383, "eighty - three"),
    (f"{OVER}, or eighty-eight.", SPAN, 3388, "eighty - eight"),
    (f"{OVER}, or eighty? Eighty-three.", SPAN, 3383, "eighty - three"),
]


@pytest.mark.parametrize(("text", "said", "hours", "last"), TOLD_OVER)
def test_a_meter_in_groups_or_with_a_new_end(
    own: Reader, text: str, said: str, hours: float, last: str
) -> None:
    c = context(own, text)
    value, span = told_over(c, *span_of(c, said)) or (0.0, (0, 0))
    assert value == hours
    assert " ".join(c.tokens[span[0] : span[1] + 1]).endswith(last)
    mark(c, said, "value", "hours")
    job = Job()
    fill_hours(c, whole(c), job, "/jobs/0")
    assert job.machine.hours == hours


NOT_TOLD_OVER = [
    (f"{OVER} hours.", SPAN),
    (f"{OVER}, and eighty-eight bar on the gauge.", SPAN),
    (f"{OVER}, no, three thousand three hundred and eighty-eight.", SPAN),
    (f"{OVER}, no, eight.", SPAN),
    (f"{OVER}. No, eighty-eight.", SPAN),
    (f"{OVER}, no, it was all right when I got there, eighty-eight.", SPAN),
    ("Three thousand three hundred, no, eighty-eight.", "three thousand three hundred"),
    ("Eight hundred and thirty-eight, no, eighty-eight.", "eight hundred and thirty - eight"),
    ("Forty-one, no, eighty-eight.", "forty - one"),
    ("Meter two one.", "two one"),
    ("Meter one two three four five six.", "one two three four five six"),
    ("Meter four thousand two hundred.", "four thousand two hundred"),
]


@pytest.mark.parametrize(("text", "said"), NOT_TOLD_OVER)
def test_a_plain_meter_is_told_once(own: Reader, text: str, said: str) -> None:
    c = context(own, text)
    assert told_over(c, *span_of(c, said)) is None


# -- one order number for several machines ---

FOR_THE_LOT = [
    ("Order for both is four seven one two.", "4712"),
    ("The number for the lot is four seven one two.", "4712"),
    ("Four seven one two covers both.", "4712"),
    ("The order for the pair is forty-seven twelve.", "4712"),
    ("Q R four seven one two covers the lot.", "QR4712"),
]


@pytest.mark.parametrize(("text", "number"), FOR_THE_LOT)
def test_an_order_for_the_lot(own: Reader, text: str, number: str) -> None:
    c = context(own, text)
    found = order_for_the_lot(c, whole(c))
    assert found is not None
    assert found[1] == number
    job = Job()
    fill_order(c, whole(c), job, "/jobs/0")
    assert job.order_number == number


@pytest.mark.parametrize(
    "text",
    [
        "The lot came to four seven one two.",
        "The number on the door is four seven one two.",
        "It is on order for the roller, four seven one two.",
        "I did both. It is on order for the roller, four seven one two.",
        "All the hoses were done. The number is four seven one two.",
        "The number for both is eight hundred and two.",
        "The number for the lot is forty-seven.",
        "T H two one four was the number for both.",
        "The number for both is in the van.",
    ],
)
def test_no_order_for_the_lot(own: Reader, text: str) -> None:
    c = context(own, text)
    assert order_for_the_lot(c, whole(c)) is None


def test_an_order_for_the_lot_stands_with_the_job_that_told_it(own: Reader) -> None:
    c = context(own, "The roller would not start. Order for both is four seven one two.")
    first, second = halves(c, "order for both")
    assert order_for_the_lot(c, first) is None
    assert order_for_the_lot(c, second) is not None


def test_a_number_marked_as_the_order_stands_before_one_for_the_lot(own: Reader) -> None:
    c = context(own, "The order is five five oh three nine. Four seven one two is the number for the lot.")
    mark(c, "five five oh three nine", "name", "order")
    job = Job()
    fill_order(c, whole(c), job, "/jobs/0")
    assert job.order_number == "55039"


HOLDS_FOR_ALL = [  # (text, the words of the value, whether it holds for the other jobs too)
    ("Both were at the top barn.", "top barn", True),
    ("That was the top barn for the lot.", "top barn", True),
    ("It was at the top barn.", "top barn", False),
    ("It was at the top barn. I did both.", "top barn", False),
    ("I did both. It was at the top barn.", "top barn", False),
]


@pytest.mark.parametrize(("text", "said", "shared"), HOLDS_FOR_ALL)
def test_a_site_said_for_all_is_taken_over_by_another_customer_s_job(
    own: Reader, text: str, said: str, shared: bool
) -> None:
    c = context(own, text)
    c.book.put("/jobs/0/site", [span_of(c, said)], 0.95)
    assert covers_all(c, 0, "site") is shared
    assert not covers_all(c, 0, "order_number")
    assert not covers_all(c, 1, "site")
    jobs = [
        Job(customer="Tuckersett Farms", site="Tuckersett Top Barn"),
        Job(customer="Hollin Plant Hire"),
    ]
    share_site(c, jobs)
    assert jobs[1].site == ("Tuckersett Top Barn" if shared else None)
    assert ("/jobs/1/site" in c.book.entries) is shared


def test_jobs_with_no_customers_at_odds_share_their_site(own: Reader) -> None:
    c = context(own, "It was at the top barn.")
    c.book.put("/jobs/0/site", [span_of(c, "top barn")], 0.95)
    for customers in (("Tuckersett Farms", "Tuckersett Farms"), ("Tuckersett Farms", None), (None, None)):
        jobs = [Job(customer=customers[0], site="Tuckersett Top Barn"), Job(customer=customers[1])]
        share_site(c, jobs)
        assert jobs[1].site == "Tuckersett Top Barn"


# -- a fleet number said by its end ---


@pytest.fixture(scope="module")
def ends() -> Reader:
    """Fleet numbers that begin alike, two of them with one end."""
    rows = [("HP-1147", "roller"), ("HP-2260", "telehandler"), ("HP-2391", "roller"), ("HQ-0391", "pump")]
    rows += [("HR-0512", "mini excavator"), ("HS-0512", "pump"), ("HT-0844", "pump"), ("HU-0844", "pump")]
    return Reader(Register(machines=[MachineRow(fleet, kind) for fleet, kind in rows]))


ENDINGS = [  # (what was said, kind, the row)
    ("147", None, "HP-1147"),
    ("1147", None, "HP-1147"),
    ("P1147", "pump", "HP-1147"),  # one row alone: its kind is not asked for
    ("391", "roller", "HP-2391"),
    ("391", "pump", "HQ-0391"),
    ("0512", "excavator", "HR-0512"),  # a kind that shares a word
    ("391", None, None),
    ("391", "telehandler", None),
    ("844", "pump", None),
    ("60", None, None),  # two signs say too little
    ("226", None, None),  # a beginning
    ("999", None, None),
]


@pytest.mark.parametrize(("key", "kind", "fleet"), ENDINGS)
def test_a_fleet_number_by_its_end(ends: Reader, key: str, kind: str | None, fleet: str | None) -> None:
    row = ends_so(context(ends, "The roller would not start."), key, kind)
    assert (row.fleet_number if row else None) == fleet


def test_a_machine_found_by_its_end_says_so(ends: Reader) -> None:
    result = read(ends, "The roller, fleet number one one four seven.")
    assert result.jobs[0].machine.fleet_number == "HP-1147"
    entry = result.evidence["/jobs/0/machine/fleet_number"]
    assert "1147" in (entry.why or "")
    assert "HP-1147" in (entry.why or "")
