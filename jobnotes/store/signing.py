"""What is signed: the document of one sheet, and what must hold before it is."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from jobnotes.errors import JobnotesError
from jobnotes.store.canonical import canonical, sha256
from jobnotes.store.comments import needed
from jobnotes.store.documents import marked
from jobnotes.store.draft_rows import corrections
from jobnotes.store.errors import NotReadyError
from jobnotes.store.moments import written
from jobnotes.store.pointers import under
from jobnotes.store.tables import MemoRow, SheetRow
from jobnotes.store.values import Person

FORMAT = 1
LONGEST_NAME = 200
MOST_POINTS = 20_000
TYPED_ENDING = ".txt"

MakePdf = Callable[[dict[str, Any]], bytes]
"""Given a signed document: the bytes of its sealed PDF."""


@dataclass(frozen=True)
class Signed:
    """A name put to a sheet. `strokes`, where it was drawn, are lists of points [x, y] in whole numbers, y
    downwards; None where the name was typed."""

    name: str
    strokes: list[list[list[int]]] | None = None

    def as_data(self, whose: str) -> dict[str, Any]:
        """The signature as it stands in the document. Raises JobnotesError for no name, and for a drawing
        that is none."""
        name = " ".join(needed(self.name, f"{whose} name").split())
        if len(name) > LONGEST_NAME:
            raise JobnotesError(f"{whose.capitalize()} name is longer than {LONGEST_NAME} characters.")
        if self.strokes is not None and not _is_drawing(self.strokes):
            raise JobnotesError(f"{whose.capitalize()} signature is no drawing; draw it, or type the name.")
        return {"name": name, "strokes": self.strokes}


def _is_drawing(strokes: Any) -> bool:
    points = [point for stroke in strokes for point in stroke] if isinstance(strokes, list) else []
    return 1 < len(points) <= MOST_POINTS and all(
        isinstance(point, list | tuple) and len(point) == 2 and all(type(each) is int for each in point)
        for point in points
    )


def refuse_unready(document: dict[str, Any]) -> None:
    """Raises NotReadyError for a draft without a job, and while a marked value has been looked at by
    nobody."""
    if not document["jobs"]:
        raise NotReadyError("There is no job in the draft, so there is nothing to sign.")
    open_marks = marked(document)
    if open_marks:
        count = len(open_marks)
        raise NotReadyError(
            f"{count} marked value{'s have' if count > 1 else ' has'} still to be looked at, first "
            f"{open_marks[0]}.",
            open_marks,
        )


def digest_of_corrections(session: Session, draft_id: int) -> str:
    """The SHA-256 of all corrections of a draft: it is signed too, so that none can be changed unseen."""
    rows = [
        {
            "version": each.version,
            "at": written(each.at),
            "who": each.who,
            "kind": each.kind,
            "pointer": each.pointer,
            "old": each.old,
            "new": each.new,
            "heard": each.heard,
            "undone": each.undone,
        }
        for each in corrections(session, draft_id)
    ]
    # As text: an old value may hold what canonical JSON has no form for.
    return sha256(json.dumps(rows, sort_keys=True, separators=(",", ":")).encode())


def digest_of_words(memo: MemoRow) -> str | None:
    """The SHA-256 of what was heard in a memo, as it is kept; None where nothing was."""
    return None if memo.transcript is None else sha256(memo.transcript.encode())


def evidence_of(document: dict[str, Any], place: int) -> dict[str, Any]:
    """The evidence of the job at `place` (from 0), its pointers turned to that job: "/job/machine/hours"."""
    old = f"/jobs/{place}"
    return {
        "/job" + pointer[len(old) :]: entry
        for pointer, entry in document["evidence"].items()
        if under(pointer, old)
    }


def sheet_document(
    *,
    number: int,
    revision: int,
    replaces: SheetRow | None,
    replaced_sha256: str | None,
    memo: MemoRow | None,
    memo_name: str,
    job_number: int,
    jobs_in_memo: int,
    document: dict[str, Any],
    place: int,
    who: Person,
    at: datetime,
    zone: ZoneInfo,
    engineer: dict[str, Any],
    customer: dict[str, Any] | None,
    draft: int,
    version: int,
    corrections_sha256: str,
) -> dict[str, Any]:
    """The document of the job at `place` (from 0) of a draft's document, save for its place in the chain.

    `job_number` (from 1) and `jobs_in_memo` say which job of the memo it was. docs/store.md tells every key.
    """
    typed = memo is None or memo.ending == TYPED_ENDING
    content = {
        "format": FORMAT,
        "kind": "sheet",
        "sheet": number,
        "revision": revision,
        "replaces": (
            {"revision": replaces.revision, "sha256": replaced_sha256} if replaces is not None else None
        ),
        "memo": memo_name,
        "recorded_at": (memo.recorded_at or "") if memo is not None else "",
        "recording_sha256": None if typed or memo is None else memo.sha256,
        "memo_sha256": memo.sha256 if memo is not None else None,
        "words_sha256": digest_of_words(memo) if memo is not None else None,
        "job_number": job_number,
        "jobs_in_memo": jobs_in_memo,
        "job": document["jobs"][place],
        "evidence": evidence_of(document, place),
        "signed_by": who.display_name,
        "account": who.name,
        "signed_at": at.astimezone(zone).isoformat(timespec="seconds"),
        "signatures": {"engineer": engineer, "customer": customer},
        "draft": draft,
        "version": version,
        "corrections_sha256": corrections_sha256,
    }
    canonical(content)
    return content
