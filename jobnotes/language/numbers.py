"""Numbers as people say them and as a recogniser writes them.

Handled, with an example a line:

    two hundred and fifty            250
    two fifty                        250      (hundreds left unsaid)
    twenty-eight hundred             2800
    eighteen fifty                   1850
    two thousand eight fifty         2850
    nine thousand, eight hundred     9800
    four two one six                 4216     (digits read out)
    one oh five, one double oh       105, 100
    nought point two, point eight    0.2, 0.8
    twelve six                       126 or 12.6 (`tenths`): the unit decides
    minus four                       -4
    two and a half, three quarters   2.5, 0.75
    twelve and three-eighths         12.375
    a hundred and ten, a dozen       110, 12
    1,250   12.6   3/8   1 5/8   28 hundred
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

UNITS = {
    "zero": 0, "nought": 0, "naught": 0, "nil": 0, "oh": 0, "one": 1, "two": 2, "three": 3, "four": 4,
    "five": 5, "six": 6, "seven": 7, "eight": 8, "nine": 9, "niner": 9,
}  # fmt: skip
TEENS = {
    "ten": 10, "eleven": 11, "twelve": 12, "thirteen": 13, "fourteen": 14, "fifteen": 15, "sixteen": 16,
    "seventeen": 17, "eighteen": 18, "nineteen": 19,
}  # fmt: skip
TENS = {
    "twenty": 20, "thirty": 30, "forty": 40, "fourty": 40, "fifty": 50, "sixty": 60, "seventy": 70,
    "eighty": 80, "ninety": 90,
}  # fmt: skip
SCALES = {"thousand": 1000, "million": 1_000_000}
FRACTIONS = {
    "half": 2, "halves": 2, "third": 3, "thirds": 3, "quarter": 4, "quarters": 4, "fifth": 5, "fifths": 5,
    "eighth": 8, "eighths": 8, "sixteenth": 16, "sixteenths": 16, "thirty-second": 32, "thirty-seconds": 32,
    "sixty-fourth": 64, "sixty-fourths": 64,
}  # fmt: skip
GLYPHS = {
    "½": 0.5,
    "¼": 0.25,
    "¾": 0.75,
    "⅛": 0.125,
    "⅜": 0.375,
    "⅝": 0.625,
    "⅞": 0.875,
    "⅓": 1 / 3,
    "⅔": 2 / 3,
}
REPEATS = {"double": 2, "treble": 3, "triple": 3}
ORDINALS = {
    "first": 1, "second": 2, "third": 3, "fourth": 4, "fifth": 5, "sixth": 6, "seventh": 7, "eighth": 8,
    "ninth": 9, "tenth": 10, "eleventh": 11, "twelfth": 12, "thirteenth": 13, "fourteenth": 14,
    "fifteenth": 15, "sixteenth": 16, "seventeenth": 17, "eighteenth": 18, "nineteenth": 19, "twentieth": 20,
    "thirtieth": 30,
}  # fmt: skip
GROUPS = {"pair": 2, "couple": 2, "dozen": 12}
LONGEST = 24  # figures: more than any number, serial number or VIN has
# Words that a bare "half" or "quarter" counts.
MEASURES = frozenset(
    "inch inches mil millimetre millimetres bar litre litres hour hours volt volts amp amps turn turns metre "
    "metres mile miles tonne ton kilo pound degree degrees ohm thou percent per minute minutes day gallon "
    "thousand million load throttle".split()
)
WRITTEN = re.compile(r"\d+(?:,\d{3})+(?:\.\d+)?$|\d+(?:\.\d+)?$")


@dataclass(frozen=True)
class Number:
    """Tokens `first` to `last` (inclusive) are the number `value`.

    `digits` holds the figures where they were read out one by one ("four two one six" is "4216"). `tenths` is
    the other reading of a pair such as "twelve six" (12.6), None where there is none.
    """

    first: int
    last: int
    value: float
    digits: str | None = None
    tenths: float | None = None
    plain: bool = False  # one small word such as "one": often no number at all

    @property
    def digits_read_out(self) -> bool:
        """Whether the figures were said one by one."""
        return self.digits is not None and self.last > self.first


class NumberReader:
    """Finds the numbers in a list of lower-case tokens, punctuation and hyphens as tokens of their own.

    >>> NumberReader().find("two fifty bar".split())[0].value
    250.0
    """

    def find(self, tokens: Sequence[str]) -> list[Number]:
        """All numbers, left to right, never overlapping."""
        found: list[Number] = []
        place = 0
        while place < len(tokens):
            number = self.read(tokens, place)
            if number is None:
                place += 1
            else:
                found.append(number)
                place = number.last + 1
        return found

    def read(self, tokens: Sequence[str], place: int) -> Number | None:
        """The longest number that begins at `place`, or None."""
        first = place
        sign = 1.0
        if tokens[place] in ("minus", "−") and place + 1 < len(tokens):
            sign = -1.0
            place += 1
        number = (
            self._fraction(tokens, place)
            or self._group(tokens, place)
            or self._written(tokens, place)
            or self._spoken(tokens, place)
        )
        if number is None:
            return None
        return Number(
            first,
            number.last,
            sign * number.value,
            number.digits,
            None if number.tenths is None else sign * number.tenths,
            number.plain and sign > 0,
        )

    # -- fractions and groups --------------------------------------------------------------------------------

    def _fraction(self, tokens: Sequence[str], place: int) -> Number | None:
        "half, a half, a quarter, three quarters, five-eighths: without a whole number before."
        share = self._share(tokens, place)
        if share is None:
            return None
        value, last = share
        word = tokens[last]
        after = tokens[last + 1] if last + 1 < len(tokens) else ""
        if word in ("third", "fifth", "eighth", "sixteenth") and tokens[place] not in ("a", "one"):
            return None  # "the third" is an ordinal
        if word == "half" and (after in ("past",) or after in UNITS or after in TEENS):
            return None  # half past nine, half eight: the clock's
        if word == "quarter" and after in ("to", "past"):
            return None
        if (
            last == place
            and word in ("half", "quarter")
            and after not in ("a", "an", "-")
            and after not in MEASURES
        ):
            following = tokens[last + 2] if last + 2 < len(tokens) else ""
            if after != "of" or following not in ("a", "an"):
                return None  # half way, in half, half the time
        if word == "half" and after == "a" and tokens[last + 2 : last + 3] == ["dozen"]:
            return Number(place, last + 2, 6.0)
        return Number(place, last, value)

    def _share(self, tokens: Sequence[str], place: int) -> tuple[float, int] | None:
        "The value and last place of a share of one at `place`: (0.75, 1) for three quarters."
        word = tokens[place]
        if word in GLYPHS:
            return GLYPHS[word], place
        if word in ("half", "quarter"):
            return 1 / FRACTIONS[word], place
        above = 1.0 if word in ("a", "an", "one") else float(UNITS.get(word, TEENS.get(word, 0)))
        if not above and len(word) <= LONGEST and WRITTEN.match(word) and "." not in word:
            above = float(word.replace(",", ""))
            if (
                tokens[place + 1 : place + 2] == ["/"]
                and place + 2 < len(tokens)
                and tokens[place + 2].isdecimal()
                and len(tokens[place + 2]) <= 2
            ):
                below = int(tokens[place + 2])
                if below in (2, 3, 4, 8, 16, 32, 64) and above < below:
                    return above / below, place + 2
        if not above:
            return None
        step = place + 1
        while step < len(tokens) and tokens[step] == "-":
            step += 1
        if step < len(tokens) and tokens[step] in FRACTIONS and tokens[step] not in ("second", "seconds"):
            below = FRACTIONS[tokens[step]]
            if above < below:
                return above / below, step
        if step + 2 < len(tokens) and tokens[step] in TENS and tokens[step + 1] == "-":
            joined = f"{tokens[step]}-{tokens[step + 2]}"
            if joined in FRACTIONS and above < FRACTIONS[joined]:
                return above / FRACTIONS[joined], step + 2
        return None

    def _group(self, tokens: Sequence[str], place: int) -> Number | None:
        "a pair of, a couple of, a dozen: counts."
        word = tokens[place]
        if word == "a" and place + 1 < len(tokens) and tokens[place + 1] in GROUPS:
            return Number(place, place + 1, float(GROUPS[tokens[place + 1]]))
        if word == "dozen":
            return Number(place, place, 12.0)
        return None

    # -- figures ---------------------------------------------------------------------------------------------

    def _written(self, tokens: Sequence[str], place: int) -> Number | None:
        "250, 1,250, 12.6, 1 5/8, 28 hundred, 3 and a half."
        word = tokens[place]
        if not WRITTEN.match(word) or len(word) > LONGEST:
            return None
        value = float(word.replace(",", ""))
        last = place
        following = tokens[place + 1] if place + 1 < len(tokens) else ""
        if following == "hundred" and value < 100:
            value, last = value * 100, place + 1
            step = last + 1 + (tokens[last + 1 : last + 2] == ["and"])
            rest = self._written(tokens, step) if step > last + 1 and step < len(tokens) else None
            below = self._below_hundred(tokens, step) if step > last + 1 else None
            if rest is not None and rest.value == int(rest.value) and rest.value < 100:
                value, last = value + rest.value, rest.last
            elif below is not None and below[0] > 0:
                value, last = value + below[0], below[1]  # 2 hundred and fifty
        elif following in SCALES:
            value, last = value * SCALES[following], place + 1
            rest = self._written(tokens, last + 1) if last + 1 < len(tokens) else None
            if rest is not None and rest.value < SCALES[following]:
                value, last = value + rest.value, rest.last
        elif following == "point" and place + 2 < len(tokens) and tokens[place + 2].isdecimal():
            return Number(place, place + 2, float(f"{word.replace(',', '')}.{tokens[place + 2]}"))
        step = last + 1 + (tokens[last + 1 : last + 3] == [",", "and"])
        if value >= 1000 and value % 100 == 0 and last == place and tokens[step : step + 1] == ["and"]:
            last = step - 1
            more = tokens[last + 2] if last + 2 < len(tokens) else ""
            if not (more.isdecimal() and len(more) <= 2 and int(more) > 0):
                last = place
            if more.isdecimal() and len(more) <= 2 and int(more) > 0:
                value, last = value + int(more), last + 2  # a recogniser's 11,000 and 4, or 1300 and 18
        whole_end = last
        value, last = self._with_fraction(tokens, value, last)
        if last > whole_end and tokens[last + 1 : last + 2] and tokens[last + 1] in SCALES:
            value, last = value * SCALES[tokens[last + 1]], last + 1  # 6 and a half thousand
        digits = word if word.isdecimal() and last == place else None
        return Number(place, last, value, digits)

    def _with_fraction(self, tokens: Sequence[str], value: float, last: int) -> tuple[float, int]:
        "Adds 'and a half', 'and three-eighths', '5/8' or '½' that follows a whole number."
        if value != int(value):
            return value, last
        step = last + 1
        if step < len(tokens) and tokens[step] in GLYPHS:
            return value + GLYPHS[tokens[step]], step
        if step < len(tokens) and tokens[step].isdecimal() and "/" in tokens[step + 1 : step + 2]:
            share = self._share(tokens, step)
            if share:
                return value + share[0], share[1]
        if (
            tokens[step : step + 1] == ["and"]
            and tokens[step + 3 : step + 4] in (["inch"], ["inches"])
            and tokens[step + 1].isdecimal()
            and tokens[step + 2] in ("4", "8", "16", "32", "64")
            and int(tokens[step + 1]) < int(tokens[step + 2])
        ):
            return value + int(tokens[step + 1]) / int(
                tokens[step + 2]
            ), step + 2  # 12 and 3 8 inches, as heard
        if (
            tokens[step : step + 1] == ["and"]
            and tokens[step + 2 : step + 3] == ["-"]
            and tokens[step + 4 : step + 5] in (["inch"], ["inches"])
            and tokens[step + 1].isdecimal()
            and tokens[step + 3] in ("4", "8", "16", "32", "64")
            and int(tokens[step + 1]) < int(tokens[step + 3])
        ):
            return value + int(tokens[step + 1]) / int(tokens[step + 3]), step + 3  # 12 and 5-16 inches
        if step + 1 < len(tokens) and tokens[step] == "and":
            share = self._share(tokens, step + 1)
            if share and tokens[share[1]] not in ("third", "fifth", "second"):
                after = tokens[share[1] + 1] if share[1] + 1 < len(tokens) else ""
                if after not in ("to", "past"):
                    return value + share[0], share[1]
        return value, last

    # -- words -----------------------------------------------------------------------------------------------

    def _spoken(self, tokens: Sequence[str], place: int) -> Number | None:
        whole = self._whole(tokens, place)
        if whole is None:
            named = place > 0 and tokens[place - 1] in (
                "this",
                "that",
                "which",
            )  # "at that point two of them"
            if tokens[place] == "point" and self._digit(tokens, place + 1) is not None and not named:
                return self._decimals(tokens, place, 0.0, place)
            return None
        value, last, digits, tenths = whole
        if tokens[place] == "oh" and last == place and tokens[last + 1 : last + 2] != ["point"]:
            return None  # "oh, and another thing"
        if last + 1 < len(tokens) and tokens[last + 1] == "point":
            decimal = self._decimals(tokens, place, value, last + 1)
            if decimal is not None:
                return decimal
        plain = last == place and value < 10
        fraction, end = self._with_fraction(tokens, value, last)
        if end != last:
            scale = SCALES.get(tokens[end + 1], 1) if end + 1 < len(tokens) else 1
            return Number(place, end + (scale > 1), fraction * scale)  # six and a half thousand
        return Number(place, last, float(value), digits, tenths, plain)

    def _decimals(self, tokens: Sequence[str], first: int, whole: float, point: int) -> Number | None:
        "The figures after 'point': read out singly (two five), or as one number (twenty-five)."
        figures = ""
        place = point + 1
        while place < len(tokens):
            word = tokens[place]
            if word in REPEATS and self._digit(tokens, place + 1) is not None:
                figures += str(self._digit(tokens, place + 1)) * REPEATS[word]
                place += 2
            elif (digit := self._digit(tokens, place)) is not None:
                figures += str(digit)
                place += 1
            elif word in TEENS and not figures:
                figures += str(TEENS[word])
                place += 1
                break
            elif word in TENS and not figures:
                value, step = self._below_hundred(tokens, place) or (TENS[word], place)
                figures += str(value)
                place = step + 1
                break
            elif word.isdecimal() and not figures:
                figures += word
                place += 1
                break
            else:
                break
        if not figures:
            return None
        return Number(first, place - 1, float(f"{int(whole)}.{figures}"))

    def _digit(self, tokens: Sequence[str], place: int) -> int | None:
        return UNITS.get(tokens[place]) if place < len(tokens) else None

    def _below_hundred(self, tokens: Sequence[str], place: int) -> tuple[int, int] | None:
        "(value, last place) of one to ninety-nine."
        if place >= len(tokens):
            return None
        word = tokens[place]
        if word in TEENS:
            return TEENS[word], place
        if word in TENS:
            step = place + 1
            hyphen = step < len(tokens) and tokens[step] == "-"
            if hyphen:
                step += 1
                ordinal = step < len(tokens) and ORDINALS.get(tokens[step], 10) < 10
                if ordinal and (tokens[step] != "second" or tokens[max(0, place - 1)] == "the"):
                    return None  # the twenty-second is a day; a twenty-second burst is a time
            if step < len(tokens) and UNITS.get(tokens[step], 0) > 0 and tokens[step] != "oh":
                return TENS[word] + UNITS[tokens[step]], step
            return TENS[word], place
        if word in UNITS:
            return UNITS[word], place
        return None

    def _whole(self, tokens: Sequence[str], place: int) -> tuple[float, int, str | None, float | None] | None:
        "(value, last, digits read out, tenths) of a whole number in words."
        word = tokens[place]
        if word == "a" and tokens[place + 1 : place + 2] in (["hundred"], ["thousand"]):
            return self._scaled(tokens, 1, place)
        first = self._below_hundred(tokens, place)
        if first is None:
            if word in REPEATS:
                return self._read_out(tokens, place)
            return None
        value, last = first
        following = tokens[last + 1] if last + 1 < len(tokens) else ""
        if following in ("hundred", "thousand", "million"):
            return self._scaled(tokens, value, last)
        if word in UNITS:
            out = self._read_out(tokens, place)
            if out is not None:
                return out
            if value > 0 and word != "oh":
                rest = self._below_hundred(tokens, last + 1) if last + 1 < len(tokens) else None
                if rest is not None and rest[0] >= 10:  # two fifty, one eighteen
                    tail = tokens[rest[1] + 1] if rest[1] + 1 < len(tokens) else ""
                    if tail not in ("hundred", "thousand"):
                        return float(value * 100 + rest[0]), rest[1], None, None
            return float(value), last, str(value), None
        # ten to ninety-nine, then more: eighteen fifty, sixteen oh five, twelve six
        if following == "oh" or following == "zero":
            digit = self._digit(tokens, last + 2)
            if digit is not None:
                return float(value * 100 + digit), last + 2, None, None
        rest = self._below_hundred(tokens, last + 1) if last + 1 < len(tokens) else None
        if rest is not None:
            tail = tokens[rest[1] + 1] if rest[1] + 1 < len(tokens) else ""
            if tail in ("hundred", "thousand", "point"):
                return float(value), last, None, None
            if rest[0] >= 10:
                return float(value * 100 + rest[0]), rest[1], None, None
            if rest[0] > 0 and self._digit(tokens, rest[1] + 1) is None:
                return float(value * 10 + rest[0]), rest[1], None, value + rest[0] / 10
        return float(value), last, None, None

    def _read_out(
        self, tokens: Sequence[str], place: int
    ) -> tuple[float, int, str | None, float | None] | None:
        "Figures read out one by one: four two one six; one oh five; double seven one."
        figures = ""
        while place < len(tokens):
            word = tokens[place]
            if len(figures) >= LONGEST:
                break
            if word in REPEATS and self._digit(tokens, place + 1) is not None:
                figures += str(UNITS[tokens[place + 1]]) * REPEATS[word]
                place += 2
            elif word in UNITS:
                following = tokens[place + 1] if place + 1 < len(tokens) else ""
                if following in ("hundred", "thousand"):
                    break
                if figures and self._share(tokens, place) is not None:
                    break  # two three-eighths ends: two, and the size
                figures += str(UNITS[word])
                place += 1
            else:
                break
        if len(figures) < 2:
            return None
        last = place - 1
        word = tokens[place] if place < len(tokens) else ""
        if word in TEENS or word in TENS:  # four two fifteen: figures, then a pair
            rest = self._below_hundred(tokens, place)
            if rest is not None and len(figures) >= 2:
                figures += str(rest[0])
                last = rest[1]
        tenths = float(f"{figures[0]}.{figures[1]}") if len(figures) == 2 else None
        return float(int(figures)), last, figures, tenths

    def _scaled(self, tokens: Sequence[str], value: int, last: int) -> tuple[float, int, None, None] | None:
        "value, then hundred, thousand or million, and what follows."
        total = 0
        current = value
        place = last + 1
        smallest = 10**9
        while place < len(tokens):
            word = tokens[place]
            if word == "hundred" and current and smallest > 100:
                current *= 100
                last = place
            elif word in SCALES and current and smallest > SCALES[word]:
                total += current * SCALES[word]
                smallest = SCALES[word]
                current = 0
                last = place
            else:
                break
            place += 1
            if place < len(tokens) and tokens[place] in SCALES and current:
                continue  # one hundred thousand
            comma = False
            if place < len(tokens) and tokens[place] == ",":
                comma = True
                place += 1
            joined = place < len(tokens) and tokens[place] == "and"
            if joined:
                place += 1
            rest = self._below_hundred(tokens, place) if place < len(tokens) else None
            if rest is None or (rest[0] == 0):
                break
            tail = tokens[rest[1] + 1] if rest[1] + 1 < len(tokens) else ""
            if comma and not joined and tail != "hundred":
                break
            if joined and tokens[last] == "hundred" and tail in ("hundred",):
                break
            if tail in SCALES and smallest <= SCALES[tail]:
                break
            if tail == "hundred":
                if current:  # two hundred, three hundred: two numbers
                    break
                current = rest[0]
                place = rest[1] + 1
                continue
            second = self._below_hundred(tokens, rest[1] + 1) if rest[1] + 1 < len(tokens) else None
            if not current and rest[0] < 10 and second is not None and second[0] >= 10 and not joined:
                current = rest[0] * 100 + second[0]  # two thousand eight fifty
                last = second[1]
                break
            current += rest[0]
            last = rest[1]
            if tail in SCALES:
                place = rest[1] + 1
                continue
            break
        return float(total + current), last, None, None
