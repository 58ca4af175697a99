"""What the rule components find in a memo, kept beside the Doc as `doc._.findings`."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from spacy.tokens import Doc

from jobnotes.language.clock import Clock, Duration
from jobnotes.language.codes import Code
from jobnotes.language.decode import Marked
from jobnotes.language.names import Name
from jobnotes.language.numbers import Number
from jobnotes.language.quantities import Quantity

Floats = NDArray[np.float32]


@dataclass(frozen=True)
class Piece:
    """One word of the canonical memo: its text or mark (of canonical.MARKS), and the tokens it stands for."""

    text: str
    first: int
    last: int
    mark: bool = False


@dataclass(frozen=True)
class PlacedCode:
    """A code and what it is: fleet, serial, part, model, order, fault, or code where nothing tells.

    `row` is its row in the register's list of that kind (models: the list of models), None where the register
    has none.
    """

    code: Code
    kind: str
    row: int | None = None

    @property
    def first(self) -> int:
        """The code's first token."""
        return self.code.first

    @property
    def last(self) -> int:
        """The code's last token."""
        return self.code.last


@dataclass
class Findings:
    """Lists in the order of the words; places are token places."""

    numbers: list[Number] = field(default_factory=list)
    quantities: list[Quantity] = field(default_factory=list)
    clocks: list[Clock] = field(default_factory=list)
    durations: list[Duration] = field(default_factory=list)
    codes: list[PlacedCode] = field(default_factory=list)
    names: list[Name] = field(default_factory=list)
    pieces: list[Piece] = field(default_factory=list)
    marks: list[Marked] = field(default_factory=list)
    keep: dict[str, list[float]] = field(default_factory=dict)  # by group of clauses, one a piece
    ahead: dict[str, list[float]] = field(default_factory=dict)
    job_new: Floats | None = None  # (pieces,) the probability that a new job begins there
    job_scores: Floats | None = None  # (pieces, outcomes and states)

    def kept(self, group: str) -> list[float]:
        """The probability, piece by piece, of standing in the short form of a clause of the group; 1
        where every word of such a mark names something."""
        return self.keep.get(group) or [1.0] * len(self.pieces)


if not Doc.has_extension("findings"):
    Doc.set_extension("findings", default=None)


def findings(doc: Doc) -> Findings:
    """The Doc's findings, made on first use."""
    if doc._.findings is None:
        doc._.findings = Findings()
    found: Findings = doc._.findings
    return found
