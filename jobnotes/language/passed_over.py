"""What was heard and nothing was made of: amounts, numbers, parts and figures that stand in no value.

For memos that were heard, where a sentence may be so garbled that nothing is read from it. The mark is put on
the list that the value would stand in, with the words, so that a person hears them.
"""

from __future__ import annotations

import re

from jobnotes.jobs import Job
from jobnotes.language.context import Context
from jobnotes.language.figures import said_anew
from jobnotes.language.lexicon import sayings, word_set
from jobnotes.language.numbers import Number
from jobnotes.language.part_rows import names_a_part, part_nouns, stem, stems
from jobnotes.language.segments import Segment

Span = tuple[int, int]

# Pointers of values; words that others rest on (a complaint, what was done) may hold a part or a figure all
# the same.
VALUES = re.compile(
    r"/jobs/\d+/((parts|readings|fault_codes)/\d+|machine/\w+|times/\w+|distance|order_number|customer|site|date)$"
)
# Those that are numbers themselves; a part's words may end with a figure that is none of its.
NUMBERED = re.compile(r"/jobs/\d+/(readings/\d+|machine/hours|times/\w+|distance|order_number)$")
SURE_MARK = 0.5  # a mark of the clause reader that is to be a figure
AMOUNTS = ("L", "kg", "m")  # units in which parts are counted out
FIGURES = ("found", "after", "exp")  # labels of measured and specified figures
NUMBER_FOLLOWS = 4  # tokens after a part's name within which its number may stand
BESIDE = 3  # pieces
# Labels of other values. Those of times are left out: a garbled sentence is often taken for them.
ELSEWHERE = ("size", "dist", "date", "hours")
LEAST_SPELLED = 3  # letters and figures one by one that make a number and no abbreviation


def mark_passed_over(c: Context, segment: Segment, job: Job, base: str) -> None:
    """Puts marks on the lists of parts and readings of one job."""
    parts = [
        *dropped_parts(c, segment),
        *amounts(c, segment, job),
        *spelled(c, segment),
        *unread_codes(c, segment),
        *named_parts(c, segment, job),
        *stand_ins(c, segment, job),
        *not_plain(c, job, base),
    ]
    note(c, f"{base}/parts", parts)
    note(c, f"{base}/readings", [*unread_figures(c, segment, job), *bare_decimals(c, segment, job)])


def note(c: Context, pointer: str, spans: list[Span]) -> None:
    """A mark on a list, with the words heard; nothing where there are none."""
    if not spans:
        return
    joined: list[Span] = []
    for first, last in sorted(set(spans)):
        if joined and first <= joined[-1][1] + 1:
            joined[-1] = (joined[-1][0], max(last, joined[-1][1]))
        else:
            joined.append((first, last))
    said = ", ".join(f'"{c.doc[a : b + 1].text.strip()}"' for a, b in joined[:4])
    why = f"heard {said}, and nothing was made of it"
    if pointer in c.book.entries:
        c.book.doubt(pointer, why)
    else:
        c.book.put(pointer, joined, 0.3, True, why)


def read(c: Context, first: int, last: int, values: re.Pattern[str] = VALUES) -> bool:
    """Whether a value, its pointer one of `values`, rests on one of the tokens."""
    spans = [s for pointer, held in c.book.spans.items() if values.match(pointer) for s in held]
    return any(a <= last and first <= b for a, b in [*spans, *c.book.told_again])


def dropped_parts(c: Context, segment: Segment) -> list[Span]:
    """What the clause reader took for a part, and no part was made of."""
    out: list[Span] = []
    for mark in c.marks(segment, "part"):
        first, last = c.token_span(mark)
        words = c.tokens[first : last + 1]
        tells = names_a_part(c, " ".join(words)) or any(w.isdecimal() for w in words)
        if tells and not denied(c, first) and not read(c, first, last):
            out.append((first, last))
    return out


def denied(c: Context, first: int) -> bool:
    """Whether what begins at a token is what it was not: "not the 4007"."""
    return bool({"not", "n't"} & set(c.tokens[max(0, first - 2) : first + 4]))


def amounts(c: Context, segment: Segment, job: Job) -> list[Span]:
    """Litres, kilos and metres in no value."""
    return [
        (q.first, q.last)
        for q in c.found.quantities
        if q.unit in AMOUNTS
        and segment.holds(c.piece_of(q.first))
        and not read(c, q.first, q.last)
        and not marked_otherwise(c, q.first)
        and not any(q.value == part.quantity for part in job.parts)
    ]


def marked_otherwise(c: Context, token: int) -> bool:
    """Whether the clause reader took a token for something that is neither a part nor a figure: a machine's
    size, a distance, an order number."""
    piece = c.piece_of(token)
    return any(
        m.first <= piece <= m.last and (m.group == "name" or (m.group == "value" and m.label in ELSEWHERE))
        for m in c.found.marks
    )


def spelled(c: Context, segment: Segment) -> list[Span]:
    """Letters and figures said one by one, with signs between, in no value: "E-F-F-W-2-O-6"."""
    out: list[Span] = []
    place = 0
    while place < len(c.tokens):
        last, told = place, 0
        while last < len(c.tokens):
            word = c.tokens[last]
            single = len(word) == 1 and word.isalnum() and not c.words[last].islower()
            if not (
                single or (told and word in ("-", ".") and last > place and c.tokens[last - 1].isalnum())
            ):
                break
            told += single
            last += 1
        figures = any(w.isdecimal() for w in c.tokens[place:last])
        if told >= LEAST_SPELLED and last - place > told and figures:
            while not c.tokens[last - 1].isalnum():
                last -= 1
            if segment.holds(c.piece_of(place)) and not read(c, place, last - 1):
                out.append((place, last - 1))
        place = max(last, place + 1)
    return out


