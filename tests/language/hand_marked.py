"""Memos whose clause marks are given by hand, so that each rule is held alone."""

from __future__ import annotations

from memo_words import RECORDED_AT

from jobnotes.jobs import Transcript, Word
from jobnotes.language import Reader, from_text
from jobnotes.language.context import Context
from jobnotes.language.decode import Marked
from jobnotes.language.evidence import EvidenceBook
from jobnotes.language.findings import findings
from jobnotes.language.segments import Segment
from jobnotes.language.tokens import lower, word_of_token


def heard(text: str) -> Transcript:
    """`text` as a recogniser gives it, each word well heard."""
    words = [Word(text=w, start=n / 2, end=n / 2 + 0.4, probability=0.9) for n, w in enumerate(text.split())]
    return Transcript(text=text, words=words, seconds=len(words) / 2)


def context(reader: Reader, text: str, by_ear: bool = False) -> Context:
    """The memo `text` as the rules see it, typed or heard, without any mark of the clause reader."""
    transcript = heard(text) if by_ear else from_text(text)
    doc = reader.nlp.make_doc(transcript.text)
    doc.user_data["heard"] = by_ear
    doc = reader.nlp(doc)
    book = EvidenceBook(doc, word_of_token(doc, transcript.words), transcript)
    found = findings(doc)
    found.marks = []
    return Context(doc, lower(doc), [t.text for t in doc], found, reader.lookup, RECORDED_AT, book)


def span_of(c: Context, said: str) -> tuple[int, int]:
    """First and last token of the words `said`, where they are first said."""
    words = said.split()
    place = next(i for i in range(len(c.tokens)) if c.tokens[i : i + len(words)] == words)
    return place, place + len(words) - 1


def mark(c: Context, said: str, group: str, label: str, confidence: float = 0.9) -> Marked:
    """Marks the words `said`."""
    first, last = span_of(c, said)
    made = Marked(c.piece_of(first), c.piece_of(last), group, label, confidence)
    c.found.marks.append(made)
    return made


def whole(c: Context) -> Segment:
    """The whole memo as one job."""
    return Segment([(0, len(c.found.pieces) - 1)])


def halves(c: Context, second: str) -> list[Segment]:
    """Two jobs, the second from the words `second` on."""
    place = c.piece_of(span_of(c, second)[0])
    return [Segment([(0, place - 1)]), Segment([(place, len(c.found.pieces) - 1)])]
