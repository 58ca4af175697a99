"""Recordings as a browser plays them: decoded by the house's own decoder, so that every second is the same
second as in the evidence, whatever kind of file it was."""

from __future__ import annotations

import threading
from collections import OrderedDict
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np

from jobnotes.audio import RATE, load

MOST_BYTES = 160_000_000
"""Decoded sound held at a time; half an hour is 58 MB."""
PEAKS = 900
"""Columns of the waveform."""


@dataclass(frozen=True)
class Played:
    """A recording as a WAV file (16 kHz, one channel, 16 bit), and its waveform: the highest level of each
    PEAKS-th, 0 to 1 of the loudest."""

    wav: bytes
    peaks: tuple[float, ...]
    seconds: float


class Sounds:
    """The recordings played last, held in memory alone: nothing of them is left when the desk closes."""

    def __init__(self) -> None:
        self._held: OrderedDict[str, Played] = OrderedDict()
        self._lock = threading.Lock()

    def played(self, sha256: str, path: Path) -> Played:
        """The recording of that content at `path`. Raises JobnotesError where it can't be decoded."""
        with self._lock:
            found = self._held.get(sha256)
            if found is not None:
                self._held.move_to_end(sha256)
                return found
            # Under the lock: two who open one draft at once need it decoded once.
            made = _played(path)
            self._held[sha256] = made
            while len(self._held) > 1 and sum(len(each.wav) for each in self._held.values()) > MOST_BYTES:
                self._held.popitem(last=False)
            return made


def _played(path: Path) -> Played:
    samples = load(path).samples
    levels = np.abs(samples)
    edges = np.linspace(0, len(levels), PEAKS + 1).astype(int)
    loudest = float(levels.max()) or 1.0
    peaks = [
        round(float(levels[first:last].max()) / loudest, 3) if last > first else 0.0
        for first, last in pairwise(edges)
    ]
    pcm = (np.clip(samples, -1, 1) * 32767).astype("<i2").tobytes()
    return Played(_wav_head(len(pcm)) + pcm, tuple(peaks), len(samples) / RATE)


def _wav_head(size: int) -> bytes:
    """The 44 bytes before the samples (Multimedia Programming Interface and Data Specifications 1.0, 1991,
    WAVE)."""

    def number(value: int, length: int = 4) -> bytes:
        return value.to_bytes(length, "little")

    return b"".join(
        [
            b"RIFF" + number(36 + size) + b"WAVE",
            b"fmt " + number(16) + number(1, 2) + number(1, 2),
            number(RATE) + number(RATE * 2) + number(2, 2) + number(16, 2),
            b"data" + number(size),
        ]
    )
