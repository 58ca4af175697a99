#!/usr/bin/env python3
"""A long memo, made of short ones joined on end: is every word heard, how much memory and time does it take?

    bench/long.py FILE... [--minutes 30] [--pause 0.6]

The files are heard one by one, then joined in turn, with `--pause` seconds between two, to a recording of
`--minutes`, which is heard as a whole. Printed are

    words     of the long memo, held against those heard in the files one by one: put in, left out, changed,
              after the English normaliser of Whisper's authors. The words before a window lead to other
              spellings, so a few are changed
    joins     of these, the words left out or put in within three words of a join
    memory    the peak of the whole process after the short files and after the long one
    progress  how often it was told, and the longest stretch of sound between two times

Jobnotes hears without a register. Stops with status 1 where progress goes back or ends early.
"""

from __future__ import annotations

import argparse
import resource
import sys
import time
from itertools import accumulate, cycle
from pathlib import Path

import jiwer
import numpy as np
from heard import normal

from jobnotes.audio import RATE, Sound, load
from jobnotes.audio.sound import measured
from jobnotes.speech import Recogniser

NEAR = 3
"""Words so near to a join count as at it."""


def peak_mb() -> float:
    """Peak memory of this process so far. Linux gives KiB, macOS bytes."""
    return (
        resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * (1 if sys.platform == "darwin" else 1024) / 1e6
    )


def joined(sounds: list[Sound], seconds: float, pause_s: float) -> tuple[Sound, list[int]]:
    """The sounds on end, over and over, until `seconds` are full; and which of them, in order."""
    pause = np.zeros(round(pause_s * RATE), np.float32)
    parts: list[np.ndarray] = []
    order: list[int] = []
    length = 0
    for number in cycle(range(len(sounds))):
        if length / RATE >= seconds:
            break
        parts += [sounds[number].samples, pause]
        order.append(number)
        length += len(sounds[number].samples) + len(pause)
    return measured(np.concatenate(parts)), order


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("files", nargs="+", type=Path, metavar="FILE")
    parser.add_argument("--minutes", type=float, default=30.0)
    parser.add_argument("--pause", type=float, default=0.6)
    options = parser.parse_args()

    recogniser = Recogniser()
    sounds = [load(path) for path in options.files]
    started = time.perf_counter()
    short = [normal(recogniser.hear(sound).text).split() for sound in sounds]
    took_short, peak_short = time.perf_counter() - started, peak_mb()

    long, order = joined(sounds, options.minutes * 60, options.pause)
    told: list[float] = []
    started = time.perf_counter()
    transcript = recogniser.hear(long, progress=told.append)
    took = time.perf_counter() - started

    said = [word for number in order for word in short[number]]
    joins = list(accumulate(len(short[number]) for number in order))[:-1]
    counts = jiwer.process_words(" ".join(said), normal(transcript.text))
    lost = doubled = 0
    for chunk in counts.alignments[0]:
        if chunk.type not in ("insert", "delete"):
            continue
        first, last = chunk.ref_start_idx, chunk.ref_end_idx
        if any(first - NEAR < join < last + NEAR for join in joins):
            lost += last - first
            doubled += chunk.hyp_end_idx - chunk.hyp_start_idx if chunk.type == "insert" else 0
    short_s = sum(sound.seconds for sound in sounds)
    gaps = np.diff([0.0, *told])
    for name, length, taken in (("short memos", short_s, took_short), ("long memo", long.seconds, took)):
        print(f"{name:12} {length:8.1f} s of sound  {taken:7.1f} s taken  {taken / length:.3f} real time")
    print(
        f"words        {len(said)}: put in {counts.insertions}, left out {counts.deletions}, changed "
        f"{counts.substitutions}"
    )
    print(f"joins        {len(joins)}: words left out {lost}, put in {doubled}")
    print(f"memory       {peak_short:.0f} MB after the short ones, {peak_mb():.0f} MB after the long one")
    print(f"progress     told {len(told)} times, at most {max(gaps):.1f} s of sound apart")
    for remark in transcript.remarks:
        print(f"remark       {remark}")
    if min(gaps) < 0.0 or told[-1] != long.seconds:
        sys.exit("Progress goes back, or ends early.")


if __name__ == "__main__":
    main()
