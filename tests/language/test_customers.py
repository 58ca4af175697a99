"""Which machine, whose and where: numbers corrected, misheard or near to the register's, sites that two
customers share a name of."""

from __future__ import annotations

import pytest
from hand_marked import context, heard, mark, whole
from memo_words import RECORDED_AT

from jobnotes.jobs import Job
from jobnotes.language import Reader, from_text
from jobnotes.language.customers import fill_site
from jobnotes.language.machine_rows import Found, by_fleet, names_of, nearest_machine
from jobnotes.language.part_rows import near_part
from jobnotes.register import CustomerRow, MachineRow, Register, SiteRow

# -- a site's name that two customers have ---


@pytest.fixture(scope="module")
def shared() -> Reader:
    """Two customers with a yard of one name each, and a machine each."""
    return Reader(
        Register(
            customers=[CustomerRow("Hollin Plant Hire"), CustomerRow("Tuckersett Farms")],
            sites=[
                SiteRow("Brindlegate Upper Yard", "Hollin Plant Hire", "QX", 12),
                SiteRow("Brindlegate Lower Yard", "Tuckersett Farms", "QX", 14),
            ],
            machines=[
                MachineRow("EX31", "excavator", "Tronvek", "TK210", None, "TK210X31", "Hollin Plant Hire"),
                MachineRow("TH214", "telehandler", "Ostermoor", "OT9", None, "OT9X14", "Tuckersett Farms"),
            ],
        )
    )


OWNED = [
    ("The excavator, E X three one, at Brindlegate.", "Brindlegate Upper Yard"),
    ("The telehandler, T H two one four, at Brindlegate.", "Brindlegate Lower Yard"),
]


@pytest.mark.parametrize(("text", "site"), OWNED)
def test_of_sites_that_fit_alike_the_machine_owner_s_is_taken(shared: Reader, text: str, site: str) -> None:
    read = shared.read(from_text(text), "memo", RECORDED_AT)
    assert [job.site for job in read.jobs] == [site]
    assert "also fits" not in (read.evidence["/jobs/0/site"].why or "")


def test_of_sites_that_fit_alike_the_customer_s_named_is_taken(shared: Reader) -> None:
    c = context(shared, "A roller at Brindlegate, it is for Tuckersett Farms.")
    job = Job()
    sites, customers = names_of(c, whole(c), "site"), names_of(c, whole(c), "customer")
    fill_site(c, whole(c), job, "/jobs/0", None, sites, customers)
    assert job.site == "Brindlegate Lower Yard"
    assert not c.book.entries["/jobs/0/site"].check


def test_without_an_owner_rivals_are_marked(shared: Reader) -> None:
    c = context(shared, "A roller at Brindlegate.")
    job = Job()
    fill_site(c, whole(c), job, "/jobs/0", None, names_of(c, whole(c), "site"), [])
    entry = c.book.entries["/jobs/0/site"]
    assert entry.check
    assert {job.site, *(entry.why or "").removeprefix("also fits: ").split(", ")} == {
        "Brindlegate Upper Yard",
        "Brindlegate Lower Yard",
    }


def test_an_owner_of_both_settles_nothing(reader: Reader) -> None:
    c = context(reader, "The telehandler at Nine Elder.")
    row = next(m for m in reader.lookup.register.machines if m.fleet_number == "TH14")
    job = Job()
    sites = names_of(c, whole(c), "site")
    fill_site(c, whole(c), job, "/jobs/0", Found(row, [(0, 0)], 0.9), sites, [])
    assert c.book.entries["/jobs/0/site"].check


# -- a number taken back ---

CORRECTED = [
    ("W L three one, no, I read that off the wrong line, it is W L one three", "WL13"),
    ("W L one three, sorry, W L three one", "WL31"),
    ("W L three one, scratch that, W L one three", "WL13"),
    ("W L three one, the one beside W L one three", "WL31"),
    ("W L three one, and it is " + "a long way off and " * 6 + "no nearer than W L one three", "WL31"),
]


@pytest.mark.parametrize(("said", "fleet_number"), CORRECTED)
def test_the_number_that_stands_is_the_one_after_the_correction(
    reader: Reader, said: str, fleet_number: str
) -> None:
    c = context(reader, f"The wheel loader, fleet number {said}. It would not stop.")
    for n, code in enumerate(k for k in c.found.codes if k.kind == "fleet"):
        words = " ".join(c.tokens[code.first : code.last + 1])
        mark(c, words, "name", "fleet", 0.95 - 0.2 * n)
    found = by_fleet(c, whole(c), "wheel loader")
    assert found is not None
    assert found.row is not None
    assert found.row.fleet_number == fleet_number


