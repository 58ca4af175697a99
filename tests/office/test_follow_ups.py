"""Work that sheets advise, until somebody says that it is done."""

from __future__ import annotations

import pytest
from visited import closing, on, visited

from jobnotes.office.follow_ups import FollowUp, choose, follow_ups
from jobnotes.office.visits import Visit

ADVICE = "slew motor wants resealing at the next visit"


def of(*visits: Visit) -> list[FollowUp]:
    return follow_ups(visits, [], on(40))


def test_advice_is_open_with_what_one_needs_to_ring_up() -> None:
    (one,) = of(visited(3, follow_up=(ADVICE,)))
    assert one.open and (one.sheet, one.text, one.age_days) == (3, ADVICE, 40)
    assert (one.machine, one.customer, one.site, one.engineer) == (
        "Excavator Kelbrack K14, fleet EX 14",
        "Brackmere Hire",
        "Hollin Quarry",
        "Tamsin Quill",
    )
    assert one.later == () and one.proposed is None


def test_later_sheets_of_the_machine_are_named_and_no_others() -> None:
    found = of(
        visited(1, -3),
        visited(3, follow_up=(ADVICE,)),
        visited(9, 5),
        visited(4, 8),
        visited(5, 6, fleet_number="EX 15"),
    )
    assert [each.sheet for each in found[0].later] == [9, 4]


@pytest.mark.parametrize(
    ("advice", "work"),
    [
        (ADVICE, "resealed the slew motor"),
        ("replace rear tyres soon", "fitted new rear tyre"),
        ("bucket pins and bushes worn, renew", "renewed bucket pins and bushes"),
        ("boom hose chafing, needs replacing", "replaced chafing boom hose"),
    ],
)
def test_work_that_reads_alike_is_proposed(advice: str, work: str) -> None:
    found = of(
        visited(3, follow_up=(advice,)),
        visited(4, 3, work=("greased all round",)),
        visited(6, 5, work=(work,)),
    )
    assert found[0].proposed == 6
    assert found[0].open, "only a person closes it"


@pytest.mark.parametrize(
    ("advice", "work"),
    [
        ("replace nearside front tyre", "replaced offside front tyre"),
        ("replace rear lights", "replaced front lights"),
        ("replace seat switch", "replaced beacon"),
        ("check and adjust tracks", "checked and adjusted handbrake"),
        ("new bucket teeth next time", "fitted new bucket pin"),
        ("needs doing soon", "done"),
        ("reseal boom ram, gland nut and eye end bush", "repaired the boom"),
    ],
)
def test_work_on_something_else_is_not_proposed(advice: str, work: str) -> None:
    assert of(visited(3, follow_up=(advice,)), visited(6, 5, work=(work,)))[0].proposed is None


def test_neither_earlier_work_nor_another_machines_is_proposed() -> None:
    work = ("resealed the slew motor",)
    found = of(
        visited(1, -5, work=work),
        visited(3, follow_up=(ADVICE,), work=work),
        visited(4, 5, work=("replaced beacon",)),
        visited(5, 6, fleet_number="EX 15", work=work),
    )
    assert found[0].proposed is None


def test_the_work_most_alike_is_proposed_and_the_earliest_of_equals() -> None:
    advice = visited(3, follow_up=("replace dipper hose",))
    later = (
        visited(4, 1, work=("replaced dipper hose clip",)),
        visited(5, 2, work=("replaced dipper hose",)),
    )
    assert of(advice, *later)[0].proposed == 5
    twice = (visited(7, 4, work=("replaced dipper hose",)), visited(6, 3, work=("replaced dipper hose",)))
    assert of(advice, *twice)[0].proposed == 6


def test_a_closing_closes_by_sheet_and_text() -> None:
    visits = [visited(3, follow_up=(ADVICE, "grease the king post")), visited(4, follow_up=(ADVICE,))]
    found = follow_ups(visits, [closing(3, ADVICE, by_sheet=4)], on(40))
    assert [(each.sheet, each.open) for each in found] == [(3, True), (4, True), (3, False)]
    closed = found[-1].closing
    assert closed is not None and (closed.who, closed.by_sheet) == ("Office", 4)


def test_a_closing_that_was_undone_closes_nothing() -> None:
    visits = [visited(3, follow_up=(ADVICE,))]
    assert follow_ups(visits, [closing(3, ADVICE, undone=True)], on(40))[0].open
    again = [closing(3, ADVICE, undone=True), closing(3, ADVICE, who="Wilf Arden")]
    assert follow_ups(visits, again, on(40))[0].closing == again[1]


def test_an_amendment_that_drops_the_text_drops_the_follow_up() -> None:
    amended = visited(3, revision=2, follow_up=("grease the king post",))
    found = follow_ups([amended], [closing(3, ADVICE)], on(40))
    assert [(each.text, each.open) for each in found] == [("grease the king post", True)]


def test_the_same_text_twice_on_a_sheet_is_one() -> None:
    assert len(of(visited(3, follow_up=(ADVICE, ADVICE)))) == 1


def test_a_machine_without_a_number_has_no_later_sheets() -> None:
    found = of(
        visited(3, fleet_number="", follow_up=(ADVICE,)), visited(4, 2, fleet_number="", work=(ADVICE,))
    )
    assert found[0].later == () and found[0].proposed is None


def test_choosing() -> None:
    visits = [
        visited(1, 0, follow_up=("a",)),
        visited(2, 30, fleet_number="EX 15", follow_up=("b",)),
        visited(3, 35, customer="Other Hire", site="Far Pit", follow_up=("c",)),
    ]
    found = follow_ups(visits, [closing(2, "b")], on(40))

    def texts(**by: object) -> list[str]:
        return [each.text for each in choose(found, **by)]  # type: ignore[arg-type]

    assert texts() == ["a", "c", "b"]
    assert texts(machine="ex-15") == ["b"]
    assert texts(customer="other  hire") == ["c"]
    assert texts(site="far pit") == ["c"]
    assert texts(at_least_days=10) == ["a", "b"]
    assert texts(at_least_days=40) == ["a"]
    assert texts(state="open") == ["a", "c"]
    assert texts(state="closed") == ["b"]
