"""What the recogniser is told to expect: likely names first, never too many, and what the register knows."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from jobnotes.intake import Intake
from jobnotes.jobs.model import Transcript
from jobnotes.register import Register
from jobnotes.register.rows import CustomerRow, MachineRow, SiteRow
from jobnotes.speech import Recogniser, vocabulary, weights
from jobnotes.speech.words import PROMPT_TOKENS, Vocabulary, prompt, trade_words

CROWD = Register(
    customers=[CustomerRow(f"Customer {chr(65 + n % 26)}{chr(97 + n // 26)}ston") for n in range(400)],
    sites=[SiteRow("Wexcombe Quarry", "Saltfellow Plant Hire")],
    machines=[MachineRow("MK88", "telehandler", "Brandholt", "R140")],
)
FIRST = trade_words()[:10]
"""The dozen words of the trade that stand before all names."""


@pytest.fixture(scope="module")
def recogniser() -> Recogniser:
    weights.setup()
    return Recogniser()


def test_recent_names_stand_before_those_of_the_register() -> None:
    names = vocabulary(CROWD, ["Wexcombe Quarry", "Customer Caston"])
    assert names[: len(FIRST)] == list(FIRST)
    assert names[len(FIRST) : len(FIRST) + 3] == ["Wexcombe Quarry", "Customer Caston", "Customer Aaston"]
    assert names.count("Wexcombe Quarry") == names.count("Customer Caston") == 1
    assert sorted(names) == sorted(vocabulary(CROWD))
    assert names.knowledge is not None


def test_recent_names_come_into_the_prompt_where_the_register_is_too_large(recogniser: Recogniser) -> None:
    assert "Wexcombe" not in prompt(vocabulary(CROWD), recogniser._tokens)
    told = prompt(vocabulary(CROWD, ["Wexcombe Quarry"]), recogniser._tokens)
    assert "Wexcombe Quarry" in told
    assert all(word in told for word in FIRST)


def test_recent_names_never_pass_the_budget(recogniser: Recogniser) -> None:
    recent = [f"Upper Wexcombe Quarry Extension {chr(65 + n)}" for n in range(26)]
    told = prompt(vocabulary(CROWD, recent), recogniser._tokens)
    assert recogniser._tokens(" " + told) <= PROMPT_TOKENS
    assert all(word in told for word in FIRST)


class Listens:
    """Stands for the recogniser, and keeps what it was told."""

    def __init__(self) -> None:
        self.told: list[Sequence[str]] = []

    def hear(self, _sound: Any, words: Sequence[str], _progress: Any) -> Transcript:
        self.told.append(words)
        return Transcript(text="")


def test_a_memo_is_heard_with_the_registers_knowledge_and_the_names_of_the_day(samples: Path) -> None:
    """In use, not only in the bench: what sets codes right hangs on the vocabulary."""
    likely = ["Saltfellow Plant Hire"]
    intake = Intake(CROWD, zone=ZoneInfo("Europe/London"), words=["Oddmarsh"], recent=lambda: tuple(likely))
    listens = intake.__dict__["_loaded_recogniser"] = Listens()
    for _ in range(2):
        intake.hear(samples / "two_in_the_yard.ogg", "memo")
        likely.insert(0, "Pellam Reservoir")
    for told in listens.told:
        assert isinstance(told, Vocabulary)
        assert told.knowledge is not None
        assert "MK88" in told.knowledge.beside
    after = [list(told)[len(FIRST) :][:3] for told in listens.told]
    assert after[0][:2] == ["Oddmarsh", "Saltfellow Plant Hire"]
    assert after[1] == ["Oddmarsh", "Pellam Reservoir", "Saltfellow Plant Hire"]
