"""Codes set right from the register: by their sound, by what is said beside them, and by asking the
recording.

    fleet number NK-88                    MK88, if there is one and nothing else is as near
    wear pads, XW five five two           XW552
    order number KD 5 or double 6         KD5066: no register has it, but "or" between figures is nought

A code of the register that is nearly what was heard is taken where nothing else is as near, where the sound
agrees, and mostly only where its own words (a part's description, a machine's type) or a word that announces
it stand beside it. Numbers of orders and jobs are no register's, and are never made into one of its codes.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from jobnotes.speech.codes import Spelled, code_key, distance, firm, sounds, spelled_codes
from jobnotes.speech.knowledge import Knowledge, words_of
from jobnotes.speech.said import Ask, Repair, Said, asked

AROUND = 7
"""So many words before and after are looked at for words that go with a code."""
NEAR_AGAIN = 4
"""So many candidates are asked about."""
CLOSE = 0.5
GAP = 0.3
"""A candidate stands alone where the next one is so much further off (speech.codes.distance) ..."""
ASK_GAP = 4.0
"""... or goes so much better with the sound (natural logarithms)."""
MOST_WORDS = 4
"""A code has at most so many words in it that are no letters and figures by themselves."""
LOUD_NO = -24.0
NO = -18.0
SHORT_NO = -10.0
"""The sound speaks against a candidate below these: where its words stand beside it, where they do not, and
the same for a code of up to four symbols. Chosen on memos of three speakers."""


def code_repairs(words: Sequence[Said], knowledge: Knowledge | None, ask: Ask) -> list[Repair]:
    """The codes to set right, surest first."""
    texts = [word.text for word in words]
    found: list[tuple[float, int, Repair]] = []
    spans = [span for span in spelled_codes(texts) if _may_be_code(span, texts)]
    if knowledge is not None:
        for span in spans:
            found += _from_register(words, span, knowledge, ask, texts)
    found.sort(key=lambda one: (one[0], one[1]))
    repairs = [repair for _, _, repair in found]
    taken = {place for one in repairs for place in range(one.first, one.last)}
    for span in sorted(spans, key=lambda one: one.first - one.last):
        if taken & set(range(span.first, span.last)):
            continue
        text = _fault_code(span, texts) or _spelled_out(span, texts) or _nought(span, texts)
        if text is not None:
            repairs.append(Repair(span.first, span.last, text))
            taken |= set(range(span.first, span.last))
    return repairs


def announced(texts: Sequence[str], first: int) -> str | None:
    """What the words just before a code say it is: "order", "other" (fleet, serial, part) or nothing."""
    before = [re.sub(r"[^a-z]", "", text.lower()) for text in texts[max(0, first - 3) : first]]
    cues = sounds()["cues"]
    if any(word in cues["order"] for word in before):
        return "order"
    if any(word in cues["other"] for word in before):
        return "other"
    return None


def _may_be_code(span: Spelled, texts: Sequence[str]) -> bool:
    inside = texts[span.first : span.last]
    if not any(c.isalpha() for c in span.key):
        return False
    lower = sum(1 for text in inside if not firm(text))
    return any(firm(text) for text in inside) and lower <= MOST_WORDS


def _from_register(
    words: Sequence[Said], span: Spelled, knowledge: Knowledge, ask: Ask, texts: Sequence[str]
) -> list[tuple[float, int, Repair]]:
    cue = announced(texts, span.first)
    size = len(span.key)
    if cue == "order":
        return []
    near = knowledge.codes.near(span.key, 0.3 * size + 0.7)
    if not near:
        return []
    about = words_of(*texts[max(0, span.first - AROUND) : span.first])
    about |= words_of(*texts[span.last : span.last + AROUND])
    ranked = []
    for cost, key in near[:8]:
        beside = len(knowledge.beside[key] & about)
        ranked.append((cost - 0.3 * min(beside, 2), cost, key, beside))
    ranked.sort()
    judged, cost, key, beside = ranked[0]
    rivals = ranked[1 : NEAR_AGAIN + 1]
    # The words of a code may be announced, or stand beside it; either vouches for it.
    vouched = bool(beside) or cue == "other"
    limit = CLOSE + (0.3 if vouched else 0.15) * max(0, len(key) - 3)
    if cost > min(limit, 0.4 * len(key)):
        return []
    length = span.first - span.last
    written = texts[span.first : span.last]
    if cost == 0.0 and (vouched or firm(written[0])):
        return [(-1.0, length, Repair(span.first, span.last, key, True))]
    options = [key, *(rival[2] for rival in rivals)]
    forms = [form for option in options for form in _forms(option)]
    goes = asked(words, span.first, span.last, forms, ask)
    each = len(forms) // len(options)
    marks = [max(goes[n * each : (n + 1) * each]) for n in range(len(options))]
    if marks[0] < (LOUD_NO if vouched else NO if len(key) > 4 else SHORT_NO):
        return []
    for (rival_judged, *_), mark in zip(rivals, marks[1:], strict=True):
        if rival_judged - judged < GAP and marks[0] - mark < ASK_GAP:
            return []
    certain = vouched and cost <= CLOSE and marks[0] > -8.0
    return [(cost, length, Repair(span.first, span.last, key, certain))]


def _forms(key: str) -> list[str]:
    """Ways in which the recogniser may write a code."""
    cut = re.match(r"([A-Z]+)(.*)", key)
    return [key, f"{cut[1]}-{cut[2]}" if cut and cut[2] else key]


def _fault_code(span: Spelled, texts: Sequence[str]) -> str | None:
    """A suspect parameter or failure mode with its number, where its head was misheard."""
    if any(text[-1:] in ".,;:" for text in texts[span.first : span.last - 1]):
        return None
    for head in sounds()["heads"]:
        figures = span.key[len(head) :]
        if figures.isdigit() and len(figures) <= 6 and distance(span.key[: len(head)], head) <= CLOSE:
            heard = code_key("".join(texts[span.first : span.last]))
            return None if heard == head + figures else f"{head} {figures}"
    return None


def _nought(span: Spelled, texts: Sequence[str]) -> str | None:
    """GRO4618 as GR04618: nought is said "oh", and the letter O is shunned in codes since the two are taken
    for each other."""
    if span.last != span.first + 1 or announced(texts, span.first) is None:
        return None
    return re.sub(r"O(?=\d)", "0", span.key) if re.fullmatch(r"[A-NP-Z]{2,4}O\d{2,}", span.key) else None


def _spelled_out(span: Spelled, texts: Sequence[str]) -> str | None:
    """The code in one piece, where letters or figures in it were written as words; None where none were, or
    where it may be no code."""
    written = texts[span.first : span.last]
    names = [text for text in written if not firm(text)]
    if not names or not firm(written[0]):
        return None
    letters = re.match(r"[A-Z]{1,5}(?=\d)", span.key)
    cue = announced(texts, span.first)
    if letters is None or len(span.key) > 9:
        return None
    before = [text for text in written[:-1] if text[-1:] in ".;:!?"]
    if before or (cue is None and len(letters[0]) < 2):
        return None
    if cue is None and any(text.rstrip(",") != text for text in written[:-1]):
        return None
    return span.key
