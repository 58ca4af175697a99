"""The short forms on the sheet: what was checked, what was done, what was ruled out."""

from __future__ import annotations

import re
from functools import cache

from jobnotes.language.context import Context
from jobnotes.language.decode import Marked
from jobnotes.language.lexicon import load
from jobnotes.language.text import JOINING, LEADING, figure, join, lower_first, render, short_form

CODES = ("PART", "FLEET", "SERIAL", "ORDER", "CLOCK", "CODE")


@cache
def words_of(section: str, key: str) -> frozenset[str]:
    """A word list of phrases.toml."""
    return frozenset(load("phrases")[section][key])


def plain(c: Context, mark: Marked) -> str:
    """The short form of a mark; part numbers and the like are left out."""
    pieces = c.found.pieces
    dropped = frozenset(
        i for i in range(mark.first, mark.last + 1) if pieces[i].mark and pieces[i].text in CODES
    )
    return short_form(mark.first, mark.last, pieces, c.found.keep, c.words, c.found, dropped)


def inside(c: Context, mark: Marked, group: str, *labels: str, reach: int = 0) -> list[Marked]:
    """Marks of a group that begin inside a mark, or end within `reach` pieces before it."""
    return [
        m
        for m in c.found.marks
        if m.group == group
        and (not labels or m.label in labels)
        and m.last >= mark.first - reach
        and m.first <= mark.last
    ]


def measured(c: Context, mark: Marked) -> set[int]:
    """Pieces inside a mark that are figures, units, or words taken back."""
    out: set[int] = set()
    for i in range(mark.first, mark.last + 1):
        piece = c.found.pieces[i]
        if (piece.mark and piece.text in (*CODES, "NUM", "DURATION")) or any(
            q.number.last < piece.first <= q.last for q in c.found.quantities
        ):
            out.add(i)
    for m in inside(c, mark, "value", "old"):
        out.update(range(m.first, m.last + 1))
    return out


def checked(c: Context, mark: Marked) -> str:
    """What was checked: the words that the reader keeps and those that name the place of a reading."""
    pieces, keep = c.found.pieces, list(c.found.keep)
    figures = measured(c, mark)
    places = inside(c, mark, "at", reach=2)
    verdicts = words_of("checks", "verdicts")
    first, last = mark.first, mark.last
    for place in places:
        first, last = min(first, place.first), max(last, min(place.last, mark.last + 2))
        for i in range(place.first, place.last + 1):
            if pieces[i].text not in verdicts:
                keep[i] = 1.0
    chosen = [i for i in range(first, last + 1) if keep[i] >= 0.5 and i not in figures]
    telling = [i for i in chosen if pieces[i].text not in verdicts and len(pieces[i].text) > 1]
    if not telling:
        # nothing that names it: the place of the figure, a part, or what was ruled out, near by
        near = [m for m in c.found.marks if m.group == "at" and mark.first - 14 < m.first <= mark.last]
        near += [m for m in inside(c, mark, "out") if telling_words(c, m)]
        near += [
            m
            for m in inside(c, mark, "part")
            if not figures and telling_words(c, m) and m.first >= mark.first
        ]
        if near:
            best = min(near, key=lambda m: (m.group != "at", m.group != "out", abs(m.first - mark.first)))
            return short_form(
                best.first,
                best.last,
                pieces,
                [1.0] * len(keep),
                c.words,
                c.found,
                frozenset(i for i in range(best.first, best.last + 1) if pieces[i].mark),
            )
        for i in range(first, last + 1):
            keep[i] = 1.0 if pieces[i].text not in verdicts and len(pieces[i].text) > 2 else 0.0
        if not any(keep[i] for i in range(first, last + 1) if i not in figures):
            return ""
    return short_form(first, last, pieces, keep, c.words, c.found, frozenset(figures))


def telling_words(c: Context, mark: Marked) -> bool:
    """Whether a mark has a word that names something."""
    skip = LEADING | JOINING | NOTHING | words_of("checks", "verdicts")
    return any(
        c.found.pieces[i].text.isalpha()
        and len(c.found.pieces[i].text) > 2
        and c.found.pieces[i].text not in skip
        for i in range(mark.first, mark.last + 1)
        if not c.found.pieces[i].mark
    )


MEASURES = {
    "pressure": "pressure",
    "voltage": "voltage",
    "resistance": "resistance",
    "temperature": "temperature",
    "frequency": "frequency",
    "current": "current",
}


def with_measure(what: str, quantity: str) -> str:
    """ "gauge" with a pressure read is "gauge pressure"; a phrase that says so already, or a long one, stays."""
    noun = MEASURES.get(quantity)
    words = set(re.findall(r"[a-z]+", what.lower()))
    if (
        noun is None
        or noun in words
        or len(words) > 4
        or words
        & {
            "drop",
            "voltage",
            "pressure",
            "resistance",
            "temperature",
            "boost",
            "relief",
            "precharge",
            "charge",
            "crack",
            "drift",
        }
    ):
        return what
    return f"{what} {noun}"


