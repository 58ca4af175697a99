"""Faults that return."""

from __future__ import annotations

import re
import tomllib
from importlib.resources import files

import pytest
from visited import part, visited

from jobnotes.office.components import faults_in, particular, table
from jobnotes.office.returns import Return, faults_of, returns
from jobnotes.office.visits import Visit


def pair(earlier: dict[str, object], later: dict[str, object], days: int = 20) -> list[Return]:
    return returns([visited(1, 0, **earlier), visited(2, days, **later)])  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("earlier", "later", "of"),
    [
        ({"complaint": "boom ram leaking"}, {"complaint": "oil from the boom cylinder"}, "boom ram"),
        (
            {"complaint": "won't start", "cause": "starter packed up"},
            {"cause": "starter motor burnt"},
            "starter motor",
        ),
        ({"work": ("replaced slew motor",)}, {"complaint": "slew motor noisy"}, "slew motor"),
        ({"parts": [part("alternator")]}, {"complaint": "alternator not charging"}, "alternator"),
        ({"complaint": "batteries flat"}, {"cause": "battery has a dead cell"}, "battery"),
        ({"complaint": "nearside rear tyre flat"}, {"complaint": "left-hand tyre down again"}, "tyre"),
        ({"fault_codes": ("SPN 94 FMI 1",)}, {"fault_codes": ("spn 94 fmi 18",)}, "fault code SPN 94"),
        ({"fault_codes": ("E-31",)}, {"fault_codes": ("e-31",)}, "fault code E-31"),
        ({"complaint": "horn not working"}, {"complaint": "no horn"}, "horn"),
        ({"work": ("took out the joystick for a new one",)}, {"complaint": "joystick dead"}, "joystick"),
        (
            {"complaint": "500-hour service", "cause": "water pump weeping"},
            {"complaint": "water pump leaks"},
            "water pump",
        ),
    ],
)
def test_the_same_component_again_is_a_return(
    earlier: dict[str, object], later: dict[str, object], of: str
) -> None:
    (found,) = pair(earlier, later)
    assert of in found.of
    assert (found.earlier.sheet, found.later.sheet, found.days) == (1, 2, 20)


@pytest.mark.parametrize(
    ("earlier", "later"),
    [
        # other components, and other places
        ({"complaint": "boom ram leaking"}, {"complaint": "dipper ram leaking"}),
        ({"complaint": "nearside track off"}, {"complaint": "offside track off"}),
        ({"complaint": "front lights out"}, {"complaint": "rear lights out"}),
        ({"complaint": "left-hand tyre flat"}, {"complaint": "right hand tyre flat"}),
        ({"complaint": "brake hose split"}, {"complaint": "handbrake not holding"}),
        # services and planned work
        ({"complaint": "500-hour service", "parts": [part("fuel filter")]}, {"cause": "fuel filter blocked"}),
        ({"complaint": "thorough examination of hoist rope"}, {"complaint": "hoist rope frayed"}),
        (
            {"complaint": "beacon out", "work": ("serviced machine",), "parts": [part("oil filter")]},
            {"complaint": "oil filter leaking"},
        ),
        # negated
        ({"cause": "relay burnt, nothing wrong with the alternator"}, {"complaint": "alternator noisy"}),
        ({"complaint": "radiator is fine, water going somewhere"}, {"complaint": "radiator leaking"}),
        ({"cause": "loose clamp, not the turbo"}, {"complaint": "turbo whistling"}),
        ({"complaint": "oil about, no leak from the boom ram"}, {"complaint": "boom ram drops"}),
        # in the way, looked at, looked after
        ({"work": ("removed radiator and replaced water pump",)}, {"complaint": "radiator leaking"}),
        ({"work": ("tested alternator",)}, {"complaint": "alternator noisy"}),
        ({"work": ("greased slew ring",)}, {"complaint": "slew ring knocking"}),
        ({"parts": [part("beacon", status="not_used")]}, {"complaint": "beacon out"}),
        # a warning lamp is no lamp, a boom lift no boom
        ({"complaint": "battery light on"}, {"complaint": "work lights out"}),
        ({"complaint": "boom lift dead"}, {"complaint": "boom cracked"}),
        # the first visit was half of one repair
        ({"complaint": "boom ram leaking", "outcome": "awaiting_parts"}, {"complaint": "boom ram leaking"}),
    ],
)
def test_what_is_no_return(earlier: dict[str, object], later: dict[str, object]) -> None:
    assert pair(earlier, later) == []


