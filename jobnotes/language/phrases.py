"""The short forms on the sheet: what was checked, what was done, what was ruled out."""

from __future__ import annotations

import re

from jobnotes.language.context import Context
from jobnotes.language.decode import Marked
from jobnotes.language.labels import REACH
from jobnotes.language.lexicon import word_set
from jobnotes.language.part_rows import names_a_part, stems
from jobnotes.language.parts_said import describe
from jobnotes.language.text import JOINING, LEADING, figure, lower_first, short_form

# Small words that name nothing.
PRONOUNS = frozenset("not never that this them those it neither one ones".split())
# Marks of canonical.MARKS that are left out of a short form.
CODES = ("PART", "FLEET", "SERIAL", "ORDER", "CLOCK", "CODE")


def plain(c: Context, mark: Marked, least: float = 0.5) -> str:
    """The short form of a mark: words that the reader keeps with at least the probability `least`. Part
    numbers and the like are left out."""
    pieces = c.found.pieces
    dropped = frozenset(
        i for i in range(mark.first, mark.last + 1) if pieces[i].mark and pieces[i].text in CODES
    )
    return short_form(
        mark.first, mark.last, pieces, c.found.kept(mark.group), c.words, c.found, dropped, least
    )


AHEAD = 0.2  # from this probability on, a word before a clause is taken into its short form


def told_before(c: Context, mark: Marked, text: str) -> str:
    """The words before a clause that its short form `text` needs, as the reader marks them ("the gauge on
    the lift circuit, so, one forty"); reaching over an earlier clause of its kind only where the text
    names nothing. Empty where there are none."""
    wanted = c.found.ahead.get(mark.group)
    if wanted is None:
        return ""
    pieces = c.found.pieces
    start = max(0, mark.first - REACH)
    if names_something(c, text):
        earlier = [m.first for m in c.found.marks if m.group == mark.group and m.first < mark.first]
        start = max(start, max(earlier, default=0))
    said = stems(text)
    chosen = [i for i in range(start, mark.first) if wanted[i] >= AHEAD and not stems(pieces[i].text) & said]
    chosen = [
        i for i in chosen if pieces[i].text.isalpha() and not (pieces[i].mark and pieces[i].text in CODES)
    ]
    if not chosen:
        return ""
    keep = [1.0 if i in chosen else 0.0 for i in range(len(pieces))]
    return short_form(chosen[0], chosen[-1], pieces, keep, c.words, c.found)


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
    """What was checked: the words that the reader keeps and those that name the place of a reading. Empty
    where nothing names it."""
    pieces, keep = c.found.pieces, list(c.found.kept("check"))
    figures = measured(c, mark)
    places = inside(c, mark, "at", reach=2)
    verdicts = word_set("phrases", "checks", "verdicts")
    first, last = mark.first, mark.last
    for place in places:
        first, last = min(first, place.first), max(last, min(place.last, mark.last + 2))
        for i in range(place.first, place.last + 1):
            if pieces[i].text not in verdicts:
                keep[i] = 1.0
    chosen = [i for i in range(first, last + 1) if keep[i] >= 0.5 and i not in figures]
    telling = [i for i in chosen if pieces[i].text not in verdicts and len(pieces[i].text) > 1]
    own = short_form(first, last, pieces, keep, c.words, c.found, frozenset(figures)) if telling else ""
    if before := told_before(c, mark, own):
        return f"{before} {own}".strip()
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
    skip = LEADING | JOINING | PRONOUNS | word_set("phrases", "checks", "verdicts")
    return any(
        c.found.pieces[i].text.isalpha()
        and len(c.found.pieces[i].text) > 2
        and c.found.pieces[i].text not in skip
        for i in range(mark.first, mark.last + 1)
        if not c.found.pieces[i].mark
    )


def with_measure(what: str, quantity: str) -> str:
    """What was checked, with what was measured there: "gauge" with a pressure read is "gauge pressure". A
    phrase that says so already stays, and so does one of more than four words."""
    words = set(re.findall(r"[a-z]+", what.lower()))
    told = quantity in words or bool(words & word_set("phrases", "measures", "said"))
    if told or len(words) > 4 or quantity not in word_set("phrases", "measures", "named"):
        return what
    return f"{what} {quantity}"


