"""The usual cautions for what was worked on, from `cautions.toml`."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from jobnotes.jobs.model import Job


@dataclass(frozen=True)
class Caution:
    """One caution as printed, with what brings it: machine types, and words that mean the thing itself."""

    name: str
    text: str
    types: frozenset[str]
    cue: re.Pattern[str]
    exception: re.Pattern[str] | None

    def brought_by(self, text: str) -> bool:
        """Whether a cue stands in the text outside the words that mean something else."""
        return bool(self.cue.search(self.exception.sub(" ", text) if self.exception else text))


def _cue_pattern(cues: list[str]) -> re.Pattern[str]:
    """One expression for all cues: whole words in any case, "*" for any ending, white space of any width."""
    alternatives = []
    for cue in cues:
        spaced = r"\s+".join(re.escape(word.rstrip("*")) for word in cue.split())
        alternatives.append(spaced + (r"\w*" if cue.endswith("*") else ""))
    return re.compile(rf"(?<!\w)(?:{'|'.join(alternatives)})(?!\w)", re.IGNORECASE)


@cache
def _sheet_of_cautions() -> tuple[str, tuple[Caution, ...]]:
    table = tomllib.loads(files("jobnotes.paper").joinpath("cautions.toml").read_text(encoding="utf-8"))
    cautions = tuple(
        Caution(
            row["name"],
            row["text"],
            frozenset(row["types"]),
            _cue_pattern(row["cues"]),
            _cue_pattern(row["except"]) if "except" in row else None,
        )
        for row in table["caution"]
    )
    return table["introduction"], cautions


def introduction() -> str:
    """The sentence above the cautions: what they defer to."""
    return _sheet_of_cautions()[0]


def _spoken_of(job: Job) -> Iterator[str]:
    """The job's texts that tell what was worked on, one at a time so that no cue spans two of them."""
    yield from (text for text in (job.machine.type, job.complaint, job.cause) if text)
    yield from job.ruled_out
    yield from (check.what for check in job.checks)
    for reading in job.readings:
        yield f"{reading.at or ''} {reading.unit}"
    yield from (part.description for part in job.parts)
    yield from job.work
    yield from job.follow_up
    yield from job.safety


def cautions_for(job: Job) -> list[Caution]:
    """The cautions that the job's machine type or words bring, in the file's order."""
    texts = list(_spoken_of(job))
    return [
        caution
        for caution in _sheet_of_cautions()[1]
        if (job.machine.type or "").lower() in caution.types
        or any(caution.brought_by(text) for text in texts)
    ]
