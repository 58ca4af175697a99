"""How far an answer agrees with the truth, slot by slot.

Truth and answer are objects of the jobs schema (docs/jobs.schema.json); beside the answer's `jobs` may stand
`evidence`, {JSON Pointer: {"confidence": 0 to 1, "check": true or false}}.

A slot is one thing that can be right or not: the hours, one part, the expected value of one reading. What
both leave out is no slot. A slot is

    right     the answer has what the truth has
    wrong     both have something, and not the same: one false positive and one false negative
    missing   only the truth has it
    made up   only the answer has it

Jobs are paired so that the most slots come out right. What is the same:

    numbers, units, dates, clock times, verdicts    exactly
    codes (fleet, serial, part, order, fault)       in letters and figures, whatever stands between
    names (customer, site, make, type)              in nine tenths of the letters
    complaint, cause                                0.5 or more of the words shared
    an item of a list, where a reading is           0.4 or more of the words shared

Words shared are an F1, without endings and small words. The items of a list are paired best first. A reading
is paired by value and unit, a part by its number or else its words; a part is right where quantity, unit and
status are. The expected value counts on readings of stage `found` only. `notes` are not scored.

Silent error is the share of the critical slots (those that money and safety hang on) that are not right and
that no `check` marks. A mark on a pointer stands for all below it.
"""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from functools import cache
from typing import Any, Literal

from rapidfuzz.fuzz import ratio

Verdict = Literal["right", "wrong", "missing", "made up"]
Same = Callable[[Any, Any], bool]
Likeness = Callable[[Any, Any], float]

TEXT_SHARE = 0.5
ITEM_SHARE = 0.4
NAME_SHARE = 90  # percent

GROUPS = {
    "visit": ("date", "customer", "site", "order_number"),
    "machine": ("type", "make", "model", "size", "fleet_number", "serial_number", "hours"),
    "times": ("arrived", "left", "labour_min", "travel_min", "distance"),
    "parts": ("part", "part_number"),
    "readings": ("reading", "reading.at", "reading.stage", "reading.expected", "fault_code"),
    "checks": ("check", "check.result"),
    "story": (
        "complaint",
        "cause",
        "ruled_out",
        "work",
        "follow_up",
        "safety",
        "outcome",
        "machine_state",
    ),
}
GROUP_OF = {name: group for group, names in GROUPS.items() for name in names}
CRITICAL = {
    *("customer", "order_number", "date", "fleet_number", "serial_number", "hours"),
    *("part", "part_number", "reading", *GROUPS["times"]),
}
SMALL_WORDS = frozenset(
    "a an the this that it its of to in on at by for from with into up out as and one some "
    "is are was were be been had has have".split()
)


@dataclass(frozen=True)
class Slot:
    """One slot. `pointer` is its place in the answer; `confidence` that of the evidence there, if any."""

    name: str
    verdict: Verdict
    pointer: str
    wanted: Any = None
    given: Any = None
    marked: bool = False
    confidence: float | None = None

    @property
    def right(self) -> bool:
        return self.verdict == "right"


@dataclass
class MemoScore:
    """All slots of one memo, and how many jobs it has and was read to have."""

    slots: list[Slot]
    jobs_wanted: int
    jobs_given: int


@dataclass
class Counts:
    """How many slots came out which way; precision, recall and F1 are 0 to 1, and 0 where nothing counts."""

    verdicts: Counter[Verdict] = field(default_factory=Counter)

    @classmethod
    def of(cls, slots: Iterable[Slot]) -> Counts:
        return cls(Counter(s.verdict for s in slots))

    @property
    def precision(self) -> float:
        return self._share("made up")

    @property
    def recall(self) -> float:
        return self._share("missing")

    @property
    def f1(self) -> float:
        p, r = self.precision, self.recall
        return 2 * p * r / (p + r) if p + r else 0.0

    @property
    def wanted(self) -> int:
        """The slots that the truth has."""
        return self.verdicts["right"] + self.verdicts["wrong"] + self.verdicts["missing"]

    def _share(self, failing: Verdict) -> float:
        every = self.verdicts["right"] + self.verdicts["wrong"] + self.verdicts[failing]
        return self.verdicts["right"] / every if every else 0.0


