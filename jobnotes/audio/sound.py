"""Samples, their levels, and the faults that the levels show."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

import numpy as np
import numpy.typing as npt

RATE = 16_000
"""Samples a second. The recogniser was trained at this rate (Radford et al. 2022, section 2.2)."""

FLOOR_DBFS = -120.0
"""Given for digital silence, whose level would be minus infinity. 16-bit quantisation noise stands near -98
dBFS."""

FRAME_S = 0.03
SILENT_DBFS = -65.0
"""Of the loud frames, see loud_level. Chosen between a recorder's own noise and the faintest speech."""
QUIET_DBFS = -42.0
"""Of the loud frames. Chosen: about 20 dB below the programme loudness of EBU R 128, -23 LUFS."""
FULL_SCALE = 0.985
CLIPPED_SHARE = 0.001
"""A peak-normalised recording has a few samples at full scale; a flattened one has many, side by side."""
SHORTEST_S = 0.1

Samples = npt.NDArray[np.float32]


@dataclass
class Sound:
    """A recording: `samples` are float32, mono, RATE a second, full scale 1.0.

    `peak_dbfs` and `rms_dbfs` are dB relative to full scale, at least FLOOR_DBFS. `clipped` is the share of
    samples, 0 to 1, that stand flat at full scale. `created` is the aware time that the file's tag gives, if
    any. `remarks` say what is wrong with the recording, a sentence each.
    """

    samples: Samples
    seconds: float
    created: datetime | None = None
    peak_dbfs: float = FLOOR_DBFS
    rms_dbfs: float = FLOOR_DBFS
    clipped: float = 0.0
    remarks: list[str] = field(default_factory=list)


def dbfs(value: float) -> float:
    """A linear amplitude (full scale 1.0) in dB, at least FLOOR_DBFS."""
    return float(max(FLOOR_DBFS, 20.0 * np.log10(max(value, 1e-12))))


def frame_levels(samples: Samples, frame_s: float = FRAME_S) -> npt.NDArray[np.float64]:
    """RMS of each whole frame of `frame_s` seconds, in dBFS; of all samples when there is less than a
    frame."""
    size = round(frame_s * RATE)
    count = len(samples) // size
    if count == 0:
        return np.array([dbfs(_rms(samples))])
    frames = samples[: count * size].reshape(count, size)
    power = np.einsum("ij,ij->i", frames, frames, dtype=np.float64) / size
    levels: npt.NDArray[np.float64] = np.maximum(FLOOR_DBFS, 10.0 * np.log10(np.maximum(power, 1e-24)))
    return levels


def loud_level(samples: Samples) -> float:
    """Level of the loud frames in dBFS: of the speech, where there is any, however long the pauses.

    It is the 97th percentile, which a memo of 20 s in a recording of 10 min still reaches and a click does
    not.
    """
    return float(np.percentile(frame_levels(samples), 97))


def flat_share(samples: Samples) -> float:
    """Share of samples, 0 to 1, at full scale beside another at full scale: the flat tops of a clipped
    wave."""
    if len(samples) < 2:
        return 0.0
    top = np.abs(samples) >= FULL_SCALE
    beside = np.zeros_like(top)
    beside[1:] |= top[1:] & top[:-1]
    beside[:-1] |= top[:-1] & top[1:]
    return float(np.count_nonzero(beside) / len(samples))


def measured(samples: Samples, created: datetime | None = None, flat: float | None = None) -> Sound:
    """The Sound of `samples`, with levels and remarks on silence, quietness, clipping and shortness.

    `flat` is the flat share where it was measured before mixing, which rounds flat tops off.
    """
    seconds = len(samples) / RATE
    peak = float(np.max(np.abs(samples))) if len(samples) else 0.0
    clipped = flat_share(samples) if flat is None else flat
    sound = Sound(samples, seconds, created, dbfs(peak), dbfs(_rms(samples)), clipped)
    loud = loud_level(samples)
    if seconds < SHORTEST_S:
        sound.remarks.append(f"The recording lasts only {seconds:.2f} s, too short to hold a word.")
    elif loud < SILENT_DBFS:
        sound.remarks.append(f"The recording is silent: its level is {loud:.0f} dBFS.")
    elif loud < QUIET_DBFS:
        sound.remarks.append(
            f"The recording is too quiet ({loud:.0f} dBFS): words may be missed; hold the microphone nearer."
        )
    if clipped > CLIPPED_SHARE:
        sound.remarks.append(
            f"The recording is clipped ({100 * clipped:.1f} % of it at full scale): it was too loud for the "
            "microphone, and words may be misheard."
        )
    return sound


def _rms(samples: Samples) -> float:
    # Summed in passing: squares of their own would take twice the room of the samples.
    total = float(np.einsum("i,i->", samples, samples, dtype=np.float64))
    return float(np.sqrt(total / len(samples))) if len(samples) else 0.0
