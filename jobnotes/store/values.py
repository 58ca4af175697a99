"""What the store gives out: plain, frozen values. Rows of the database stay inside the store."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from typing import Any, Literal

from jobnotes.jobs.model import Evidence, Job, ReadMemo, Transcript

Role = Literal["engineer", "office", "owner"]
ROLES: tuple[Role, ...] = ("engineer", "office", "owner")
MemoState = Literal["waiting", "heard", "read", "failed"]
DraftState = Literal["open", "signed", "withdrawn"]
SheetState = Literal["signed", "replaced", "withdrawn"]


@dataclass(frozen=True)
class Person:
    """An account. `name` is what one logs in with, `display_name` what stands on the sheets."""

    id: int
    name: str
    display_name: str
    role: Role
    active: bool
    created_at: datetime


@dataclass(frozen=True)
class Memo:
    """A recording or typed memo that was taken in. `sha256` is of its content; `ending` such as ".m4a".

    `recorded_at` is local time, naive, as ISO 8601, known once the memo is heard, or given before. `failure`
    is the sentence that says why it failed. `forgotten_at`: the recording has been deleted.
    """

    id: int
    sha256: str
    name: str
    file_name: str
    ending: str
    size: int
    engineer_id: int | None
    taken_at: datetime
    taken_by: str
    state: MemoState
    failure: str | None
    recorded_at: str | None
    transcript: Transcript | None
    draft_id: int | None
    forgotten_at: datetime | None


@dataclass(frozen=True)
class Taken:
    """A memo, and whether it is new or was here already."""

    memo: Memo
    new: bool


@dataclass(frozen=True)
class Draft:
    """A read memo on its way to be signed. `version` counts its states from 1; every edit makes the next.

    `amends` names the sheet (number) that it amends, None for a first sheet. `marked` is how many values
    are still to be looked at. `returned`: the office sent it back, and the engineer has not edited it since.
    """

    id: int
    version: int
    state: DraftState
    memo_id: int | None
    engineer_id: int | None
    engineer: str
    created_at: datetime
    changed_at: datetime
    amends: int | None
    returned: bool
    marked: int
    can_undo: bool
    can_redo: bool
    read: ReadMemo = field(repr=False)


@dataclass(frozen=True)
class DraftLine:
    """A draft as a list shows it: no document. `jobs` is a line for each job."""

    id: int
    version: int
    state: DraftState
    memo: str
    engineer_id: int | None
    engineer: str
    created_at: datetime
    changed_at: datetime
    amends: int | None
    returned: bool
    marked: int
    jobs: tuple[str, ...]


@dataclass(frozen=True)
class Correction:
    """One change to a draft. `pointer` is the place in the document of `version - 1`; for what was added,
    and for a move, in that of `version`.

    `kind`: set, confirm, add, remove, move, split, join, undo or redo. `old` and `new` are JSON values.
    `heard` is the text of the evidence behind the value. `undone`: an undo has taken it back.
    """

    draft_id: int
    version: int
    at: datetime
    who: str
    kind: str
    pointer: str
    old: Any
    new: Any
    heard: str
    undone: bool

    def in_words(self) -> str:
        """The change as part of a sentence: "Ada Finch set /jobs/0/machine/hours from 12 to 13"."""
        verbs = {
            "set": "set",
            "confirm": "confirmed",
            "add": "added",
            "remove": "removed",
            "move": "moved",
            "split": "split",
            "join": "joined",
            "undo": "undid the change of",
            "redo": "made again the change of",
        }
        text = f"{self.who} {verbs.get(self.kind, self.kind)} {self.pointer}"
        if self.kind == "set":
            text += f" from {_short(self.old)} to {_short(self.new)}"
        return text


def _short(value: Any) -> str:
    text = "nothing" if value is None else str(value)
    return text if len(text) <= 60 else f"{text[:59]}…"


@dataclass(frozen=True)
class Comment:
    """What the office or the engineer wrote to a draft or a sheet; `returned` where it sent it back."""

    id: int
    draft_id: int | None
    sheet: int | None
    at: datetime
    who: str
    text: str
    returned: bool


@dataclass(frozen=True)
class Problem:
    """What is not right with a draft, in words. `pointer` is the place in the document.

    `kind`: marked (a person has to look before signing), doubt (hardly plausible; does not keep anybody from
    signing), missing (nothing to sign).
    """

    pointer: str
    kind: Literal["marked", "doubt", "missing"]
    why: str


@dataclass(frozen=True)
class Entry:
    """An entry of the chain. `content` is its canonical JSON (RFC 8785), `sha256` the hash of that."""

    number: int
    kind: str
    content: bytes = field(repr=False)
    sha256: str
    previous: str
    at: datetime


@dataclass(frozen=True)
class SignedSheet:
    """A signed sheet: one job, one revision. `record` is what was signed, `entry` its place in the chain."""

    id: int
    number: int
    revision: int
    state: SheetState
    draft_id: int
    memo_id: int | None
    engineer_id: int | None
    engineer: str
    signed_at: datetime
    entry: int
    sha256: str
    pdf_sha256: str
    fleet_number: str
    customer: str
    site: str
    date: str
    withdrawn_why: str | None
    returned: bool
    record: dict[str, Any] = field(repr=False)

    @cached_property
    def job(self) -> Job:
        """The job as signed; not to be changed."""
        return Job.model_validate(self.record["job"])

    @property
    def evidence(self) -> dict[str, Evidence]:
        """The evidence of the job, its pointers beginning with "/job"."""
        return {pointer: Evidence.model_validate(entry) for pointer, entry in self.record["evidence"].items()}


@dataclass(frozen=True)
class AuditLine:
    """Who did or saw what, and when."""

    at: datetime
    who: str
    what: str
    on: str
    detail: str


@dataclass(frozen=True)
class Proposal:
    """A word or name misheard and put right so often that it may be learned.

    `heard` is what the recogniser or reader had, `meant` what people put instead, `times` how often. `field`
    is the last step of the places' pointers, such as "customer".
    """

    heard: str
    meant: str
    field: str
    times: int


@dataclass(frozen=True)
class LearnedWord:
    """A proposal that a person has decided on."""

    heard: str
    meant: str
    field: str
    accepted: bool
    decided_by: str
    decided_at: datetime
