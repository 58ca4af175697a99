"""Look-up by code and by name: exact, by sound, near; small registers and one of 20,000 rows."""

from __future__ import annotations

import random

import pytest

from jobnotes.register import CustomerRow, Lookup, MachineRow, NameHit, PartRow, Register, SiteRow
from jobnotes.register.lookup import CodeIndex, NameIndex, code_key, name_words, sound_key

KEYS = [("HV-7731", "HV7731"), ("hv 7731", "HV7731"), ("15W-40", "15W40"), (" - ", ""), ("", ""), ("é1", "1")]


@pytest.mark.parametrize(("text", "key"), KEYS)
def test_code_key(text: str, key: str) -> None:
    assert code_key(text) == key


def test_letters_and_figures_that_sound_alike() -> None:
    assert sound_key("OL-10I") == sound_key("0L101")
    assert sound_key("HV7731") != sound_key("HV7713")


CODES = ["TH214", "TH241", "HV-7731", "HV-7713", "OP10", "X1", ""]


@pytest.mark.parametrize(
    ("said", "rows"),
    [
        ("TH214", [0]),
        ("th-214", [0]),
        ("HV7731", [2]),
        ("0P1O", [4]),
        ("TH999", []),
        ("", []),
        ("TH", []),
        ("214", []),
    ],
)
def test_rows_by_code(said: str, rows: list[int]) -> None:
    assert CodeIndex(CODES).rows(said) == rows


NEAR = [
    ("TH214", [(0, 0), (1, 1)]),  # its neighbour is a swap away
    ("TH224", [(1, 0)]),
    ("TH21", [(1, 0), (1, 1)]),
    ("TH2144", [(1, 0)]),
    ("HV7711", [(1, 2), (1, 3)]),  # two rows as near: never settled
    ("ZZ999", []),
    ("TH2", []),
]


@pytest.mark.parametrize(("said", "found"), NEAR)
def test_near_codes(said: str, found: list[tuple[int, int]]) -> None:
    assert CodeIndex(CODES).near(said) == found


NAMES = [
    "Brindlegate Upper Yard",
    "Brindlegate Lower Yard",
    "Fernmoss Quarry",
    "Top Barn, Tuckersett",
    "St Osk's Lane",
    "Hollin & Vale",
    "Yard",
]
COMMON = frozenset("yard quarry lane upper lower top barn".split())


def find(said: str) -> list[NameHit]:
    return NameIndex(NAMES).find(said.lower().replace("'", "").split(), COMMON)


NAMED = [
    ("up at brindlegate upper yard today", 0),
    ("fernmoss quarry", 2),
    ("fernmoss", 2),
    ("the quarry at fernmoss", 2),
    ("top barn at tuckersett", 3),
    ("hollin and vale", 5),
    ("fernmos quarry", 2),  # one letter lost
    ("fenrmoss quarry", 2),  # two letters swapped
]


@pytest.mark.parametrize(("said", "row"), NAMED)
def test_names(said: str, row: int) -> None:
    assert [h.row for h in find(said)] == [row]


@pytest.mark.parametrize(
    "said",
    [
        "the yard",
        "a quarry",
        "upper boom",
        "the lower seal",
        "top barn",
        "",
        "the and of",
        "fern moss",
        "hollowed out",
        "fenrmos quarry",
    ],
)
def test_common_words_and_other_words_name_nothing(said: str) -> None:
    assert [h for h in find(said) if h.row != 6] == []


def test_a_name_half_said_has_rivals() -> None:
    (hit,) = find("over at brindlegate")
    assert {hit.row, *hit.rivals} == {0, 1}


def test_two_names_in_one_breath() -> None:
    assert [h.row for h in find("from fernmoss quarry to brindlegate lower yard")] == [2, 1]


def test_places_of_a_hit() -> None:
    (hit,) = find("i was at fernmoss quarry all day")
    assert (hit.first, hit.last) == (3, 4)
    assert hit.share == pytest.approx(1.0)


