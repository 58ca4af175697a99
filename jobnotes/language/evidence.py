"""Where each value comes from: evidence keyed by JSON Pointer."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from spacy.tokens import Doc

from jobnotes.jobs import Evidence, Transcript

# A word that the recogniser gave this probability or more is taken as heard.
SURE_WORD = 0.5


class EvidenceBook:
    """Collects evidence. Token places are turned into words, seconds and text here, in one place."""

    def __init__(self, doc: Doc, places: Sequence[int], transcript: Transcript) -> None:
        self.doc = doc
        self.places = places
        self.transcript = transcript
        self.entries: dict[str, Evidence] = {}
        # The token spans that each entry rests on; and those of which something was made that has no entry of
        # its own (a part told again).
        self.spans: dict[str, list[tuple[int, int]]] = {}
        self.told_again: list[tuple[int, int]] = []
        self.by_ear = any(w.probability is not None for w in transcript.words)

    def heard(self, first: int, last: int) -> float:
        """How far the recogniser is to be trusted in tokens `first` to `last`, 0 to 1: 1 for typed words and
        where it gave each word at least SURE_WORD, less below."""
        words = self.transcript.words
        if not words:
            return 1.0
        given = [
            words[self.places[i]].probability for i in range(first, last + 1) if self.places[i] < len(words)
        ]
        known = [p for p in given if p is not None]
        return min(1.0, min(known) / SURE_WORD) if known else 1.0

    def put(
        self,
        pointer: str,
        spans: Iterable[tuple[int, int]],
        confidence: float,
        check: bool = False,
        why: str | None = None,
    ) -> None:
        """Evidence for `pointer`: the words of the token spans, in their order."""
        ordered = sorted(set(spans))
        if not ordered:
            return
        self.spans[pointer] = ordered
        text = " … ".join(self.doc[a : b + 1].text.strip() for a, b in ordered)
        first, last = self.places[ordered[0][0]], self.places[max(b for _, b in ordered)]
        words = self.transcript.words
        start = words[first].start if first < len(words) else None
        end = words[last].end if last < len(words) else None
        self.entries[pointer] = Evidence(
            text=text,
            start=start,
            end=end,
            first=first,
            last=last,
            confidence=round(max(0.0, min(1.0, confidence)), 3),
            check=check,
            why=why if check else None,
        )

    def doubt(self, pointer: str, why: str) -> None:
        """Marks an entry for a look; a reason already there stands first."""
        entry = self.entries.get(pointer)
        if entry is None:
            return
        if entry.why and why not in entry.why:
            why = f"{entry.why}; {why}"
        self.entries[pointer] = entry.model_copy(update={"check": True, "why": why})
