"""Fleet, serial, part and order numbers: letters and figures read out, written, split and joined."""

from __future__ import annotations

import pytest
from memo_words import words

from jobnotes.language.codes import Code, CodeReader, spelling

KNOWN = {"WL31", "TH248", "HR5161", "SL117", "OKH14W0731", "2074"}


def codes(text: str, known: set[str] = KNOWN) -> list[Code]:
    heard = words(text)
    return CodeReader(known).find(heard.raw, heard.tokens, heard.spaced)


SAME = {  # one number, said and written in every way
    "TH248": [
        "T H two four eight",
        "T H, two four eight",
        "T H, er, two four eight",
        "fleet number, er, T H two four eight",
        "Tango Hotel two four eight",
        "tango hotel two four eight",
        "T aitch two four eight",
        "T H two forty-eight",
        "TH248",
        "th248",
        "TH 248",
        "T H 248",
        "TH-248",
        "T-H248",
        "T.H. 248",
        "T. H. two four eight",
        "T H dash two four eight",
    ],
    "HR5161": [
        "H R five one six one",
        "H R fifty-one sixty-one",
        "Hotel Romeo five one six one",
        "H R stroke five one six one",
        "HR5161",
        "HR-5161",
        "HR 5161",
        "H R 5161",
        "H R five one six one, two off",
        "H R five one six one two off",
        "H R five one six one three litres",
    ],
    "SK331": ["S K double three one", "S K three three one", "SK331", "Sierra Kilo double three one"],
    "BX4441": ["B X treble four one", "B X triple four one"],
    "LW5503": ["L W five five oh three", "L W double five zero three", "LW-5503", "lw-5503"],
    "GN520": ["G N five two zero", "G N five two oh", "G N five twenty", "G N five hundred and twenty"],
    "OKH14W0731": ["O K H one four W oh seven three one", "OKH14W0731", "OKH14-W0731"],
    "HB15E": ["H B fifteen E", "HB15E"],
    "KV20": ["K V twenty", "Kilo Victor twenty"],
    "AB12CD": ["AB12CD", "AB-12-CD"],
    "HR12E5": ["HR12E5", "H R 12E5"],
}


@pytest.mark.parametrize(("key", "said"), [(k, s) for k, says in SAME.items() for s in says])
def test_one_code_said_in_many_ways(key: str, said: str) -> None:
    (found,) = codes(said)
    assert found.key == key


NO_CODE = [
    "D P F light",
    "DPF light",
    "the P T O is noisy",
    "an A D T",
    "LED",
    "V belt",
    "I had two",
    "I have four of them",
    "I've 2 left",
    "a two metre hose",
    "a 2 metre hose",
    "A 2 metre hose",
    "ATF two litres",
    "A T F 2 litres",
    "OK two of them",
    "five kilo bag",
    "a kilo of grease",
    "two kilos",
    "Mike had a look",
    "mike two said so",
    "at the golf club",
    "hotel car park",
    "oscar",
    "see two",
    "be two",
    "are two",
    "tea at two",
    "it was 24 volts",
    "two hundred and fifty bar",
    "half past 2",
    "V two point five",
    "B and Q",
    "the number is T",
    "e-mail two",
    "a two-in-12 fall",
    "gone by mid-10 o'clock",
    "the re-12 kit",
    "4x4",
    "3D",
    "日 2",
    "é 5",
]


@pytest.mark.parametrize("said", NO_CODE)
def test_no_code(said: str) -> None:
    assert codes(said, set()) == []


def test_a_unit_is_no_code() -> None:
    heard = words("sixty K V A two hundred")
    assert CodeReader().find(heard.raw, heard.tokens, heard.spaced, units=range(1, 4)) == []


OILS = [("fifteen W forty", "15W-40"), ("15W40", "15W-40"), ("15W-40", "15W-40"), ("five W thirty", "5W-30")]


@pytest.mark.parametrize(("said", "text"), OILS)
def test_oil_grades(said: str, text: str) -> None:
    (found,) = codes(said)
    assert found.text == text


@pytest.mark.parametrize(
    "said",
    [
        "S P N three two five one, F M I zero",
        "S P N three two five one F M I zero",
        "SPN 3251 FMI 0",
        "SPN3251 FMI0",
        "S P N 3251 and F M I 0",
    ],
)
def test_a_fault_code_is_two(said: str) -> None:
    assert [c.key for c in codes(said)] == ["SPN3251", "FMI0"]


SIGNS = [
    ("H R dash five one", "HR-51"),
    ("H R hyphen five one", "HR-51"),
    ("H R stroke five one", "HR/51"),
    ("H R slash five one", "HR/51"),
    ("H R oblique five one", "HR/51"),
    ("HR/51", "HR/51"),
]


@pytest.mark.parametrize(("said", "text"), SIGNS)
def test_signs_are_kept(said: str, text: str) -> None:
    (found,) = codes(said)
    assert found.text == text


def test_the_register_says_where_a_code_ends() -> None:
    (known,) = codes("W L three one five hundred hours", {"WL31"})
    assert known.key == "WL31"
    (unknown,) = codes("W L three one five", set())
    assert unknown.key == "WL315"


FIGURES = [
    ("four two one six", "4216"),
    ("4216", "4216"),
    ("two oh seven dash four", "207-4"),
    ("207-4", "207-4"),
    ("twenty-two B", "22B"),
    ("double oh seven", "007"),
    ("four seven one two bravo", "4712B"),
]


