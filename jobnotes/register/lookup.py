"""Look-up in a register by code and by name, exact first, then near. Indexes are built once."""

from __future__ import annotations

import math
import re
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from rapidfuzz.distance import DamerauLevenshtein

from jobnotes.register.rows import MachineRow, PartRow, Register


def code_key(text: str) -> str:
    """Letters and figures only, upper case."""
    return re.sub(r"[^A-Z0-9]", "", text.upper())


def sound_key(text: str) -> str:
    """The key with O and 0, I and 1 made one: they are said, and heard, alike."""
    return code_key(text).replace("O", "0").replace("I", "1")


def name_words(text: str) -> list[str]:
    """The words of a name, lower case, without signs."""
    return re.findall(r"[a-z0-9]+", text.lower().replace("'", "").replace("’", ""))


@dataclass(frozen=True)
class NameHit:
    """Tokens `first` to `last` name row number `row`. `share` (0 to 1) of the name's weight was said;
    `rivals` are rows that fit as well."""

    first: int
    last: int
    row: int
    share: float
    rivals: tuple[int, ...] = ()


class NameIndex:
    """Finds names, whole or shortened, in a list of words."""

    def __init__(self, names: Sequence[str]) -> None:
        self.names = [name_words(n) for n in names]
        self.rows_of: dict[str, set[int]] = defaultdict(set)
        for row, words in enumerate(self.names):
            for word in words:
                self.rows_of[word].add(row)
        count = max(1, len(names))
        self.weight = {w: math.log(1 + count / len(rows)) for w, rows in self.rows_of.items()}
        self.total = [sum(self.weight[w] for w in set(words)) for words in self.names]
        self._near: dict[tuple[str, bool], str | None] = {}

    def near_word(self, word: str, loose: bool = False) -> str | None:
        """The name word that `word` is, or nearly is: one letter off in six or more, two in seven or more if
        `loose`; same first letter."""
        if word in self.rows_of:
            return word
        key = (word, loose)
        if key not in self._near:
            best: str | None = None
            most = 2 if loose and len(word) >= 7 else 1
            if len(word) >= 6:
                close = [
                    w
                    for w in self.rows_of
                    if abs(len(w) - len(word)) <= most
                    and len(w) >= 6
                    and w[0] == word[0]
                    and DamerauLevenshtein.distance(w, word, score_cutoff=most) <= most
                ]
                best = close[0] if len(close) == 1 else None
            self._near[key] = best
        return self._near[key]

    def find(
        self, words: Sequence[str], common: frozenset[str], least: float = 0.5, loose: bool = False
    ) -> list[NameHit]:
        """Every place where a name is said, left to right. `common`: words that name nothing on their own
        (yard, farm). `loose`: the words come from a recogniser, so that two letters may be off, or a name
        cut in two."""
        words = list(words)
        known = [self.near_word(w, loose) if w.isalnum() and w not in SMALL else None for w in words]
        for i in range(len(words) - 1 if loose else 0):
            joined = words[i] + words[i + 1]
            if known[i] is None and known[i + 1] is None and len(joined) >= 8 and joined.isalpha():
                known[i] = self.near_word(joined, loose)
                if known[i] is not None:
                    words[i + 1] = ""
        hits: list[NameHit] = []
        place = 0
        while place < len(words):
            if known[place] is None:
                place += 1
                continue
            end = place
            step = place + 1
            while step < len(words) and step - end <= 3:  # small words and one sign may stand between
                if known[step] is not None:
                    end = step
                elif words[step] not in BETWEEN:
                    break
                step += 1
            hit = self._best(words, known, place, end, common, least)
            if hit is None:
                place += 1
            else:
                hits.append(hit)
                place = hit.last + 1
        return hits

    def _best(
        self,
        words: Sequence[str],
        known: Sequence[str | None],
        first: int,
        last: int,
        common: frozenset[str],
        least: float,
    ) -> NameHit | None:
        said = [(i, w) for i in range(first, last + 1) if (w := known[i]) is not None]
        scores: dict[int, tuple[float, int, int]] = {}
        for row in set().union(*(self.rows_of[w] for _, w in said)):
            name = set(self.names[row])
            places, heard = [], set()
            for i, w in said:
                if w in heard:
                    break  # the same word again: another name begins
                if w in name:
                    places.append(i)
                    heard.add(w)
            if not places or places[0] != first:
                continue
            if heard <= common and heard != name:
                continue
            if len(name) > 1 and heard == {self.names[row][-1]}:
                continue  # the last word alone (slip, wharf) is what kind of place it is
            weight = sum(self.weight[w] for w in heard)
            scores[row] = (weight / self.total[row], places[0], places[-1])
        if not scores:
            return None
        top = max(s[0] for s in scores.values())
        best = [r for r, s in scores.items() if s[0] >= top - 1e-9]
        heard_best = {w for _, w in said if w in set(self.names[best[0]])}
        only = any(len(self.rows_of[w]) == 1 and w not in common and len(w) >= 4 for w in heard_best)
        if top < least and not only and not any(w not in common and len(w) >= 4 for w in heard_best):
            return None
        row = min(best)
        rivals = tuple(sorted(r for r in best if r != row))
        if len(best) == 1:
            rivals = tuple(sorted(r for r, s in scores.items() if r != row and s[0] >= top - 0.12))
        return NameHit(scores[row][1], scores[row][2], row, top, rivals)


