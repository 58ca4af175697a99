"""The recogniser's guards and vocabulary, and its silence where nobody speaks."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from test_librivox import engine

from jobnotes.audio import RATE
from jobnotes.audio.sound import measured
from jobnotes.errors import JobnotesError
from jobnotes.jobs.model import Word
from jobnotes.register import Register
from jobnotes.register.rows import CustomerRow, MachineRow, SiteRow
from jobnotes.speech import Recogniser, vocabulary, voice, weights
from jobnotes.speech.guards import Piece, guard, without_loops
from jobnotes.speech.holes import filled, holes
from jobnotes.speech.recogniser import _Clock
from jobnotes.speech.words import PROMPT_TOKENS, opening, prompt, trade_words


@pytest.fixture(scope="module")
def recogniser() -> Iterator[Recogniser]:
    weights.setup()
    yield Recogniser()


def noise(kind: str, seconds: float) -> np.ndarray:
    random = np.random.default_rng(12)
    white = random.standard_normal(int(seconds * RATE)).astype(np.float32)
    if kind == "silence":
        return np.zeros_like(white)
    if kind == "hiss":
        return white * np.float32(1e-3)
    if kind == "white":
        return white * np.float32(0.1)
    if kind == "engine":
        return engine(seconds, 0.1)
    if kind == "reversing beeps":
        time = np.arange(len(white)) / RATE
        return (0.2 * np.sin(2 * np.pi * 1250 * time) * (time % 1 < 0.5) + 0.01 * white).astype(np.float32)
    strokes = np.zeros_like(white)
    strokes[:: int(0.7 * RATE)] = 1.0
    ring = np.exp(-np.arange(4000) / 600) * np.sin(2 * np.pi * 1130 * np.arange(4000) / RATE)
    return (0.5 * np.convolve(strokes, ring)[: len(white)] + 0.005 * white).astype(np.float32)


KINDS = ["silence", "hiss", "white", "engine", "reversing beeps", "hammer"]


@pytest.mark.parametrize("kind", KINDS)
def test_no_words_where_nobody_speaks(recogniser: Recogniser, kind: str) -> None:
    told: list[float] = []
    transcript = recogniser.hear(measured(noise(kind, 20.0)), progress=told.append)
    assert transcript.words == []
    assert transcript.text == ""
    assert "Nobody is heard speaking in the recording." in transcript.remarks
    assert told[-1] == 20.0


@pytest.mark.parametrize("kind", KINDS)
def test_no_words_even_if_the_voice_detector_were_fooled(
    recogniser: Recogniser, kind: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The whole recording is handed on as speech; the guards behind the recogniser stand alone."""
    monkeypatch.setattr(voice, "stretches", lambda _, length: [voice.Stretch(0, length)])
    transcript = recogniser.hear(measured(noise(kind, 8.0)))
    assert transcript.words == []


def test_a_window_that_loops_twice_is_left_out_and_told(
    recogniser: Recogniser, monkeypatch: pytest.MonkeyPatch
) -> None:
    said = words("I am not sure. " * 30, 0.0)
    loop = SimpleNamespace(
        text="",
        tokens=[],
        end=8.0,
        avg_logprob=-0.2,
        no_speech_prob=0.1,
        compression_ratio=9.0,
        words=[SimpleNamespace(word=f" {one.text}", start=0.0, end=8.0, probability=0.9) for one in said],
    )
    monkeypatch.setattr(recogniser, "_window", lambda *_, **__: [loop])
    monkeypatch.setattr(voice, "voice_probabilities", lambda samples: steps(len(samples) / RATE + 0.04, 0.95))
    transcript = recogniser.hear(measured(noise("white", 8.0)))
    assert transcript.words == []
    assert "Nobody is heard speaking in the recording." not in transcript.remarks
    assert any(remark.startswith("From 0 to 8 s somebody is heard") for remark in transcript.remarks)


