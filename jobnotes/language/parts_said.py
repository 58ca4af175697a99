"""Parts as they were said: which words name one, how many, how much, and its number."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from jobnotes.language.codes import Code, CodeReader
from jobnotes.language.context import Context
from jobnotes.language.decode import Marked
from jobnotes.language.findings import PlacedCode
from jobnotes.language.labels import REACH
from jobnotes.language.lexicon import word_set
from jobnotes.language.numbers import Number
from jobnotes.language.part_rows import (
    COUNTS,
    names_a_part,
    part_nouns,
    stem,
    stems,
)
from jobnotes.language.segments import Segment
from jobnotes.language.text import short_form
from jobnotes.register.lookup import code_key

# Small words at which the name of a new part ends.
AFTER_NEW = frozenset("on in and to for up".split())


@dataclass
class Said:
    """One part as said: its tokens, code, quantity, unit (each, L, m, kg, set), the words that describe it,
    what became of it (a PartStatus), and how sure that is, 0 to 1.

    `mark` is None where the clause reader passed it over.
    """

    span: tuple[int, int]
    mark: Marked | None
    code: PlacedCode | None
    quantity: float | None
    unit: str | None
    words: str
    status: str
    confidence: float
    counted: bool = False  # the quantity stands before the name, as a count does


def fitted_in_work(c: Context, segment: Segment, said: list[Said]) -> list[Said]:
    """New parts that only the work tells of ("new clamp on it and all"): a guess, so marked for a look."""
    out: list[Said] = []
    pieces = c.found.pieces
    goes_on = word_set("parts", "talk", "goes_on")
    for mark in c.marks(segment, "work"):
        if mark.confidence < 0.6:
            continue
        for i in range(mark.first, mark.last):
            if pieces[i].text != "new" or any(
                m.group == "part" and m.first - 9 <= i <= m.last + 3 for m in c.found.marks
            ):
                continue
            last = i + 1
            while last <= mark.last and last - i <= 4:
                word = pieces[last]
                if word.mark or not word.text.isalpha() or word.text in AFTER_NEW or word.text in goes_on:
                    break
                last += 1
            span = (pieces[i].first, pieces[last - 1].last)
            words = describe(c, *span, None) if last > i + 1 else ""
            known = any(stems(words) & stems(s.words) for s in [*said, *out])
            if words and names_a_part(c, words) and not known:
                out.append(Said(span, mark, None, None, None, words, "fitted", 0.3))
            elif last == i + 1 or pieces[i + 1].text in ("one", "ones"):
                words = named_before(c, mark)
                if words and not any(stems(words) & stems(s.words) for s in [*said, *out]):
                    out.append(Said(span, mark, None, None, None, words, "fitted", 0.3))
    return out


def named_before(c: Context, mark: Marked) -> str:
    """The part that "put a new one on" speaks of: what the reader points to before the clause, else what
    is told last to be wrong. Empty where that is no part."""
    pieces, pointed = c.found.pieces, c.found.ahead["work"]
    chosen = [
        i for i in range(max(0, mark.first - REACH), mark.first) if pointed[i] > 0.3 and not pieces[i].mark
    ]
    if chosen and chosen[-1] - chosen[0] < 6:
        keep = [1.0 if i in chosen else 0.0 for i in range(len(pieces))]
        words = short_form(chosen[0], chosen[-1], pieces, keep, c.words, c.found)
        if names_a_part(c, words):
            return words
    wrong = [
        m
        for m in c.found.marks
        if m.first < mark.first <= m.last + 12
        and (m.group in ("cause", "complaint") or (m.group, m.label) == ("check", "not_ok"))
    ]
    for m in reversed(wrong):
        words = short_form(m.first, m.last, pieces, c.found.kept(m.group), c.words, c.found)
        if names_a_part(c, words) and len(words.split()) <= 4:
            return words
    return ""


def reach(c: Context, s: Said) -> Said:
    """A span that names no part ("would you order me", "that never left the van") takes in its sentence's
    next words, or the last ones before."""
    if (
        s.code is not None
        or names_a_part(c, s.words)
        or (s.unit in ("L", "kg") and re.search(r"\w", s.words))
    ):
        return s
    first, last = s.span
    begin, end = c.sentence(first)
    others = [c.token_span(m) for m in c.found.marks if m.group == "part" and m is not s.mark]
    right = min([end, last + 9] + [a - 1 for a, _ in others if a > last])
    left = max([begin, first - 9] + [b + 1 for _, b in others if b < first])
    for begins, ends, span, sure in (
        (last + 1, right, (first, right), 0.8),
        (left, first - 1, (left, last), 0.7),
    ):
        words = describe(c, begins, ends, None) if begins <= ends else ""
        if names_a_part(c, words):
            quantity, unit = amount_in(c, begins, ends, None)
            return replace(
                s,
                span=span,
                words=words,
                quantity=s.quantity or quantity,
                unit=s.unit or unit,
                confidence=s.confidence * sure,
            )
    return replace(s, words="")


def split(c: Context, mark: Marked) -> list[Said]:
    """The parts of one marked span: a number each, where several numbers were said."""
    first, last = c.token_span(mark)
    codes = [
        k
        for k in c.codes_in(first, last)
        if k.kind in ("part", "code", "fleet", "order", "serial", "fault", "model")
    ]
    codes = [k for k in codes if k.kind not in ("model", "fleet") or k.row is None] or codes
    # a number that follows the span at once belongs to it
    if not codes:
        following = [k for k in c.found.codes if last < k.first <= last + 4 and k.kind in ("part", "code")]
        words = c.tokens[last + 1 : following[0].first] if following else []
        if following and word_set("parts", "talk", "before_number").issuperset(words):
            marked = any(
                m.group in ("part", "name") and c.token_span(m)[0] <= following[0].first <= c.token_span(m)[1]
                for m in c.found.marks
                if m is not mark
            )
            if not marked:
                codes = following[:1]
    if not codes and (ended := shortened(c, first, last)) is not None:
        codes = [ended]
    if len(codes) <= 1:
        return [one(c, mark, first, last, codes[0] if codes else None)]
    out = []
    start = first
    for n, code in enumerate(codes):
        end = code.last if n < len(codes) - 1 else max(last, code.last)
        out.append(one(c, mark, start, end, code))
        start = code.last + 1
    return out


def shortened(c: Context, first: int, last: int) -> PlacedCode | None:
    """A part number of which only the end is said, the rest being as in the one before: "same number but
    dash seven", "dash one four one". None where the register does not hold the whole."""
    before = [k for k in c.found.codes if k.kind == "part" and k.row is not None and k.last < first]
    if not before:
        return None
    stem_text = re.sub(r"[-/.][^-/.]*$", "", c.lookup.part_row(before[-1].row or 0).part_number)
    reader = CodeReader(c.lookup.known_codes)
    for place in range(first, last + 1):
        signed = c.tokens[place] in ("dash", "stroke", "slash", "dot", "-", "/")
        begins = place + 1 if signed else place
        tail = reader.figures(c.tokens[: last + 1], begins) if begins <= last else None
        letter = c.tokens[begins].upper() if begins <= last and len(c.tokens[begins]) == 1 else ""
        key = tail.key if tail is not None else letter if signed else ""
        rows = (
            c.lookup.part.exact.get(code_key(stem_text + key)) if key and (signed or len(key) >= 3) else None
        )
        if rows:
            end = tail.last if tail is not None else begins
            return PlacedCode(Code(place, end, c.lookup.part_row(rows[0]).part_number), "part", rows[0])
    return None


