"""Machine types and their everyday words; customers, sites and makes of the register, whole, shortened
and misheard."""

from __future__ import annotations

import pytest
from memo_words import words

from jobnotes.jobs import MACHINE_TYPES
from jobnotes.language.lexicon import load
from jobnotes.language.names import Name, machine_types, register_names
from jobnotes.register import CustomerRow, Lookup, MachineRow, Register, SiteRow

LOOKUP = Lookup(
    Register(
        customers=[
            CustomerRow("Fernmoss Quarries"),
            CustomerRow("Hollin Vale Groundworks"),
            CustomerRow("Hollin Plant Hire"),
            CustomerRow("Tuckersett Farms"),
        ],
        sites=[
            SiteRow("Fernmoss Quarry", "Fernmoss Quarries"),
            SiteRow("Brindlegate Upper Yard", "Hollin Plant Hire"),
            SiteRow("Brindlegate Lower Yard", "Hollin Plant Hire"),
            SiteRow("Top Barn, Tuckersett", "Tuckersett Farms"),
            SiteRow("The Yard", "Hollin Plant Hire"),
        ],
        machines=[MachineRow("AB1", make="Tronvek"), MachineRow("AB2", make="Ostermoor")],
    )
)


def types(text: str) -> list[str]:
    return [n.value for n in machine_types(words(text).tokens)]


def names(text: str) -> list[Name]:
    return register_names(words(text).tokens, LOOKUP)


TYPES = [
    ("the digger", "excavator"),
    ("a three sixty", "excavator"),
    ("the mini digger", "mini excavator"),
    ("the mini-digger", "mini excavator"),
    ("a rubber duck", "wheeled excavator"),
    ("the loading shovel", "wheel loader"),
    ("the skid steer", "skid steer loader"),
    ("both dumpers", "site dumper"),
    ("the A D T", "articulated dump truck"),
    ("the bulldozer", "crawler dozer"),
    ("the plate compactor", "plate compactor"),
    ("a cherry picker", "boom lift"),
    ("the scissor lift", "scissor lift"),
    ("the fork truck", "forklift"),
    ("the jaw crusher", "crusher"),
    ("the gennie", "generator"),
    ("the tower light", "lighting tower"),
    ("the road sweeper", "road sweeper"),  # outside of the list: as said
]


@pytest.mark.parametrize(("said", "kind"), TYPES)
def test_machine_types(said: str, kind: str) -> None:
    assert types(said) == [kind]


NO_TYPES = [
    "the machine",
    "the engine",
    "the hydraulic oil",
    "the slew ring",
    "a track adjuster",
    "the forks are bent",
    "it was loading",
    "the site was shut",
    "a dumpling",
]


@pytest.mark.parametrize("said", NO_TYPES)
def test_no_machine_type(said: str) -> None:
    assert types(said) == []


WEAK = [
    "the boom would not go up",
    "the plate on the side",
    "the screen is blank",
    "the crane hook",
    "the roller",
]


@pytest.mark.parametrize("said", WEAK)
def test_words_that_oftener_mean_a_component_are_weak(said: str) -> None:
    (found,) = machine_types(words(said).tokens)
    assert found.weak


def test_the_longest_type_wins() -> None:
    assert types("the mini excavator") == ["mini excavator"]
    assert types("the wheeled excavator and the excavator") == ["wheeled excavator", "excavator"]


def test_every_listed_type_is_the_schema_s() -> None:
    assert set(load("machines")["types"]) == set(MACHINE_TYPES)
    for kind in MACHINE_TYPES:
        if kind != "pump":  # "pump" alone is a component; a pump set is a machine
            assert types(kind) == [kind]


SITES = [
    ("at Fernmoss Quarry", "Fernmoss Quarry"),
    ("at fernmoss quarry", "Fernmoss Quarry"),
    ("Brindlegate upper yard", "Brindlegate Upper Yard"),
    ("up at Brindlegate, the lower yard", "Brindlegate Lower Yard"),
    ("Top Barn at Tuckersett", "Top Barn, Tuckersett"),
    ("Brindelgate Upper Yard", "Brindlegate Upper Yard"),  # two letters swapped by the recogniser
]


@pytest.mark.parametrize(("said", "site"), SITES)
def test_sites(said: str, site: str) -> None:
    assert [n.value for n in names(said) if n.kind == "site"] == [site]


def test_customers_and_makes() -> None:
    assert [(n.kind, n.value) for n in names("for Hollin Plant Hire, an Ostermoor")] == [
        ("customer", "Hollin Plant Hire"),
        ("make", "Ostermoor"),
    ]
    assert [(n.kind, n.value) for n in names("Hollin Vale's digger")] == [
        ("customer", "Hollin Vale Groundworks")
    ]


def test_two_that_fit_alike_are_rivals() -> None:
    (found,) = names("I went to Brindlegate")
    assert {found.value, *found.rivals} == {"Brindlegate Upper Yard", "Brindlegate Lower Yard"}


NO_NAMES = [
    "back in the yard",
    "on the farm",
    "up the lane to the top barn",
    "the plant hire people",
    "the lower boom and the upper seal",
    "top up the oil",
    "quarry dust in the filter",
    "I vale the groundwork",
]


@pytest.mark.parametrize("said", NO_NAMES)
def test_common_words_name_nothing(said: str) -> None:
    assert names(said) == []


def test_an_empty_register_names_nothing() -> None:
    assert register_names(words("Fernmoss Quarry, for Hollin Plant Hire").tokens, Lookup(Register())) == []