# ---- what is the same


def content_words(text: str) -> Counter[str]:
    """The words that carry a phrase's sense, without their endings."""
    found: Counter[str] = Counter()
    for word in re.findall(r"[a-z0-9]+", text.lower().replace("'", "")):
        if word not in SMALL_WORDS:
            found[without_ending(word)] += 1
    return found


def without_ending(word: str) -> str:
    ending = re.search(r"(?<=...)(ied|ies|ings?|ed|es|s)$", word)
    if ending is None:
        return word
    return word[: ending.start()] + ("y" if ending.group() in ("ied", "ies") else "")


def shared(wanted: str | None, given: str | None) -> float:
    """F1 of the words that two phrases share, 0 to 1."""
    a, b = content_words(wanted or ""), content_words(given or "")
    both = (a & b).total()
    return 2 * both / (a.total() + b.total()) if both else 0.0


def same_text(wanted: str, given: str) -> bool:
    return shared(wanted, given) >= TEXT_SHARE


def same_place(wanted: str, given: str) -> bool:
    return shared(wanted, given) >= ITEM_SHARE


def same_name(wanted: str, given: str) -> bool:
    return ratio(plain_name(wanted), plain_name(given)) >= NAME_SHARE


def plain_name(text: str) -> str:
    return " ".join(re.findall(r"[a-z0-9]+", text.lower().replace("&", " and ").replace("'", "")))


def same_code(wanted: str, given: str) -> bool:
    return plain_code(wanted) == plain_code(given)


def plain_code(text: str) -> str:
    return re.sub(r"[^A-Z0-9]", "", text.upper())


def same_number(wanted: float, given: float) -> bool:
    # Figures are decimal as spoken; only the last bit of a float may differ.
    return abs(wanted - given) <= 1e-6 * max(1.0, abs(wanted))


def same_amount(wanted: dict[str, Any], given: dict[str, Any]) -> bool:
    return same_number(wanted["value"], given["value"]) and wanted["unit"] == given["unit"]


def same(wanted: object, given: object) -> bool:
    return wanted == given


SCALARS: tuple[tuple[str, Same], ...] = (
    ("date", same),
    ("customer", same_name),
    ("site", same_name),
    ("order_number", same_code),
    ("complaint", same_text),
    ("cause", same_text),
    ("distance", same_amount),
    ("outcome", same),
    ("machine_state", same),
    ("machine/type", same_name),
    ("machine/make", same_name),
    ("machine/model", same_code),
    ("machine/size", same_amount),
    ("machine/fleet_number", same_code),
    ("machine/serial_number", same_code),
    ("machine/hours", same_number),
    ("times/arrived", same),
    ("times/left", same),
    ("times/labour_min", same),
    ("times/travel_min", same),
)


# ---- how like two items of a list are; 0 where they can't be the same


def phrase_likeness(wanted: str, given: str) -> float:
    likeness = shared(wanted, given)
    return likeness if likeness >= ITEM_SHARE else 0.0


def code_likeness(wanted: str, given: str) -> float:
    return float(same_code(wanted, given))


def check_likeness(wanted: dict[str, Any], given: dict[str, Any]) -> float:
    return phrase_likeness(wanted["what"], given["what"])


def reading_likeness(wanted: dict[str, Any], given: dict[str, Any]) -> float:
    if not same_amount(wanted, given):
        return 0.0
    return float(1.0 + (wanted["stage"] == given["stage"]) + shared(wanted["at"], given["at"]))


def part_likeness(wanted: dict[str, Any], given: dict[str, Any]) -> float:
    numbers = wanted["part_number"], given["part_number"]
    if all(numbers) and same_code(*numbers):
        return 3.0  # the number goes before any words
    words = phrase_likeness(wanted["description"], given["description"])
    return words + 0.5 * (wanted["status"] == given["status"]) if words else 0.0


def same_part(wanted: dict[str, Any], given: dict[str, Any]) -> bool:
    return (
        wanted["status"] == given["status"]
        and wanted["unit"] == given["unit"]
        and same_number(wanted["quantity"], given["quantity"])
    )