def one(c: Context, mark: Marked, first: int, last: int, code: PlacedCode | None) -> Said:
    """The part said in tokens `first` to `last` of a mark, with its count where that stands just before."""
    quantity, unit = amount_in(c, first, last, code)
    if quantity is None and first > 0:
        before = [
            n
            for n in c.found.numbers
            if first - 4 <= n.last < first and n.value == int(n.value) and 1 < n.value < 100
        ]
        between = c.tokens[before[-1].last + 1 : first] if before else []
        if before and word_set("parts", "talk", "after_count").issuperset(between):
            quantity = before[-1].value
        elif code is not None:
            quantity = counted_before(c, first)
    if quantity is not None and unit is None and (again := recounted(c, last)) is not None:
        quantity = again
    words = describe(c, first, last, code)
    counted = quantity is not None and any(
        n.value == quantity and n.first <= first + 1 and n.last < first + 4 for n in c.found.numbers
    )
    if code is None:
        words = of_grease(c, first, last, words, unit)
    return Said(
        (first, max(last, code.last if code else last)),
        mark,
        code,
        quantity,
        unit,
        words,
        mark.label,
        mark.confidence,
        counted,
    )


def counted_before(c: Context, first: int) -> float | None:
    """The count told in the words before a part's number: "four I put in, G R ...", "two new panels, the
    twenty mil ones, ..."; None where there is none, or another number stands between."""
    begin, _ = c.sentence(first)
    begin = max(begin, first - 9)
    if any(k.first >= begin and k.last < first for k in c.found.codes):
        return None
    for place in range(first - 1, begin - 1, -1):
        word = c.tokens[place]
        if word not in COUNTS and not word.isdecimal():
            continue
        value = float(COUNTS.get(word, word))
        measured = any(q.first <= place <= q.last for q in c.found.quantities)
        rest = c.tokens[place + 1 : first]
        put = word_set("parts", "talk", "counted").intersection(rest) or any(
            w.endswith("s") and stem(w) in part_nouns() for w in rest
        )
        alone = not any(n.first <= place <= n.last and n.last > n.first for n in c.found.numbers)
        if measured or not alone:
            return None
        return value if 1 < value <= 24 and put else None
    return None


