"""Work that sheets advise, until somebody says that it is done."""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cache, cached_property, lru_cache
from typing import Literal

from rapidfuzz import fuzz

from jobnotes.office.by_machine import histories, key_of, machine_name, machine_of, words_key
from jobnotes.office.components import STOPS, Places, contradict, places_in, table, tokens_of
from jobnotes.office.visits import Visit
from jobnotes.store.office_values import Closing

ALIKE = 80.0
"""Of 100: so alike must what was done be to what was advised, for a sheet to be proposed."""
SHARED = 0.5
"""So much of the advice, by its words, must stand in the work."""

State = Literal["open", "closed"]


@dataclass(frozen=True)
class FollowUp:
    """Work that a sheet advises. `day` is the visit's, `age_days` how long ago that is. `closing` says who
    closed it, when and why; None while it is open."""

    sheet: int
    revision: int
    text: str
    machine: str
    machine_key: str
    fleet_number: str
    customer: str
    site: str
    engineer: str
    day: datetime.date
    age_days: int
    closing: Closing | None
    _history: _History = field(repr=False, compare=False)
    _place: int = field(repr=False, compare=False)

    @property
    def open(self) -> bool:
        """Whether nobody has closed it."""
        return self.closing is None

    @property
    def later(self) -> tuple[Visit, ...]:
        """The later sheets of the same machine, the earliest first: where it may have been done."""
        return tuple(self._history.visits[self._place + 1 :])

    @cached_property
    def proposed(self) -> int | None:
        """The later sheet whose work reads like it, None where none does. Looked for when it is asked for."""
        return self._history.proposed(self.text, self._place)


def follow_ups(visits: Iterable[Visit], closings: Iterable[Closing], today: datetime.date) -> list[FollowUp]:
    """What all sheets in their newest revision advise, open ones first, the oldest first.

    Within a sheet the text alone tells one from another, so that an amendment that drops the text drops the
    follow-up, and its closing with it.
    """
    visits = list(visits)
    closed: dict[tuple[int, str], Closing] = {}
    for closing in sorted(closings, key=lambda each: each.id):
        if not closing.undone:
            closed[closing.sheet, words_key(closing.text)] = closing
    by_machine = {key: _History(history) for key, history in histories(visits).items()}
    places = {visit.sheet: place for each in by_machine.values() for place, visit in enumerate(each.visits)}
    found: list[FollowUp] = []
    for visit in visits:
        seen: set[str] = set()
        for text in visit.follow_up:
            key = words_key(text)
            if key in seen:
                continue
            seen.add(key)
            machine = machine_of(visit)
            history = by_machine.get(machine) or _History([visit])
            found.append(
                FollowUp(
                    sheet=visit.sheet,
                    revision=visit.revision,
                    text=text,
                    machine=machine_name(visit),
                    machine_key=machine,
                    fleet_number=visit.fleet_number,
                    customer=visit.customer,
                    site=visit.site,
                    engineer=visit.engineer,
                    day=visit.date,
                    age_days=(today - visit.date).days,
                    closing=closed.get((visit.sheet, key)),
                    _history=history,
                    _place=places.get(visit.sheet, 0),
                )
            )
    return oldest_first(found)


def oldest_first(found: Iterable[FollowUp]) -> list[FollowUp]:
    """Follow-ups of several machines in the order of `follow_ups`."""
    return sorted(found, key=lambda each: (not each.open, each.day, each.sheet))


def choose(
    found: Iterable[FollowUp],
    *,
    machine: str = "",
    customer: str = "",
    site: str = "",
    at_least_days: int | None = None,
    state: State | None = None,
) -> list[FollowUp]:
    """Those of one machine (fleet number), customer and site, at least so many days old, open or closed; what
    is left empty lets all pass."""
    return [
        each
        for each in found
        if (not machine or key_of(each.fleet_number) == key_of(machine))
        and (not customer or words_key(each.customer) == words_key(customer))
        and (not site or words_key(each.site) == words_key(site))
        and (at_least_days is None or each.age_days >= at_least_days)
        and (state is None or each.open == (state == "open"))
    ]


@cache
def _left_out() -> frozenset[str]:
    data = table("follow_ups")
    return frozenset((*data["doing"]["say"], *data["small"]["say"])) | STOPS


@lru_cache(maxsize=65536)
def _told(text: str) -> tuple[frozenset[str], Places]:
    """The words that say what a text is about, in the singular, and those that say where."""
    tokens = tokens_of(text)
    left_out = _left_out()
    about = frozenset([_singular(token) for token in tokens if token not in left_out])
    return about, places_in(tokens)


@lru_cache(maxsize=32768)
def _singular(word: str) -> str:
    if len(word) > 3 and word.endswith("s") and not word.endswith("ss"):
        return word[:-3] + "y" if word.endswith("ies") else word[:-1]
    return word


class _History:
    """The visits of one machine, to be asked for work that reads like a text: only lines that share words
    with it are held against it."""

    def __init__(self, visits: Sequence[Visit]) -> None:
        self.visits = visits

    @cached_property
    def _lines(self) -> list[tuple[int, int, frozenset[str], Places]]:
        return [
            (place, visit.sheet, *_told(line))
            for place, visit in enumerate(self.visits)
            for line in visit.work
        ]

    @cached_property
    def _of_word(self) -> dict[str, list[int]]:
        found: dict[str, list[int]] = defaultdict(list)
        for number, (_, _, about, _) in enumerate(self._lines):
            for word in about:
                found[word].append(number)
        return found

    def proposed(self, text: str, place: int) -> int | None:
        """The sheet after the visit at `place` whose work reads most like the text, the earliest of equals;
        None where none reads alike. Left and right, front and rear are never alike."""
        if place + 1 >= len(self.visits):
            return None
        about, where = _told(text)
        shared: dict[int, int] = defaultdict(int)
        for word in about:
            for line in self._of_word.get(word, ()):
                shared[line] += 1
        best: tuple[tuple[float, float], int] | None = None
        said = " ".join(sorted(about))
        for line in sorted(line for line, count in shared.items() if count >= SHARED * len(about)):
            at, sheet, words, places = self._lines[line]
            if at <= place or contradict(where, places):
                continue
            done = " ".join(sorted(words))
            # Of lines that hold all of it, the one that holds the least besides.
            likeness = (fuzz.token_set_ratio(said, done), fuzz.token_sort_ratio(said, done))
            if likeness[0] >= ALIKE and (best is None or likeness > best[0]):
                best = (likeness, sheet)
        return None if best is None else best[1]
