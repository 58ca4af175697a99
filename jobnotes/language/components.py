"""The rule components of the pipeline, in the order in which they run. Each does one thing to the findings.

numbers      every number                               writes findings.numbers
quantities   numbers with a unit                        reads numbers; writes findings.quantities
clock        times of day and durations                 writes findings.clocks, findings.durations
codes        fleet, serial, part, order, fault numbers  reads quantities, clocks, durations; writes
                                                        findings.codes, takes their tokens out of numbers,
                                                        quantities, clocks and durations
names        machine types, makes, sites, customers     reads codes; writes findings.names
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property
from typing import TypeVar

from spacy.language import Language
from spacy.tokens import Doc

from jobnotes.language.clock import Clock, ClockReader, Duration
from jobnotes.language.codes import Code, CodeReader
from jobnotes.language.findings import PlacedCode, findings
from jobnotes.language.lexicon import load
from jobnotes.language.names import machine_types, register_names
from jobnotes.language.numbers import Number, NumberReader
from jobnotes.language.quantities import Quantity, quantities
from jobnotes.language.tokens import lower, without_fillers
from jobnotes.register import Lookup, Register
from jobnotes.register.lookup import code_key

RULES = ("numbers", "quantities", "clock", "codes", "names")

# Small words before "order" that make it the ordering of a part, and no order number.
ORDERING = frozenset("on to in you please we i 'll them just can must".split())
# Small words let by between a cue and the number it names.
SKIP = frozenset("is it 's , : the of was their that number no . - er um one on being and".split())

Placed = TypeVar("Placed", Number, Quantity, Clock, Duration, Code)


class View:
    """A Doc's tokens without fillers, and the way back to the Doc's places."""

    def __init__(self, doc: Doc) -> None:
        everything = lower(doc)
        self.back = without_fillers(everything)
        self.tokens = [everything[i] for i in self.back]
        self.raw = [doc[i].text for i in self.back]
        # a token after which a filler was dropped stands apart from the next, though no space follows it
        following = [*self.back[1:], len(doc)] if self.back else []
        self.spaced = [
            bool(doc[i].whitespace_) or n != i + 1 for i, n in zip(self.back, following, strict=True)
        ]

    @cached_property
    def numbers(self) -> list[Number]:
        """Every number, at the view's places."""
        return NumberReader().find(self.tokens)

    @cached_property
    def quantities(self) -> list[Quantity]:
        """Every number with a unit, at the view's places."""
        return quantities(self.tokens, self.numbers)

    def home(self, item: Placed) -> Placed:
        """The item with the Doc's places."""
        return replace(item, first=self.back[item.first], last=self.back[item.last])

    def quantity_home(self, item: Quantity) -> Quantity:
        """The quantity, and the number in it, with the Doc's places."""
        return replace(self.home(item), number=self.home(item.number))


def view_of(doc: Doc) -> View:
    """The Doc's view, made once and used by every component."""
    view = doc.user_data.get("view")
    if not isinstance(view, View):
        view = doc.user_data["view"] = View(doc)
    return view


@Language.component("numbers")
def numbers(doc: Doc) -> Doc:
    """Writes findings.numbers."""
    view = view_of(doc)
    findings(doc).numbers = [view.home(n) for n in view.numbers]
    return doc


@Language.component("quantities")
def quantities_of(doc: Doc) -> Doc:
    """Writes findings.quantities."""
    view = view_of(doc)
    findings(doc).quantities = [view.quantity_home(q) for q in view.quantities]
    return doc


@Language.component("clock")
def clock(doc: Doc) -> Doc:
    """Writes findings.clocks and findings.durations."""
    reader = ClockReader()
    view = view_of(doc)
    found = findings(doc)
    found.clocks = [view.home(k) for k in reader.clocks(view.tokens)]
    taken = {i for k in found.clocks for i in range(k.first, k.last + 1)}
    durations = [view.home(d) for d in reader.durations(view.tokens)]
    found.durations = [d for d in durations if d.first not in taken]
    return doc


