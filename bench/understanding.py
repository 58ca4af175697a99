#!/usr/bin/env python3
"""How well memos are read: reads them all and holds what comes out against their truth.

    bench/understanding.py [FOLDER...]             folders of annotated memos (else all of tests/memos)
    bench/understanding.py --json DIR...   folders with register/*.csv and memos/NAME.json, each
                                                   {memo, recorded_at, spoken, truth}

bench/scoring.py says what is scored and how. Printed are precision, recall and F1 of all slots, of each
group and of the critical ones; silent error; the share of the answer that is flagged; in how many memos the
number of jobs is right; and how far `confidence` keeps its word: for each tenth how many values had it, and
which share of them was right. The memos in tests/memos train nothing.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "models"))

from annotated import load
from scoring import (
    GROUPS,
    Counts,
    MemoScore,
    Slot,
    critical,
    flagged,
    of_group,
    reliability,
    score_memo,
    silent_error,
)

from jobnotes.language import Reader, from_text
from jobnotes.register import load_register

HELD_OUT = Path(__file__).resolve().parents[1] / "tests" / "memos"


@dataclass
class SpokenMemo:
    """A memo as spoken, with its truth (an object of the jobs schema)."""

    speaker: str
    name: str
    recorded_at: datetime
    spoken: str
    truth: dict[str, Any]


def annotated_memos(folder: Path) -> list[SpokenMemo]:
    """The memos of an annotated speaker's folder. Raises ValueError where one breaks the rules."""
    memos = []
    for file in sorted(folder.glob("*.xml")):
        memo = load(file)
        if memo.faults:
            raise ValueError(f"{file}: {memo.faults[0]}")
        recorded_at = datetime.fromisoformat(memo.recorded_at)
        memos.append(SpokenMemo(folder.name, memo.name, recorded_at, memo.spoken, memo.truth))
    return memos


def json_memos(folder: Path) -> list[SpokenMemo]:
    """The memos of a folder with memos/NAME.json."""
    memos = []
    for file in sorted((folder / "memos").glob("*.json")):
        memo = json.loads(file.read_text(encoding="utf-8"))
        recorded_at = datetime.fromisoformat(memo["recorded_at"])
        memos.append(SpokenMemo(folder.name, memo["memo"], recorded_at, memo["spoken"], memo["truth"]))
    return memos


def answers(folder: Path, memos: list[SpokenMemo]) -> Iterator[tuple[SpokenMemo, dict[str, Any]]]:
    """Each memo with what is read from it, as the program writes it, by the register of its folder."""
    reader = Reader(load_register(folder / "register"))
    for memo in memos:
        read = reader.read(from_text(memo.spoken), memo.name, memo.recorded_at)
        yield memo, read.model_dump(mode="json")


def line(name: str, slots: list[Slot]) -> str:
    c = Counts.of(slots)
    return f"{name:14} P {c.precision:.3f}   R {c.recall:.3f}   F1 {c.f1:.3f}   ({c.wanted} slots)"


def report(title: str, memos: list[MemoScore]) -> str:
    """The figures of a set of memos, ready to print."""
    slots = [s for memo in memos for s in memo.slots]
    jobs_right = sum(m.jobs_wanted == m.jobs_given for m in memos)
    lines = [f"{title}: {len(memos)} memos", line("all", slots)]
    lines += [line(group, of_group(slots, group)) for group in GROUPS]
    lines += [
        line("critical", critical(slots)),
        f"silent error   {silent_error(slots):.4f}",
        f"flagged        {flagged(slots):.4f}",
        f"job count      right in {jobs_right} of {len(memos)}",
        "confidence     values   share right",
    ]
    for b in reliability(memos):
        lines.append(f"{b.low:.1f} to {b.low + 0.1:.1f}     {b.values:6d}   {b.share:.3f}")
    return "\n".join(lines)


def fault(memo: SpokenMemo, slot: Slot) -> str:
    """A slot that is not right, on one line."""
    mark = " (marked)" if slot.marked else ""
    sides = {
        "wrong": f"{slot.given!r}, wanted {slot.wanted!r}",
        "missing": f"wanted {slot.wanted!r}",
        "made up": f"{slot.given!r}",
    }
    return f"{memo.name} {slot.name}: {slot.verdict}{mark} {sides[slot.verdict]}"


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("folders", nargs="*", type=Path, metavar="FOLDER")
    parser.add_argument(
        "--json", nargs="+", type=Path, metavar="DIR", default=[], help="folders with memos/NAME.json"
    )
    parser.add_argument("--speaker", metavar="NAME", help="only the folder of this name")
    parser.add_argument("--wrong", action="store_true", help="list what is not right")
    options = parser.parse_args()

    sets = [(folder, annotated_memos) for folder in options.folders]
    sets += [(folder, json_memos) for folder in options.json]
    if not sets:
        sets = [(folder, annotated_memos) for folder in sorted(HELD_OUT.iterdir()) if folder.is_dir()]
    if options.speaker:
        sets = [(folder, read) for folder, read in sets if folder.resolve().name == options.speaker]
    if not sets:
        parser.error(f"no folder is called {options.speaker}")

    scores: dict[str, list[MemoScore]] = {}
    for folder, read in sets:
        memos = read(folder)
        if not memos:
            parser.error(f"{folder} holds no memos")
        here = scores.setdefault(str(folder.resolve().name), [])
        for memo, answer in answers(folder, memos):
            here.append(score_memo(memo.truth, answer))
            if options.wrong:
                for slot in here[-1].slots:
                    if not slot.right:
                        print(fault(memo, slot))
    for name, memo_scores in scores.items():
        print(report(name, memo_scores), end="\n\n")
    if len(scores) > 1:
        print(report("together", [m for memo_scores in scores.values() for m in memo_scores]))


if __name__ == "__main__":
    main()