def unread_codes(c: Context, segment: Segment) -> list[Span]:
    """Numbers of letters and figures in no value, of which nothing tells whose they are."""
    return [
        (k.first, k.last)
        for k in c.found.codes
        if k.kind in ("part", "code")
        and segment.holds(c.piece_of(k.first))
        and re.search(r"[A-Z].*\d\d", k.code.key)
        and c.words[k.first][:1].isupper()
        and not denied(c, k.first)
        and not read(c, k.first, k.last)
    ]


def named_parts(c: Context, segment: Segment, job: Job) -> list[Span]:
    """Parts named as new, counted or asked for, in no value, and of no kind that the job has."""
    listed = {s for part in job.parts for s in stems(part.description)}
    new, asked = word_set("cues", "passed_over", "brought"), word_set("cues", "passed_over", "asked_for")
    out: list[Span] = []
    for place, word in enumerate(c.tokens):
        if stem(word) not in part_nouns() or stem(word) in listed or not segment.holds(c.piece_of(place)):
            continue
        begin, end = c.sentence(place)
        first = max(begin, place - 3)
        before, after = c.tokens[first:place], c.tokens[place + 1 : min(end, place + 6) + 1]
        cues = [first + n for n, w in enumerate(before) if w in new]
        if cues and "," not in c.tokens[cues[-1] : place] and not read(c, cues[-1], place + NUMBER_FOLLOWS):
            out.append((cues[-1], place))
        elif asked.intersection(after) and not read(c, place, place):
            out.append((place, place + 1 + max(n for n, w in enumerate(after) if w in asked)))
    return out


def stand_ins(c: Context, segment: Segment, job: Job) -> list[Span]:
    """ "A new one on" and the like, and "a new something on", in no value and in a sentence with no part."""
    out: list[Span] = []
    listed = {s for part in job.parts for s in stems(part.description)}
    small = word_set("parts", "talk", "left_out") | word_set("parts", "talk", "goes_on") | {"ones"}
    for place, word in enumerate(c.tokens):
        if word != "new" or not segment.holds(c.piece_of(place)):
            continue
        words = c.tokens[place + 1 : place + 5]
        ends = next((n for n, w in enumerate(words) if w in ("on", "in") or not w.isalpha()), 0)
        if ends and words[ends] in ("on", "in") and not small.intersection(words[:ends]):
            known = listed.intersection(stem(w) for w in words[:ends])
            if not known and not read(c, place, place + ends + NUMBER_FOLLOWS):
                out.append((place, place + ends))
    for cue in sayings("cues", "passed_over", "stand_in"):
        words = cue.split()
        for place in range(len(c.tokens) - len(words) + 1):
            if c.tokens[place : place + len(words)] != words or not segment.holds(c.piece_of(place)):
                continue
            begin, end = c.sentence(place)
            if not read(c, max(begin, place - 8), min(end, place + 8)):
                out.append((place, place + len(words) - 1))
    return out


def not_plain(c: Context, job: Job, base: str) -> list[Span]:
    """Parts of the job whose words name no part, and whose number no register has."""
    out: list[Span] = []
    for n, part in enumerate(job.parts):
        known = part.part_number is not None and c.lookup.part.rows(part.part_number)
        if not known and not names_a_part(c, re.sub(r"^part \S+$", "", part.description)):
            out.extend(c.book.spans.get(f"{base}/parts/{n}", []))
    return out


def told(job: Job, number: Number) -> bool:
    """Whether a reading of the job has the figure."""
    values = {v for r in job.readings for v in (r.value, r.expected)}
    return number.value in values or (number.tenths is not None and number.tenths in values)


def unread_figures(c: Context, segment: Segment, job: Job) -> list[Span]:
    """Figures that the clause reader took for measured or specified, in no value."""
    out: list[Span] = []
    for mark in c.marks(segment, "value", *FIGURES):
        span = c.token_span(mark)
        numbers = c.numbers_in(*span)
        if mark.confidence < SURE_MARK or not numbers or read(c, *span) or said_anew(c, span[1]):
            continue
        if not any(told(job, n) or n.value < 1 for n in numbers):
            out.append((numbers[0].first, numbers[-1].last))
    return out


def bare_decimals(c: Context, segment: Segment, job: Job) -> list[Span]:
    """Figures with decimals in no value ("14.1 now"): hardly anything but a measurement is told so."""
    return [
        (n.first, n.last)
        for n in c.found.numbers
        if re.fullmatch(r"\d+\.\d+", c.tokens[n.first])
        and segment.holds(c.piece_of(n.first))
        and not read(c, n.first, n.last, NUMBERED)
        and not any(part.quantity == n.value for part in job.parts)
        and not told(job, n)
        and not c.retracted(n.first)
        and not marked_otherwise(c, n.first)
        and beside_a_check(c, n.first)
    ]


def beside_a_check(c: Context, token: int) -> bool:
    """Whether the clause reader found a check, a figure or its place within BESIDE pieces of a token."""
    piece = c.piece_of(token)
    return any(
        m.first - BESIDE <= piece <= m.last + BESIDE
        and (m.group in ("check", "at") or (m.group == "value" and m.label in FIGURES))
        for m in c.found.marks
    )
