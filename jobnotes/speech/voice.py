"""Where in a recording somebody speaks, and how far the voice stands above the noise."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt

from jobnotes.audio import RATE
from jobnotes.audio.sound import Samples, frame_levels

STEP = 512
"""Samples that the voice detector judges at a time (32 ms): what Silero VAD was trained on."""
STEP_S = STEP / RATE

THRESHOLD = 0.5
RELEASE = 0.35
SILENCE_S = 2.0
PAD_S = 0.4
"""Threshold, hysteresis, shortest pause and padding: the values that faster-whisper's own filter has."""

WINDOW_S = 29.0
SEAM_S = 5.0

SURE_VOICE = 0.8
SURE_NOISE = 0.1
WANTED_DBFS = -26.0
QUIETER_DBFS = -35.0
MOST_GAIN_DB = 40.0


@dataclass(frozen=True)
class Stretch:
    """A stretch of the recording, in samples, `end` exclusive."""

    start: int
    end: int


def louder(samples: Samples, loud_dbfs: float) -> Samples:
    """A quiet recording raised to a usual level, any other as it is: the voice detector misses faint speech.

    `loud_dbfs` is the level of its loud frames. The gain is at most MOST_GAIN_DB, and no peak passes full
    scale.
    """
    peak = float(np.max(np.abs(samples))) if len(samples) else 0.0
    if loud_dbfs >= QUIETER_DBFS or peak == 0.0:
        return samples
    gain = 10.0 ** (min(MOST_GAIN_DB, WANTED_DBFS - loud_dbfs) / 20.0)
    raised: Samples = samples * np.float32(min(gain, 1.0 / peak))
    return raised


def voice_probabilities(samples: Samples) -> npt.NDArray[np.float32]:
    """Probability of a voice, 0 to 1, in each STEP of the recording (the last is filled up with silence).

    Silero VAD (MIT), the model that faster-whisper carries.
    """
    from faster_whisper.vad import get_vad_model

    if len(samples) == 0:
        return np.zeros(0, dtype=np.float32)
    model: Any = get_vad_model()
    padded = np.pad(samples, (0, -len(samples) % STEP))
    return np.asarray(model(padded), dtype=np.float32).reshape(-1)


def stretches(probabilities: npt.NDArray[np.float32], length: int, longest_s: float = 300.0) -> list[Stretch]:
    """The stretches of a recording of `length` samples that hold speech, in order, not overlapping, padded.

    A stretch opens where the probability passes THRESHOLD and closes where it stays under RELEASE for
    SILENCE_S. The padding is PAD_S on both sides, or half the pause where that is less. One longer than
    `longest_s` seconds is cut.
    """
    found: list[tuple[int, int]] = []
    start: int | None = None
    quiet: int | None = None
    wait = round(SILENCE_S / STEP_S)
    for i, probability in enumerate(probabilities):
        if probability >= THRESHOLD:
            quiet = None
            if start is None:
                start = i
        elif start is not None and probability < RELEASE:
            if quiet is None:
                quiet = i
            if i - quiet >= wait:
                found.append((start, quiet))
                start = quiet = None
    if start is not None:
        found.append((start, len(probabilities)))
    pad = round(PAD_S * RATE)
    padded = []
    for n, (first, last) in enumerate(found):
        before = found[n - 1][1] * STEP if n else 0
        after = found[n + 1][0] * STEP if n + 1 < len(found) else length
        begin, end = first * STEP, min(last * STEP, length)
        room_before = (begin - before) // 2 if n else begin
        room_after = (after - end) // 2 if n + 1 < len(found) else length - end
        whole = Stretch(begin - min(pad, room_before), end + min(pad, room_after))
        padded += _parts(whole, probabilities, longest_s)
    return padded


def _parts(whole: Stretch, probabilities: npt.NDArray[np.float32], longest_s: float) -> list[Stretch]:
    """A stretch cut into parts of `longest_s` at most, each cut where a voice is least likely in the last
    fifth."""
    parts = []
    start = whole.start
    most = int(longest_s * RATE)
    while whole.end - start > most:
        first, last = (start + most * 4 // 5) // STEP, (start + most) // STEP
        # Over five steps (0.16 s), for a dip within a word is shorter than the gap between two.
        calm = np.convolve(probabilities[first:last], np.ones(5) / 5, mode="same")
        cut = (first + int(np.argmin(calm))) * STEP
        parts.append(Stretch(start, cut))
        start = cut
    return [*parts, Stretch(start, whole.end)]


def windows(chances: npt.NDArray[np.float32], seconds: float) -> list[float]:
    """Start and end of each window, in seconds, on end: start, end, start, end, and so on, over all of the
    sound.

    The recogniser takes WINDOW_S at most at a time. The windows are of like length, and each seam lies where
    a voice is least likely within SEAM_S of where it would have to be: in a pause, and not in a word.
    `chances` are the voice probabilities, one a STEP.
    """
    calm = np.convolve(chances, np.ones(7) / 7, mode="same")
    edges = [0.0]
    while (left := seconds - edges[-1]) > WINDOW_S:
        wanted = edges[-1] + left / np.ceil(left / WINDOW_S)
        first = int((wanted - SEAM_S) / STEP_S)
        last = int(min(wanted + SEAM_S, edges[-1] + WINDOW_S) / STEP_S)
        edges.append((first + int(np.argmin(calm[first:last]))) * STEP_S)
    edges.append(seconds)
    return [edge for pair in pairwise(edges) for edge in pair]


def strongest(probabilities: npt.NDArray[np.float32], start: float, end: float, slack: float = 0.2) -> float:
    """The highest voice probability from `start` to `end` seconds, give or take `slack`.

    The recogniser's word times come from its attention, and are about 0.2 s uncertain.
    """
    first = max(0, int((start - slack) / STEP_S))
    last = int((end + slack) / STEP_S) + 1
    return float(np.max(probabilities[first:last], initial=0.0))


def voice_over_noise(samples: Samples, probabilities: npt.NDArray[np.float32]) -> float | None:
    """How far the voice stands above the noise, in dB; None with less than 0.3 s of either to measure.

    Levels are of the STEPs that surely hold a voice and those that surely hold none; the noise's power is
    taken off the voice's.
    """
    levels = frame_levels(samples, STEP_S)
    count = min(len(levels), len(probabilities))
    levels, probabilities = levels[:count], probabilities[:count]
    voice = levels[probabilities >= SURE_VOICE]
    noise = levels[probabilities <= SURE_NOISE]
    if min(len(voice), len(noise)) * STEP_S < 0.3:
        return None
    voice_power = float(np.mean(10.0 ** (voice / 10.0)))
    noise_power = float(np.mean(10.0 ** (noise / 10.0)))
    if noise_power <= 1e-12:
        return None
    return float(10.0 * np.log10(max(voice_power - noise_power, noise_power * 0.01) / noise_power))
