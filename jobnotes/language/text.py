"""Words of the memo back into readable phrases."""

from __future__ import annotations

import re
from collections.abc import Sequence

from jobnotes.language.findings import Findings, Piece
from jobnotes.language.tokens import FILLERS

# Small words that may stay inside a short form between words that were kept.
JOINING = frozenset(
    "a an the of to and in on at for with by from up out off down into onto over under across between as or "
    "per not no n't was is were are be been being it its had has have 's when while after before until till "
    "once if only but so that which would wo could ca did does do will - / ' & two both one".split()
)
LEADING = frozenset(
    "i we you he she they it and so but then now well right there that 's 've 'd 'm 're 'll is was were are "
    "be to the a an of which also just er um that this these those had have has got for as with at in on by "
    "from , . - or".split()
)
TRAILING = frozenset(
    "and so but then the a an of which to for with at is was were are that it 's i they he she there , . - "
    "or in on by from as when had has be part number".split()
)
# What turns a word into its opposite, and the small words that may stand between the two.
DENIALS = frozenset("n't not no never without cannot".split())
BETWEEN_DENIAL = frozenset(
    "even be been being quite really properly the a an any to have ever go get".split()
)


def figure(value: float) -> str:
    """A number without needless zeros: 12.5, 350."""
    return f"{value:.6g}" if value < 1e6 else str(int(value))


def render(piece: Piece, words: Sequence[str], found: Findings) -> str:
    """One canonical word as it is to be read: figures as figures, codes joined, names in full."""
    if not piece.mark:
        if piece.text == "hours" and any(
            q.number.last < piece.first <= q.last and words[q.last].lower() == "hour"
            for q in found.quantities
        ):
            return ""  # said with its figure: "500-hour"
        if piece.first == piece.last:
            return words[piece.first]
        return piece.text
    for code in found.codes:
        if code.first == piece.first:
            return code.code.text
    for name in found.names:
        if name.first == piece.first and name.kind != "type":
            return " ".join(words[name.first : name.last + 1])
    if piece.text == "DURATION" and words[piece.last].lower() in ("hour", "hours"):
        # "two thousand hour" of a service
        for duration in found.durations:
            if duration.first == piece.first:
                return f"{figure(duration.minutes / 60)}-hour"
    if piece.text == "NUM":
        for quantity in found.quantities:
            if quantity.first == piece.first and words[quantity.last].lower() == "hour":
                return f"{figure(quantity.value)}-hour"
        for quantity in found.quantities:
            if quantity.first == piece.first:
                return figure(quantity.value)
        for number in found.numbers:
            if number.first == piece.first:
                return figure(number.value)
    return " ".join(w for w in words[piece.first : piece.last + 1])


def join(parts: Sequence[str]) -> str:
    """Words into a phrase: no space before a sign or a shortened word, none at all twice."""
    text = " ".join(p for p in parts if p)
    text = re.sub(r"\s+([,.;:!?%])", r"\1", text)
    text = re.sub(r"\s*-\s*", "-", text)
    text = re.sub(r"\s*/\s*", "/", text)
    text = re.sub(r"\s+(n['’]t|['’](?:s|re|ve|ll|d|m))\b", r"\1", text)
    return re.sub(r"\s{2,}", " ", text).strip(" ,.;:-/'")


def short_form(
    first: int,
    last: int,
    pieces: Sequence[Piece],
    keep: Sequence[float],
    words: Sequence[str],
    found: Findings,
    dropped: frozenset[int] = frozenset(),
    least: float = 0.5,
) -> str:
    """The short form of pieces `first` to `last`: those that the clause reader would keep with at least the
    probability `least` and that are not `dropped`, and the small words between them. Empty where none
    is left."""
    chosen = [
        i
        for i in range(first, last + 1)
        if keep[i] >= least and i not in dropped and re.search(r"\w", pieces[i].text)
    ]
    if not chosen:
        chosen = [i for i in range(first, last + 1) if i not in dropped and pieces[i].text not in LEADING]
    if not chosen:
        return ""
    # a figure belongs to the word it counts: "500-hour service", "two 3/8 ends"
    counted = [
        i - 1
        for i in chosen
        if i > first
        and i - 1 not in dropped
        and i - 1 not in chosen
        and pieces[i - 1].text in ("NUM", "DURATION")
        and pieces[i - 1].mark
    ]
    chosen = sorted({*chosen, *counted, *denied(first, chosen, pieces, dropped)})
    out: list[str] = []
    before = chosen[0]
    for i in chosen:
        gap = range(before + 1, i)
        if gap and all(pieces[g].text in JOINING and g not in dropped for g in gap) and len(gap) <= 3:
            out.extend(render(pieces[g], words, found) for g in gap)
        elif gap and any(pieces[g].text in (",", ".", ";") for g in gap) and out:
            out.append(",")
        before = i
        out.append(render(pieces[i], words, found))
    while len(out) > 1 and out[0].lower() in LEADING and out[1].lower() not in ("n't", "n’t"):
        out.pop(0)
    while out and out[-1].lower() in TRAILING:
        out.pop()
    return lower_first(join([w for w in out if w.lower() not in FILLERS]))


def denied(first: int, chosen: Sequence[int], pieces: Sequence[Piece], dropped: frozenset[int]) -> set[int]:
    """The pieces that deny a chosen one: "wouldn't drive" must never be cut down to "drive"."""
    out: set[int] = set()
    for i in chosen:
        back = i - 1
        while back > first and pieces[back].text in BETWEEN_DENIAL and i - back <= 2:
            back -= 1
        if back < first or pieces[back].text not in DENIALS or back in dropped:
            continue
        out.update(range(back, i))
        if pieces[back].text == "n't" and back > first:
            out.add(back - 1)
    return {i for i in out if i not in dropped}


def lower_first(text: str) -> str:
    """A phrase does not begin with a capital, unless its first word is written so throughout."""
    head = text.split(" ", 1)[0]
    if len(head) > 1 and (head.isupper() or any(c.isdigit() for c in head)):
        return text
    return text[:1].lower() + text[1:]