SMALL = frozenset("a an the of and in on at to it s for up is no so or as we by".split())
BETWEEN = frozenset(["", *"a the of and in on at , ' s 's & -".split()])


class CodeIndex:
    """Finds rows by a code, exact or nearly."""

    def __init__(self, codes: Iterable[str]) -> None:
        self.exact: dict[str, list[int]] = defaultdict(list)
        self.sound: dict[str, list[int]] = defaultdict(list)
        self.grams: dict[str, set[int]] = defaultdict(set)
        self.keys: list[str] = []
        for row, code in enumerate(codes):
            key = code_key(code)
            self.keys.append(sound_key(code))
            if not key:
                continue
            self.exact[key].append(row)
            self.sound[sound_key(code)].append(row)
            for gram in self._grams(sound_key(code)):
                self.grams[gram].add(row)

    @staticmethod
    def _grams(key: str) -> set[str]:
        padded = f"^{key}$"
        return {padded[i : i + 2] for i in range(len(padded) - 1)}

    def rows(self, code: str) -> list[int]:
        """Rows whose code is this one, letter O and nought taken for one."""
        return self.exact.get(code_key(code)) or self.sound.get(sound_key(code), [])

    def near(self, code: str, most: int = 1) -> list[tuple[int, int]]:
        """(distance, row) of the rows within `most` edits (a swap of neighbours is one), nearest first."""
        key = sound_key(code)
        shared: dict[int, int] = defaultdict(int)
        for gram in self._grams(key):
            for row in self.grams.get(gram, ()):
                shared[row] += 1
        wanted = max(1, len(key) + 1 - 3 * most)
        out = []
        for row, count in shared.items():
            if count >= wanted and abs(len(self.keys[row]) - len(key)) <= most:
                distance = DamerauLevenshtein.distance(self.keys[row], key, score_cutoff=most)
                if distance <= most:
                    out.append((int(distance), row))
        return sorted(out)


class Lookup:
    """All indexes of a register. Building is linear in its rows; a look-up touches few of them."""

    def __init__(self, register: Register) -> None:
        self.register = register
        self.customers = NameIndex([c.customer for c in register.customers])
        self.sites = NameIndex([s.site for s in register.sites])
        self.makes = sorted({m.make for m in register.machines if m.make})
        self.make_index = NameIndex(self.makes)
        self.fleet = CodeIndex([m.fleet_number for m in register.machines])
        self.serial = CodeIndex([m.serial_number for m in register.machines])
        self.models = sorted({m.model for m in register.machines if m.model})
        self.model_index = CodeIndex(self.models)
        self.part = CodeIndex([p.part_number for p in register.parts])
        self.known_codes: set[str] = set()
        for index in (self.fleet, self.serial, self.model_index, self.part):
            self.known_codes |= set(index.exact)

    def machine(self, row: int) -> MachineRow:
        """Row number `row` of machines.csv."""
        return self.register.machines[row]

    def part_row(self, row: int) -> PartRow:
        """Row number `row` of parts.csv."""
        return self.register.parts[row]
