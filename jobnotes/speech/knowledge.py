"""What a register tells the recogniser: codes with the words that go with them, and names. Built once."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable

from jobnotes.register import Register
from jobnotes.speech.codes import Codes, code_key
from jobnotes.speech.likeness import SoundIndex

FLEET, PART = "fleet", "part"


def words_of(*texts: str) -> frozenset[str]:
    """The words of three letters or more, small, without their plural s."""
    found = re.findall(r"[a-z]{3,}", " ".join(texts).lower())
    return frozenset(singular(word) for word in found)


def singular(word: str) -> str:
    """Without the s of a plural."""
    return word[:-1] if len(word) > 3 and word.endswith("s") and not word.endswith("ss") else word


class Knowledge:
    """The codes and names of a register.

    `beside[key]`: words that go with a code of that key: the part's description, the machine's type, make and
    model.
    """

    def __init__(self, register: Register) -> None:
        self.beside: dict[str, frozenset[str]] = defaultdict(frozenset)
        self.kinds: dict[str, set[str]] = defaultdict(set)
        for machine in register.machines:
            about = words_of(machine.type, machine.make, machine.model)
            for code in (machine.fleet_number, machine.serial_number, machine.model):
                self._add(code, about, FLEET)
        for part in register.parts:
            self._add(part.part_number, words_of(part.description), PART)
        self.codes = Codes(self.kinds)
        names = [row.customer for row in register.customers]
        names += [row.site for row in register.sites]
        names += [row.make for row in register.machines]
        names += [row.model for row in register.machines if not any(c.isdigit() for c in row.model)]
        self.names = tuple(dict.fromkeys(name for name in names if name.strip()))
        self.name_words = SoundIndex(_name_words(self.names))
        self.neighbours: dict[str, frozenset[str]] = defaultdict(frozenset)
        for name in self.names:
            words = re.findall(r"[\w']+", name.lower())
            for word in words:
                self.neighbours[word] |= frozenset(words) - {word}

    def _add(self, code: str, about: frozenset[str], kind: str) -> None:
        key = code_key(code)
        if key:
            self.beside[key] |= about
            self.kinds[key].add(kind)


def _name_words(names: Iterable[str]) -> list[str]:
    return list(
        dict.fromkeys(word for name in names for word in re.findall(r"[A-Za-z']+", name) if len(word) >= 4)
    )
