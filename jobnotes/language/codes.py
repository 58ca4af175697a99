"""Fleet, serial, part and order numbers read out or written: one string of letters and figures.

    T H two one four, Tango Hotel 214, TH214, T-H214, TH 214      TH214
    S K double three one                                          SK331
    H V, four four seven one                                      HV4471
    H B fifteen E, K V twenty, fifteen W forty                    HB15E, KV20, 15W40
    two oh seven dash four                                        207-4
    S P N three two five one, F M I zero                          two codes: SPN3251, FMI0

Letters alone ("D P F") are an abbreviation, no code. Figures alone are a code only after a word that says so,
or where a register holds them; that is the caller's to decide: see `figures`.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from functools import cache

from jobnotes.language.lexicon import load
from jobnotes.language.numbers import LONGEST, REPEATS, SCALES, TEENS, TENS, UNITS, Number, NumberReader
from jobnotes.language.quantities import unit_at
from jobnotes.register.lookup import code_key


@dataclass(frozen=True)
class Code:
    """Tokens `first` to `last` spell `text` (upper case, signs kept). `key` is the text without its signs."""

    first: int
    last: int
    text: str
    prefixes: tuple[tuple[int, str], ...] = ()  # (last place, key) of each shorter reading

    @property
    def key(self) -> str:
        return re.sub(r"[^A-Z0-9]", "", self.text)


@cache
def spelling() -> dict[str, str]:
    """NATO word -> letter."""
    return {word: letter for letter, words in load("letters")["spelling"].items() for word in words}


@cache
def sounds() -> dict[str, str]:
    """Heard word -> letter, for use inside a code only."""
    return {word: letter for letter, words in load("letters")["sounds"].items() for word in words}


@cache
def signs() -> dict[str, str]:
    """Word -> sign."""
    table = dict.fromkeys(load("letters")["signs"]["dash"], "-")
    return table | {"stroke": "/", "slash": "/", "/": "/", "oblique": "/"}


TAKEN_BACK = frozenset("no sorry wrong mean rather".split())  # said where a number is put right
MOST_GROUPS = 10  # of figures or letters in one number: nobody reads out more
MEASURES = {("litres",), ("litre",), ("metres",), ("metre",), ("kilos",)}
OF_THEM = {("of", "them"), ("of", "those"), ("of", "these")}


class CodeReader:
    """Finds codes in tokens. `known` holds the keys of a register's codes: they decide where a code ends."""

    def __init__(self, known: Collection[str] = ()) -> None:
        self.known = known
        self.numbers = NumberReader()

    def find(
        self, raw: Sequence[str], tokens: Sequence[str], spaced: Sequence[bool], units: Collection[int] = ()
    ) -> list[Code]:
        """All codes with a letter in them. `raw` keeps the case; `spaced[i]`: white space follows token i.
        None begins at a place of `units`: "sixty K V A" is no code."""
        found: list[Code] = []
        place = 0
        while place < len(tokens):
            code = None if place in units else self.read(raw, tokens, spaced, place)
            if place not in units and (code is None or code.key not in self.known):
                code = self.held(raw, tokens, place) or code
            if code is None:
                place += 1
            else:
                code = self.put_right(raw, tokens, code)
                found.append(code)
                place = code.last + 1
        return found

    def letter(self, raw: Sequence[str], tokens: Sequence[str], place: int, inside: bool) -> str | None:
        """The letter, or letters, that the token at `place` stands for."""
        if place >= len(tokens):
            return None
        word, token = raw[place], tokens[place]
        if len(token) == 1 and token.isascii() and token.isalpha():
            if token in "ai" and not word.isupper():
                return None
            return token.upper()
        if token in spelling():
            return spelling()[token]
        if inside and token in sounds() and len(word) > 1:
            return sounds()[token]
        return None

    def read(
        self, raw: Sequence[str], tokens: Sequence[str], spaced: Sequence[bool], place: int
    ) -> Code | None:
        """The code that begins with a letter at `place` (or a number before W, as oils have), or None."""
        if place and not spaced[place - 1] and tokens[place - 1].isalnum():
            return None
        before = tokens[place - 1] if place else ""
        counted = before in UNITS or before in TEENS or before in TENS or before.isdigit()
        if len(tokens[place]) == 1 and counted:
            # "three one F M I zero" is another matter
            letters = max(1, self._letters_run(raw, tokens, place))
            if not self._figure_follows(tokens, place + letters):
                return None  # the letter that ends a number: three one oh D
        start = self.letter(raw, tokens, place, False)
        following = tokens[place + 1] if place + 1 < len(tokens) else ""
        if start is None:
            block = raw[place]
            if (
                block.isalpha()
                and 2 <= len(block) <= 4
                and block.isupper()
                and self._figure_follows(tokens, place + 1)
            ):
                return self._run(raw, tokens, spaced, place, block)
            joined = following == "-" and not spaced[place] and self._figure_follows(tokens, place + 3)
            if (
                block.isalpha()
                and 2 <= len(block) <= 4
                and block.isupper()
                and joined
                and len(tokens[place + 2]) == 1
            ):
                return self._run(raw, tokens, spaced, place, block)  # OL-H46
            if block.isalpha() and 2 <= len(block) <= 4 and following == "-" and not spaced[place]:
                figures = tokens[place + 2] if place + 2 < len(tokens) and not spaced[place + 1] else ""
                if figures.isdecimal() and (len(figures) > 2 or code_key(block + figures) in self.known):
                    return self._run(raw, tokens, spaced, place, block.upper())  # hr-5161
            if block.isalpha() and 2 <= len(block) <= 4 and not spaced[place] and following.isdecimal():
                return self._run(raw, tokens, spaced, place, block.upper())
            return self._oil(tokens, place)
        if tokens[place] in spelling() and len(tokens[place]) > 1:
            second = self.letter(raw, tokens, place + 1, False)
            if second is None and not self._figure_follows(tokens, place + 1):
                return None
            if tokens[place] in (
                "kilo",
                "mike",
                "oscar",
                "victor",
                "charlie",
                "juliet",
                "papa",
                "golf",
                "hotel",
            ) and (second is None and not (raw[place][0].isupper())):
                return None
        if tokens[place] == "i" and following in ("had", "have", "'ve", "'d", "'m"):
            return None
        return self._run(raw, tokens, spaced, place, start)

    def _figure_follows(self, tokens: Sequence[str], place: int) -> bool:
        step = place
        if step < len(tokens) and tokens[step] in signs():
            step += 1
        if step >= len(tokens):
            return False
        word = tokens[step]
        return word.isdecimal() or word in UNITS or word in TEENS or word in TENS or word in REPEATS

    def _oil(self, tokens: Sequence[str], place: int) -> Code | None:
        "fifteen W forty, 15W-40, five W thirty."
        number = self.numbers.read(tokens, place)
        if number is None or number.value not in (0, 5, 10, 15, 20, 25, 75, 80, 85):
            return None
        step = number.last + 1
        if tokens[step : step + 1] != ["w"]:
            return None
        step += 1
        if tokens[step : step + 1] in (["-"], ["/"]):
            step += 1
        second = self.numbers.read(tokens, step) if step < len(tokens) else None
        if second is None or second.value not in (20, 30, 40, 50, 60, 80, 90, 140):
            return None
        return Code(place, second.last, f"{int(number.value)}W-{int(second.value)}")

    def _figures(self, number: Number) -> str | None:
        if number.digits is not None:
            return number.digits
        if number.value != int(number.value) or number.value < 0:
            return None
        return str(int(number.value))

    def _run(
        self, raw: Sequence[str], tokens: Sequence[str], spaced: Sequence[bool], place: int, start: str
    ) -> Code | None:
        text = start
        last = place + (self._ray(tokens, place) if start == "X" else 0)
        step = last + 1
        cuts: list[tuple[int, str]] = []
        prefix: list[tuple[int, str]] = []
        comma_used = False
        while step < len(tokens) and len(text) <= LONGEST:
            sign = ""
            at = step
            token = tokens[at]
            has_figure = any(c.isdecimal() for c in text)
            if token in signs():
                sign = signs()[token]
                at += 1
            elif token == "," and not has_figure and not comma_used and len(text) > 1:
                comma_used = True
                at += 1
            elif (
                token == "."
                and not has_figure
                and len(raw[at - 1]) == 1
                and (
                    self.letter(raw, tokens, at + 1, False)
                    or (
                        tokens[at - 2 : at - 1] == ["."]
                        and len(text) > 1
                        and self._figure_follows(tokens, at + 1)
                    )
                )
            ):
                at += 1  # T. H. 214
            if at >= len(tokens):
                break
            word = tokens[at]
            if has_figure and unit_at(tokens, at) and len(word) > 1:
                break
            if word in REPEATS and tokens[at + 1 : at + 2] == ["-"] and tokens[at + 2 : at + 3]:
                digit = tokens[at + 2]  # written together by a recogniser: WS-5-Double-1-7
                if digit in UNITS or (digit.isdecimal() and len(digit) == 1):
                    text += sign + str(UNITS.get(digit, digit)) * REPEATS[word]
                    last, step = at + 2, at + 3
                    cuts.append((last, text))
                    continue
            if word in REPEATS:
                if at + 1 < len(tokens) and tokens[at + 1] in UNITS:
                    text += sign + str(UNITS[tokens[at + 1]]) * REPEATS[word]
                elif at + 1 < len(tokens) and tokens[at + 1].isdecimal() and len(tokens[at + 1]) == 1:
                    text += sign + tokens[at + 1] * REPEATS[word]
                elif (letter := self.letter(raw, tokens, at + 1, True)) is not None and len(letter) == 1:
                    text += sign + letter * REPEATS[word]
                else:
                    break
                last, step = at + 1, at + 2
                cuts.append((last, text))
                continue
            if has_figure and self._glued(raw, tokens, spaced, at):
                text += sign + raw[at].upper()  # HR12E5: what is written as one word is one code
                last, step = at, at + 1
                cuts.append((last, text))
                continue
            letter = self.letter(raw, tokens, at, at > 0 and not has_figure and sign == "" and token != ",")
            if letter is not None:
                following = tokens[at + 1] if at + 1 < len(tokens) else ""
                if has_figure and word in ("a", "i") and following not in ("", ".", ",", ";"):
                    break
                if (
                    has_figure
                    and len(word) > 1
                    and not self._figure_follows(tokens, at + 1)
                    and word not in spelling()
                ):
                    break
                if (
                    letter.isalpha()
                    and has_figure
                    and self._figure_follows(tokens, at + 1)
                    and self._is_code_start(text)
                ):
                    # S P N 3251 F M I 0 and two codes side by side: a letter run then figures begins a new
                    # code
                    if self._letters_run(raw, tokens, at) >= 2 or word in ("e", "p", "u"):
                        break
                elif has_figure and self._letters_run(raw, tokens, at) >= 2:
                    break
                text += sign + letter
                last = at + (self._ray(tokens, at) if letter == "X" else 0)
                step = last + 1
                cuts.append((last, text))
                continue
            heard_oh = (
                word in ("or", "ore")
                and sign == ""
                and (tokens[at - 1] in UNITS or (tokens[at - 1].isdecimal() and len(tokens[at - 1]) == 1))
                and (
                    tokens[at + 1 : at + 2]
                    and (tokens[at + 1] in UNITS or tokens[at + 1] in REPEATS or tokens[at + 1].isdecimal())
                )
                and any(c.isdigit() for c in text)
            )
            if (word in ("oh", "o") or heard_oh) and has_figure:
                text += sign + "0"
                last, step = at, at + 1
                cuts.append((last, text))
                continue
            number = (
                self.numbers.read(tokens, at)
                if word not in ("a", "an", "half", "quarter", "point", "minus")
                else None
            )
            figures = (
                self._figures(number)
                if number is not None and tokens[at] not in ("couple", "pair", "dozen")
                else None
            )
            if number is None or figures is None:
                break
            if has_figure and not sign and token != "," and self._counts(tokens, number):
                break
            if not has_figure and not sign and len(figures) < 3 and self._measures(tokens, number):
                break
            # keep each shorter reading: the last figures may be a quantity that follows ("four four seven
            # one, two off")
            if number.last > at:
                for cut in range(at, number.last):
                    shorter = self.numbers.read(tokens[: cut + 1], at)
                    short = self._figures(shorter) if shorter is not None and shorter.last == cut else None
                    if short is not None:
                        prefix.append((cut, text + sign + short))
            text += sign + figures
            last, step = number.last, number.last + 1
            cuts.append((last, text))
        if not any(c.isdecimal() for c in text) or not any(c.isalpha() for c in text):
            return None
        code = Code(place, last, text)
        if code.key not in self.known:
            shorter_ones = [(p, re.sub(r"[^A-Z0-9]", "", t)) for p, t in cuts[:-1] + prefix]
            fits = [(p, k) for p, k in shorter_ones if k in self.known]
            if fits:
                end, key = max(fits)
                return Code(place, end, key)
        return code

    def _counts(self, tokens: Sequence[str], number: Number) -> bool:
        "Whether the number is followed by a word that makes it a count or a measure of its own."
        after = tokens[number.last + 1] if number.last + 1 < len(tokens) else ""
        return after in ("off", "of", "litres", "litre", "metres", "new", "hundred") or after in SCALES

    def _ray(self, tokens: Sequence[str], place: int) -> int:
        "How many tokens after the X of X-ray belong to it."
        if tokens[place] != "x":
            return 0
        if tokens[place + 1 : place + 3] == ["-", "ray"]:
            return 2
        return int(tokens[place + 1 : place + 2] == ["ray"])

    def _glued(self, raw: Sequence[str], tokens: Sequence[str], spaced: Sequence[bool], place: int) -> bool:
        "Whether capital letters stand at `place` joined to a figure before them, a hyphen between at most."
        before = place - 1
        if before > 0 and tokens[before] == "-" and not spaced[before]:
            before -= 1
        letters = (
            raw[place].isascii() and raw[place].isalpha() and raw[place].isupper() and len(raw[place]) <= 4
        )
        return letters and before >= 0 and not spaced[before] and tokens[before].isdecimal()

    def _measures(self, tokens: Sequence[str], number: Number) -> bool:
        "Whether the number counts what follows: ATF two litres, OK two of them, A 2 metre hose."
        after = tuple(tokens[number.last + 1 : number.last + 3])
        return after[:1] in MEASURES or after[:1] == ("off",) or after in OF_THEM

    def _is_code_start(self, text: str) -> bool:
        return any(c.isdecimal() for c in text)

    def _letters_run(self, raw: Sequence[str], tokens: Sequence[str], place: int) -> int:
        run = 0
        while run < LONGEST and self.letter(raw, tokens, place + run, False):
            run += 1
        return run

    def held(self, raw: Sequence[str], tokens: Sequence[str], place: int) -> Code | None:
        """A code that the register holds, read out in groups of figures and letters with commas or signs
        between: "sixty, forty-two, seventeen", "four one R B seven", "D sixty-two, oh four", "forty-two
        dot three oh five". The longest that the register holds: of three signs with a letter, else of
        five figures in several groups."""
        text, step, best = "", place, None
        for _ in range(MOST_GROUPS):
            sign = ""
            if text and step < len(tokens) and tokens[step] in (",", "dot", "point", *signs()):
                sign = "-"
                step += 1
            if step >= len(tokens):
                break
            letter = self.letter(raw, tokens, step, False)
            opens = len(tokens[step]) == 1 or self._figure_follows(tokens, step + 1)
            opens = opens or self.letter(raw, tokens, step + 1, False) is not None
            if letter is not None and (text or opens):
                text += sign + letter
                step += 1
            elif tokens[step] in ("oh", "o", "zero", "nought") and text:
                text += sign + "0"
                step += 1
            else:
                number = self.numbers.read(tokens, step) if tokens[step] not in ("a", "an", "i") else None
                figures = self._figures(number) if number is not None else None
                if number is None or figures is None:
                    break
                text += sign + figures
                step = number.last + 1
            code = Code(place, step - 1, text)
            long_enough = (
                len(code.key) >= 3 if not code.key.isdecimal() else len(code.key) >= 5 and "-" in text
            )
            if long_enough and any(x.isdecimal() for x in code.key) and code.key in self.known:
                best = code
        return best

    def put_right(self, raw: Sequence[str], tokens: Sequence[str], code: Code) -> Code:
        """The code with its last figures as said anew at once ("S K T six three oh five, no, hang on, six
        three five oh"), where the register holds that."""
        after = tokens[code.last + 1 : code.last + 8]
        for n, word in enumerate(after):
            if word == "." or not TAKEN_BACK & set(after[: n + 1]):
                continue
            again = self.figures(tokens, code.last + 1 + n)
            if again is None or not again.key.isdecimal() or not 2 <= len(again.key) < len(code.key):
                continue
            key = code.key[: -len(again.key)] + again.key
            if key in self.known and code.key[-len(again.key) :].isdecimal():
                return Code(code.first, again.last, key)
            break
        return code

    def figures(self, tokens: Sequence[str], place: int) -> Code | None:
        """A code of figures alone at `place`: four two one six, one seven one, 4216, 207-4, twenty-two B."""
        text = ""
        step = place
        last = place - 1
        cuts: list[tuple[int, str]] = []
        while step < len(tokens) and len(text) <= LONGEST:
            sign = ""
            at = step
            if text and tokens[at] in signs():
                sign = signs()[tokens[at]]
                at += 1
            elif text and tokens[at] == "," and len(text) > 1:
                break
            if at >= len(tokens):
                break
            if text and unit_at(tokens, at) and len(tokens[at]) > 1:
                break
            if tokens[at] in ("a", "an", "half", "quarter", "point", "minus"):
                break
            letter = (
                tokens[at].upper()
                if text and len(tokens[at]) == 1 and "a" <= tokens[at] <= "z" and tokens[at] != "i"
                else None
            )
            if text and letter is None and tokens[at] in spelling():
                letter = spelling()[tokens[at]]
            if letter is not None:
                text += sign + letter
                last, step = at, at + 1
                cuts.append((last, text))
                continue
            if text and tokens[at] in ("oh", "o"):
                text += sign + "0"
                last, step = at, at + 1
                cuts.append((last, text))
                continue
            number = self.numbers.read(tokens, at)
            if number is None:
                break
            figure = self._figures(number)
            if figure is None or (text and not sign and self._counts(tokens, number)):
                break
            text += sign + figure
            last, step = number.last, number.last + 1
            cuts.append((last, text))
        if not text:
            return None
        code = Code(place, last, text.upper())
        if code.key not in self.known:
            fits = [
                (p, re.sub(r"[^A-Z0-9]", "", t))
                for p, t in cuts[:-1]
                if re.sub(r"[^A-Z0-9]", "", t) in self.known
            ]
            if fits:
                end, key = max(fits)
                return Code(place, end, key)
        return code
