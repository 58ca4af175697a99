"""What the workshop has learned, told to recogniser and reader."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from jobnotes.jobs.model import ReadMemo, Transcript, Word
from jobnotes.store import LearnedWord

EDGE = re.compile(r"^(\W*)(.*?)(\W*)$", re.DOTALL)


@dataclass(frozen=True)
class Repair:
    """`heard` stood in the words `first` to `last` as heard, and `meant` was put for it."""

    heard: str
    meant: str
    first: int
    last: int


@dataclass(frozen=True)
class Repaired:
    """A transcript with misheard names put right. `places` gives, for each of its words, the first and last
    word as heard that it stands for."""

    transcript: Transcript
    places: list[tuple[int, int]]
    repairs: list[Repair]


def expected_words(words: Sequence[LearnedWord]) -> list[str]:
    """What the recogniser should expect: each accepted name once."""
    return list(dict.fromkeys(word.meant for word in words if word.accepted))


def repaired(transcript: Transcript, words: Sequence[LearnedWord]) -> Repaired:
    """The transcript as the reader should have it: accepted names stand for what is heard in their place.

    Longer ones first, capitals and signs around them no matter. A transcript whose words are not those of its
    text is given back as it is.
    """
    pieces = re.findall(r"\S+\s*", transcript.text)
    same = list(range(len(transcript.words)))
    unchanged = Repaired(transcript, [(place, place) for place in same], [])
    keys = {
        tuple(word.heard.casefold().split()): word.meant.split()
        for word in words
        if word.accepted and word.heard.split() and word.meant.split()
    }
    if len(pieces) != len(same) or not keys:
        return unchanged
    plain = [_core(piece).casefold() for piece in pieces]
    lengths = sorted({len(key) for key in keys}, reverse=True)
    text, out, places, repairs = "", list[Word](), list[tuple[int, int]](), list[Repair]()
    lead = transcript.text[: len(transcript.text) - len(transcript.text.lstrip())]
    place = 0
    while place < len(pieces):
        length = next((n for n in lengths if tuple(plain[place : place + n]) in keys), 0)
        if not length:
            text += pieces[place]
            out.append(transcript.words[place])
            places.append((place, place))
            place += 1
            continue
        last = place + length - 1
        meant = keys[tuple(plain[place : last + 1])]
        shown = _between(pieces[place], pieces[last], meant)
        text += " ".join(shown) + pieces[last][len(pieces[last].rstrip()) :]
        out += [_word(each, transcript.words[place : last + 1]) for each in shown]
        places += [(place, last)] * len(shown)
        heard = " ".join(_core(piece) for piece in pieces[place : last + 1])
        repairs.append(Repair(heard, " ".join(meant), place, last))
        place += length
    if not repairs:
        return unchanged
    return Repaired(transcript.model_copy(update={"text": lead + text, "words": out}), places, repairs)


def as_heard(read: ReadMemo, heard: Transcript, repair: Repaired) -> ReadMemo:
    """The read memo with what was really heard behind its values: the words, and their places."""
    if not repair.repairs:
        return read
    words = [word.text for word in heard.words]
    for pointer, entry in read.evidence.items():
        if entry.first is None or entry.last is None:
            continue
        first, last = repair.places[entry.first][0], repair.places[entry.last][1]
        text = entry.text
        for each in repair.repairs:
            if first <= each.first and each.last <= last and each.meant in text:
                text = text.replace(each.meant, each.heard, 1)
            elif each.first <= last and first <= each.last:
                text = " ".join(words[first : last + 1])
                break
        update = {"first": first, "last": last, "text": text}
        read.evidence[pointer] = entry.model_copy(update=update)
    read.transcript = heard
    return read


def _core(piece: str) -> str:
    found = EDGE.match(piece.strip())
    return found[2] if found else piece.strip()


def _between(first: str, last: str, meant: list[str]) -> list[str]:
    """The words of a name with the signs that stood before and behind what it replaces."""
    before = EDGE.match(first.strip())
    behind = EDGE.match(last.strip())
    shown = list(meant)
    shown[0] = (before[1] if before else "") + shown[0]
    shown[-1] += behind[3] if behind else ""
    return shown


def _word(text: str, heard: Sequence[Word]) -> Word:
    known = [word.probability for word in heard if word.probability is not None]
    return Word(
        text=text,
        start=heard[0].start,
        end=heard[-1].end,
        probability=min(known) if known else None,
    )
