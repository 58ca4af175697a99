"""Numbers as said and as a recogniser writes them: what is one, and what only sounds like one."""

from __future__ import annotations

import pytest
from memo_words import words
from num2words import num2words

from jobnotes.language.numbers import Number, NumberReader

READER = NumberReader()


def numbers(text: str) -> list[Number]:
    return READER.find(words(text).tokens)


TAKEN = [
    ("two hundred and fifty", 250),
    ("two hundred fifty", 250),
    ("two fifty bar", 250),
    ("one eighteen", 118),
    ("twenty-eight hundred hours", 2800),
    ("twenty eight hundred", 2800),
    ("eighteen fifty", 1850),
    ("sixteen oh five", 1605),
    ("eleven hundred", 1100),
    ("fifteen hundred and twenty", 1520),
    ("two thousand eight fifty", 2850),
    ("nine thousand, eight hundred", 9800),
    ("six thousand two hundred and eighteen", 6218),
    ("a thousand and one", 1001),
    ("a hundred and ten", 110),
    ("one hundred thousand", 100_000),
    ("nought point two", 0.2),
    ("naught point oh five", 0.05),
    ("zero point zero five", 0.05),
    ("point eight", 0.8),
    ("twelve point six five", 12.65),
    ("twenty-four point double one", 24.11),
    ("seven point twenty-five", 7.25),
    ("minus four", -4),
    ("minus point five", -0.5),
    ("two and a half", 2.5),
    ("two-and-a-half", 2.5),
    ("two and, er, a half", 2.5),
    ("two hundred, um, and fifty", 250),
    ("two-thousand-hour", 2000),
    ("three quarters", 0.75),
    ("a quarter", 0.25),
    ("two and three quarters", 2.75),
    ("twelve and three-eighths", 12.375),
    ("five eighths", 0.625),
    ("three thirty-seconds", 3 / 32),
    ("one sixty-fourth", 1 / 64),
    ("half a dozen", 6),
    ("a dozen", 12),
    ("a pair of hoses", 2),
    ("a couple of bolts", 2),
    ("six and a half thousand", 6500),
    # as a recogniser writes them
    ("250 bar", 250),
    ("250bar", 250),
    ("1,250", 1250),
    ("10,000,000", 10_000_000),
    ("12.6V", 12.6),
    ("3/8", 0.375),
    ("1 5/8", 1.625),
    ("2½", 2.5),
    ("28 hundred", 2800),
    ("2 hundred and fifty", 250),
    ("2 hundred and 50", 250),
    ("6 and a half thousand", 6500),
    ("3 and a quarter", 3.25),
    ("it read -4 degrees", -4),
    ("it read −4 degrees", -4),
]


@pytest.mark.parametrize(("said", "value"), TAKEN)
def test_one_number(said: str, value: float) -> None:
    (found,) = numbers(said)
    assert found.value == pytest.approx(value)


NOT_TAKEN = [
    "half way up",
    "half full",
    "half the time",
    "half of it",
    "oh, and another thing",
    "oh",
    "a",
    "hundreds of times",
    "thousands of hours",
    "the second time",
    "a second look",
    "second hand",
    "the third time",
    "the tenth of May",
    "the twenty-first",
    "on the thirty-first of May",
    "first thing",
    "the point is",
    "point taken",
    "minus",
    "double acting ram",
    "double check it",
    "too many for the cab",
    "it won, he ate, they tend to",
    "someone, anyone, none",
    "weight of it",
]


@pytest.mark.parametrize("said", NOT_TAKEN)
def test_no_number(said: str) -> None:
    assert numbers(said) == []


@pytest.mark.parametrize("said", ["one of them", "the other one", "no one there", "two off"])
def test_a_lone_small_word_is_marked_plain(said: str) -> None:
    (found,) = numbers(said)
    assert found.plain
    assert not found.digits_read_out


SEVERAL = [
    ("two hundred, three hundred", [200, 300]),
    ("one eighty, no, one ninety", [180, 190]),
    ("six or seven", [6, 7]),
    ("two to three", [2, 3]),
    ("twelve volt, twenty-four volt", [12, 24]),
    ("at that point two of them", [2]),  # not nought point two
    ("HV - 4", [4]),  # a hyphen is no minus here
    ("10-12", [10, 12]),
    ("1,25", [1, 25]),  # no thousands comma
    ("1.2.3", [1.2, 3]),
]


