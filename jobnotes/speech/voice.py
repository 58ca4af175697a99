"""Where in a recording somebody speaks, and how far the voice stands above the noise."""

from __future__ import annotations

from dataclasses import dataclass
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
"""Whisper hears 30 s at a time; a breath is left free."""

SURE_VOICE = 0.8
SURE_NOISE = 0.1
NEAR_S = 0.5
WANTED_DBFS = -26.0
QUIETER_DBFS = -35.0
MOST_GAIN_DB = 40.0


@dataclass(frozen=True)
class Stretch:
    """A stretch of the recording, in samples, `end` exclusive. `start` is a multiple of STEP."""

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


def stretches(probabilities: npt.NDArray[np.float32], length: int) -> list[Stretch]:
    """The stretches of a recording of `length` samples that hold speech, in order, not overlapping, padded.

    A stretch opens where the probability passes THRESHOLD and closes where it stays under RELEASE for
    SILENCE_S. The padding is PAD_S on both sides, or half the pause where that is less.
    """
    found: list[tuple[int, int]] = []
    opened: int | None = None
    quiet: int | None = None
    wait = round(SILENCE_S / STEP_S)
    for i, probability in enumerate(probabilities):
        if probability >= THRESHOLD:
            quiet = None
            if opened is None:
                opened = i
        elif opened is not None and probability < RELEASE:
            if quiet is None:
                quiet = i
            if i - quiet >= wait:
                found.append((opened, quiet))
                opened = quiet = None
    if opened is not None:
        found.append((opened, len(probabilities)))
    pad = round(PAD_S / STEP_S)
    padded = []
    for n, (first, last) in enumerate(found):
        before = (first - found[n - 1][1]) // 2 if n else first
        after = (found[n + 1][0] - last) // 2 if n + 1 < len(found) else len(probabilities) - last
        start = (first - min(pad, before)) * STEP
        padded.append(Stretch(start, min((last + min(pad, after)) * STEP, length)))
    return padded


def seam(chances: npt.NDArray[np.float32], start: float, seconds: float) -> float:
    """Where a window that begins at `start` should end, in seconds: in a pause, and not in a word.

    That is the end of the sound if it is no further than WINDOW_S, the most that the recogniser takes at a
    time; else the last pause of the third third of WINDOW_S, or, where nobody pauses, the place there where a
    voice is least likely. `chances` are the voice probabilities, one a STEP; `seconds` is the length of the
    sound.
    """
    if seconds - start <= WINDOW_S:
        return seconds
    first, last = int((start + WINDOW_S * 2 / 3) / STEP_S), int((start + WINDOW_S) / STEP_S)
    # Over seven steps (0.22 s), for a dip within a word is shorter than a pause between two.
    calm = np.convolve(chances[first:last], np.ones(7) / 7, mode="same")[3:-3]
    pauses = np.flatnonzero(calm <= SURE_NOISE)
    place = pauses[-1] if len(pauses) else np.argmin(calm)
    return float((first + 3 + place) * STEP_S)


def calm(chances: npt.NDArray[np.float32], place: float) -> float:
    """How likely a voice is at `place` seconds: the mean over 0.22 s, as in `seam`."""
    step = round(place / STEP_S)
    return float(np.mean(chances[max(0, step - 3) : step + 4]))


def voiced(chances: npt.NDArray[np.float32], start: float, end: float) -> float:
    """Seconds of voice from `start` to `end` seconds."""
    part = chances[int(start / STEP_S) : int(end / STEP_S)]
    return float(np.count_nonzero(part >= THRESHOLD) * STEP_S)


def strongest(probabilities: npt.NDArray[np.float32], start: float, end: float, slack: float = 0.2) -> float:
    """The highest voice probability from `start` to `end` seconds, give or take `slack`.

    The recogniser's word times come from its attention, and are about 0.2 s uncertain.
    """
    first = max(0, int((start - slack) / STEP_S))
    last = int((end + slack) / STEP_S) + 1
    return float(np.max(probabilities[first:last], initial=0.0))


def voice_over_noise(samples: Samples, chances: npt.NDArray[np.float32]) -> float | None:
    """How far the voice stands above the noise around it, in dB; None with less than 0.3 s of voice to
    measure.

    The noise is the level that the quietest tenth of the STEPs stay under, of those within NEAR_S of a voice:
    between words the noise stands alone (the thought of minimum statistics, Martin 2001). What roars where
    nobody speaks is no noise under the voice. The noise's power is taken off the voice's.
    """
    levels = frame_levels(samples, STEP_S)
    count = min(len(levels), len(chances))
    voice = chances[:count] >= SURE_VOICE
    if np.count_nonzero(voice) * STEP_S < 0.3:
        return None
    reach = round(NEAR_S / STEP_S)
    near = np.convolve(voice, np.ones(2 * reach + 1), mode="same")[:count] > 0
    powers = 10.0 ** (levels[:count] / 10.0)
    noise_power = float(np.percentile(powers[near], 10))
    voice_power = float(np.mean(powers[voice])) - noise_power
    return float(10.0 * np.log10(max(voice_power, noise_power * 0.01) / noise_power))
