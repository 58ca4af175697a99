"""Figures set right where what was written makes no sense and the sound agrees with what does.

    air tea bar, airty mil       80 bar, 80 mil
    got there at 10.29            10 to 9
    quarter 29                   quarter to 9
    7,000 and 6 hours             7,006 hours
    40-6.3 mil, 20 8 bar          46.3 mil, 28 bar
    40mm, where 14mm was said     14mm, or a doubt: "-teen" and "-ty" are asked about each time
    2,100, nor, 2,150 psi         2,100, no, 2,150 psi
    54 hurts                      54 hertz

Every repair but the joining of "7,000 and 6" asks the recording, and leaves a doubt.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence
from functools import cache
from importlib import resources
from typing import Any

from jobnotes.speech.likeness import unlike
from jobnotes.speech.said import CLOSING, Ask, Repair, Said, asked

BEFORE_UNIT = -5.0
ELSEWHERE = -1.5
"""How much worse than what was heard a figure may go with the sound (natural logarithms): before a unit,
where a word makes no sense, and elsewhere. Chosen on memos of three speakers."""
TIMES = -5.0
TWENTY = -8.0
COMPOUND = -3.0
BETTER = 2.0
EVEN = -1.0
"""One of "-teen" and "-ty" replaces the other where it goes so much better; from EVEN up they are in
doubt."""
SURE = 0.93
SAME_SOUND = 0.2
LIKE_SOUND = 0.5
UNIT_SOUND = 0.4
TO_THE_HOUR = frozenset(["5", "10", "20", "25"])


@cache
def tables() -> dict[str, Any]:
    """The tables of figures.toml."""
    return tomllib.loads(resources.files("jobnotes.speech").joinpath("figures.toml").read_text("utf-8"))


def figure_repairs(words: Sequence[Said], ask: Ask) -> list[Repair]:
    """The figures to set right. A repair to the very words heard is a doubt alone."""
    found: list[Repair] = []
    taken: set[int] = set()
    for place in range(len(words)):
        if place in taken:
            continue
        for rule in (
            _half_past,
            _hundreds,
            _time,
            _compound,
            _misheard,
            _nought,
            _taken_back,
            _unit,
            _point,
            _teen,
        ):
            repair = rule(words, place, ask)
            if repair is not None:
                found.append(repair)
                taken |= set(range(repair.first, repair.last))
                break
    return found


def _next(words: Sequence[Said], place: int) -> str:
    return words[place].bare if place < len(words) else ""


def _hundreds(words: Sequence[Said], place: int, ask: Ask) -> Repair | None:
    """7,000 and 6: the recogniser writes a number in two where it is spoken with "and"."""
    whole = words[place].bare.replace(",", "")
    if not re.fullmatch(r"\d{1,3}0{2,3}", whole) or words[place].text[-1:] in ",.;:":
        return None
    link, rest = _next(words, place + 1), _next(words, place + 2)
    scale = 1000 if whole.endswith("000") else 100
    if link not in ("and", "in", "an") or not rest.isdigit() or not 0 < int(rest) < min(scale, 100):
        return None
    if words[place + 1].text[-1:] in ",.;:":
        return None
    total = f"{int(whole) + int(rest):,}"
    if link != "and" and _next(words, place + 3) not in ("hours", "on"):
        return None  # "46,000 in 9 minutes" is another matter
    if link == "and":
        return Repair(place, place + 3, total, certain=True)
    mark = asked(words, place, place + 3, [f"{words[place].text} and {rest}", total], ask)
    return Repair(place, place + 3, total) if max(mark) > TIMES else None


def _half_past(words: Sequence[Said], place: int, ask: Ask) -> Repair | None:
    """ "half four three miles home" is two statements, and would be read as 23 without a comma."""
    if not place or words[place - 1].bare != "half" or words[place].text[-1:] in CLOSING:
        return None
    if not (_is_figure(words[place]) and place + 1 < len(words) and _is_figure(words[place + 1])):
        return None
    return Repair(place, place + 1, words[place].text + ",", certain=True)


def _time(words: Sequence[Said], place: int, ask: Ask) -> Repair | None:
    """10.29 and 24 for "ten to nine" and "twenty to four": "to" is heard as 2."""
    word = words[place].bare
    before = _next(words, place - 1) if place else ""
    after = _next(words, place + 1)
    if before in ("quarter", "quater", "court") and (cut := re.fullmatch(r"2[.:,]?(1[0-2]|[1-9])", word)):
        return _if_it_sounds(words, place, place + 1, f"to {cut[1]}", TIMES, ask)
    if before not in tables()["clock"] or after in tables()["units"]:
        return None
    cut = re.fullmatch(r"(\d{1,2})[.:,-]?2[.:,-]?(1[0-2]|[1-9])", word)
    if cut and cut[1] in TO_THE_HOUR:
        return _if_it_sounds(words, place, place + 1, f"{cut[1]} to {cut[2]}", TIMES, ask)
    cut = re.fullmatch(r"(5|10|20|25)-(1[0-2]|[1-9])", word)
    if cut:
        return _if_it_sounds(words, place, place + 1, f"{cut[1]} to {cut[2]}", TWENTY, ask)
    cut = re.fullmatch(r"2([1-9])", word)
    if cut and before in ("till", "until", "at"):
        return _if_it_sounds(words, place, place + 1, f"20 to {cut[1]}", TWENTY, ask)
    return None


def _compound(words: Sequence[Said], place: int, ask: Ask) -> Repair | None:
    """Tens and ones written apart: 40-6.3, 20 8."""
    text = words[place].text
    cut = re.fullmatch(r"([2-9])0-([1-9](?:\.\d+)?)(\W*)", text)
    if cut and ("." in cut[2] or _next(words, place + 1) in tables()["units"]):
        return _if_it_sounds(words, place, place + 1, cut[1] + cut[2], COMPOUND, ask)
    if (
        place + 1 < len(words)
        and re.fullmatch(r"[2-9]0", text)
        and re.fullmatch(r"[1-9]", words[place + 1].bare)
    ):
        after = _next(words, place + 2)
        if after in tables()["units"] and words[place + 1].text[-1:] not in ",.;:":
            return _if_it_sounds(words, place, place + 2, text[0] + words[place + 1].bare, COMPOUND, ask)
    return None


def _misheard(words: Sequence[Said], place: int, ask: Ask) -> Repair | None:
    """A word that sounds like a number word, where no word but a number makes sense."""
    for size in (2, 1):
        last = place + size
        part = words[place:last]
        if len(part) < size or any(not word.bare.isalpha() for word in part):
            continue
        if any(word.text[-1:] in ",.;:" for word in part[:-1]):
            continue
        sound = "".join(word.bare for word in part)
        known = tables()["numbers"]
        if sound in tables()["units"] or any(word.bare in known for word in part) or len(sound) < 2:
            continue
        if min(word.probability for word in part) > SURE:
            continue
        unit = _next(words, last) in tables()["units"]
        most = LIKE_SOUND if unit and size == 1 else SAME_SOUND if size == 1 else 0.0
        near = sorted((alike, known[word]) for word in known if (alike := unlike(sound, word)) <= most)[:4]
        if not near:
            continue
        marks = asked(words, place, last, [figure for _, figure in near], ask)
        best = max(range(len(near)), key=lambda n: marks[n])
        least = (BEFORE_UNIT if near[best][0] <= SAME_SOUND else ELSEWHERE) if unit else BETTER
        if marks[best] > least:
            return Repair(place, last, near[best][1])
    return None


def _nought(words: Sequence[Said], place: int, ask: Ask) -> Repair | None:
    """ "It says not" for "it says nought"."""
    if words[place].bare not in tables()["noughts"] or not place:
        return None
    if words[place - 1].bare not in tables()["read_off"] or words[place].probability > SURE:
        return None
    return _if_it_sounds(words, place, place + 1, "nought", COMPOUND, ask)


def _taken_back(words: Sequence[Said], place: int, ask: Ask) -> Repair | None:
    """The "no" between a figure and the right one, heard as "nor". Nothing tells the two apart by ear."""
    if words[place].bare not in tables()["taken_back"] or not place:
        return None
    after = words[place + 1 : place + 4]
    if not any(_is_figure(word) for word in words[max(0, place - 2) : place]) or not after:
        return None
    if after[0].bare in tables()["takes_back"] or any(_is_figure(word) for word in after[:2]):
        return Repair(place, place + 1, "no,")
    return None


def _is_figure(word: Said) -> bool:
    return word.bare[:1].isdigit() or word.bare in tables()["numbers"]


def _unit(words: Sequence[Said], place: int, ask: Ask) -> Repair | None:
    """A unit misheard, after a figure."""
    word = words[place]
    if not place or not re.fullmatch(r"[\d.,]*\d", words[place - 1].text) or word.probability > SURE:
        return None
    if not word.bare.isalpha() or word.bare in {
        *tables()["units"],
        *tables()["no_unit"],
        *tables()["numbers"],
    }:
        return None
    near = [unit for unit in tables()["after_figure"] if unlike(word.bare, unit) <= UNIT_SOUND]
    if not near or len(word.bare) < 2:
        return None
    marks = asked(words, place, place + 1, near, ask)
    best = max(range(len(near)), key=lambda n: marks[n])
    return Repair(place, place + 1, near[best]) if marks[best] > COMPOUND else None


def _teen(words: Sequence[Said], place: int, ask: Ask) -> Repair | None:
    """ "-teen" and "-ty" are asked about wherever a figure ends in one of them."""
    cut = re.fullmatch(r"(\d*?)(1[3-9]|[3-9]0)((?:[a-z%]+)?)\W*", words[place].text)
    if cut is None or len(cut[1]) > 1 or words[place].probability > 0.97:
        return None
    other = f"{cut[2][1]}0" if cut[2][0] == "1" else f"1{cut[2][0]}"
    option = f"{cut[1]}{other}{cut[3]}"
    mark = asked(words, place, place + 1, [option], ask)[0]
    if mark > BETTER:
        return Repair(place, place + 1, option)
    return Repair(place, place + 1, words[place].text.rstrip(".,;:!?")) if mark > EVEN else None


def _point(words: Sequence[Said], place: int, ask: Ask) -> Repair | None:
    """8.8 for "eighty-eight": whichever goes better with the sound."""
    cut = re.fullmatch(r"([2-9])\.([1-9])\W*", words[place].text)
    if cut is None or words[place].probability > 0.97:
        return None
    mark = asked(words, place, place + 1, [cut[1] + cut[2]], ask)[0]
    if mark > BETTER:
        return Repair(place, place + 1, cut[1] + cut[2])
    return Repair(place, place + 1, f"{cut[1]}.{cut[2]}") if mark > EVEN else None


def _if_it_sounds(
    words: Sequence[Said], first: int, last: int, option: str, least: float, ask: Ask
) -> Repair | None:
    mark = asked(words, first, last, [option], ask)[0]
    return Repair(first, last, option) if mark > least else None