def done(c: Context, mark: Marked) -> str:
    """What was done: everyday words for fitting put as "fitted", with the part named, an object for a bare
    verb, and a setting's figure. Empty where the words name a part alone, as a list of filters does."""
    pieces, keep = c.found.pieces, list(c.found.kept("work"))
    empty = word_set("phrases", "work", "empty")
    fit = word_set("phrases", "work", "fitted")
    parts = [m for m in inside(c, mark, "part", "fitted") if m.confidence > 0.4]
    said = [pieces[i].text for i in range(mark.first, mark.last + 1)]
    if not parts and "new" in said:
        fitted = [m for m in c.found.marks if m.group == "part" and m.label == "fitted"]
        parts = [m for m in fitted if mark.last < m.first <= mark.last + 5][:1]
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
    fits = bool(parts) and (any(w in fit for w in said) or "new" in said)
    after = [m for m in inside(c, mark, "value", "after") if m.last <= mark.last + 1]
    named = names_something(c, " ".join(w for w in content if w not in fit))
    if parts and fits and not named:
        name = part_name(c, parts[0])
        text = f"fitted {name}" if name else text
    elif parts and fits and "fitted" not in content:
        verb, _, thing = text.partition(" ")
        text = f"fitted {thing}" if verb.lower() in fit and " " in text else f"fitted {text}"
    elif parts and not any(w not in part_words_said(c, parts) for w in content):
        return ""  # a part and nothing done: it stands among the parts
    elif before := told_before(c, mark, text):
        text = f"{text} {before}"
    elif not named and len(content) <= 2:
        thing = thing_before(c, mark)
        if thing:
            text = f"{text} {thing}" if text else ""
    if len(text.split()) == 1:  # "topped": better the clause as it was said than a word alone
        whole = [1.0] * len(pieces)
        text = short_form(mark.first, mark.last, pieces, whole, c.words, c.found) or text
    for m in after[-1:]:
        first, last = c.token_span(m)
        q = c.quantity_in(first, last)
        numbers = c.numbers_in(first, last)
        if q is not None and figure(q.value) not in text:
            text = f"{text} to {figure(q.value)} {q.unit}"
        elif q is None and numbers and figure(numbers[-1].value) not in text:
            text = f"{text} to {figure(numbers[-1].value)}"
    return lower_first(text.strip())


THINGS = ("at", "part", "check", "cause", "complaint")  # marks that name a thing


def part_words_said(c: Context, parts: list[Marked]) -> set[str]:
    """The words inside part marks."""
    return {c.found.pieces[i].text for m in parts for i in range(m.first, m.last + 1)}


def thing_before(c: Context, mark: Marked, groups: tuple[str, ...] = THINGS) -> str:
    """What a bare verb was done to: the place, part, check, cause or complaint told last, at most
    thirty words before it. Empty where there is none."""
    best: Marked | None = None
    for m in c.found.marks:
        if m.group not in groups or m.label == "ok":
            continue
        before = mark.first - 30 < m.first < mark.first and m.last <= mark.last
        if before and (best is None or (m.first, m.group == "at") >= (best.first, best.group == "at")):
            best = m
    if best is None:
        return ""
    if best.group == "check":
        return checked(c, best)
    if best.group == "part":
        return part_name(c, best)
    text = plain(c, best)
    return text if len(text.split()) <= 6 else ""


def names_something(c: Context, words: str) -> bool:
    """Whether any of the words is a part or component, by lexicon or register."""
    said = set(re.findall(r"[a-z]+", words.lower()))
    return names_a_part(c, words) or bool(said & word_set("phrases", "components"))


def caused(c: Context, mark: Marked) -> str:
    """The cause: its short form, and the thing before it where it names none ("it's goosed")."""
    text = plain(c, mark, 0.3)
    if before := told_before(c, mark, text):
        return f"{before} {text}"
    if not names_something(c, text):
        checks = [m for m in c.found.marks if m.group == "check" and m.first < mark.first - 1]
        checks = [m for m in checks if m.last >= mark.first]
        thing = checked(c, checks[0]) if checks else thing_before(c, mark)
        if thing and thing not in text and len(thing.split()) < 7:
            text = f"{thing} {text}"
    return text


COMING_BACK = frozenset("back fit come go return when arrives comes lands next time put then".split())


def to_do(c: Context, mark: Marked) -> str:
    """What is still to do; "come back and fit those" names the parts that are waited for."""
    text = plain(c, mark)
    before = told_before(c, mark, text)
    content = [w for w in re.findall(r"[a-z]+", text.lower()) if w not in LEADING | JOINING | PRONOUNS]
    if names_something(c, " ".join(w for w in content if w not in COMING_BACK)) or len(content) > 4:
        return f"{text} {before}".strip()
    waited = [
        m
        for m in c.found.marks
        if m.group == "part"
        and m.label in ("to_order", "ordered")
        and mark.first - 120 < m.first <= mark.last + 20
    ]
    names = list(dict.fromkeys(n for m in waited[-2:] if (n := part_name(c, m))))
    if not names and before:
        return f"{text} {before}".strip()
    if not names:
        return text if len(content) > 1 else ""
    if not content:
        text = "fit"
    return f"{text} {' and '.join(names)}"


def part_name(c: Context, mark: Marked) -> str:
    """The part as said, else as the register has it, without sizes and models."""
    first, last = c.token_span(mark)
    codes = [k for k in c.codes_in(first, last) if k.kind in ("part", "code")]
    said = describe(c, first, last, codes[0] if codes else None)
    if names_a_part(c, said) and len(said.split()) < 7:
        return said
    for code in codes:
        rows = c.lookup.part.rows(code.code.key)
        if rows:
            text = c.lookup.part_row(rows[0]).description
            return lower_first(re.sub(r"\s+\S*\d\S*( (mm|V|m|in|L|A|bar|t|litres?|metres?)\b)?", "", text))
    return said
