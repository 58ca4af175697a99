"""What is set right, what must be left alone, and what of it a reviewer sees."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

import pytest

from jobnotes.register import Register
from jobnotes.register.rows import CustomerRow, MachineRow, PartRow, SiteRow
from jobnotes.speech import vocabulary
from jobnotes.speech.knowledge import Knowledge
from jobnotes.speech.likeness import SoundIndex, unlike
from jobnotes.speech.opinion import figures, second_opinions
from jobnotes.speech.repair import repaired
from jobnotes.speech.said import DOUBTED, Repair, Said, applied, joined
from jobnotes.speech.words import knowledge_of

REGISTER = Register(
    customers=[CustomerRow("Ottery Groundworks"), CustomerRow("Saltfellow Plant Hire")],
    sites=[SiteRow("Pellam Reservoir", "Ottery Groundworks"), SiteRow("Wexcombe Quarry", "")],
    machines=[
        MachineRow("MK88", "telehandler", "Brandholt", "R140", serial_number="BRH14X0885"),
        MachineRow("MK86", "telehandler", "Brandholt", "R170", serial_number="BRH17X0861"),
        MachineRow("QV300", "generator", "Ostrand", "HG60"),
    ],
    parts=[
        PartRow("SX-4406", "Lift ram seal kit", price=Decimal(1)),
        PartRow("DR-6628", "Suction hose", price=Decimal(1)),
        PartRow("WL-5720", "Relief valve", price=Decimal(1)),
    ],
)
KNOWN = Knowledge(REGISTER)


def said(text: str, sure: float = 0.6) -> list[Said]:
    """Words of 0.3 s each, on end."""
    return [Said(f" {word}", 0.3 * n, 0.3 * (n + 1), sure) for n, word in enumerate(text.split())]


def agrees(before: str, options: Sequence[str], after: str, start: float, end: float) -> list[float]:
    """A sound that goes with everything alike."""
    assert 0.0 <= end - start < 30.0
    return [-5.0] * len(options)


def objects(before: str, options: Sequence[str], after: str, start: float, end: float) -> list[float]:
    """A sound that goes with what was heard, and with nothing else."""
    return [-1.0, *[-60.0] * (len(options) - 1)]


def hears(text: str) -> Sequence[Said]:
    return repaired(said(text), KNOWN, agrees, lambda start, end: text)


def text_of(words: Sequence[Said]) -> str:
    return "".join(word.word for word in words).strip()


@pytest.mark.parametrize(
    ("heard", "meant"),
    [
        # codes of the register
        ("fleet number NK88, the telehandler", "fleet number MK88, the telehandler"),
        ("a lift ram seal kit, S-X-double-4 or 6.", "a lift ram seal kit, SX4406."),
        ("new suction hose, DR2628, on", "new suction hose, DR6628, on"),
        ("relief valve, WL5-7-2-0, fitted", "relief valve, WL5720, fitted"),
        # codes that no register has
        ("order number KD 5 or double 6.", "order number KD5066."),
        ("code SPM4618, EFFMI 9.", "code SPN 4618, FMI 9."),
        ("order number GRO4618.", "order number GR04618."),
        # figures
        ("it made air tea bar", "it made 80 bar"),
        ("airty mil in it", "80 mil in it"),
        ("7,000 and 6 hours on it", "7,006 hours on it"),
        ("it was 40-6.3 mil", "it was 46.3 mil"),
        ("got there at 10.29. Then", "got there at 10 to 9. Then"),
        ("I got here 20-3, and", "I got here 20 to 3, and"),
        ("I left at quarter 29, and", "I left at quarter to 9, and"),
        ("it read 2,100 nor 2,150 psi", "it read 2,100 no, 2,150 psi"),
        ("it held 54 hurts on load", "it held 54 hertz on load"),
        ("I was on it till half two three miles off", "I was on it till half two, three miles off"),
        # names and words
        ("at Pelham Reservoir today", "at Pellam Reservoir today"),
        ("up at wexcome Quarry for", "up at Wexcombe Quarry for"),
        ("relief for the steering ramp with it", "relief for the steering ram with it"),
        ("it needs the region button now", "it needs the regen button now"),
        ("the lock nut had gone", "the locknut had gone"),
    ],
)
def test_what_is_set_right(heard: str, meant: str) -> None:
    assert text_of(hears(heard)) == meant


@pytest.mark.parametrize(
    "heard",
    [
        # codes as they are
        "fleet number MK88, the telehandler",
        "order number MK89 for it",
        "job number NK88 please",
        "part number ZT9915 on order",
        "it should be 50 bar",
        "one bolt and 3 or 4 washers",
        "I had 6 or 7 of them",
        # two codes of the register are as near: nobody knows which
        "fleet number MK87, the telehandler",
        # figures that make sense
        "20 litres of oil",
        "it sank 46,000 in 9 minutes",
        "a 20-3 split of it",
        "the left 207 and the right",
        "at 10.15 I left",
        "it made 24 volts until 23 amps",
        "2,000 and nothing since",
        "the air in it was foul",
        "for the tea round at ten",
        "half two and three more",
        "half a mile and 3 gates",
        # nobody takes anything back
        "neither this nor that",
        "I know 40 of them",
        "you will know, I think",
        # rare words that are right
        "the swarf in the spool",
        "a region of rays and ramps",
        "the regional office",
        "he is higher up",
        "the Arctic wind",
        "at the reservoir by the quarry",
    ],
)
def test_what_is_left_alone(heard: str) -> None:
    assert text_of(hears(heard)) == heard


OTHER_TRADE = (
    "I planted forty lettuces by the south wall, and sowed two rows of carrots. The soil was dry as dust, so "
    "I watered at ten to eight. Slugs had been at the hostas again. Six pounds of plums went to Mrs Abbot, "
    "and she rang to say that the cake rose well. I moved the bees to the higher meadow, where the clover is "
    "coming out."
)


@pytest.mark.parametrize("sure", [0.6, 0.9])
def test_a_memo_of_another_trade_is_left_alone(sure: float) -> None:
    words = repaired(said(OTHER_TRADE, sure), KNOWN, agrees, lambda start, end: OTHER_TRADE)
    assert text_of(words) == OTHER_TRADE
    assert all(word.heard is None for word in words)


@pytest.mark.parametrize(
    "heard",
    [
        "fleet number NK88, the telehandler",
        "it made air tea bar",
        "at Pelham Reservoir today",
        "it needs the region button now",
    ],
)
def test_nothing_is_set_right_against_the_sound(heard: str) -> None:
    assert text_of(repaired(said(heard), KNOWN, objects, lambda start, end: heard)) == heard


@pytest.mark.parametrize("heard", ["at Pelham Reservoir today", "it needs the region button now"])
def test_a_word_that_the_recogniser_was_sure_of_is_left_alone(heard: str) -> None:
    assert text_of(repaired(said(heard, 0.99), KNOWN, agrees, lambda start, end: heard)) == heard


def test_what_was_heard_stands_beside_what_it_became() -> None:
    words = hears("a lift ram seal kit, S-X-double-4 or 6. Then on")
    (code,) = [word for word in words if word.heard]
    assert (code.text, code.heard) == ("SX4406.", "S-X-double-4 or 6.")
    assert (code.start, code.end) == (pytest.approx(1.5), pytest.approx(2.4))
    assert [word.text for word in words][-2:] == ["Then", "on"]


def test_a_repair_never_removes_doubt() -> None:
    for certain in (False, True):
        for sure in (0.2, 0.5, 0.9):
            (one,) = applied(said("Rays.", sure), [Repair(0, 1, "raise", certain)])
            assert one.text == "Raise."
            assert one.probability <= (sure if certain else min(sure, DOUBTED))
    (doubted,) = applied(said("40", 0.9), [Repair(0, 1, "40")])
    assert (doubted.text, doubted.heard, doubted.probability) == ("40", None, DOUBTED)


def test_pieces_of_a_word_are_one_word() -> None:
    pieces = [Said(" 1", 0, 0.2, 0.9), Said(".5", 0.2, 0.4, 0.7), Said(" bar", 0.4, 0.6, 0.8)]
    assert [(word.text, word.end, word.probability) for word in joined(pieces)] == [
        ("1.5", 0.4, 0.7),
        ("bar", 0.6, 0.8),
    ]


@pytest.mark.parametrize(
    ("first", "second", "most"),
    [
        ("wexcome", "Wexcombe", 0.15),
        ("rays", "raise", 0.0),
        ("airty", "eighty", 0.0),
        ("region", "regen", 0.25),
    ],
)
def test_words_that_sound_alike(first: str, second: str, most: float) -> None:
    assert unlike(first, second) <= most


@pytest.mark.parametrize(("first", "second"), [("pump", "valve"), ("seal", "steel"), ("boom", "broom")])
def test_words_that_do_not(first: str, second: str) -> None:
    assert unlike(first, second) > 0.2


def test_words_are_found_by_their_sound() -> None:
    index = SoundIndex(["Pellam", "Pelican", "Wexcombe"])
    assert index.near("pelham", 0.34)[0][1] == "Pellam"
    assert index.near("gearbox", 0.34) == []
    assert "pellam" in index
    assert "pelham" not in index


def test_a_second_hearing_raises_and_lowers() -> None:
    words = said("it made 180 bar on test", 0.3)
    agreed = second_opinions(words, lambda start, end: "made one 180 bar")
    assert agreed[2].probability == 0.5
    apart = second_opinions(said("it made 180 bar on test", 0.8), lambda start, end: "made 118 bar")
    assert apart[2].probability == DOUBTED
    assert [word.probability for word in apart[:2]] == [0.8, 0.8]


def test_only_figures_in_doubt_that_matter_are_heard_again() -> None:
    asked: list[tuple[float, float]] = []

    def hear(start: float, end: float) -> str:
        asked.append((start, end))
        return "180"

    second_opinions(said("it made 180 bar on test", 0.95), hear)
    second_opinions(said("fleet number MK88 and 2 of them", 0.3), hear)
    assert asked == []
    second_opinions(said("it made 180 bar on test", 0.7), hear)
    assert len(asked) == 1


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("10 to eight", {"10", "8"}),
        ("7,000 and 6 hours", {"7006"}),
        ("12.5 volts, 1,250 rpm", {"12.5", "1250"}),
        ("no figure", set()),
    ],
)
def test_figures_in_a_text(text: str, found: set[str]) -> None:
    assert figures(text) == found


def test_the_register_is_indexed_once() -> None:
    first, second = vocabulary(REGISTER), vocabulary(REGISTER)
    assert first.knowledge is second.knowledge is knowledge_of(REGISTER)
    assert vocabulary().knowledge is None
    other = Register(machines=[MachineRow("ZZ900")])
    assert vocabulary(other).knowledge is not first.knowledge