def of_grease(c: Context, first: int, last: int, words: str, unit: str | None) -> str:
    """The words of a part with "grease" where its sentence tells of greasing: "greased it all round, two
    tubes"."""
    begin, end = c.sentence(first)
    greasing = any(w.startswith("greas") for w in c.tokens[begin : end + 1])
    packed = word_set("parts", "talk", "grease_packs").intersection(c.tokens[first : last + 1])
    if greasing and "grease" not in words and (packed or unit == "kg"):
        return "grease cartridge" if packed else "grease"
    return words


def recounted(c: Context, last: int) -> float | None:
    """The count that is put right at once: "two fuses, no wait, three"."""
    after = c.tokens[last + 1 : last + 6]
    if not word_set("cues", "road", "taken_back").intersection(after):
        return None
    for n in c.found.numbers:
        if last < n.first <= last + 6 and n.value == int(n.value) and 0 < n.value < 100:
            following = c.tokens[n.last + 1 : n.last + 2]
            return n.value if not following or following[0] in (".", ",", "of", "and", "in") else None
    return None


def amount_in(c: Context, first: int, last: int, code: PlacedCode | None) -> tuple[float | None, str | None]:
    """How many, or how much, within the tokens, and in what unit (L, m, kg, set); None where not said."""
    inside = [q for q in c.found.quantities if q.first <= last and q.last >= first]
    inside = [q for q in inside if code is None or q.last < code.first or q.first > code.last]
    inside = [q for q in inside if not c.retracted(q.first)] or inside
    for q in reversed(inside):
        if q.unit in ("L", "m", "kg") and not c.near(q.first, q.last, ("long hose",), 0, 0):
            if (
                q.unit == "m"
                and c.tokens[q.last + 1 : q.last + 2] in (["long"], ["hose"])
                and q.value > 0
                and "of" not in c.tokens[q.last + 1 : q.last + 3]
            ):
                continue
            return q.value, q.unit
    numbers: list[Number] = []
    for n in c.found.numbers:
        if not (n.first <= last and n.last >= first) or n.value != int(n.value) or not 0 < n.value < 200:
            continue
        if code is not None and code.first <= n.first <= code.last:
            continue
        if any(q.number.first == n.first for q in c.found.quantities) or c.retracted(n.first):
            continue
        numbers.append(n)
    sets = any(w in ("set", "sets") for w in c.tokens[first : last + 1])
    for n in numbers:
        after = c.tokens[n.last + 1 : n.last + 2]
        if n.value == 1 and len(numbers) > 1:
            continue
        if after == ["off"] or n.first == first or c.tokens[n.last + 1 : n.last + 3] == ["of", "them"]:
            return n.value, None
    small = [n for n in numbers if n.value <= 24]
    if small:
        return small[-1].value if len(small) == 1 or small[0].value == 1 else small[0].value, None
    words = c.tokens[first : last + 1]
    if "both" in words or "pair" in words:
        return 2.0, None
    return None, "set" if sets else None


def describe(c: Context, first: int, last: int, code: PlacedCode | None) -> str:
    """The words of the part without number, count and small words."""
    a, b = c.piece_of(first), c.piece_of(last)
    pieces = c.found.pieces
    goes_on = word_set("parts", "talk", "goes_on")
    left_out = word_set("parts", "talk", "left_out")
    dropped: set[int] = set()
    for i in range(a, b + 1):
        piece = pieces[i]
        if piece.text in goes_on and len(dropped) < i - a:
            dropped.update(range(i, b + 1))  # "kit 's gone back": the part is named before
            break
        if piece.text in COUNTS and i < b and pieces[i + 1].text in word_set("parts", "build"):
            continue  # two-wire hose
        if (
            (piece.mark and piece.text not in ("OIL", "MODEL", "NUM", "MAKE"))
            or c.retracted(piece.first)
            or (code is not None and code.first <= piece.first <= code.last)
            or any(
                q.first <= piece.first <= q.last and q.unit in ("L", "kg", "m") for q in c.found.quantities
            )
            or (not piece.mark and piece.text in left_out)
        ):
            dropped.add(i)
    return short_form(a, b, pieces, [1.0] * len(pieces), c.words, c.found, frozenset(dropped))


def unmarked(c: Context, segment: Segment, code: PlacedCode, said: list[Said]) -> Said:
    """A part number that the clause reader passed over: it takes the status of its nearest neighbour."""
    near = min(said, key=lambda s: abs(s.span[0] - code.first), default=None)
    close = near is not None and abs(near.span[0] - code.first) < 25
    first, _ = c.sentence(code.first)
    start = max(first, code.first - 6)
    quantity, unit = amount_in(c, start, code.first - 1, None) if start < code.first else (None, None)
    return Said(
        (code.first, code.last),
        None,
        code,
        quantity,
        unit,
        "",
        near.status if near is not None and close else "fitted",
        0.25,
    )