def best_pairs(wanted: list[Any], given: list[Any], likeness: Likeness) -> list[tuple[int, int]]:
    """Places of the items that belong together, the likest pair first; every item once at most."""
    scored = [(likeness(w, g), i, j) for i, w in enumerate(wanted) for j, g in enumerate(given)]
    pairs: dict[int, int] = {}
    for score, i, j in sorted(scored, key=lambda s: (-s[0], s[1], s[2])):
        if score > 0 and i not in pairs and j not in pairs.values():
            pairs[i] = j
    return list(pairs.items())


# ---- slots


class Evidence:
    """What the answer says of its own values."""

    def __init__(self, entries: dict[str, dict[str, Any]]) -> None:
        self.entries = entries
        self.marks = {pointer for pointer, entry in entries.items() if entry.get("check")}

    def slot(self, name: str, verdict: Verdict, pointer: str, wanted: Any = None, given: Any = None) -> Slot:
        entry = self.entries.get(pointer, {})
        return Slot(name, verdict, pointer, wanted, given, self.marked(pointer), entry.get("confidence"))

    def marked(self, pointer: str) -> bool:
        """Whether a mark stands at the pointer or above it."""
        while pointer:
            if pointer in self.marks:
                return True
            pointer = pointer.rpartition("/")[0]
        return False

    def compared(self, name: str, wanted: Any, given: Any, alike: Same, pointer: str) -> Iterator[Slot]:
        """The slot of one value: none where both leave it out."""
        if wanted is None and given is None:
            return
        verdict: Verdict
        if wanted is None:
            verdict = "made up"
        elif given is None:
            verdict = "missing"
        else:
            verdict = "right" if alike(wanted, given) else "wrong"
        yield self.slot(name, verdict, pointer, wanted, given)

    def listed(
        self,
        name: str,
        wanted: list[Any],
        given: list[Any],
        likeness: Likeness,
        pointer: str,
        of_pair: Callable[[Any, Any, str], Iterator[Slot]] | None = None,
    ) -> Iterator[Slot]:
        """The slots of a list: those of each pair (`of_pair`, else one that is right), then what is left."""
        pairs = best_pairs(wanted, given, likeness)
        for i, j in pairs:
            place = f"{pointer}/{j}"
            if of_pair is None:
                yield self.slot(name, "right", place, wanted[i], given[j])
            else:
                yield from of_pair(wanted[i], given[j], place)
        for i in sorted(set(range(len(wanted))) - {i for i, _ in pairs}):
            yield self.slot(name, "missing", pointer, wanted[i], None)
        for j in sorted(set(range(len(given))) - {j for _, j in pairs}):
            yield self.slot(name, "made up", f"{pointer}/{j}", None, given[j])

    def check(self, wanted: dict[str, Any], given: dict[str, Any], pointer: str) -> Iterator[Slot]:
        yield self.slot("check", "right", pointer, wanted, given)
        yield from self.compared("check.result", wanted["result"], given["result"], same, pointer)

    def reading(self, wanted: dict[str, Any], given: dict[str, Any], pointer: str) -> Iterator[Slot]:
        yield self.slot("reading", "right", pointer, wanted, given)
        yield from self.compared("reading.at", wanted["at"], given["at"], same_place, pointer)
        yield from self.compared("reading.stage", wanted["stage"], given["stage"], same, pointer)
        if wanted["stage"] == "found":
            yield from self.compared(
                "reading.expected", wanted["expected"], given["expected"], same_number, pointer
            )

    def part(self, wanted: dict[str, Any], given: dict[str, Any], pointer: str) -> Iterator[Slot]:
        yield from self.compared("part", wanted, given, same_part, pointer)
        yield from self.compared(
            "part_number", wanted["part_number"], given["part_number"], same_code, pointer
        )

    def job(self, wanted: dict[str, Any], given: dict[str, Any], pointer: str) -> list[Slot]:
        """All slots of two jobs held side by side. Either may be empty: a job left out or made up."""
        slots: list[Slot] = []
        for path, alike in SCALARS:
            name = path.rpartition("/")[2]
            place = f"{pointer}/{path}"
            slots += self.compared(name, value_at(wanted, path), value_at(given, path), alike, place)
        for key, name, likeness, of_pair in (
            ("ruled_out", "ruled_out", phrase_likeness, None),
            ("work", "work", phrase_likeness, None),
            ("follow_up", "follow_up", phrase_likeness, None),
            ("safety", "safety", phrase_likeness, None),
            ("fault_codes", "fault_code", code_likeness, None),
            ("checks", "check", check_likeness, self.check),
            ("readings", "reading", reading_likeness, self.reading),
            ("parts", "part", part_likeness, self.part),
        ):
            place = f"{pointer}/{key}"
            slots += self.listed(name, wanted.get(key) or [], given.get(key) or [], likeness, place, of_pair)
        return slots


