"""What people write to drafts and sheets."""

from __future__ import annotations

from sqlalchemy import select
from sqlalchemy.orm import Session

from jobnotes.errors import JobnotesError
from jobnotes.store.moments import now
from jobnotes.store.tables import CommentRow
from jobnotes.store.values import Comment, Person

LONGEST = 2_000


def add_comment(
    session: Session,
    who: Person,
    text: str,
    *,
    draft_id: int | None = None,
    sheet: int | None = None,
    returned: bool = False,
) -> Comment:
    """Writes a comment. Raises JobnotesError for none, and for one that is too long or can't be shown."""
    text = needed(text, "a word on why")
    row = CommentRow(
        draft_id=draft_id, sheet=sheet, at=now(), who=who.display_name, text=text, returned=returned
    )
    session.add(row)
    session.flush()
    return _comment(row)


def comments_on(session: Session, *, draft_id: int | None = None, sheet: int | None = None) -> list[Comment]:
    """The comments on a draft or a sheet, the oldest first."""
    query = select(CommentRow).order_by(CommentRow.id)
    query = query.where(
        CommentRow.draft_id == draft_id if draft_id is not None else CommentRow.sheet == sheet
    )
    return [_comment(row) for row in session.scalars(query)]


def needed(text: str, what: str) -> str:
    """The text without white space around it. Raises JobnotesError where it is empty, longer than LONGEST
    characters or can't be shown."""
    text = text.strip()
    if not text:
        raise JobnotesError(f"Give {what}.")
    if len(text) > LONGEST:
        raise JobnotesError(f"The text has {len(text)} characters; {LONGEST} are the most.")
    try:
        text.encode()
    except UnicodeEncodeError:
        raise JobnotesError("The text holds half a letter, which can't be shown.") from None
    if any(ord(letter) < 32 and letter not in "\t\n\r" for letter in text):
        raise JobnotesError("The text holds a control character, which can't be shown.")
    return text


def _comment(row: CommentRow) -> Comment:
    return Comment(row.id, row.draft_id, row.sheet, row.at, row.who, row.text, row.returned)
