"""Wordings weighed by the sound and by how people of the trade put their words (phrasing.py).

    at litres of 32               8 litres of 32
    sank 27,000 in 5 minutes      sank 27 mil in 5 minutes
    park brack                    park brake

What else may have been said at a place comes from the ways in which figures are misheard (`figure_options`),
or is a word of the trade that sounds alike (`word_choices`). Each is put to the sound in its place; what the
sound says and what is said more often in the trade are added up, and the better wording stands. Where a
figure's rival comes close, the figure is put in doubt.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache

from jobnotes.speech.figure_repair import tables
from jobnotes.speech.knowledge import Knowledge
from jobnotes.speech.likeness import SoundIndex
from jobnotes.speech.phrasing import AFTER, BEFORE, phrasing
from jobnotes.speech.said import CLOSING, Ask, Repair, Said, asked
from jobnotes.speech.words import other_spellings, repair_words, small_words

WEIGHT = 0.7
"""What a gain in phrasing counts against one in the sound (both in natural logarithms)."""
FIGURE_SURE = 0.97
FIGURE_GAIN = -3.0
"""Figures surer than this are left alone; wordings so much rarer in the trade are not asked about."""
FIGURE_LEAST = -9.0
FIGURE_WINS = 1.0
FIGURE_DOUBT = -1.5
"""The sound may speak against a figure's rival by so much; it wins where both together are above the second,
and brings the figure into doubt above the third."""
SENSELESS = -4.0
NOUGHT = -9.0
NO_TIME = -13.0
"""It wins above these where what was heard makes no sense: "at litres" or "14th the limit", "it says north"
or "582 wire", and "at 25-4", which no clock shows."""
WORD_SURE = 0.93
WORD_ALIKE = 0.3
JOINED_ALIKE = 0.2
COST = 3.0
WORD_GAIN = 0.0
WORD_LEAST = -5.0
WORD_WINS = 3.0
WORD_FIRM = 0.85
WORD_FIRM_WINS = 5.0
"""The same for words, which sound alike up to WORD_ALIKE (speech.likeness.unlike; two for one: JOINED_ALIKE),
and pay COST times their unlikeness; words of WORD_FIRM or more ask for more. Chosen on memos of four
speakers."""
WORD_LETTERS = 4
TRADE_LETTERS = 3
WORD_COUNT = 3
NEAREST = 16


@dataclass(frozen=True)
class Options:
    """What else may have been said from word `first` to `last` (exclusive). One wins where sound and phrasing
    together are above `wins`; phrasing counts `weight` times."""

    first: int
    last: int
    texts: Sequence[str]
    wins: float = FIGURE_WINS
    weight: float = WEIGHT


def figure_choices(words: Sequence[Said], ask: Ask) -> list[Repair]:
    """The figures to set right or to doubt."""
    found: list[Repair] = []
    taken: set[int] = set()
    for place in range(len(words)):
        if place in taken:
            continue
        best: tuple[float, Repair] | None = None
        doubt = False
        for options in figure_options(words, place):
            part = words[options.first : options.last]
            if taken & set(range(options.first, options.last)) or any(word.heard for word in part):
                continue
            if options.wins == FIGURE_WINS and min(word.probability for word in part) > FIGURE_SURE:
                continue
            for together, text in _weighed(words, options, ask):
                if together > options.wins and (best is None or together > best[0]):
                    best = together, Repair(options.first, options.last, text)
                doubt = doubt or together > FIGURE_DOUBT
        if best is not None:
            found.append(best[1])
        elif doubt and words[place].text[:1].isdigit():
            found.append(Repair(place, place + 1, words[place].text.rstrip(CLOSING)))
        else:
            continue
        taken |= set(range(found[-1].first, found[-1].last))
    return found


def _weighed(words: Sequence[Said], options: Options, ask: Ask) -> list[tuple[float, str]]:
    """(sound and phrasing together, text) of the options that the sound allows."""
    first, last = options.first, options.last
    gains = {text: _gain(words, first, last, text) for text in options.texts}
    if options.wins == FIGURE_WINS and options.weight:
        gains = {text: gain for text, gain in gains.items() if gain > FIGURE_GAIN}
    if not gains:
        return []
    least = min(FIGURE_LEAST, options.wins)
    marks = asked(words, first, last, list(gains), ask)
    return [
        (mark + options.weight * max(gain, 0.0 if options.wins < FIGURE_WINS else gain), text)
        for mark, (text, gain) in zip(marks, gains.items(), strict=True)
        if mark > least
    ]


def figure_options(words: Sequence[Said], place: int) -> Iterator[Options]:
    """What else may have been said from a place on, if a figure stands or may stand there."""
    text = words[place].text.rstrip(CLOSING)
    low = text.lower()
    ends = words[place].text[-1:] in CLOSING
    after = words[place + 1].bare if place + 1 < len(words) and not ends else ""
    before = words[place - 1].bare if place else ""
    known = tables()
    measured = after in known["units"]
    if before in known["read_off"] and low in known["noughts"]:
        yield Options(
            place, place + 1, ["nought"], NOUGHT if low not in known["other_sense"] else FIGURE_WINS
        )
    if low in known["alike"] and (measured or after in known["counted"]):
        yield Options(place, place + 1, [known["alike"][low]], SENSELESS)
    yield from _eighths(place, low, after)
    if cut := re.fullmatch(r"(\d+)(st|nd|rd|th)", text):
        if int(cut[1]) > 3 and after == "the":
            yield Options(place, place + 1, [f"{cut[1]}'s"], SENSELESS)
        return
    if before in known["clock"] and not measured:
        yield from _times(place, text)
    if cut := re.fullmatch(r"(\d{1,2}),(\d{1,2})", text):
        yield Options(place, place + 1, [f"{cut[1]},{int(cut[2]):03d}"], SENSELESS)
        return
    # The recogniser writes some units on to the figure: 9.04mm.
    unit = (re.search(r"(?<=\d)[a-z]+$", text) or [""])[0]
    measured = measured or unit in known["units"]
    text = text.removesuffix(unit)
    figure = known["numbers"].get(low, text)
    if not re.fullmatch(r"\d+|\d{1,3}(,\d{3})+|\d+\.\d+", figure):
        return
    plain = figure.replace(",", "")
    if re.fullmatch(r"[1-9]\d?\.00\d", plain):  # "double oh" in a code
        yield Options(place, place + 1, [plain.replace(".", "")], SENSELESS)
        return
    texts = [option for option in _misread(plain) if option != plain] if figure == text else []
    if re.fullmatch(r"[2-9]3", plain) and after == "quarters":
        texts.append(f"{plain[0]}, 3")
    if re.fullmatch(r"\d{1,3}000", plain) and not measured:
        yield Options(place, place + 1, [f"{plain[:-3]} mil"], weight=0.0)
    if place and words[place - 1].text[:1].isdigit() and re.fullmatch(r"0\d", plain):
        texts.append(f"no, {plain[1]}")
    if cut := re.fullmatch(r"([1-9]\d*)\.0(\d)", plain):
        yield Options(place, place + 1, [f"{cut[1]}, no, {cut[2]}{unit}"], weight=0.0)
    if texts:
        yield Options(place, place + 1, [option + unit for option in texts])
    following = words[place + 1].bare if place + 1 < len(words) else ""
    if re.fullmatch(r"[2-9]0", plain) and re.fullmatch(r"[1-9]\.\d+", following):
        yield Options(place, place + 2, [plain[0] + following])
    third = words[place + 2].bare if place + 2 < len(words) else ""
    third = known["numbers"].get(third, third)
    # Not "5 to 2", which is a time of day as it stands.
    if after == "to" and re.fullmatch(r"[2-46-9]", plain) and re.fullmatch(r"[1-9]", third):
        yield Options(place, place + 3, [plain + third])


def _eighths(place: int, text: str, after: str) -> Iterator[Options]:
    """Sizes of hoses: five-ets, three eights, 582 wire."""
    known = tables()
    cut = re.fullmatch(r"(\w+)-(\w+)", text)
    if cut and cut[1] in known["over_eight"] and cut[2] in known["eighths"]:
        yield Options(place, place + 1, [f"{cut[1]} eighths"], SENSELESS)
    if (cut := re.fullmatch(r"([1357])-8", text)) and after.startswith("inch"):
        yield Options(place, place + 1, [f"{cut[1]} eighths"], SENSELESS)
    if text in known["over_eight"] and after in known["eighths"]:
        yield Options(place, place + 2, [f"{text} eighths"])
    if (cut := re.fullmatch(r"([357])8([1-6])", text)) and after == "wire":
        yield Options(place, place + 1, [f"{cut[1]} eighths {cut[2]}"], NOUGHT)


def _times(place: int, text: str) -> Iterator[Options]:
    """10.26, 25-4, 5.9 for "ten to eight", "twenty-five to nine", "five to nine": no clock shows these."""
    cut = re.fullmatch(r"(5|10|20|25)[.:,-]?(2?)[.:,-]?([1-9])", text) or re.fullmatch(
        r"(5|10|20|25)[.:,-]?(2)[.:,-]?(1[0-2])", text
    )
    if cut is None or text.isdigit():
        return
    shown = cut[2] and cut[3] == "5" and int(cut[1]) < 24  # 10.25
    yield Options(place, place + 1, [f"{cut[1]} to {cut[3]}"], FIGURE_WINS if shown else NO_TIME)


def _misread(plain: str) -> Iterator[str]:
    """Other figures that sound like one."""
    whole, _, part = plain.partition(".")
    if part:
        if len(whole) < 3 and len(part) == 1:
            yield whole + part
        return
    if cut := re.fullmatch(r"([1-9])0([1-9])", plain):
        yield cut[1] + cut[2]
    if len(plain) in (2, 3) and plain[-1] != "0":
        yield f"{plain[:-1]}.{plain[-1]}"
    if cut := re.fullmatch(r"1([3-9])(\d\d)", plain):
        yield f"{cut[1]}0{cut[2]}"
    if cut := re.fullmatch(r"([3-9])0(\d\d)", plain):
        yield f"1{cut[1]}{cut[2]}"


def word_choices(words: Sequence[Said], knowledge: Knowledge | None, ask: Ask) -> list[Repair]:
    """The words to set right: those not sure of themselves, where a word of the trade that sounds alike is
    said much more often in such a place and the sound goes with it. Two words may be one ("near site")."""
    found: list[Repair] = []
    for place in range(len(words)):
        if found and found[-1].last > place:
            continue
        best: tuple[float, Repair] | None = None
        for last in (place + 1, place + 2):
            text = _doubtful(words[place:last], last - place, knowledge)
            if text is None:
                continue
            most = WORD_ALIKE if last == place + 1 else JOINED_ALIKE
            same = {text, *small_words(), *(word.bare for word in words[place:last])}
            near = [one for one in _trade().near(text, most)[:NEAREST] if one[1] not in same]
            weights = {
                other: WEIGHT * _gain(words, place, last, other) - COST * apart for apart, other in near
            }
            options = [other for other, weight in weights.items() if weight > WORD_GAIN]
            if not options:
                continue
            firm = min(word.probability for word in words[place:last]) >= WORD_FIRM
            wins = WORD_FIRM_WINS if firm else WORD_WINS
            for other, mark in zip(options, asked(words, place, last, options, ask), strict=True):
                together = mark + weights[other]
                if mark > WORD_LEAST and together > wins and (best is None or together > best[0]):
                    best = together, Repair(place, last, other)
        if best is not None:
            found.append(best[1])
    return found


def _doubtful(part: Sequence[Said], size: int, knowledge: Knowledge | None) -> str | None:
    """The words in one, if one of them is in doubt and they may be another word; else None."""
    if len(part) < size or min(word.probability for word in part) > WORD_SURE:
        return None
    if any(word.heard or not word.bare.isalpha() or word.bare in other_spellings() for word in part):
        return None
    if knowledge is not None and any(word.bare in knowledge.name_words for word in part):
        return None
    if size > 1 and any(word.bare in small_words() or word.text[-1:] in CLOSING for word in part[:-1]):
        return None
    if size > 1 and part[-1].bare in small_words():
        return None
    text = "".join(word.bare for word in part)
    if any(word.bare in _expected() or word.bare.rstrip("s") in tables()["numbers"] for word in part):
        return None
    return text if len(text) >= WORD_LETTERS else None


@cache
def _expected() -> frozenset[str]:
    """Units and words of the trade: right as they are."""
    return frozenset([*tables()["units"], *repair_words()])


@cache
def _trade() -> SoundIndex:
    counts = phrasing().words
    return SoundIndex(
        [w for w, n in counts.items() if w.isalpha() and len(w) >= TRADE_LETTERS and n >= WORD_COUNT]
    )


def _gain(words: Sequence[Said], first: int, last: int, option: str) -> float:
    beside = [*words[max(0, first - BEFORE) : first], *words[last : last + AFTER]]
    known = {word.bare for word in beside}
    return phrasing().gain(
        " ".join(word.text for word in words[max(0, first - BEFORE) : first]),
        " ".join(word.text for word in words[first:last]),
        option,
        " ".join(word.text for word in words[last : last + AFTER]),
        known,
    )
