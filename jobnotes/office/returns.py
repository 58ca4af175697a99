"""Faults that return: two visits to a machine, not long apart, about the same component."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from itertools import chain, pairwise

from jobnotes.office.by_machine import exact, histories, key_of, machine_name, shown
from jobnotes.office.components import (
    Field,
    Places,
    contradict,
    faults_in,
    particular,
    phrases,
    service_parts,
    table,
)
from jobnotes.office.service import names_service
from jobnotes.office.visits import Visit

SPN = re.compile(r"SPN(\d+)")
NO_PLACES: Places = frozenset()


@dataclass(frozen=True)
class Return:
    """A visit about what an `earlier` one was about. `of` are the components and fault codes that both tell
    of, `days` how far they lie apart. `remark`: how the earlier visit ended, where it did not end the fault.
    """

    machine: str
    of: tuple[str, ...]
    days: int
    earlier: Visit
    later: Visit
    remark: str

    @property
    def fitted(self) -> tuple[tuple[str, ...], tuple[str, ...]]:
        """What was fitted, at the earlier visit and at the later."""
        return _fitted(self.earlier), _fitted(self.later)


def _fitted(visit: Visit) -> tuple[str, ...]:
    return tuple(
        f"{shown(exact(part.quantity))} {part.description}" for part in visit.parts if part.status == "fitted"
    )


@cache
def _planned() -> re.Pattern[str]:
    return phrases(table("components")["planned"]["say"])


def is_planned(visit: Visit) -> bool:
    """Whether the visit was made for a service or other work that was planned, and not for a fault."""
    return names_planned(visit.complaint)


def names_planned(complaint: str) -> bool:
    """Whether what was asked for is a service or other planned work."""
    return names_service(complaint) or _planned().search(complaint.lower()) is not None


def faults_of(visit: Visit) -> dict[str, Places]:
    """The components and fault codes that the visit was about, with the words for where they are.

    Of a planned visit only the cause and the fault codes: what a service found, not what it changed. Where
    the work tells of a service as well, what is changed at one counts only if complaint or cause name it.
    """
    fitted = tuple([part.description for part in visit.parts if part.status == "fitted"])
    return _faults(visit.complaint, visit.cause, fitted, visit.work, visit.fault_codes)


@lru_cache(maxsize=32768)
def _faults(
    complaint: str, cause: str, fitted: tuple[str, ...], work: tuple[str, ...], fault_codes: tuple[str, ...]
) -> dict[str, Places]:
    fields: list[tuple[str, Field]] = [(cause, "cause")]
    beside: list[tuple[str, Field]] = []
    if not names_planned(complaint):
        fields.append((complaint, "complaint"))
        beside = [(description, "part") for description in fitted]
        beside += [(line, "work") for line in work]
    found: dict[str, Places] = {}
    for text, field in fields:
        for mention in faults_in(text, field):
            found[mention.component] = found.get(mention.component, NO_PLACES) | mention.places
    passing = service_parts() - found.keys() if any(names_service(line) for line in work) else ()
    for text, field in beside:
        for mention in faults_in(text, field):
            if mention.component not in passing:
                found[mention.component] = found.get(mention.component, NO_PLACES) | mention.places
    kept = particular(found) if len(found) > 1 else found.keys()
    faults = {name: found[name] for name in kept}
    for code in fault_codes:
        key = key_of(code)
        # SAE J1939-73: the SPN names the component, the FMI what is wrong with it.
        spn = SPN.search(key)
        faults[f"fault code SPN {int(spn[1])}" if spn else f"fault code {code.strip().upper()}"] = NO_PLACES
    return faults


REMARKS = {
    "temporary": "the earlier visit was a temporary repair",
    "unresolved": "the earlier visit did not mend it",
}


def returns(visits: Iterable[Visit], days: int = 90) -> list[Return]:
    """Pairs of visits to one machine, on different days at most `days` apart, about the same component; the
    latest first. Each visit stands beside the nearest earlier one about that component.

    Words that put the component at contradicting places keep visits apart. An earlier visit that was left
    waiting for parts is half of one repair: what follows it is planned.
    """
    return latest_first(returns_of(history, days) for history in histories(visits).values())


def latest_first(found: Iterable[Iterable[Return]]) -> list[Return]:
    """The returns of several machines in the order of `returns`."""
    return sorted(
        chain.from_iterable(found),
        key=lambda each: (each.later.date, each.later.sheet, -each.days),
        reverse=True,
    )


def returns_of(history: Sequence[Visit], days: int) -> list[Return]:
    """The returns of one machine, by its visits, the earliest first. See `returns`."""
    found: list[Return] = []
    before: dict[str, list[tuple[Visit, Places]]] = {}
    gap = min(((later.date - earlier.date).days for earlier, later in pairwise(history)), default=days + 1)
    if gap > days:
        return found
    for visit in history:
        pairs: dict[int, tuple[Visit, list[str]]] = {}
        faults = faults_of(visit)
        for name, places in faults.items():
            for earlier, others in reversed(before.get(name, ())):
                apart = (visit.date - earlier.date).days
                if apart > days:
                    break
                if apart and not contradict(places, others):
                    pairs.setdefault(earlier.sheet, (earlier, []))[1].append(name)
                    break
        for name, places in faults.items():
            before.setdefault(name, []).append((visit, places))
        for earlier, names in pairs.values():
            if earlier.outcome != "awaiting_parts":
                apart = (visit.date - earlier.date).days
                remark = REMARKS.get(earlier.outcome, "")
                found.append(Return(machine_name(visit), tuple(sorted(names)), apart, earlier, visit, remark))
    return found
