"""Wordings weighed by the sound and by how people of the trade speak: what changes, and what must not."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from pathlib import Path

import pytest
from test_setting_right import KNOWN, OTHER_TRADE, agrees, objects, said, text_of

from jobnotes.speech.phrasing import figure_class, phrasing, tokens_of
from jobnotes.speech.phrasing_build import counted, memos_in, numbers, tokens_spoken
from jobnotes.speech.said import DOUBTED, Ask, Said, applied
from jobnotes.speech.weighing import figure_choices, word_choices


def favours(part: str, mark: float = 3.0) -> Ask:
    """A sound that goes so much better with wordings that hold `part`, and worse with all others."""

    def ask(before: str, options: Sequence[str], after: str, start: float, end: float) -> list[float]:
        return [-10.0, *(-10.0 + (mark if part in option else -9.5) for option in options[1:])]

    return ask


def figures(heard: str, ask: Ask = agrees, sure: float = 0.6) -> Sequence[Said]:
    words = said(heard, sure)
    return applied(words, figure_choices(words, ask))


@pytest.mark.parametrize(
    ("heard", "meant", "ask"),
    [
        ("it took all of at litres of oil", "it took all of 8 litres of oil", agrees),
        ("half inch to wire, and", "half inch 2 wire, and", agrees),
        ("the boom sank 27,000 in 5 minutes", "the boom sank 27 mil in 5 minutes", favours("27 mil")),
        ("140 litres of 302, and", "140 litres of 32, and", agrees),
        ("a seven to four mile round trip", "a 74 mile round trip", agrees),
        ("one is 60, 4.1 mil and", "one is 64.1 mil and", agrees),
        ("it says north, the code", "it says nought, the code", agrees),
        ("pump pressure 6040 bar", "pump pressure 1640 bar", favours("1640")),
        ("two five-ets tails and", "two five eighths tails and", agrees),
        ("2.6 metres of the 582 wire", "2.6 metres of the 5 eighths 2 wire", agrees),
        ("and 14th the limit now", "and 14's the limit now", agrees),
        ("they are at 9.04mm now", "they are at 9, no, 4mm now", favours("no, 4")),
        ("order number Tango 8.004.", "order number Tango 8004.", agrees),
        ("6,7, no, 6,310 hours", "6,007, no, 6,310 hours", agrees),
        ("Got there at 5-7. Then", "Got there at 5 to 7. Then", agrees),
        ("Got there 25-4. Then", "Got there 25 to 4. Then", favours("25 to 4", -11.0)),
    ],
)
def test_figures_that_are_set_right(heard: str, meant: str, ask: Ask) -> None:
    words = figures(heard, ask)
    assert text_of(words) == meant
    assert all(word.probability <= DOUBTED for word in words if word.heard)


@pytest.mark.parametrize(
    ("heard", "ask"),
    [
        # they make sense as they are, and the sound says no more for another
        ("it made 36 bar at idle", agrees),
        ("it's 409 volts between phases", favours("49", -6.0)),
        ("the slew had 288 bar", favours("28.8", -9.5)),
        ("there were 27,000 of them", agrees),
        ("I was there from 5 to 2, and", agrees),
        ("at ten to two mile four was shut", favours("102", -5.0)),
        ("the wire to wire test", favours("2", -15.0)),
        # times that a clock shows
        ("Got there at 10.15 and left", agrees),
        ("Got there at 10.25 and left", favours("10 to 5", -4.0)),
        ("Got there at 5 10 and left", agrees),
        ("it's pulling 10.3 volts now", agrees),
        # days
        ("I want the 14th of March off", agrees),
        ("on the 3rd the pump went", agrees),
        # nobody reads off a wind
        ("up north, the site is shut", agrees),
        ("I said not the blue one", favours("nought", -5.0)),
        # parts of words
        ("at the site of the works", agrees),
        ("three of the ends and two more", agrees),
        ("for the oil to be changed", agrees),
    ],
)
def test_figures_that_are_left_alone(heard: str, ask: Ask) -> None:
    assert text_of(figures(heard, ask)) == heard


@pytest.mark.parametrize(
    "heard",
    [
        "it took all of at litres of oil",
        "140 litres of 302, and",
        "it says north, the code",
        "Got there 25-4. Then",
        "pump pressure 6040 bar",
        "2.6 metres of the 582 wire",
    ],
)
def test_no_figure_is_set_right_against_the_sound(heard: str) -> None:
    words = figures(heard, objects)
    assert text_of(words) == heard
    assert [word.probability for word in words] == [0.6] * len(words)


def test_a_rival_that_comes_close_puts_a_figure_in_doubt() -> None:
    words = figures("pump pressure 6040 bar", favours("1640", -0.5), sure=0.9)
    assert text_of(words) == "pump pressure 6040 bar"
    assert [word.probability for word in words] == [0.9, 0.9, DOUBTED, 0.9]


def test_a_figure_that_the_recogniser_is_sure_of_is_not_asked_about() -> None:
    assert text_of(figures("pump pressure 6040 bar", favours("1640"), sure=0.99)) == "pump pressure 6040 bar"


def words_of(heard: str, ask: Ask = agrees, sure: float = 0.6) -> str:
    words = said(heard, sure)
    return text_of(applied(words, word_choices(words, KNOWN, ask)))


@pytest.mark.parametrize(
    ("heard", "meant"),
    [
        ("got there ten pass four and", "got there ten past four and"),
        ("park brack holds it on", "park brake holds it on"),
        ("four mill of play in it", "four mil of play in it"),
        ("got their half past nine", "got there half past nine"),
        ("on the near site tyre", "on the nearside tyre"),
    ],
)
def test_words_that_are_set_right(heard: str, meant: str) -> None:
    assert words_of(heard) == meant
    assert words_of(heard, objects) == heard
    assert words_of(heard, sure=0.99) == heard


@pytest.mark.parametrize(
    "heard",
    [
        OTHER_TRADE,
        "their telehandler is in the yard",
        "the mill at the end of the lane",
        "the driver passed me on the road",
        "I left it at Pellam Reservoir for Saltfellow",
        "a shower of sparks and swarf",
        "tens of them and nines of those",
        "forty tonne of wet sand",
        "he heals quickly after the fall",
    ],
)
def test_words_that_are_left_alone(heard: str) -> None:
    assert words_of(heard) == heard


@pytest.mark.parametrize(
    ("before", "heard", "option", "after"),
    [
        ("it held", "125 volts", "12.5 volts", "on load"),
        ("the park", "brack", "brake", "holds it on"),
        ("sank", "27,000", "27 mil", "in ten minutes"),
        ("it's back in", "surface", "service", "and the key"),
    ],
)
def test_what_is_said_more_often(before: str, heard: str, option: str, after: str) -> None:
    assert phrasing().gain(before, heard, option, after) > 1.0
    assert phrasing().gain(before, option, heard, after) < -1.0


@pytest.mark.parametrize(
    ("spoken", "heard"),
    [
        ("it made two hundred and ten bar", "it made 210 bar"),
        ("eleven point three volts", "11.3 volts"),
        ("four thousand and six hours on it", "4,006 hours on it"),
        ("away at twenty to four", "Away at 20 to 4."),
        ("forty-five millimetres", "45mm"),
        ("fleet number R K two one six", "fleet number RK216"),
        ("ten's the limit", "10's the limit"),
    ],
)
def test_memos_are_counted_in_the_form_in_which_they_are_heard(spoken: str, heard: str) -> None:
    assert tokens_spoken(spoken) == tokens_of(heard)


@pytest.mark.parametrize(
    ("figure", "kind"),
    [
        ("7", "7"),
        ("45", "45"),
        ("46", "<2>"),
        ("210", "<3z>"),
        ("11.3", "<2.1>"),
        ("0.45", "<0.2>"),
        ("08", "<01>"),
    ],
)
def test_classes_of_figures(figure: str, kind: str) -> None:
    assert figure_class(figure) == kind


def test_numbers_in_words() -> None:
    assert numbers("two thousand one hundred five".split()) == [2105]
    assert numbers("four oh five".split()) == [4, 0, 5]
    assert numbers("twenty four".split()) == [24]
    assert numbers("ten fifteen".split()) == [10, 15]


def test_counts_from_a_folder_of_memos(tmp_path: Path) -> None:
    for speaker, said_twice in (("one", "the park brake holds"), ("two", "the park brake slips")):
        (tmp_path / speaker).mkdir()
        text = f'<memo name="m"><job n="1">{said_twice}. <check>{said_twice}</check></job></memo>'
        (tmp_path / speaker / "m.xml").write_text(text, "utf-8")
    data = tomllib.loads(counted(memos_in(tmp_path)))
    assert data["words"].splitlines() == ["<unk> 4", "brake 4", "park 4", "the 4"]
    assert "park brake 4" in data["pairs"].splitlines()
    assert "the park brake 4" in data["triples"].splitlines()


def test_no_name_of_one_firm_is_in_the_counts() -> None:
    rows: list[tuple[str, list[str]]] = [("one", ["oddmarsh", "valve"] * 9), ("two", ["valve"])]
    assert "oddmarsh" not in counted(rows)
    assert "valve 10" in counted(rows)
