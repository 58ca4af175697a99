"""Real human speech, published by others: clips of LibriVox, and WAV files broken on purpose.

Source of both: the source archive of pocketsphinx 5.1.1 (see outside/fetch.py). The word error rate is
counted after the English normaliser of Whisper's authors (package whisper-normalizer; Radford et al. 2022,
appendix C) with jiwer.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import jiwer
import numpy as np
import pytest
from whisper_normalizer.english import EnglishTextNormalizer

from jobnotes.audio import RATE, Sound, load
from jobnotes.audio.sound import measured
from jobnotes.errors import JobnotesError
from jobnotes.speech import Recogniser, weights

sys.path.insert(0, str(Path(__file__).parent))
from outside.fetch import fetch
from test_audio import encode

NORMALISE = EnglishTextNormalizer()
# The transcript has a reader's slip in it ("a more a amiable woman"), which is kept.
MOST = 0.03


@pytest.fixture(scope="module")
def data() -> Path:
    return fetch() / "test" / "data"


@pytest.fixture(scope="module")
def clips(data: Path) -> list[tuple[Path, str]]:
    """The recordings, with what is read in them."""
    folder = data / "librivox"
    found = [(path, path.with_suffix(".txt").read_text("utf-8")) for path in sorted(folder.glob("*.wav"))]
    assert len(found) == 5
    return found


@pytest.fixture(scope="module")
def recogniser() -> Iterator[Recogniser]:
    weights.setup()
    yield Recogniser()


def errors(said: list[str], heard: list[str]) -> float:
    """Word error rate, 0 or more, over all clips together."""
    return float(jiwer.wer([NORMALISE(text) for text in said], [NORMALISE(text) for text in heard]))


def test_word_error_rate(recogniser: Recogniser, clips: list[tuple[Path, str]]) -> None:
    heard = [recogniser.hear(load(path)) for path, _ in clips]
    assert errors([said for _, said in clips], [transcript.text for transcript in heard]) <= MOST
    for transcript in heard:
        assert transcript.remarks == []
        assert transcript.text.split() == [word.text for word in transcript.words]
        times = [time for word in transcript.words for time in (word.start, word.end)]
        assert times == sorted(times)
        assert times[0] >= 0.0
        assert times[-1] <= transcript.seconds
        assert all(0.0 <= word.probability <= 1.0 for word in transcript.words)


def test_the_same_words_from_a_narrow_telephone_coder(
    recogniser: Recogniser, clips: list[tuple[Path, str]], tmp_path: Path
) -> None:
    """AMR-NB, 8 kHz (3GPP TS 26.071): the worst that a phone's recorder makes of a voice."""
    path, said = max(clips, key=lambda clip: len(clip[1]))
    coded = encode(tmp_path / "memo.amr", load(path).samples, "libopencore_amrnb", 8_000)
    assert errors([said], [recogniser.hear(load(coded)).text]) <= 0.1


def test_ten_seconds_of_noise_between_two_clips(
    recogniser: Recogniser, clips: list[tuple[Path, str]]
) -> None:
    (first, said_first), (second, said_second) = clips[0], clips[2]
    before, after = load(first).samples, load(second).samples
    random = np.random.default_rng(11)
    strength = float(np.sqrt(np.mean(np.square(before))))
    white = random.standard_normal(10 * RATE).astype(np.float32) * strength
    for noise in (white, engine(10.0, strength)):
        transcript = recogniser.hear(measured(np.concatenate([before, noise, after])))
        heard = jiwer.process_words(
            NORMALISE(f"{said_first} {said_second}"), NORMALISE(transcript.text.replace("...", "."))
        )
        assert heard.insertions == 0
        assert heard.wer <= 0.1
        start, end = len(before) / RATE, len(before) / RATE + 10.0
        within = [word for word in transcript.words if word.end > start + 0.3 and word.start < end - 0.3]
        assert within == []


def test_a_faint_recording_is_heard_all_the_same(
    recogniser: Recogniser, clips: list[tuple[Path, str]]
) -> None:
    path, said = clips[0]
    faint = measured(load(path).samples * np.float32(0.01))
    transcript = recogniser.hear(faint)
    assert errors([said], [transcript.text]) <= 0.1
    assert transcript.remarks[0].startswith("The recording is too quiet")


def test_a_voice_drowned_in_noise_is_remarked_on(
    recogniser: Recogniser, clips: list[tuple[Path, str]]
) -> None:
    voice = load(clips[0][0]).samples
    pause = np.zeros(RATE, np.float32)
    padded = np.concatenate([pause, voice, pause])
    strength = float(np.sqrt(np.mean(np.square(voice))))
    noise = np.random.default_rng(5).standard_normal(len(padded)).astype(np.float32) * strength
    poor = recogniser.hear(measured(padded + noise))
    assert any(remark.startswith("The recording is poor") for remark in poor.remarks)


def test_the_same_words_every_time(recogniser: Recogniser, clips: list[tuple[Path, str]]) -> None:
    path = clips[3][0]
    first = recogniser.hear(load(path))
    recogniser.hear(Sound(engine(3.0, 0.1), 3.0))
    assert recogniser.hear(load(path)) == first


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("awful.wav", "is a damaged sound file: it claims 1092676 samples a second."),
        ("bad.wav", "is a damaged WAV file: nothing in it can be decoded."),
        ("evil.wav", "is a damaged WAV file: nothing in it can be decoded."),
        ("null.wav", "is a WAV file without any sound in it that can be decoded."),
    ],
)
def test_broken_wav_files_are_named(data: Path, name: str, said: str) -> None:
    with pytest.raises(JobnotesError) as caught:
        load(data / name)
    assert str(caught.value) == f"{data / name} {said}"


def engine(seconds: float, strength: float) -> np.ndarray:
    """A diesel's firing harmonics under hiss that falls off with frequency, RMS `strength`, float32."""
    random = np.random.default_rng(4)
    time = np.arange(int(seconds * RATE)) / RATE
    turn = np.cumsum(55.0 * (1 + 0.04 * np.sin(2 * np.pi * 0.4 * time))) / RATE
    firing = sum(np.sin(2 * np.pi * (n * turn + random.uniform())) / n**0.8 for n in range(1, 40))
    rumble = np.convolve(random.standard_normal(len(time)), np.exp(-np.arange(60) / 12.0), mode="same")
    sound = firing / np.std(firing) + 0.7 * rumble / np.std(rumble)
    return (strength * sound / np.sqrt(np.mean(np.square(sound)))).astype(np.float32)