class CodesComponent:
    """Finds the codes and says what each is, by the register first, then by the words before it."""

    def __init__(self, lookup: Lookup) -> None:
        self.use(lookup)
        self.cues: dict[str, list[tuple[str, ...]]] = {
            kind: [tuple(c.split()) for c in says] for kind, says in load("cues")["codes"].items()
        }

    def use(self, lookup: Lookup) -> None:
        """Reads against another register from now on."""
        self.lookup = lookup
        self.reader = CodeReader(lookup.known_codes)

    def __call__(self, doc: Doc) -> Doc:
        tokens = lower(doc)
        view = view_of(doc)
        found = findings(doc)
        units = {i for q in view.quantities for i in range(q.number.last + 1, q.last + 1)}
        codes = [view.home(k) for k in self.reader.find(view.raw, view.tokens, view.spaced, units)]
        placed = [self._place(k, tokens) for k in codes]
        taken = {i for p in placed for i in range(p.first, p.last + 1)}
        placed += self._figures(tokens, taken, doc)
        placed.sort(key=lambda p: p.first)
        taken = {i for p in placed for i in range(p.first, p.last + 1)}
        found.codes = placed
        found.numbers = [n for n in found.numbers if not taken.intersection(range(n.first, n.last + 1))]
        found.quantities = [
            q for q in found.quantities if q.number.first not in taken and q.number.last not in taken
        ]
        found.clocks = [c for c in found.clocks if c.first not in taken]
        found.durations = [d for d in found.durations if d.first not in taken]
        return doc

    def _cue(self, tokens: Sequence[str], place: int) -> str | None:
        """The kind that the words just before `place` name, a few small words let by."""
        before = place
        if "grid" in tokens[max(0, place - 4) : place]:
            return None  # a place on the map
        for _ in range(4):
            for kind, says in self.cues.items():
                for say in says:
                    if say == ("order",) and before > 1 and tokens[before - 2] in ORDERING:
                        continue  # a part on order, or to order
                    if before >= len(say) and tuple(tokens[before - len(say) : before]) == say:
                        return kind
            if before and tokens[before - 1] in SKIP:
                before -= 1
            else:
                break
        return None

    def _place(self, code: Code, tokens: Sequence[str]) -> PlacedCode:
        look = self.lookup
        cue = self._cue(tokens, code.first)
        if code.key.startswith(("SPN", "FMI")) and code.key[3:].isdigit():
            return PlacedCode(code, "fault")
        if code.text.count("W") == 1 and code.text[0].isdigit():
            return PlacedCode(code, "oil")
        if cue == "order" and not look.fleet.exact.get(code.key):
            return PlacedCode(code, "order")
        indexes = {"fleet": look.fleet, "part": look.part, "serial": look.serial, "model": look.model_index}
        order = [cue] if cue in indexes else []
        for kind in [*order, *(k for k in indexes if k not in order)]:
            rows = indexes[kind].rows(code.key)
            if rows:
                return PlacedCode(code, kind, rows[0])
        return PlacedCode(code, cue or "code")

    def _figures(self, tokens: Sequence[str], taken: set[int], doc: Doc) -> list[PlacedCode]:
        """Codes of figures alone: what the register holds, or what a cue word names."""
        look = self.lookup
        found = findings(doc)
        units = {q.first: q for q in found.quantities}
        times = {c.first for c in found.clocks} | {d.first for d in found.durations}
        out: list[PlacedCode] = []
        last = -1
        for number in found.numbers:
            place = number.first
            if (
                place <= last
                or place in taken
                or place in times
                or (number.plain and not self._cue(tokens, place))
            ):
                continue
            cue = self._cue(tokens, place)
            if place in units and cue is None:
                continue
            code = self.reader.figures(tokens, place)
            if code is None or code.key in ("", "0"):
                continue
            if any(i in taken for i in range(code.first, code.last + 1)):
                continue
            kinds = {"fleet": look.fleet, "part": look.part, "serial": look.serial, "model": look.model_index}
            hit = None
            for kind in [cue, *kinds] if cue in kinds else [*kinds]:
                rows = kinds[kind].exact.get(code_key(code.text)) if kind else None
                if rows and (
                    len(code.key) >= 4 or cue == kind or (kind == "fleet" and self._fleet_like(tokens, code))
                ):
                    hit = PlacedCode(code, kind or "code", rows[0])
                    break
                if rows and kind == "part" and len(code.key) >= 3:
                    hit = PlacedCode(code, "part", rows[0])
                    break
                if rows and kind == "model" and tokens[place - 1 : place] in (["the"], ["a"], ["an"]):
                    hit = PlacedCode(code, "model", rows[0])
                    break
            if hit is None and cue is not None and len(code.key) >= 2:
                hit = PlacedCode(code, cue)
            if hit is not None:
                out.append(hit)
                last = code.last
        return out

    def _fleet_like(self, tokens: Sequence[str], code: Code) -> bool:
        """A short fleet number of figures needs a hint: a machine word near, or figures read out singly."""
        read_out = code.last > code.first or len(code.key) >= 3
        near = [*tokens[max(0, code.first - 4) : code.first], *tokens[code.last + 1 : code.last + 4]]
        return read_out and bool(
            set(near) & {"machine", "fleet", "number", "unit", "the", "it", "its", "is", ",", ".", "two"}
        )


class NamesComponent:
    """Writes findings.names."""

    def __init__(self, lookup: Lookup) -> None:
        self.use(lookup)

    def use(self, lookup: Lookup) -> None:
        """Reads against another register from now on."""
        self.lookup = lookup

    def __call__(self, doc: Doc) -> Doc:
        tokens = lower(doc)
        found = findings(doc)
        taken = {i for c in found.codes for i in range(c.first, c.last + 1)}
        names = [
            n
            for n in register_names(tokens, self.lookup, bool(doc.user_data.get("heard")))
            if n.first not in taken
        ]
        taken |= {i for n in names for i in range(n.first, n.last + 1)}
        names += [n for n in machine_types(tokens) if not taken.intersection(range(n.first, n.last + 1))]
        found.names = sorted(names, key=lambda n: n.first)
        return doc


@Language.factory("codes")
def make_codes(nlp: Language, name: str) -> CodesComponent:
    """The codes component, with an empty register until `Reader` gives one."""
    return CodesComponent(Lookup(Register()))


@Language.factory("names")
def make_names(nlp: Language, name: str) -> NamesComponent:
    """The names component, with an empty register until `Reader` gives one."""
    return NamesComponent(Lookup(Register()))
