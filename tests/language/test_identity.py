"""Machine, customer, site, order number and hour meter: by the register, or as said and then marked."""

from __future__ import annotations

import pytest
from memo_words import RECORDED_AT

from jobnotes.jobs import Amount, Job, ReadMemo
from jobnotes.language import Reader, from_text
from jobnotes.language.identity import alike
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
