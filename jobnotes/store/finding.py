"""Search in drafts and sheets: by machine, customer, site, part and all words, with SQLite's FTS5."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any, Literal

from sqlalchemy import select, text
from sqlalchemy.orm import Session

from jobnotes.errors import JobnotesError
from jobnotes.store.database import Database
from jobnotes.store.documents import titles
from jobnotes.store.rights import is_office
from jobnotes.store.tables import DraftRow, SheetRow
from jobnotes.store.values import Person

FIELDS = ("machine", "customer", "site", "part", "words")
Field = Literal["machine", "customer", "site", "part", "words"]
MOST_WORDS = 12
DRAFT, SHEET = 0, 1
"""A row's number is twice that of the draft or sheet, and one more for a sheet."""


@dataclass(frozen=True)
class Found:
    """A draft or a signed sheet that was found. `number` is the draft's or the sheet's, `title` a line."""

    kind: Literal["draft", "sheet"]
    number: int
    revision: int
    state: str
    title: str
    date: str


def index_draft(session: Session, draft_id: int, document: dict[str, Any], transcript: str) -> None:
    """Keeps what a draft is found by, within the caller's transaction."""
    _index(session, 2 * draft_id + DRAFT, document["jobs"], [*document["notes"], transcript])


def index_sheet(session: Session, sheet_id: int, job: dict[str, Any]) -> None:
    """Keeps what a sheet is found by."""
    _index(session, 2 * sheet_id + SHEET, [job], [])


def _index(session: Session, number: int, jobs: list[dict[str, Any]], more: list[str]) -> None:
    machines = [_all_texts(job["machine"]) for job in jobs]
    row = {
        "number": number,
        "title": " | ".join(titles({"jobs": jobs})),
        "machine": _with_codes(" ".join(machines)),
        "customer": " ".join(job["customer"] or "" for job in jobs),
        "site": " ".join(job["site"] or "" for job in jobs),
        "part": _with_codes(" ".join(_all_texts(job["parts"]) for job in jobs)),
        "words": _with_codes(" ".join([_all_texts(jobs), *more])),
    }
    session.execute(text("DELETE FROM search WHERE rowid = :number"), {"number": number})
    session.execute(
        text(
            "INSERT INTO search (rowid, title, machine, customer, site, part, words) "
            "VALUES (:number, :title, :machine, :customer, :site, :part, :words)"
        ),
        row,
    )


def _all_texts(data: Any) -> str:
    if isinstance(data, str):
        return data
    if isinstance(data, bool) or data is None:
        return ""
    if isinstance(data, int | float):
        return f"{data:.10g}"
    values = data.values() if isinstance(data, dict) else data
    return " ".join(found for value in values if (found := _all_texts(value)))


def _with_codes(words: str) -> str:
    """The words, and codes such as "WX 31" or "HR-3062" once more in one piece."""
    codes = re.findall(r"\b[A-Za-z]{1,4}[ -]\d+\b", words)
    return " ".join([words, *(re.sub(r"[ -]", "", code) for code in codes)])


class Search:
    """Finds drafts and sheets."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def __call__(
        self,
        words: str,
        who: Person,
        *,
        kind: Literal["draft", "sheet"] | None = None,
        field: Field | None = None,
        limit: int = 100,
    ) -> list[Found]:
        """What holds all the words, or words beginning so, the best first; in one field only, if given.

        An engineer finds their own drafts and all sheets. Raises JobnotesError for no words and for a field
        that there is not.
        """
        query = _query(words, field)
        with self._database.reading() as session:
            rows = session.execute(
                text(
                    "SELECT rowid, title FROM search WHERE search MATCH :query "
                    "ORDER BY bm25(search, 0, 8, 4, 4, 4, 1), rowid DESC"
                ),
                {"query": query},
            ).all()
            found: list[Found] = []
            for number, title in rows:
                if len(found) == limit:
                    break
                one = self._sheet(session, number // 2, title) if number % 2 else None
                if not number % 2:
                    one = self._draft(session, number // 2, title, who)
                if one is not None and kind in (None, one.kind):
                    found.append(one)
            return found

    @staticmethod
    def _draft(session: Session, number: int, title: str, who: Person) -> Found | None:
        row = session.get(DraftRow, number)
        if (
            row is None
            or row.state == "signed"
            or (not is_office(who) and row.engineer_id not in (None, who.id))
        ):
            return None
        return Found("draft", row.id, row.version, row.state, title, row.changed_at.date().isoformat())

    @staticmethod
    def _sheet(session: Session, number: int, title: str) -> Found | None:
        row = session.scalar(select(SheetRow).where(SheetRow.id == number))
        if row is None or row.state == "replaced":
            return None
        return Found("sheet", row.number, row.revision, row.state, title, row.date)


def _query(words: str, field: str | None) -> str:
    """The words as FTS5 takes them: each quoted, so that none is an operator, and open at its end."""
    if field is not None and field not in FIELDS:
        raise JobnotesError(f"There is nothing to search by {field!r}; give one of {', '.join(FIELDS)}.")
    found = re.findall(r"\w+", words[:500])[:MOST_WORDS]
    if not found:
        raise JobnotesError("Give a word or a number to look for.")
    joined = " AND ".join(f'"{word}"*' for word in found)
    return f"{field} : ({joined})" if field else joined
