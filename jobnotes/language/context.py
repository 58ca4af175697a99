"""What the fillers of a job share: the Doc, its findings, the register, and look-ups by place."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import datetime

from spacy.tokens import Doc

from jobnotes.language.decode import Marked
from jobnotes.language.evidence import EvidenceBook
from jobnotes.language.findings import Findings, PlacedCode
from jobnotes.language.numbers import Number, NumberReader
from jobnotes.language.quantities import Quantity
from jobnotes.language.segments import Segment
from jobnotes.language.tokens import without_fillers
from jobnotes.register import Lookup


@dataclass
class Context:
    """One memo being read. Token places are of `doc`, piece places of `found.pieces`."""

    doc: Doc
    tokens: list[str]
    words: list[str]
    found: Findings
    lookup: Lookup
    recorded_at: datetime
    book: EvidenceBook
    day: datetime | None = None  # the day of the work, where the memo has told another than the recording's
    base: str = ""  # the pointer of the job being filled
    ends: list[int] = field(default_factory=list)  # the last token of each piece, filled on first use
    reading_spans: dict[str, tuple[int, int]] = field(default_factory=dict)

    def marks(self, segment: Segment, group: str, *labels: str) -> list[Marked]:
        """The reader's spans of a group (and labels, if any are named) that lie in the segment, in order."""
        return [
            m
            for m in self.found.marks
            if m.group == group and (not labels or m.label in labels) and segment.has(m)
        ]

    def token_span(self, mark: Marked) -> tuple[int, int]:
        """First and last token of a mark."""
        return self.found.pieces[mark.first].first, self.found.pieces[mark.last].last

    def piece_of(self, token: int) -> int:
        """The piece that holds a token, or the next one after it."""
        if len(self.ends) != len(self.found.pieces):
            self.ends = [piece.last for piece in self.found.pieces]
        return min(bisect_left(self.ends, token), len(self.ends) - 1)

    def quantity_in(self, first: int, last: int) -> Quantity | None:
        """The quantity whose number begins within the tokens."""
        for q in self.found.quantities:
            if first <= q.first <= last or (q.first <= first <= q.last):
                return q
        return None

    def numbers_in(self, first: int, last: int) -> list[Number]:
        """All numbers within the tokens, whole where one begins before them; read afresh where a code has
        claimed them."""
        whole = [n for n in self.found.numbers if n.first < first <= n.last and n.last >= last - 2]
        if whole:
            first = whole[0].first
        span = self.tokens[first : last + 1]
        back = without_fillers(span)
        found = NumberReader().find([span[i] for i in back])
        return [
            replace(n, first=first + back[n.first], last=first + back[n.last])
            for n in found
            if not self.retracted(first + back[n.first])
        ] or [replace(n, first=first + back[n.first], last=first + back[n.last]) for n in found]

    def retracted(self, token: int) -> bool:
        """Whether the speaker took back the words at a token ("one eighty, no, one ninety")."""
        return any(
            m.group == "value"
            and m.label == "old"
            and m.confidence > 0.5
            and self.token_span(m)[0] <= token <= self.token_span(m)[1]
            for m in self.found.marks
        )

    def codes_in(self, first: int, last: int) -> list[PlacedCode]:
        """Codes that touch the tokens."""
        return [c for c in self.found.codes if c.first <= last and c.last >= first]

    def sentence(self, token: int) -> tuple[int, int]:
        """First and last token of the sentence round a token: up to a full stop, or a line's end."""
        first = token
        while (
            first > 0
            and self.tokens[first - 1] not in (".", "?", "!", ";")
            and self.tokens[first - 1].strip()
        ):
            first -= 1
        last = token
        while (
            last + 1 < len(self.tokens)
            and self.tokens[last] not in (".", "?", "!", ";")
            and self.tokens[last + 1].strip()
        ):
            last += 1
        return first, last

    def book_has(self, first: int, last: int) -> bool:
        """Whether some evidence already rests on the tokens."""
        text = self.doc[first : last + 1].text.strip()
        places = self.book.places[first], self.book.places[last]
        return any(
            e.first is not None
            and e.last is not None
            and e.first <= places[0]
            and places[1] <= e.last
            and text in e.text
            for pointer, e in self.book.entries.items()
            if "/readings/" in pointer or "/parts/" in pointer or "/machine/" in pointer
        )

    def near(self, first: int, last: int, phrases: tuple[str, ...], before: int, after: int) -> bool:
        """Whether any phrase is said within so many tokens before or after a span."""
        window = " ".join(self.tokens[max(0, first - before) : last + 1 + after])
        return any(f" {p} " in f" {window} " for p in phrases)

    def each(self, segment: Segment, kind: str) -> Iterator[PlacedCode]:
        """Codes of a kind within the segment."""
        for code in self.found.codes:
            if code.kind == kind and segment.holds(self.piece_of(code.first)):
                yield code
