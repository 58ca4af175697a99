"""Components of plant named in a text, and phrases of the trade: read by `components.toml` and
`service.toml`."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib.resources import files
from typing import Any, Literal

Field = Literal["complaint", "cause", "part", "work"]
Places = frozenset[tuple[str, str]]
"""Where on the machine: (group, place), for example ("side", "left")."""

NOWHERE: Places = frozenset()
TOKEN = re.compile(r"[a-z0-9]+(?:['/][a-z0-9]+)*|[,.;:]")
STOPS = frozenset(",.;:")
# The same as the pattern where no sign within a word is, and several times as fast.
SIGNS = {code: " " for code in range(128) if not chr(code).isalnum() and chr(code) not in STOPS}
CLAUSE_ENDS = STOPS | {"and", "then", "but"}
NEAR = 3
"""So many words on either side of a component may say where it is."""


@cache
def table(name: str) -> dict[str, Any]:
    """The contents of NAME.toml beside the code."""
    return tomllib.loads(files("jobnotes.office").joinpath(f"{name}.toml").read_text(encoding="utf-8"))


def tokens_of(text: str) -> list[str]:
    """The words and stops of a text, lower case; a hyphen parts words."""
    lower = text.lower()
    if "'" in lower or "/" in lower or not lower.isascii():
        return TOKEN.findall(lower.replace("-", " ").replace("’", "'"))
    lower = lower.translate(SIGNS)
    for stop in STOPS:
        if stop in lower:
            lower = lower.replace(stop, f" {stop} ")
    return lower.split()


def phrases(says: Iterable[str]) -> re.Pattern[str]:
    """A pattern that finds any of the phrases in a text of lower case; "*" stands for up to four words."""
    found = []
    for say in sorted(says, key=len, reverse=True):
        pattern = ""
        for place, word in enumerate(say.replace("-", " ").split()):
            if word == "*":
                pattern += r"(?:[\s-]+[\w'/]+){0,4}?"
            else:
                pattern += (r"[\s-]+" if place else "") + re.escape(word)
        found.append(pattern)
    return re.compile(rf"(?<!\w)(?:{'|'.join(found)})(?!\w)")


@dataclass(frozen=True)
class Mention:
    """A component in a text, and the words that say where it is."""

    component: str
    places: Places


class _Words:
    """The tables of `components.toml`, made ready for reading."""

    def __init__(self) -> None:
        data = table("components")
        self.starts: dict[str, list[tuple[list[str], str | None]]] = {}
        for component, also in data["components"].items():
            for name in (component, *also):
                self._add(name, component)
        for name in data["ignored"]["say"]:
            self._add(name, None)
        for options in self.starts.values():
            options.sort(key=lambda option: len(option[0]), reverse=True)
        self.service_parts = frozenset(data["service_parts"]["say"])
        self.general = {name: frozenset(under) for name, under in data["general"].items()}
        self.place = {
            say: (group, name)
            for group, names in data["places"].items()
            for name, says in names.items()
            for say in says
        }
        mentions = {key: [tokens_of(say) for say in says] for key, says in data["mentions"].items()}
        self.small = frozenset(word for say in mentions["small"] for word in say)
        self.not_before = _by(mentions["not_before"], -1)
        self.denials = {say[0] for say in (*mentions["not_before"], *mentions["not_after"])}
        self.not_after, self.no_fault = _by(mentions["not_after"], 0), _by(mentions["no_fault"], 0)
        self.repair = frozenset(word for say in mentions["repair"] for word in say)

    def _add(self, name: str, component: str | None) -> None:
        words = tokens_of(name)
        for last in _plurals(words[-1]):
            self.starts.setdefault(words[0] if len(words) > 1 else last, []).append(
                ([*words[:-1], last], component)
            )


def _by(says: Iterable[list[str]], place: int) -> dict[str, list[list[str]]]:
    """The phrases by their first (0) or last (-1) word."""
    found: dict[str, list[list[str]]] = {}
    for say in says:
        found.setdefault(say[place], []).append(say)
    return found


def _plurals(word: str) -> set[str]:
    """The word and its plural, as English makes them."""
    if word.endswith(("s", "x", "ch", "sh")):
        return {word, f"{word}es"}
    if word.endswith("y") and word[-2:-1] not in "aeiou":
        return {word, f"{word[:-1]}ies"}
    return {word, f"{word}s"}


@cache
def _words() -> _Words:
    return _Words()


def service_parts() -> frozenset[str]:
    """Components that are changed at a service as a matter of course."""
    return _words().service_parts


def particular(names: Iterable[str]) -> set[str]:
    """The components without those that are only the more general word for another of them."""
    given = set(names)
    return {name for name in given if not given & _words().general.get(name, frozenset())}


def contradict(places: Places, others: Places) -> bool:
    """Whether the words put the two at different places: left and right, front and rear."""
    for group in {group for group, _ in places} & {group for group, _ in others}:
        if not {p for p in places if p[0] == group} & {p for p in others if p[0] == group}:
            return True
    return False


def places_in(tokens: Sequence[str]) -> Places:
    """The words of a text that say where on the machine."""
    place = _words().place
    return NOWHERE if place.keys().isdisjoint(tokens) else frozenset(place[t] for t in tokens if t in place)


def spans(tokens: Sequence[str]) -> list[tuple[int, int, str | None]]:
    """The components named: first place, place after the last, component; None where a name only looks like
    that of one. The longest name counts."""
    starts = _words().starts
    found: list[tuple[int, int, str | None]] = []
    end = 0
    for place, token in enumerate(tokens):
        if place < end or token not in starts:
            continue
        for name, component in starts[token]:
            if tokens[place : place + len(name)] == name:
                end = place + len(name)
                found.append((place, end, component))
                break
    return found


@lru_cache(maxsize=131072)
def faults_in(text: str, field: Field) -> tuple[Mention, ...]:
    """The components that a field of a sheet tells a fault of: negated mentions left out, and in the work
    those that were only moved out of the way, looked at or looked after."""
    tokens = tokens_of(text)
    named = spans(tokens)
    if not named:
        return ()
    words = _words()
    # Most texts hold no word that could take a component back.
    taken_back = not words.denials.isdisjoint(tokens)
    by_the_way = field == "work" and not words.no_fault.keys().isdisjoint(tokens)
    return tuple(
        [
            Mention(component, _places(tokens, first, end))
            for first, end, component in named
            if component is not None
            and not (taken_back and _negated(tokens, first, end, words))
            and not (by_the_way and _no_fault(tokens, first, end, words))
        ]
    )


def _negated(tokens: Sequence[str], first: int, end: int, words: _Words) -> bool:
    before = first
    while before:
        for say in words.not_before.get(tokens[before - 1], ()):
            if before >= len(say) and tokens[before - len(say) : before] == say:
                return True
        if not (tokens[before - 1] in words.small or tokens[before - 1] in words.place):
            break
        before -= 1
    for after in range(end, min(len(tokens), end + NEAR + 1)):
        for say in words.not_after.get(tokens[after], ()):
            if tokens[after : after + len(say)] == say:
                return True
        if tokens[after] not in words.small:
            break
    return False


def _no_fault(tokens: Sequence[str], first: int, end: int, words: _Words) -> bool:
    """Whether the clause round a component begins with something that mends nothing, and mends nothing."""

    begin, stop, count = first, end, len(tokens)
    while begin and tokens[begin - 1] not in CLAUSE_ENDS:
        begin -= 1
    while stop < count and tokens[stop] not in CLAUSE_ENDS:
        stop += 1
    while begin < first and tokens[begin] in words.small and tokens[begin] != "new":
        begin += 1
    if not any(tokens[begin : begin + len(say)] == say for say in words.no_fault.get(tokens[begin], ())):
        return False
    return words.repair.isdisjoint(tokens[begin:stop])


def _places(tokens: Sequence[str], first: int, end: int) -> Places:
    """Place words in the name and near it, up to the next stop or "and" (but "front and rear lights")."""
    place = _words().place
    if place.keys().isdisjoint(tokens):
        return NOWHERE
    found = {place[token] for token in tokens[first:end] if token in place}
    for at in range(first - 1, max(-1, first - 1 - NEAR), -1):
        token = tokens[at]
        if token in STOPS or (token in ("and", "or") and not (at and tokens[at - 1] in place)):
            break
        if token in place:
            found.add(place[token])
    for at in range(end, min(len(tokens), end + NEAR)):
        token = tokens[at]
        if token in STOPS or token in ("and", "or", "but", "then"):
            break
        if token in place:
            found.add(place[token])
    return frozenset(found)
