#!/usr/bin/env python3
"""How well memos are heard: plain faster-whisper and jobnotes side by side, in one run.

    bench/hearing.py [FOLDER...] [--librivox] [--batched] [--noise DB...] [--condition NAME...]
                     [--cache FOLDER] [--faults KIND...]

A folder holds memos/NAME.json with the words `spoken`, register/*.csv, and audio/CONDITION/NAME.* with the
memos spoken; or recordings NAME.wav, each with what is read in it as NAME.txt, and no register. --librivox
adds such a folder: the clips of LibriVox that tests/outside/fetch.py gets. Both recognisers are given the
sound alone; jobnotes is given the register too, as in use. Plain is faster-whisper with the same weights,
beam 5, language English, and nothing else set. bench/heard.py says what is counted. They hear each file turn
by turn, the one that goes first changing with every file; `seconds` are the processor's (of all its cores)
while hearing, without loading, the last figure of the last line jobnotes' to the plain one's.

--batched hears everything a third way, by faster-whisper's batched pipeline, four windows at a time.
--noise 20 10 5 0 makes noisy versions of the files of the first condition: the voice that many dB over the
drone and hiss of a cab under way. --cache keeps what was heard, and takes it from there the next time (with
the seconds of then). --faults figures identifiers lists what was not heard.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
import zlib
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from heard import Tally, held_against, normal

from jobnotes.audio import RATE, Sound, load
from jobnotes.audio.sound import measured
from jobnotes.language.lexicon import load as lexicon
from jobnotes.register import Register, load_register
from jobnotes.speech import Recogniser, vocabulary
from jobnotes.speech.voice import SURE_VOICE, voice_probabilities
from jobnotes.speech.weights import find_model
from jobnotes.speech.words import trade_words

MEASURES = ("words", "spelled", "values", "trade words", "figures", "identifiers", "invented")
WAYS = ("plain", "jobnotes")
BATCHED = "batched"
BATCH = 4
SMALL = {"and", "for", "the", "with"}


@dataclass
class Memo:
    """One memo in one condition: what was said, and the file or the samples of it."""

    name: str
    spoken: str
    path: Path
    noise: float | None = None

    def sound(self) -> Sound:
        """The samples, with noise put in where the condition says so."""
        sound = load(self.path)
        if self.noise is None:
            return sound
        return measured(noisy(sound.samples, self.noise, zlib.crc32(self.name.encode())))


def noisy(samples: np.ndarray, decibels: float, seed: int) -> np.ndarray:
    """The samples with the noise of a cab under way: firing harmonics and a hiss that falls off with the
    frequency. The voice, where it speaks, stands `decibels` over it."""
    random = np.random.default_rng(seed)
    time_s = np.arange(len(samples)) / RATE
    turn = np.cumsum(48.0 * (1 + 0.05 * np.sin(2 * np.pi * 0.23 * time_s))) / RATE
    drone = sum(np.sin(2 * np.pi * (n * turn + random.uniform())) / n for n in range(1, 30))
    spectrum = np.fft.rfft(random.standard_normal(len(samples)))
    hertz = np.fft.rfftfreq(len(samples), 1 / RATE)
    hiss = np.fft.irfft(spectrum / np.maximum(1.0, hertz / 120.0), len(samples))
    noise = drone / np.std(drone) * 0.6 + hiss / np.std(hiss)
    noise /= np.sqrt(np.mean(np.square(noise)))
    chances = np.repeat(voice_probabilities(samples.astype(np.float32)), 512)[: len(samples)]
    voice = samples[chances >= SURE_VOICE] if np.any(chances >= SURE_VOICE) else samples
    level = np.sqrt(np.mean(np.square(voice, dtype=np.float64)))
    mixed = samples + noise * level * 10 ** (-decibels / 20)
    return (mixed / max(1.0, float(np.max(np.abs(mixed))))).astype(np.float32)


def memos(folder: Path, noises: list[float], only: list[str]) -> dict[str, list[Memo]]:
    """The memos of a folder by condition."""
    found: dict[str, list[Memo]] = {}
    if not (folder / "memos").is_dir():
        clips = [
            Memo(path.stem, path.with_suffix(".txt").read_text("utf-8"), path)
            for path in sorted(folder.glob("*.wav"))
        ]
        if not clips:
            sys.exit(f"{folder} holds no memos/ and no recordings NAME.wav.")
        found["clips"] = clips
        found |= {f"{noise:g} dB": [replace(clip, noise=noise) for clip in clips] for noise in noises}
        return found
    spoken = {
        path.stem: json.loads(path.read_text("utf-8"))["spoken"]
        for path in sorted((folder / "memos").glob("*.json"))
    }
    conditions = [path for path in sorted((folder / "audio").iterdir()) if path.is_dir()]
    conditions.sort(key=lambda path: path.name != "quiet")
    for condition in conditions:
        if only and condition.name not in only:
            continue
        files = [path for path in sorted(condition.iterdir()) if path.stem in spoken]
        found[condition.name] = [Memo(path.stem, spoken[path.stem], path) for path in files]
    for noise in noises:
        clean = [path for path in sorted(conditions[0].iterdir()) if path.stem in spoken]
        found[f"{noise:g} dB"] = [Memo(path.stem, spoken[path.stem], path, noise) for path in clean]
    return found


def librivox() -> Path:
    """The folder of clips, fetched if they are not there yet."""
    sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))
    from outside.fetch import fetch

    return fetch() / "test" / "data" / "librivox"


def words_of_trade(register: Register) -> set[str]:
    """Machine types, the descriptions of the register's parts, and the recogniser's own list; normalised."""
    texts = [say for says in lexicon("machines")["types"].values() for say in says]
    texts += [part.description for part in register.parts]
    texts += trade_words()
    words = {word for text in texts for word in normal(text).split()}
    return {word for word in words if len(word) > 2 and word.isalpha() and word not in SMALL}


class Ears:
    """Both recognisers, and what they have heard already."""

    def __init__(self, cache: Path | None) -> None:
        from faster_whisper import BatchedInferencePipeline, WhisperModel

        self._cache = cache
        self._ours = Recogniser()
        self._plain: Any = WhisperModel(
            find_model(), device="cpu", compute_type="int8", cpu_threads=min(4, os.cpu_count() or 2)
        )
        self._batched: Any = BatchedInferencePipeline(self._plain)

    def hear(self, way: str, memo: Memo, place: str, register: Register) -> dict[str, Any]:
        """{"text", "took" (seconds)} of one memo."""
        kept = self._cache / place / way / f"{memo.name}.json" if self._cache else None
        if kept is not None and kept.exists():
            heard: dict[str, Any] = json.loads(kept.read_text("utf-8"))
            return heard
        sound = memo.sound()
        started = time.process_time()
        if way != "jobnotes":
            asked: dict[str, Any] = {"language": "en", "beam_size": 5}
            if way == BATCHED:
                segments, _ = self._batched.transcribe(sound.samples, batch_size=BATCH, **asked)
            else:
                segments, _ = self._plain.transcribe(sound.samples, **asked)
            heard = {"text": "".join(segment.text for segment in segments).strip()}
        else:
            heard = self._ours.hear(sound, vocabulary(register)).model_dump(mode="json")
        heard["took"] = time.process_time() - started
        if kept is not None:
            kept.parent.mkdir(parents=True, exist_ok=True)
            kept.write_text(json.dumps(heard), "utf-8")
        return heard


def line(name: str, tally: Tally, took: float) -> str:
    """One line of the table."""
    return f"{name:22}" + "".join(f"{tally.share(measure):12.3f}" for measure in MEASURES) + f"{took:10.1f}"


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("folders", nargs="*", type=Path, metavar="FOLDER")
    parser.add_argument("--librivox", action="store_true")
    parser.add_argument("--batched", action="store_true")
    parser.add_argument("--noise", nargs="+", type=float, metavar="DB", default=[])
    parser.add_argument("--condition", nargs="+", metavar="NAME", default=[])
    parser.add_argument("--cache", type=Path, metavar="FOLDER")
    parser.add_argument("--faults", nargs="+", choices=MEASURES[3:], default=[])
    options = parser.parse_args()

    folders = [*options.folders, *([librivox()] if options.librivox else [])]
    if not folders:
        parser.error("name at least one folder, or give --librivox")

    ears = Ears(options.cache)
    ways = (*WAYS, BATCHED) if options.batched else WAYS
    total = {way: Tally() for way in ways}
    took = dict.fromkeys(ways, 0.0)
    print(f"{'':22}" + "".join(f"{measure:>12}" for measure in MEASURES) + f"{'seconds':>10}")
    for folder in folders:
        register = load_register(folder / "register" if (folder / "register").is_dir() else None)
        trade = words_of_trade(register)
        for condition, spoken in memos(folder, options.noise, options.condition).items():
            here = {way: Tally() for way in ways}
            seconds = dict.fromkeys(ways, 0.0)
            for number, memo in enumerate(spoken):
                for way in ways if number % 2 else ways[::-1]:
                    heard = ears.hear(way, memo, f"{folder.resolve().name}/{condition}", register)
                    tally = held_against(memo.spoken, heard["text"], trade)
                    tally.faults = [(kind, f"{memo.name}: {said}", got) for kind, said, got in tally.faults]
                    here[way].add(tally)
                    seconds[way] += heard["took"]
            for way in ways:
                print(line(f"{folder.resolve().name} {condition} {way}", here[way], seconds[way]), flush=True)
                total[way].add(here[way])
                took[way] += seconds[way]
            for kind, said, got in here["jobnotes"].faults:
                if kind in options.faults:
                    print(f"    {kind} | {said} | {got}")
    for way in ways:
        print(line(f"together {way}", total[way], took[way]))
    shares = [total["jobnotes"].share(m) / max(1e-9, total["plain"].share(m)) for m in MEASURES]
    ratio = took["jobnotes"] / max(1e-9, took["plain"])
    print(f"{'jobnotes to plain':22}" + "".join(f"{share:12.2f}" for share in shares) + f"{ratio:10.2f}")


if __name__ == "__main__":
    main()