@pytest.mark.parametrize("samples", [0, 1, 100, 1599, 1600, 5000])
def test_very_short_sounds(recogniser: Recogniser, samples: int) -> None:
    transcript = recogniser.hear(measured(noise("white", 1.0)[:samples]))
    assert transcript.words == []
    assert transcript.seconds == pytest.approx(samples / RATE, abs=0.001)


def test_a_model_that_cannot_be_loaded(tmp_path: Path) -> None:
    (tmp_path / "model.bin").write_bytes(b"no model")
    (tmp_path / "config.json").write_text("{}")
    with pytest.raises(JobnotesError, match="could not be loaded"):
        Recogniser(str(tmp_path))


def words(text: str, start: float = 0.0, probability: float = 0.9) -> list[Word]:
    """Words of 0.3 s each, on end."""
    return [
        Word(text=one, start=start + 0.3 * n, end=start + 0.3 * (n + 1), probability=probability)
        for n, one in enumerate(text.split())
    ]


def steps(seconds: float, chance: float) -> np.ndarray:
    return np.full(int(seconds / voice.STEP_S), chance, dtype=np.float32)


def test_guard_drops_what_no_voice_stands_under() -> None:
    heard = np.concatenate([steps(3.0, 0.95), steps(7.0, 0.02)])
    kept, dropped = guard(
        [
            Piece(words("Slewed it round twice.", 0.5), -0.2, 0.01),
            Piece(words("Thank you for watching.", 6.0), -0.3, 0.2),
        ],
        heard,
    )
    assert " ".join(word.text for word in kept) == "Slewed it round twice."
    assert [one.why for one in dropped] == ["nobody is heard there"]


def test_guard_needs_evidence_against_a_stock_phrase() -> None:
    surely = [Piece(words("Thank you.", 0.5), -0.2, 0.01)]
    assert guard(surely, steps(3.0, 0.95))[1] == []
    doubtful = [Piece(words("Thank you.", 0.5, probability=0.4), -0.2, 0.01)]
    kept, dropped = guard(doubtful, steps(3.0, 0.95))
    assert kept == []
    assert dropped[0].why == "a stock phrase over noise"


def test_guard_knows_its_own_prompt_come_back() -> None:
    echo = ["relief valve, slew ring, dipper"]
    piece = Piece(words("relief valve, slew ring", 0.5, probability=0.4), -0.7, 0.3)
    assert guard([piece], steps(3.0, 0.9), echo)[0] == []
    said = Piece(words("relief valve, slew ring", 0.5), -0.1, 0.01)
    assert len(guard([said], steps(3.0, 0.9), echo)[0]) == 4


def test_guard_believes_the_recogniser_when_it_doubts_itself() -> None:
    piece = Piece(words("It was on the.", 0.5, probability=0.3), -1.3, 0.9)
    assert guard([piece], steps(3.0, 0.7))[0] == []


def test_guard_knows_how_fast_people_speak() -> None:
    fast = words("so I ran it up and it held at that all day", 0.5)
    for n, word in enumerate(fast):
        word.start, word.end = 0.5 + 0.05 * n, 0.5 + 0.05 * (n + 1)
    assert guard([Piece(fast, -0.2, 0.01)], steps(3.0, 0.95))[0] == []


@pytest.mark.parametrize(
    ("said", "kept"),
    [
        ("it was leaking " * 6 + "so I stopped", "it was leaking so I stopped"),
        ("ran it " + "up " * 9 + "again", "ran it up again"),
        ("no, no, no, it's the other one", "no, no, no, it's the other one"),
        ("serial 4 4 4 4 4 4 4 4 4 4", "serial 4 4 4 4 4 4 4 4 4 4"),
        ("up a bit, up a bit, up a bit, there", "up a bit, up a bit, up a bit, there"),
        ("", ""),
    ],
)
def test_loops_are_cut_to_one_round(said: str, kept: str) -> None:
    left, dropped = without_loops(words(said))
    assert " ".join(word.text for word in left) == kept
    assert len(left) + sum(len(one.words) for one in dropped) == len(said.split())