LEAK = {"complaint": "boom ram leaking"}


def test_only_within_the_days() -> None:
    assert len(pair(LEAK, LEAK, 90)) == 1
    assert pair(LEAK, LEAK, 91) == []
    assert (
        returns([visited(1, complaint="boom ram leaking"), visited(2, 31, complaint="boom ram leaking")], 30)
        == []
    )


def test_two_sheets_of_one_day_are_one_visit() -> None:
    assert pair(LEAK, LEAK, 0) == []


def test_another_machine_and_a_machine_without_a_number_return_nothing() -> None:
    assert pair(LEAK, {**LEAK, "fleet_number": "EX 15"}) == []
    assert pair({**LEAK, "fleet_number": ""}, {**LEAK, "fleet_number": ""}) == []


def test_each_visit_stands_beside_the_nearest_before_it() -> None:
    visits = [visited(n, 10 * n, complaint="boom ram leaking") for n in (1, 2, 3)]
    assert [(each.earlier.sheet, each.later.sheet) for each in returns(visits)] == [(2, 3), (1, 2)]
    assert returns(visits[::-1]) == returns(visits)


def test_the_nearest_at_that_place_counts() -> None:
    visits: list[Visit] = [
        visited(1, 0, complaint="nearside tyre flat"),
        visited(2, 10, complaint="offside tyre flat"),
        visited(3, 20, complaint="nearside tyre flat"),
    ]
    assert [(each.earlier.sheet, each.later.sheet) for each in returns(visits)] == [(1, 3)]


def test_a_return_shows_both_visits_and_what_was_fitted() -> None:
    (found,) = pair(
        {**LEAK, "cause": "seals", "parts": [part("seal kit", "", 2)], "outcome": "temporary"},
        {**LEAK, "parts": [part("boom ram"), part("oil", status="not_used")]},
    )
    assert found.fitted == (("2 seal kit",), ("1 boom ram",))
    assert found.remark == "the earlier visit was a temporary repair"
    assert found.machine == "Excavator Kelbrack K14, fleet EX 14"


def test_two_components_of_one_pair_are_one_return() -> None:
    both = {"complaint": "beacon and horn dead"}
    (found,) = pair(both, both)
    assert found.of == ("beacon", "horn")


def test_the_most_particular_component_counts() -> None:
    assert [each.component for each in faults_in("the boom ram leaks", "complaint")] == ["boom ram"]
    assert particular({"boom ram", "ram", "beacon"}) == {"boom ram", "beacon"}
    assert set(faults_of(visited(1, complaint="ram leaking", cause="dipper ram seals gone"))) == {
        "dipper ram"
    }


def test_a_place_belongs_to_the_component_near_it() -> None:
    (lights, hose) = faults_in("rear lights out, front hose burst", "complaint")
    assert lights.places == {("end", "rear")} and hose.places == {("end", "front")}
    (both,) = faults_in("front and rear lights out", "complaint")
    assert both.places == {("end", "front"), ("end", "rear")}


def test_the_table_names_every_component_once_and_only_known_ones() -> None:
    data = tomllib.loads(files("jobnotes.office").joinpath("components.toml").read_text())
    components = data["components"]
    assert len(components) >= 150
    names = [name.lower() for own, also in components.items() for name in (own, *also)]
    assert sorted({name for name in names if names.count(name) > 1}) == []
    assert all(re.fullmatch(r"[a-z0-9 '/-]+", name) for also in components.values() for name in also)
    assert set(data["service_parts"]["say"]) <= set(components)
    for general, under in table("components")["general"].items():
        assert general in components and set(under) <= set(components), general
