"""Make phrasing.toml anew from the project's own memos, after memos were added:

    python -m jobnotes.speech.phrasing_build models/training

reads every FOLDER/SPEAKER/*.xml (models/training/README.md tells how they are written: words as spoken,
numbers in words, codes letter by letter) and writes what jobnotes/speech/phrasing.py reads.
"""

from __future__ import annotations

import re
import sys
import xml.etree.ElementTree as ElementTree
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from pathlib import Path

from jobnotes.files import write_atomically
from jobnotes.speech.figure_repair import tables
from jobnotes.speech.phrasing import CODE, OTHER, figure_class

LEAST = 3
SPEAKERS = 2
"""A word counts as known when it is said so often, by so many speakers: names of one firm are not."""
LEAST_RUN = 2
"""Pairs and triples that were said once are left out: three quarters of them, and little is lost."""
MULTIPLES = ("double", "treble", "triple")
HEAD = """# How people of the trade put their words: counts of words, pairs and triples (see phrasing.py).
# Made by phrasing_build.py from the project's own memos; not to be edited by hand.

"""


def tokens_spoken(text: str) -> list[str]:
    """The words of a text as people say it ("it made two hundred and ten bar"), in the model's form."""
    text = re.sub(rf"\b({'|'.join(tables()['numbers'])})'s\b", r"\1 is", text, flags=re.IGNORECASE)
    pieces = re.findall(r"[A-Za-z']+|[.,;:?!]", text.replace("-", " "))
    found: list[str] = []
    place = 0
    while place < len(pieces):
        run, after = _run(pieces, place)
        if run:
            found += _classes(run)
            place = after
        else:
            if pieces[place][0].isalpha():
                found.append(tables()["written"].get(pieces[place].lower(), pieces[place].lower()))
            place += 1
    return found


def _run(pieces: Sequence[str], first: int) -> tuple[list[str], int]:
    """The number words and single letters from a place on, and the place after them."""
    values = _values()
    run: list[str] = []
    place = first
    while place < len(pieces):
        piece, small = pieces[place], pieces[place].lower()
        after = pieces[place + 1].lower() if place + 1 < len(pieces) else ""
        letter = len(piece) == 1 and piece.isupper() and (piece not in "AI" or bool(run))
        if small in values and (small != "oh" or run):
            run.append(small)
        elif letter:
            run.append(piece)
        elif (small in ("hundred", "thousand") and run) or (
            after in values and (small in MULTIPLES or (small == "point" and run))
        ):
            run.append(small)
        elif small == "a" and not run and after in ("hundred", "thousand"):
            run.append("one")
        elif not (small == "and" and run and run[-1] in ("hundred", "thousand") and after in values):
            break
        place += 1
    return run, place


def _values() -> dict[str, int]:
    return {word: int(figure) for word, figure in tables()["numbers"].items()} | {
        "oh": 0,
        "nought": 0,
        "zero": 0,
    }


def _classes(run: Sequence[str]) -> list[str]:
    """The classes of a run: of a code, of figures read one by one, or of numbers."""
    values = _values()
    letters = [word for word in run if word.isupper()]
    if letters:
        return [CODE] if len(letters) < len(run) else ["".join(run).lower()]
    if any(word in MULTIPLES for word in run):
        return [CODE]
    if "point" in run:
        place = run.index("point")
        whole = numbers(run[:place])
        return [
            figure_class(f"{whole[-1]}." + "".join(str(values.get(word, 0)) for word in run[place + 1 :]))
        ]
    found = numbers(run)
    if len(found) > 2 and all(value < 10 for value in found):
        return [figure_class("".join(map(str, found)))]
    if len(found) == 2 and found[0] < 100 and 10 <= found[1] < 100:
        return [figure_class(f"{found[0]}{found[1]}")]  # "two ten", "ten fifteen"
    return [figure_class(str(value)) for value in found]


def numbers(run: Sequence[str]) -> list[int]:
    """The numbers that number words make: "two thousand and five" is one, "four oh five" three."""
    values = _values()
    found: list[int] = []
    value: int | None = None
    last = 0
    for word in run:
        if word in ("hundred", "thousand"):
            whole, rest = divmod(1 if value is None else value, 1000)
            value = whole * 1000 + rest * 100 if word == "hundred" else (whole * 1000 + rest) * 1000
            last = 100
            continue
        step = values[word]
        fits = last == 100 or (last >= 20 and 0 < step < 10)
        if value is not None and fits:
            value += step
        else:
            if value is not None:
                found.append(value)
            value = step
        last = step if step >= 20 else 1
    return found if value is None else [*found, value]


def counted(memos: Iterable[tuple[str, list[str]]]) -> str:
    """The text of phrasing.toml for memos as (speaker, tokens)."""
    rows = list(memos)
    count = Counter(token for _, tokens in rows for token in tokens)
    speakers: dict[str, set[str]] = defaultdict(set)
    for speaker, tokens in rows:
        for token in tokens:
            speakers[token].add(speaker)
    known = {token for token in count if count[token] >= LEAST and len(speakers[token]) >= SPEAKERS}
    words: Counter[str] = Counter()
    runs: tuple[Counter[str], Counter[str]] = (Counter(), Counter())
    for _, tokens in rows:
        text = [token if token in known else OTHER for token in tokens]
        words.update(text)
        for size, counts in zip((2, 3), runs, strict=True):
            counts.update(" ".join(text[n : n + size]) for n in range(len(text) - size + 1))
    tables = {
        "words": words,
        "pairs": {run: n for run, n in runs[0].items() if n >= LEAST_RUN},
        "triples": {run: n for run, n in runs[1].items() if n >= LEAST_RUN},
    }
    parts = []
    for name, table in tables.items():
        lines = "\n".join(f"{run} {n}" for run, n in sorted(table.items()))
        parts.append(f'{name} = """\n{lines}"""\n')
    return HEAD + "".join(parts)


def memos_in(folder: Path) -> Iterable[tuple[str, list[str]]]:
    """(speaker, tokens) of every memo in the folder."""
    for path in sorted(folder.glob("*/*.xml")):
        yield path.parent.name, tokens_spoken("".join(ElementTree.parse(path).getroot().itertext()))


if __name__ == "__main__":
    write_atomically(Path(__file__).with_name("phrasing.toml"), counted(memos_in(Path(sys.argv[1]))))