@pytest.mark.parametrize(("said", "text"), FIGURES)
def test_codes_of_figures(said: str, text: str) -> None:
    found = CodeReader().figures(words(said).tokens, 0)
    assert found is not None
    assert found.text == text


@pytest.mark.parametrize("said", ["half", "a", "point two", "minus four", "the", "two and a half", "hotel"])
def test_no_code_of_figures(said: str) -> None:
    assert CodeReader().figures(words(said).tokens, 0) is None


@pytest.mark.parametrize("text", ["T " * 3000, "A1" * 2000, "one 2 " * 1000, "T-" * 2000, "AB " * 2000])
def test_endless_letters_end(text: str) -> None:
    assert all(len(found.text) < 80 for found in codes(text))


# -- read out in groups, where a register holds the whole ---

HELD = {"604217", "41RB7", "D6204", "42305", "90210", "WL31", "2074", "T62", "A7", "33"}

GROUPS = [  # (said, text)
    ("sixty, forty-two, seventeen", "60-42-17"),
    ("60-42-17", "60-42-17"),
    ("four one R B seven", "41RB7"),
    ("forty-one R B seven", "41RB7"),
    ("D sixty-two, oh four", "D62-04"),
    ("forty-two dot three oh five", "42-305"),
    ("D sixty-two, nought four", "D62-04"),
    ("forty-two, three oh five", "42-305"),
    ("ninety, two ten", "90-210"),
    ("T, sixty-two", "T-62"),
]


@pytest.mark.parametrize(("said", "text"), GROUPS)
def test_groups_that_the_register_holds_are_one_number(said: str, text: str) -> None:
    heard = words(said)
    (found,) = codes(said, HELD)
    assert (found.text, found.first, found.last) == (text, 0, len(heard.tokens) - 1)


def test_the_longest_number_that_the_register_holds_is_taken() -> None:
    said = "forty-two, three oh five, two"
    assert [k.key for k in codes(said, {"42305", "423052"})] == ["423052"]
    assert [k.key for k in codes(said, {"42305"})] == ["42305"]


NO_GROUPS = [
    "sixty, forty-two, eighteen",  # of no row
    "forty-two thousand three hundred and five",  # a plain figure, though it has the same five signs
    "42305 hours",
    "sixty forty-two seventeen",  # figures alone with no pause may be a count or a meter
    "two oh seven, four",  # four figures are too few
    "thirty, three",
    "ninety",
    "see if six, two",
    "a seven",
]


@pytest.mark.parametrize("said", NO_GROUPS)
def test_no_number_in_groups(said: str) -> None:
    assert codes(said, HELD) == []


def held(said: str, *known: str) -> str | None:
    """The number that begins the words, by a register that holds these."""
    heard = words(said)
    found = CodeReader(set(known)).held(heard.raw, heard.tokens, 0)
    return found.text if found is not None else None


ONE_HELD = [  # (said, what the register holds, the text)
    ("D point six two", "D62", "D-62"),
    ("four one R B oh", "41RB0", "41RB0"),
    ("sixty-two tango, oh four", "62T04", "62T-04"),
    ("tango sixty-two", "T62", "T62"),
    ("X five", "X5", None),  # two signs are too few
    ("A B C", "ABC", None),  # letters alone are an abbreviation
    ("tango, sixty-two", "T62", None),  # a word that is no letter where no figure follows
    ("a hundred and four, twelve", "10412", None),
]


@pytest.mark.parametrize(("said", "known", "text"), ONE_HELD)
def test_what_begins_a_number_in_groups(said: str, known: str, text: str | None) -> None:
    assert held(said, known) == text


def test_no_more_groups_than_anybody_reads_out() -> None:
    ten, eleven = ", ".join(["one"] * 10), ", ".join(["one"] * 11)
    assert [k.key for k in codes(ten, {"1" * 10})] == ["1" * 10]
    assert codes(eleven, {"1" * 11}) == []


# -- from outside: the spelling alphabet of ICAO Annex 10, Volume II, 5.2.1.3 ---

ICAO_ANNEX_10 = (
    "Alfa Bravo Charlie Delta Echo Foxtrot Golf Hotel India Juliett Kilo Lima Mike November Oscar "
    "Papa Quebec Romeo "
    "Sierra Tango Uniform Victor Whiskey X-ray Yankee Zulu"
).split()


def test_the_spelling_alphabet_is_icao_s() -> None:
    assert len(ICAO_ANNEX_10) == 26
    for word in ICAO_ANNEX_10:
        assert spelling()[word.lower().replace("-", "")] == word[0]
    assert set(spelling().values()) == set("ABCDEFGHIJKLMNOPQRSTUVWXYZ")


@pytest.mark.parametrize("word", [w for w in ICAO_ANNEX_10 if "-" not in w])
def test_a_code_spelt_with_the_alphabet(word: str) -> None:
    letter = word[0]
    for said in (f"{word} Tango one nine", f"{word.lower()} tango one nine"):
        (found,) = codes(said)
        assert found.key == f"{letter}T19"
    (second,) = codes(f"Tango {word} one nine")
    assert second.key == f"T{letter}19"


@pytest.mark.parametrize(
    "said", ["Tango X-ray one nine", "Tango Xray one nine", "X-ray Tango one nine", "T X-ray 19"]
)
def test_x_ray(said: str) -> None:
    (found,) = codes(said)
    assert found.key in ("TX19", "XT19")


def test_icao_figures() -> None:
    """ "niner" is nine (ICAO Annex 10, 5.2.1.4.3)."""
    (found,) = codes("Tango Hotel niner niner")
    assert found.key == "TH99"