def done(c: Context, mark: Marked) -> str:
    """What was done: everyday words for fitting put as "fitted", with the part named and a setting's figure."""
    pieces, keep = c.found.pieces, list(c.found.keep)
    empty = words_of("work", "empty")
    fit = words_of("work", "fitted")
    parts = [m for m in inside(c, mark, "part", "fitted", reach=0) if m.confidence > 0.4]
    figures = measured(c, mark)
    for m in inside(c, mark, "at"):
        for i in range(m.first, min(m.last, mark.last) + 1):
            keep[i] = 1.0
    text = short_form(mark.first, mark.last, pieces, keep, c.words, c.found, frozenset(figures))
    content = [
        w
        for w in re.findall(r"[a-z0-9]+", text.lower())
        if w not in empty and w not in JOINING and w not in LEADING
    ]
    said = [pieces[i].text for i in range(mark.first, mark.last + 1)]
    fits = bool(parts) and (any(w in fit for w in said) or "new" in said)
    if parts:
        nouns = [w for w in content if w not in fit]
        if not nouns or (len(nouns) == 1 and len(content) < 3 and fits):
            name = part_name(c, parts[0])
            if name:
                verb = "fitted" if fits or not content else content[0]
                text = f"{verb} {name}"
        elif fits and "fitted" not in content:
            first = text.split(" ", 1)[0].lower()
            text = f"fitted {text.split(' ', 1)[1]}" if first in fit and " " in text else f"fitted {text}"
    after = [m for m in inside(c, mark, "value", "after") if m.last <= mark.last + 1]
    for m in after[-1:]:
        first, last = c.token_span(m)
        q = c.quantity_in(first, last)
        numbers = c.numbers_in(first, last)
        if q is not None and figure(q.value) not in text:
            text = f"{text} to {figure(q.value)} {q.unit}"
        elif q is None and numbers and figure(numbers[-1].value) not in text:
            text = f"{text} to {figure(numbers[-1].value)}"
    return lower_first(text.strip())


def part_name(c: Context, mark: Marked) -> str:
    """The part as said, else as the register has it, without sizes and models."""
    from jobnotes.language.parts import describe

    first, last = c.token_span(mark)
    codes = [k for k in c.codes_in(first, last) if k.kind in ("part", "code")]
    said = describe(c, first, last, codes[0] if codes else None)
    if re.search(r"[a-z]{3}", said) and len(said.split()) < 7:
        return said
    for code in codes:
        rows = c.lookup.part.rows(code.code.key)
        if rows:
            text = c.lookup.part_row(rows[0]).description
            return lower_first(re.sub(r"\s+\S*\d\S*( (mm|V|m|in|L|A|bar|t)\b)?", "", text))
    return said


def ruled_out(c: Context, mark: Marked) -> str:
    """What was ruled out: the noun said, or, for "not that", what was suspected just before."""
    text = plain(c, mark)
    words = [
        w
        for w in re.findall(r"[a-z0-9]+", text.lower())
        if w not in LEADING and w not in JOINING and w not in NOTHING
    ]
    if words:
        return text
    # the noun may stand in the mark though the reader kept none
    pieces = c.found.pieces
    own = [i for i in range(mark.first, mark.last + 1) if pieces[i].text.isalpha() and not pieces[i].mark]
    own = [
        i for i in own if pieces[i].text not in LEADING | JOINING | NOTHING | words_of("checks", "verdicts")
    ]
    if own and len(own) <= 3:
        return lower_first(join([render(pieces[i], c.words, c.found) for i in own]))
    for i in range(mark.first, max(-1, mark.first - 45), -1):
        found = suspected_at(c, i)
        if found:
            return found[0]
    return ""


NOTHING = frozenset(
    "not never that this them those it case neither innocent clear ruled rule eliminated one".split()
)


@cache
def cues(kind: str) -> tuple[tuple[str, ...], ...]:
    """Suspicion cues, longest first."""
    return tuple(
        sorted(
            (
                tuple(x.replace("'", " '").replace("n 't", " n't").split())
                for x in load("phrases")["suspicion"][kind]
            ),
            key=len,
            reverse=True,
        )
    )


def suspected_at(c: Context, piece: int) -> tuple[str, int, int] | None:
    """(noun, first, last piece) of the suspicion that a cue at `piece` begins."""
    pieces = c.found.pieces
    texts = [p.text for p in pieces[piece : piece + 6]]
    for cue in cues("cues"):
        if tuple(texts[: len(cue)]) != cue:
            continue
        first = piece + len(cue)
        while first < len(pieces) and pieces[first].text in (
            "it",
            "was",
            "were",
            "the",
            "a",
            "an",
            "that",
            "'s",
            "of",
            "to",
            "be",
            "maybe",
            "first",
            "his",
            "its",
            "is",
            "must",
            "have",
            "been",
        ):
            first += 1
        last = first
        while (
            last < len(pieces)
            and last - first < 5
            and pieces[last].text.isalpha()
            and not pieces[last].mark
            and pieces[last].text not in STOPS
        ):
            last += 1
        if last == first:
            return None
        text = lower_first(join([render(p, c.words, c.found) for p in pieces[first:last]]))
        return text, first, last - 1
    return None


STOPS = frozenset(
    "but so and because since had until first myself at was were is and as would when which where with again for i he then or on".split()
)


def suspicions(c: Context, first: int, last: int) -> list[tuple[str, int, int]]:
    """All suspicions that begin between two pieces."""
    out = []
    i = first
    while i <= last:
        found = suspected_at(c, i)
        if found:
            out.append(found)
            i = found[2] + 1
        else:
            i += 1
    return out
