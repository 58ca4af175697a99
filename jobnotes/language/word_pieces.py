"""Words to the clause reader's pieces. Training and reading cut words by this one rule."""

from __future__ import annotations

from collections.abc import Sequence

LONGEST_WORD = 100  # letters; nobody says a longer one


class WordPieces:
    """Cuts a word greedily, the longest piece first (WordPiece, Wu et al. 2016, arXiv:1609.08144)."""

    def __init__(self, vocabulary: Sequence[str]) -> None:
        self.ids = {text: i for i, text in enumerate(vocabulary)}
        self.cache: dict[str, list[int]] = {}

    def word(self, text: str, mark: bool) -> list[int]:
        """The ids of one word in lower case, or of a mark; [UNK] where no pieces make the word up."""
        if mark:
            return [self.ids[f"[{text}]"]]
        if text not in self.cache:
            self.cache[text] = self._cut(text)
        return self.cache[text]

    def _cut(self, text: str) -> list[int]:
        if len(text) > LONGEST_WORD:
            return [self.ids["[UNK]"]]
        out: list[int] = []
        start = 0
        while start < len(text):
            end = len(text)
            while end > start and ("##" if start else "") + text[start:end] not in self.ids:
                end -= 1
            if end == start:
                return [self.ids["[UNK]"]]
            out.append(self.ids[("##" if start else "") + text[start:end]])
            start = end
        return out
