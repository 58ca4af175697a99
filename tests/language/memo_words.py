"""What the language tests share: words as the rule readers see them, and one way to take a read memo
apart."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from functools import cache
from typing import Any

from spacy.vocab import Vocab

from jobnotes.jobs import ReadMemo
from jobnotes.language.components import View
from jobnotes.language.tokens import MemoTokenizer

RECORDED_AT = datetime(2026, 6, 3, 17, 5)  # a Wednesday


@cache
def tokenizer() -> MemoTokenizer:
    return MemoTokenizer(Vocab())


class Words(View):
    """A text as the rule readers see it: lower-case tokens, tokens as written, white space after each; no
    fillers."""

    def said(self, first: int, last: int) -> str:
        """The tokens `first` to `last` with spaces between."""
        return " ".join(self.tokens[first : last + 1])


def words(text: str) -> Words:
    """`text` cut into words."""
    return Words(tokenizer()(text))


def leaves(value: Any, pointer: str) -> Iterator[tuple[str, Any]]:
    """(JSON Pointer, value) of everything that is given: nulls and empty lists are left out."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from leaves(inner, f"{pointer}/{key}")
    elif isinstance(value, list):
        for place, inner in enumerate(value):
            yield from leaves(inner, f"{pointer}/{place}")
    elif value is not None:
        yield pointer, value


def resolve(whole: Any, pointer: str) -> Any:
    """What a JSON Pointer (RFC 6901) points to; KeyError, IndexError or ValueError where it points to
    nothing."""
    for step in pointer.split("/")[1:]:
        step = step.replace("~1", "/").replace("~0", "~")
        whole = whole[int(step)] if isinstance(whole, list) else whole[step]
    return whole


def critical(read: ReadMemo) -> list[dict[str, Any]]:
    """What money and safety hang on, of each job."""
    out = []
    for job in read.jobs:
        machine = job.machine
        out.append(
            {
                "customer": job.customer,
                "site": job.site,
                "order_number": job.order_number,
                "date": job.date,
                "fleet_number": machine.fleet_number,
                "serial_number": machine.serial_number,
                "hours": machine.hours,
                "parts": sorted((p.part_number or "", p.quantity, p.unit, p.status) for p in job.parts),
                "readings": sorted(
                    (r.quantity, r.value, r.unit, r.stage, r.expected or 0.0) for r in job.readings
                ),
                "arrived": job.times.arrived,
                "left": job.times.left,
                "labour_min": job.times.labour_min,
                "travel_min": job.times.travel_min,
                "distance": (job.distance.value, job.distance.unit) if job.distance else None,
            }
        )
    return out