def test_stretches_of_speech() -> None:
    chances = np.concatenate(
        [steps(3.0, 0.0), steps(4.0, 0.9), steps(1.0, 0.1), steps(2.0, 0.9), steps(5.0, 0.0)]
    )
    length = len(chances) * voice.STEP
    # A pause of 1 s stays within a stretch; 0.4 s is left on either side.
    (one,) = voice.stretches(chances, length)
    assert one.start / RATE == pytest.approx(2.6, abs=0.07)
    assert one.end / RATE == pytest.approx(10.4, abs=0.15)
    twice = voice.stretches(np.concatenate([chances, chances]), 2 * length)
    assert len(twice) == 2
    assert twice[0].end < twice[1].start
    assert voice.stretches(steps(10.0, 0.1), 160_000) == []
    assert voice.stretches(np.zeros(0, np.float32), 0) == []


def text(pieces: list[Piece]) -> str:
    return " ".join(word.text for piece in pieces for word in piece.words)


def test_holes_between_words_are_found_and_filled() -> None:
    pieces = [
        Piece(words("Slewed it round.", 0.5), -0.2, 0.0),
        Piece(words("Then it stopped.", 7.0), -0.2, 0.0),
    ]
    # Nobody speaks from 1.5 to 6.5 s: no hole.
    pause = np.concatenate([steps(1.5, 0.95), steps(5.0, 0.05), steps(2.0, 0.95)])
    assert holes(pieces, pause, 8.5) == []
    (hole,) = holes(pieces, steps(8.0, 0.95), 8.0)
    assert (hole.start, hole.end) == (pytest.approx(1.4), 7.0)
    filling = [Piece(words("round. Twice to the left. Then", 1.5), -0.3, 0.0)]
    # "round." and "Then" are heard on both sides of an edge, and stand once.
    assert text(filled(pieces, hole, filling)) == "Slewed it round. Twice to the left. Then it stopped."
    assert filled(pieces, hole, []) == pieces


def test_a_word_that_lasts_too_long_hides_a_hole() -> None:
    drawn = Word(text="Six", start=1.4, end=8.0, probability=0.9)
    late = Word(text="litres,", start=8.0, end=8.3, probability=0.9)
    pieces = [
        Piece([*words("Topped it up.", 0.5), drawn, late], -0.2, 0.0),
        Piece(words("Ran it.", 9.0), -0.2, 0.0),
    ]
    (hole,) = holes(pieces, steps(10.0, 0.95), 9.6)
    assert (hole.start, hole.end, hole.cut) == (1.4, 9.0, 2)
    filling = [Piece(words("Six litres, no, seven litres went in.", 1.4), -0.3, 0.0)]
    assert (
        text(filled(pieces, hole, filling)) == "Topped it up. Six litres, no, seven litres went in. Ran it."
    )
    assert filled(pieces, hole, []) == pieces


def test_a_hole_at_the_end() -> None:
    pieces = [Piece(words("Slewed it round.", 0.5), -0.2, 0.0)]
    (hole,) = holes(pieces, steps(8.0, 0.95), 8.0)
    assert hole.end == 8.0
    assert (
        text(filled(pieces, hole, [Piece(words("And left.", 6.0), -0.3, 0.0)]))
        == "Slewed it round. And left."
    )
    assert holes([], steps(8.0, 0.95), 8.0) == []


def test_windows_end_in_pauses() -> None:
    chances = steps(100.0, 0.9)
    assert voice.seam(chances, 80.0, 100.0) == 100.0
    # Nobody pauses: the least likely place.
    for dip, depth in ((24.0, 0.6), (27.0, 0.4)):
        chances[int((dip - 0.2) / voice.STEP_S) : int((dip + 0.2) / voice.STEP_S)] = depth
    assert voice.seam(chances, 0.0, 100.0) == pytest.approx(27.0, abs=0.2)
    # Two pauses: the later one. A pause out of reach counts for nothing.
    for pause in (21.0, 25.0, 31.0):
        chances[int((pause - 0.3) / voice.STEP_S) : int((pause + 0.3) / voice.STEP_S)] = 0.0
    assert voice.seam(chances, 0.0, 100.0) == pytest.approx(25.0, abs=0.3)
    start = 0.0
    while start < 100.0:
        end = voice.seam(chances, start, 100.0)
        assert start < end <= start + voice.WINDOW_S
        start = end


