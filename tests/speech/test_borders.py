"""Real speech cut into windows of every length, and with a register: nothing lost, doubled or made up."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import jiwer
import numpy as np
import pytest
from whisper_normalizer.english import EnglishTextNormalizer

sys.path.insert(0, str(Path(__file__).parents[1]))
from outside.fetch import fetch
from test_librivox import engine

from jobnotes.audio import RATE, Sound, load
from jobnotes.audio.sound import measured
from jobnotes.register import Register
from jobnotes.register.rows import CustomerRow, MachineRow, PartRow, SiteRow
from jobnotes.speech import Recogniser, vocabulary, voice, weights

NORMALISE = EnglishTextNormalizer()
REGISTER = Register(
    customers=[CustomerRow("Ottery Groundworks"), CustomerRow("Saltfellow Plant Hire")],
    sites=[SiteRow("Pellam Reservoir", "Ottery Groundworks"), SiteRow("Wexcombe Quarry", "")],
    machines=[MachineRow("MK88", "telehandler", "Brandholt", "R140"), MachineRow("RK216", "excavator")],
    parts=[PartRow("SX-4406", "Lift ram seal kit"), PartRow("DR-6628", "Suction hose")],
)


@pytest.fixture(scope="module")
def recogniser() -> Iterator[Recogniser]:
    weights.setup()
    yield Recogniser()


@pytest.fixture(scope="module")
def clip() -> tuple[Sound, str]:
    """The longest of the recordings, with what is read in it."""
    folder = fetch() / "test" / "data" / "librivox"
    path = max(folder.glob("*.wav"), key=lambda wav: wav.stat().st_size)
    return load(path), path.with_suffix(".txt").read_text("utf-8")


@pytest.fixture(scope="module")
def clips() -> tuple[Sound, str]:
    """Three of the recordings on end, 15 s, with what is read in them."""
    paths = sorted((fetch() / "test" / "data" / "librivox").glob("*.wav"))[:3]
    sound = measured(np.concatenate([load(path).samples for path in paths]))
    return sound, " ".join(path.with_suffix(".txt").read_text("utf-8") for path in paths)


@pytest.mark.parametrize("where", ["in the pause before", "there, through a word or not"])
def test_no_word_is_lost_or_doubled_at_a_border(
    recogniser: Recogniser, clips: tuple[Sound, str], where: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first window ends at every second of the recording in turn."""
    sound, said = clips
    seam = voice.seam
    for second in range(3, int(sound.seconds)):
        first = True

        def cut(chances: np.ndarray, start: float, seconds: float, second: int = second) -> float:
            nonlocal first
            if not first:
                return seam(chances, start, seconds)
            first = False
            if where != "in the pause before":
                return float(second)
            monkeypatch.setattr(voice, "WINDOW_S", float(second))
            place = seam(chances, start, seconds)
            monkeypatch.setattr(voice, "WINDOW_S", 29.0)
            return place

        monkeypatch.setattr(voice, "seam", cut)
        heard = NORMALISE(recogniser.hear(sound).text.replace("...", "."))
        counts = jiwer.process_words(NORMALISE(said), heard.replace("coldhearted", "cold hearted"))
        assert counts.deletions == 0, f"cut at {second} s: {heard}"
        assert counts.insertions <= 1, f"cut at {second} s: {heard}"
        assert counts.wer <= 0.1, f"cut at {second} s: {heard}"


def test_a_register_changes_nothing_in_talk_of_other_things(
    recogniser: Recogniser, clip: tuple[Sound, str]
) -> None:
    sound, said = clip
    transcript = recogniser.hear(sound, vocabulary(REGISTER))
    assert jiwer.wer(NORMALISE(said), NORMALISE(transcript.text)) <= 0.05
    assert [word for word in transcript.words if word.heard] == []


def test_the_same_words_every_time_with_a_register(
    recogniser: Recogniser, clip: tuple[Sound, str], samples: Path
) -> None:
    sound = load(samples / "quarry_loader.m4a")
    names = vocabulary(REGISTER)
    first = recogniser.hear(sound, names)
    recogniser.hear(clip[0], names)
    assert recogniser.hear(sound, names) == first


@pytest.mark.parametrize("kind", ["silence", "engine", "hiss"])
def test_a_register_puts_no_words_where_nobody_speaks(
    recogniser: Recogniser, kind: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    random = np.random.default_rng(21)
    sound = {
        "silence": np.zeros(10 * RATE, np.float32),
        "engine": engine(10.0, 0.1),
        "hiss": random.standard_normal(10 * RATE).astype(np.float32) * np.float32(0.02),
    }[kind]
    assert recogniser.hear(measured(sound), vocabulary(REGISTER)).words == []
    # Nor where the voice detector is fooled, and the recogniser listens all the same.
    monkeypatch.setattr(voice, "stretches", lambda _, length: [voice.Stretch(0, length)])
    assert recogniser.hear(measured(sound), vocabulary(REGISTER)).words == []
