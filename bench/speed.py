#!/usr/bin/env python3
"""How long listening takes, beside plain faster-whisper in the same run.

    bench/speed.py FILE...

Each file is heard by jobnotes (sound file to transcript, guards and all) and by plain faster-whisper with
the same weights, beam and voice filter, and with word times, which the transcript needs. The two run in
processes of their own, turn by turn, so that whatever else the machine does falls on both; the one that
goes first changes with every file. Loading is not in the seconds. `ratio` is jobnotes' time to the plain
one's, `real time` the seconds of work a second of sound. Peak memory is that of the whole process, model
and all. Reach: ratio 1.25, real time 0.15 on 2 cores, 1 GB.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

WAYS = ("jobnotes", "plain")


def work(way: str) -> None:
    """Hear the file named on each line of standard input, and write what it took as a line of JSON."""
    from jobnotes.audio import load
    from jobnotes.speech import Recogniser
    from jobnotes.speech.weights import find_model

    started = time.perf_counter()
    if way == "jobnotes":
        recogniser = Recogniser()
    else:
        from faster_whisper import WhisperModel

        model = WhisperModel(
            find_model(), device="cpu", compute_type="int8", cpu_threads=min(4, os.cpu_count() or 2)
        )
    print(json.dumps({"loaded": time.perf_counter() - started}), flush=True)
    for line in sys.stdin:
        path = Path(line.rstrip("\n"))
        started = time.perf_counter()
        if way == "jobnotes":
            transcript = recogniser.hear(load(path))
            length, words = transcript.seconds or 0.0, len(transcript.words)
        else:
            segments, info = model.transcribe(
                str(path), language="en", beam_size=5, vad_filter=True, word_timestamps=True
            )
            words = sum(len(segment.words or []) for segment in segments)
            length = info.duration
        took = time.perf_counter() - started
        # Linux gives the peak in KiB, macOS in bytes.
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * (1 if sys.platform == "darwin" else 1024)
        print(json.dumps({"took": took, "length": length, "words": words, "peak": peak}), flush=True)


class Worker:
    """A process that hears files one way."""

    def __init__(self, way: str) -> None:
        self.process = subprocess.Popen(
            [sys.executable, __file__, "--work", way],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        self.loaded = float(self._answer()["loaded"])

    def hear(self, path: Path) -> dict[str, Any]:
        assert self.process.stdin is not None
        self.process.stdin.write(f"{path}\n")
        self.process.stdin.flush()
        return self._answer()

    def close(self) -> None:
        assert self.process.stdin is not None
        self.process.stdin.close()
        self.process.wait()

    def _answer(self) -> dict[str, Any]:
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        if not line:
            sys.exit(f"The process failed, exit status {self.process.wait()}; its reason stands above.")
        answer: dict[str, Any] = json.loads(line)
        return answer


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("files", nargs="*", type=Path, metavar="FILE")
    parser.add_argument("--work", choices=WAYS, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.work:
        work(options.work)
        return
    if not options.files:
        parser.error("name at least one sound file")
    workers = {way: Worker(way) for way in WAYS}
    total = dict.fromkeys(WAYS, 0.0)
    peak = dict.fromkeys(WAYS, 0.0)
    length = 0.0
    print(f"{'file':28} {'sound s':>8} {'jobnotes s':>11} {'plain s':>8} {'ratio':>6} {'real time':>10}")
    for number, path in enumerate(options.files):
        took: dict[str, float] = {}
        for way in WAYS if number % 2 else WAYS[::-1]:
            answer = workers[way].hear(path.resolve())
            took[way] = answer["took"]
            total[way] += answer["took"]
            peak[way] = max(peak[way], answer["peak"])
            seconds = answer["length"]
        length += seconds
        ours, plain = took["jobnotes"], took["plain"]
        print(
            f"{path.name[-28:]:28} {seconds:8.1f} {ours:11.2f} {plain:8.2f} {ours / plain:6.2f} "
            f"{ours / seconds:10.3f}"
        )
    ours, plain = total["jobnotes"], total["plain"]
    print(f"{'total':28} {length:8.1f} {ours:11.2f} {plain:8.2f} {ours / plain:6.2f} {ours / length:10.3f}")
    for way, worker in workers.items():
        print(f"{way}: loading {worker.loaded:.1f} s, peak memory {peak[way] / 1e6:.0f} MB")
        worker.close()


if __name__ == "__main__":
    main()