@pytest.mark.parametrize(("said", "values"), SEVERAL)
def test_numbers_side_by_side(said: str, values: list[float]) -> None:
    assert [n.value for n in numbers(said)] == pytest.approx(values)


READ_OUT = [
    ("four two one six", "4216"),
    ("one oh five", "105"),
    ("one double oh", "100"),
    ("four treble seven", "4777"),
    ("triple two one", "2221"),
    ("oh eight fifteen", "0815"),
    ("four two fifteen", "4215"),
    ("zero one", "01"),
]


@pytest.mark.parametrize(("said", "figures"), READ_OUT)
def test_figures_read_out_keep_their_noughts(said: str, figures: str) -> None:
    (found,) = numbers(said)
    assert found.digits == figures
    assert found.digits_read_out
    assert found.value == float(figures)


@pytest.mark.parametrize("said", ["two hundred and fifty", "twenty-five", "1 5/8", "12.6", "two and a half"])
def test_other_numbers_are_not_read_out(said: str) -> None:
    (found,) = numbers(said)
    assert not found.digits_read_out


TENTHS = [("twelve six", 126, 12.6), ("twenty-four two", 242, 24.2), ("four two", 42, 4.2)]


@pytest.mark.parametrize(("said", "whole", "tenths"), TENTHS)
def test_a_pair_can_be_tenths(said: str, whole: float, tenths: float) -> None:
    (found,) = numbers(said)
    assert (found.value, found.tenths) == (whole, pytest.approx(tenths))


@pytest.mark.parametrize("said", ["twelve sixty", "twelve", "two fifty", "two hundred and six", "126"])
def test_other_numbers_have_no_tenths(said: str) -> None:
    (found,) = numbers(said)
    assert found.tenths is None


def test_where_a_number_stands() -> None:
    heard = words("it made two hundred and fifty bar")
    (found,) = READER.find(heard.tokens)
    assert heard.said(found.first, found.last) == "two hundred and fifty"


@pytest.mark.parametrize(
    "text",
    ["9" * 400, "1" + ",000" * 200, "3 9/" + "9" * 5000, "one " * 3000, "two-" * 1000, "3/² point ² ²½"],
)
def test_endless_figures_are_no_error(text: str) -> None:
    for found in numbers(text):
        assert abs(found.value) < 1e60


# -- from outside: num2words writes the words, the reader reads them back ---


def back(text: str) -> float:
    heard = words(text)
    (found,) = READER.find(heard.tokens)
    assert (found.first, found.last) == (0, len(heard.tokens) - 1), text
    return found.value


@pytest.mark.parametrize("language", ["en_GB", "en"])
def test_num2words_whole_numbers_round_trip(language: str) -> None:
    """All to 2,000, then every 13th to 100,000: 13 shares no factor with ten, so every last figure comes
    up."""
    for value in [*range(2001), *range(2001, 100_001, 13), 100_000]:
        assert back(num2words(value, lang=language)) == value


def test_num2words_negative_numbers_round_trip() -> None:
    for value in range(1, 100_000, 997):
        assert back(num2words(-value, lang="en_GB")) == -value


def test_num2words_decimals_round_trip() -> None:
    for whole in [*range(31), 99, 100, 101, 240, 999, 1850, 12_000]:
        for hundredths in range(1, 100):
            value = float(f"{whole}.{hundredths:02d}")
            assert back(num2words(value, lang="en_GB")) == pytest.approx(value)


def test_written_numbers_round_trip() -> None:
    for value in range(0, 100_001, 331):
        assert back(str(value)) == value
        assert back(f"{value:,}") == value


def test_num2words_years_are_read_as_pairs() -> None:
    """ "eighteen fifty", "nineteen oh five": how four figures are said in twos."""
    for value in range(1100, 2000):
        assert back(num2words(value, lang="en_GB", to="year")) == value


def test_num2words_ordinals_are_no_numbers() -> None:
    """Up to the 31st, as in dates; halves, thirds and so on are shares only after a count."""
    for value in range(1, 32):
        assert numbers("the " + num2words(value, lang="en_GB", to="ordinal")) == []