def value_at(job: dict[str, Any], path: str) -> Any:
    value: Any = job
    for key in path.split("/"):
        value = (value or {}).get(key)
    return value


def score_memo(truth: dict[str, Any], answer: dict[str, Any]) -> MemoScore:
    """The slots of one memo. A job that stands on one side only gives slots that are missing or made up."""
    wanted, given = truth["jobs"], answer.get("jobs") or []
    evidence = Evidence(answer.get("evidence") or {})
    size = max(len(wanted), len(given))

    @cache
    def slots(i: int, j: int) -> list[Slot]:
        there = j < len(given)
        return evidence.job(
            wanted[i] if i < len(wanted) else {},
            given[j] if there else {},
            f"/jobs/{j}" if there else "/jobs",
        )

    @cache
    def best(i: int, free: frozenset[int]) -> tuple[int, tuple[int, ...]]:
        """The most right slots that jobs i and on can have with the free ones of the answer, and how."""
        if i == size:
            return 0, ()
        found: tuple[int, tuple[int, ...]] | None = None
        for j in sorted(free):
            more, pairing = best(i + 1, free - {j})
            right = more + sum(s.right for s in slots(i, j))
            if found is None or right > found[0]:
                found = right, (j, *pairing)
        assert found is not None
        return found

    pairing = best(0, frozenset(range(size)))[1]
    return MemoScore([s for i, j in enumerate(pairing) for s in slots(i, j)], len(wanted), len(given))


# ---- sums over memos


def critical(slots: Iterable[Slot]) -> list[Slot]:
    return [s for s in slots if s.name in CRITICAL]


def of_group(slots: Iterable[Slot], group: str) -> list[Slot]:
    return [s for s in slots if GROUP_OF[s.name] == group]


def silent_error(slots: Iterable[Slot]) -> float:
    """Critical slots that are not right and that nothing marks, over all critical slots; 0 to 1."""
    counted = critical(slots)
    return sum(not s.right and not s.marked for s in counted) / max(1, len(counted))


def flagged(slots: Iterable[Slot]) -> float:
    """The share of the answer's own slots that carry a mark; 0 to 1."""
    said = [s for s in slots if s.verdict != "missing"]
    return sum(s.marked for s in said) / max(1, len(said))


@dataclass(frozen=True)
class Bin:
    """Values whose confidence is at least `low` and under low + 0.1 (1 belongs to the last)."""

    low: float
    values: int
    right: int

    @property
    def share(self) -> float:
        return self.right / self.values if self.values else 0.0


def reliability(memos: Iterable[MemoScore]) -> list[Bin]:
    """Confidence beside truth, a bin each tenth. A value is what stands at one pointer of the evidence; it is
    right where all its slots are."""
    bins: dict[int, Counter[bool]] = defaultdict(Counter)
    for memo in memos:
        by_value: dict[str, list[Slot]] = defaultdict(list)
        for slot in memo.slots:
            if slot.confidence is not None:
                by_value[slot.pointer].append(slot)
        for slots in by_value.values():
            confidence = slots[0].confidence or 0.0
            bins[min(9, int(confidence * 10 + 1e-9))][all(s.right for s in slots)] += 1
    return [Bin(n / 10, bins[n].total(), bins[n][True]) for n in sorted(bins)]
