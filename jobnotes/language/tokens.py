"""The words of a memo as a spaCy Doc: how they are cut, and what lies beside them."""

from __future__ import annotations

import re
from collections.abc import Sequence

from spacy.tokens import Doc
from spacy.vocab import Vocab

from jobnotes.jobs import Transcript, Word
from jobnotes.language.numbers import SCALES, TEENS, TENS, UNITS

# 10:15 | 1,250.5 | 12.6 | 214 | o'clock | do n't | it 's | word | a sign. Letters and figures come apart:
# "PH214" is PH 214.
TOKEN = re.compile(
    r"\d{1,2}:\d{2}(?!\d)|\d+(?:,\d{3})+(?!\d)(?:\.\d+)?|\d+\.\d+|\d+"
    r"|[oO]['’]clock|[^\W\d_]+(?=n['’]t\b)|n['’]t\b|['’](?:s|re|ve|ll|d|m)\b|[^\W\d_]+|[^\w\s]|_"
)


class MemoTokenizer:
    """Cuts text into words, numbers and signs. Reads nothing; writes the Doc's tokens and whitespace."""

    def __init__(self, vocab: Vocab) -> None:
        self.vocab = vocab

    def __call__(self, text: str) -> Doc:
        words: list[str] = []
        spaces: list[bool] = []
        end = 0
        for match in TOKEN.finditer(text):
            between = text[end : match.start()]
            if between:
                if words and between.startswith(" "):
                    spaces[-1] = True
                    between = between[1:]
                if between:  # paragraph ends and the like, kept as a token so that offsets stay true
                    words.append(between)
                    spaces.append(False)
            words.append(match.group())
            spaces.append(False)
            end = match.end()
        if rest := text[end:]:
            words.append(rest)
            spaces.append(False)
        return Doc(self.vocab, words=words, spaces=spaces)

    def to_bytes(self, **_: object) -> bytes:
        """Nothing to keep; spaCy asks when a pipeline is saved."""
        return b""

    def from_bytes(self, _: bytes, **__: object) -> MemoTokenizer:
        """Nothing to restore."""
        return self

    def to_disk(self, _: object, **__: object) -> None:
        """Nothing to keep."""

    def from_disk(self, _: object, **__: object) -> MemoTokenizer:
        """Nothing to restore."""
        return self


def lower(doc: Doc) -> list[str]:
    """The tokens in lower case, with the straight apostrophe; the minus of "it read -4 degrees" as the sign
    itself."""
    return ["−" if t.text == "-" and is_minus(doc, t.i) else t.text.lower().replace("’", "'") for t in doc]


def is_minus(doc: Doc, place: int) -> bool:
    """Whether the hyphen at `place` stands before a figure, joined to it, and after a word and a space (in
    "HV -77" it does not)."""
    if not 0 < place < len(doc) - 1 or doc[place].whitespace_ or not doc[place + 1].text[0].isdecimal():
        return False
    before = doc[place - 1]
    return bool(before.whitespace_) and before.text.isalpha() and not before.text.isupper()


NUMBER_WORDS = frozenset({*UNITS, *TEENS, *TENS, *SCALES, "hundred"})
FILLERS = frozenset({"er", "um", "erm", "uh", "ah", "hm", "hmm", "uhm", "eh", "umm", "err"})
HALVES = {("and", "-", "a", "-", "half"), ("and", "-", "a", "-", "quarter")}


def without_fillers(tokens: Sequence[str]) -> list[int]:
    """Places of the tokens that are left when "er" and "um" go, with the comma before and the comma after
    each, and the hyphens between number words: so that "two hundred and, er, fifty-one" and
    "two-thousand-hour" read as numbers."""
    gone: set[int] = set()
    for i, token in enumerate(tokens):
        if token in FILLERS:
            gone.add(i)
            if i and tokens[i - 1] == ",":
                gone.add(i - 1)
            if i + 1 < len(tokens) and tokens[i + 1] == ",":
                gone.add(i + 1)
        elif token == "-" and 0 < i < len(tokens) - 1:
            before, after = tokens[i - 1], tokens[i + 1]
            joined = before in NUMBER_WORDS and (
                after in NUMBER_WORDS or (after == "and" and tokens[i + 2 : i + 3] == ["-"])
            )
            if before in NUMBER_WORDS and tuple(tokens[i + 1 : i + 6]) in HALVES:
                gone.update((i, i + 2, i + 4))  # two-and-a-half hours
            elif joined or (before == "and" and after in NUMBER_WORDS and tokens[i - 2 : i - 1] == ["-"]):
                gone.add(i)  # two-thousand-hour, two-hundred-and-fifty-hour
    return [i for i in range(len(tokens)) if i not in gone]


def from_text(text: str) -> Transcript:
    """A transcript of typed words: no times, no probabilities. Paragraphs are kept in `text`."""
    text = text.replace("\r\n", "\n").replace("\r", "\n").strip("﻿ \n\t")
    return Transcript(text=text, words=[Word(text=w) for w in text.split()])


def word_of_token(doc: Doc, words: Sequence[Word]) -> list[int]:
    """For each token the place of the transcript word it lies in (the words being the text split at white
    space)."""
    places: list[int] = []
    starts = [m.start() for m in re.finditer(r"\S+", doc.text)]
    place = 0
    for token in doc:
        while place + 1 < len(starts) and starts[place + 1] <= token.idx:
            place += 1
        places.append(min(place, max(0, len(words) - 1)))
    return places