def test_a_correction_is_read_from_a_memo(reader: Reader) -> None:
    text = (
        f"The wheel loader, fleet number {CORRECTED[0][0]}. The brakes were fading. I fitted a new brake "
        "charging valve. Two hours labour."
    )
    (job,) = reader.read(from_text(text), "memo", RECORDED_AT).jobs
    assert (job.machine.fleet_number, job.machine.model) == ("WL13", "OW180")


# -- nought misheard ---

NOUGHTS = [
    ("M X three ore one", ["MX301"]),
    ("M X three or one", ["MX301"]),
    ("G N five or two", ["GN502"]),
    ("G N five ore two", ["GN502"]),
    ("T H two four eight or T H two eight four", ["TH248", "TH284"]),  # the word "or" itself
    ("T H two four eight or so", ["TH248"]),
    ("K R four seven or so", ["KR47"]),  # in no register, that would say where it ends
]


@pytest.mark.parametrize(("said", "numbers"), NOUGHTS)
def test_an_oh_heard_as_or_is_nought_within_a_code(reader: Reader, said: str, numbers: list[str]) -> None:
    c = context(reader, f"Fleet number {said}.", by_ear=True)
    assert [k.code.key for k in c.found.codes if k.kind == "fleet"] == numbers


def test_a_misheard_nought_finds_the_machine_s_row(reader: Reader) -> None:
    text = "The mini excavator, fleet number M X three ore one. The tracks were slack. Two hours labour."
    read = reader.read(heard(text), "memo", RECORDED_AT)
    assert [job.machine.fleet_number for job in read.jobs] == ["MX301"]
    assert [job.machine.serial_number for job in read.jobs] == ["WLM18X3301"]


# -- a number near to the register's ---


def test_a_heard_number_takes_the_nearest_machine_and_is_marked(reader: Reader) -> None:
    text = "The telehandler, fleet number T H two four nine. The boom would not lift. Two hours labour."
    read = reader.read(heard(text), "memo", RECORDED_AT)
    assert [job.machine.fleet_number for job in read.jobs] == ["TH248"]
    entry = read.evidence["/jobs/0/machine/fleet_number"]
    assert entry.check
    assert "TH249" in (entry.why or "")


def test_a_typed_number_stands_and_is_marked(reader: Reader) -> None:
    text = "The telehandler, fleet number T H two four nine. The boom would not lift. Two hours labour."
    read = reader.read(from_text(text), "memo", RECORDED_AT)
    assert [(job.machine.fleet_number, job.machine.serial_number) for job in read.jobs] == [("TH249", None)]
    entry = read.evidence["/jobs/0/machine/fleet_number"]
    assert entry.check
    assert "TH248" in (entry.why or "")


@pytest.mark.parametrize(("by_ear", "taken"), [(True, "TH248"), (False, None)])
def test_nearest_machine_is_for_what_was_heard(reader: Reader, by_ear: bool, taken: str | None) -> None:
    c = context(reader, "The telehandler, T H two four nine.", by_ear)
    row, near = nearest_machine(c, whole(c), "TH249", "telehandler")
    assert (row.fleet_number if row else None) == taken
    assert "TH248" in [r.fleet_number for r in near] or taken


def test_a_near_number_of_another_kind_of_machine_is_not_taken(reader: Reader) -> None:
    c = context(reader, "The roller, T H two four nine.", True)
    assert nearest_machine(c, whole(c), "TH249", "roller")[0] is None


@pytest.mark.parametrize(("by_ear", "taken"), [(True, "LX-5009"), (False, None)])
def test_a_part_number_two_signs_off_is_taken_only_where_it_was_heard(
    reader: Reader, by_ear: bool, taken: str | None
) -> None:
    c = context(reader, "A water separator, L X five eight oh eight.", by_ear)
    (code,) = c.found.codes
    row, why = near_part(c, code.code, "water separator")
    assert (row.part_number if row else None) == taken
    assert why


def test_a_heard_part_number_takes_the_row_its_words_bear_out(reader: Reader) -> None:
    c = context(reader, "A water separator, L X five double oh eight.", True)
    (code,) = c.found.codes
    row, why = near_part(c, code.code, "water separator")
    assert row is not None
    assert row.part_number == "LX-5009"
    assert "LX5008" in why
    assert near_part(c, code.code, "fan belt")[0] is None