def test_name_words() -> None:
    assert name_words("St Osk's Lane, No. 2") == ["st", "osks", "lane", "no", "2"]
    assert name_words("") == []


def test_an_empty_register() -> None:
    lookup = Lookup(Register())
    assert lookup.fleet.rows("TH214") == []
    assert lookup.part.near("HV7731") == []
    assert lookup.sites.find(["fernmoss", "quarry"], COMMON) == []
    assert lookup.known_codes == set()


# -- a large register ---

SYLLABLES = "bran dle gate fen moss tuck ser holl vale wick thorn ash mere low cot ley".split()


@pytest.fixture(scope="module")
def large() -> Lookup:
    """20,000 rows: 9,000 machines, 9,000 parts, 1,500 sites, 500 customers; the same on every machine."""
    chance = random.Random(20_000)
    names: list[str] = []
    seen: set[str] = set()
    while len(names) < 2000:
        name = "".join(chance.choice(SYLLABLES) for _ in range(3)).capitalize()
        if name not in seen:
            seen.add(name)
            names.append(name)
    letters = "ABCDEFGHJKLMNPQRSTUVWXYZ"
    return Lookup(
        Register(
            customers=[CustomerRow(f"{n} Hire") for n in names[:500]],
            sites=[SiteRow(f"{n} Yard", f"{names[i % 500]} Hire") for i, n in enumerate(names[500:])],
            machines=[
                MachineRow(
                    f"{letters[i % 24]}{letters[i // 24 % 24]}{1000 + i}",
                    "excavator",
                    "Tronvek",
                    f"TK{i % 90 + 10}",
                    None,
                    f"TRV{i:07d}X",
                    f"{names[i % 500]} Hire",
                )
                for i in range(9000)
            ],
            parts=[PartRow(f"{letters[i % 23]}P-{100_000 + i}", f"Seal kit {i}") for i in range(9000)],
        )
    )  # fmt: skip


def test_every_200th_machine_by_fleet_and_serial_number(large: Lookup) -> None:
    for row in range(0, 9000, 200):
        machine = large.machine(row)
        assert large.fleet.rows(machine.fleet_number) == [row]
        assert large.fleet.rows(machine.fleet_number.lower().replace("1", "I")) == [row]
        assert large.serial.rows(machine.serial_number) == [row]


def test_every_200th_part_with_and_without_its_hyphen(large: Lookup) -> None:
    for row in range(0, 9000, 200):
        number = large.part_row(row).part_number
        assert large.part.rows(number) == large.part.rows(number.replace("-", "")) == [row]


def test_near_codes_are_just_those_within_one_edit(large: Lookup) -> None:
    """Against plain comparison with every row."""
    from rapidfuzz.distance import DamerauLevenshtein

    chance = random.Random(7)
    for row in range(0, 9000, 450):
        key = large.fleet.keys[row]
        place = chance.randrange(len(key))
        wrong = key[:place] + chance.choice("23456789") + key[place + 1 :]
        plain = sorted(
            (d, r)
            for r, k in enumerate(large.fleet.keys)
            if (d := DamerauLevenshtein.distance(k, wrong)) <= 1
        )
        assert large.fleet.near(wrong) == plain


def test_every_50th_site_and_customer_by_name(large: Lookup) -> None:
    for row in range(0, 1500, 50):
        said = ["at", *name_words(large.register.sites[row].site), "today"]
        (hit,) = large.sites.find(said, frozenset({"yard"}))
        assert (hit.row, hit.first, hit.last) == (row, 1, 2)
    for row in range(0, 500, 50):
        (hit,) = large.customers.find(name_words(large.register.customers[row].customer), frozenset({"hire"}))
        assert hit.row == row


def test_what_is_not_there_is_not_found(large: Lookup) -> None:
    assert large.fleet.rows("AA1") == []
    assert large.part.rows("QQ-100000") == []
    assert large.sites.find(["yard"], frozenset({"yard"})) == []
    assert large.sites.find("zzyzx wibbling".split(), frozenset()) == []