def test_clock_maps_joined_speech_back_to_the_recording() -> None:
    clock = _Clock([voice.Stretch(16_000, 48_000), voice.Stretch(160_000, 192_000)])
    assert clock.span(0.0, 0.5) == (1.0, 1.5)
    assert clock.span(2.5, 3.0) == (10.5, 11.0)
    # A word whose times reach over the join belongs to the side where most of it lies.
    assert clock.span(1.9, 2.5) == (10.0, 10.5)
    assert clock.span(1.4, 2.2) == (2.4, 3.0)


def test_faint_sound_is_raised_and_loud_sound_left_alone() -> None:
    tone = np.sin(np.arange(RATE) / 8).astype(np.float32)
    assert voice.louder(tone, -3.0) is tone
    raised = voice.louder(tone * np.float32(0.001), -63.0)
    assert float(np.max(np.abs(raised))) == pytest.approx(0.001 * 10 ** (37 / 20), rel=0.01)
    assert float(np.max(np.abs(voice.louder(tone * np.float32(0.9), -60.0)))) <= 1.0
    silence = np.zeros(10, np.float32)
    assert voice.louder(silence, -120.0) is silence


def test_voice_over_noise() -> None:
    random = np.random.default_rng(8)
    hiss = random.standard_normal(10 * RATE).astype(np.float32) * np.float32(0.01)
    tone = 0.1 * np.sin(np.arange(5 * RATE) / 5).astype(np.float32)
    samples = hiss.copy()
    # Like speech, the tone pauses a quarter of the time.
    samples[5 * RATE :] += tone * (np.arange(5 * RATE) % 6400 < 4800)
    chances = np.concatenate([steps(5.0, 0.0), steps(5.02, 1.0)])
    # Power of the tone 3/4 * 0.1**2 / 2, of the hiss 0.01**2: 37.5 times, 15.7 dB.
    assert voice.voice_over_noise(samples, chances) == pytest.approx(15.7, abs=1.0)
    # A roar where nobody speaks changes nothing.
    samples[: 4 * RATE] *= 100
    assert voice.voice_over_noise(samples, chances) == pytest.approx(15.7, abs=1.0)
    assert voice.voice_over_noise(samples, np.zeros_like(chances)) is None


def test_vocabulary_holds_names_and_no_numbers() -> None:
    register = Register(
        customers=[CustomerRow("Ottery Groundworks"), CustomerRow("Ottery Groundworks")],
        sites=[SiteRow("Pellam Reservoir", "Ottery Groundworks")],
        machines=[
            MachineRow("QX118", "excavator", "Brandt", "R 140"),
            MachineRow("QX119", make="Halvor", model="Tor"),
        ],
    )
    names = vocabulary(register)
    own = ["Ottery Groundworks", "Pellam Reservoir", "Brandt", "Halvor", "Tor"]
    assert [name for name in names if name not in trade_words()] == own
    assert [name for name in names if name not in own] == list(trade_words())
    assert not any(character.isdigit() for name in names for character in name)
    assert vocabulary() == list(trade_words())


def test_prompt_never_passes_its_budget(recogniser: Recogniser) -> None:
    many = [f"Upper Wexcombe Quarry Extension {chr(65 + n % 26) * (n // 26 + 1)}" for n in range(500)]
    for listed in (many, [*many, *trade_words()], [], ["  "], ["x" * 5000]):
        text = prompt(listed, recogniser._tokens)
        assert recogniser._tokens(" " + text) <= PROMPT_TOKENS
        assert text.endswith(opening())
    assert prompt(["Wexcombe"], recogniser._tokens).startswith("Wexcombe. ")
