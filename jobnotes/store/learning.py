"""What a workshop learns from its corrections: words misheard, put right often, accepted by a person."""

from __future__ import annotations

import re
from dataclasses import replace

from sqlalchemy import select
from sqlalchemy.orm import Session

from jobnotes.errors import JobnotesError
from jobnotes.store.audit import note
from jobnotes.store.database import Database
from jobnotes.store.draft_rows import correction_of
from jobnotes.store.moments import now
from jobnotes.store.rights import refuse_all_but_office
from jobnotes.store.tables import CorrectionRow, DraftRow, LearnedWordRow
from jobnotes.store.values import Correction, LearnedWord, Person, Proposal

ENOUGH = 3
"""So often the same must have been put right before it is proposed."""
LONGEST = 60
"""Characters. What is longer is a sentence and no name."""
MOST_WORDS = 6
NAMES = re.compile(
    r"/jobs/\d+/(?:(customer|site)|machine/(make|model|type)|parts/\d+/(description)|readings/\d+/(at))"
)
"""Where names stand that are said again. Numbers, codes and what happened are new each time."""


class Words:
    """The words that a workshop has learned, or may learn."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def proposals(self) -> list[Proposal]:
        """What has been put right ENOUGH times, at as many places, and nobody has decided on; the most often
        put right first.

        What was undone does not count, nor what stood in a draft that was withdrawn.
        """
        with self._database.reading() as session:
            decided = {(row.key, row.meant) for row in session.scalars(select(LearnedWordRow))}
            counted = _counted(session)
        return sorted(
            (
                each
                for each in counted
                if each.times >= ENOUGH and (each.heard.casefold(), each.meant) not in decided
            ),
            key=lambda each: (-each.times, each.heard.casefold()),
        )

    def accept(self, proposal: Proposal, who: Person) -> LearnedWord:
        """Learns a proposal: from now on the recogniser expects `meant`, and the reader takes `heard` for it.

        Raises NotAllowedError for an engineer, JobnotesError where it is not proposed, or `heard` has been
        accepted for something else.
        """
        return self._decide(proposal, who, accepted=True)

    def decline(self, proposal: Proposal, who: Person) -> LearnedWord:
        """Puts a proposal aside: it does not come again. Raises as `accept` does."""
        return self._decide(proposal, who, accepted=False)

    def forget(self, word: LearnedWord, who: Person) -> None:
        """Takes a decision back; the word may be proposed again. Raises NotAllowedError for an engineer."""
        refuse_all_but_office(who, "decides on words")
        with self._database.writing() as session:
            for row in session.scalars(select(LearnedWordRow).where(LearnedWordRow.meant == word.meant)):
                if row.key == word.heard.casefold():
                    session.delete(row)
                    note(session, who, "took a decision on a word back", f"{word.heard} → {word.meant}")

    def learned(self, accepted: bool | None = None) -> list[LearnedWord]:
        """What people have decided on, the oldest first."""
        with self._database.reading() as session:
            rows = session.scalars(select(LearnedWordRow).order_by(LearnedWordRow.id))
            return [_word(row) for row in rows if accepted is None or row.accepted == accepted]

    def _decide(self, proposal: Proposal, who: Person, *, accepted: bool) -> LearnedWord:
        refuse_all_but_office(who, "decides on words")
        key = proposal.heard.casefold()
        if not any((each.heard.casefold(), each.meant) == (key, proposal.meant) for each in self.proposals()):
            raise JobnotesError(f"{proposal.heard!r} for {proposal.meant!r} is not proposed, or decided on.")
        with self._database.writing() as session:
            others = session.scalars(select(LearnedWordRow).where(LearnedWordRow.key == key))
            other = next((row for row in others if row.accepted and row.meant != proposal.meant), None)
            if accepted and other is not None:
                raise JobnotesError(f"{proposal.heard!r} is taken for {other.meant!r} already.")
            row = LearnedWordRow(
                key=key,
                heard=proposal.heard,
                meant=proposal.meant,
                field=proposal.field,
                accepted=accepted,
                decided_by=who.display_name,
                decided_at=now(),
            )
            session.add(row)
            session.flush()
            what = "accepted a word" if accepted else "declined a word"
            note(session, who, what, f"{row.heard} → {row.meant}")
            return _word(row)


def _counted(session: Session) -> list[Proposal]:
    query = (
        select(CorrectionRow)
        .join(DraftRow, DraftRow.id == CorrectionRow.draft_id)
        .where(CorrectionRow.kind == "set", CorrectionRow.undone.is_(False), DraftRow.state != "withdrawn")
        .order_by(CorrectionRow.id)
    )
    counted: dict[tuple[str, str], Proposal] = {}
    seen: set[tuple[int, str, str, str]] = set()
    for row in session.scalars(query):
        misheard = misheard_in(correction_of(row))
        if misheard is None:
            continue
        key = (misheard.heard.casefold(), misheard.meant)
        if (row.draft_id, row.pointer, *key) not in seen:
            seen.add((row.draft_id, row.pointer, *key))
            before = counted.setdefault(key, misheard)
            counted[key] = replace(before, times=before.times + 1)
    return list(counted.values())


def misheard_in(correction: Correction) -> Proposal | None:
    """The name that a correction puts right, counted 0 times; None where it is about something else.

    What was heard is the text of the evidence, or the old value where that is none.
    """
    place = NAMES.fullmatch(correction.pointer)
    old, new = correction.old, correction.new
    if place is None or not isinstance(old, str) or not isinstance(new, str):
        return None
    heard, meant = plain(correction.heard) or plain(old), " ".join(new.split())
    if not heard or heard.casefold() == plain(meant).casefold():
        return None
    if max(len(heard), len(meant)) > LONGEST or max(len(heard.split()), len(meant.split())) > MOST_WORDS:
        return None
    return Proposal(heard, meant, next(group for group in place.groups() if group), 0)


def plain(text: str) -> str:
    """The words of a text without signs around them."""
    words = (word.strip(".,;:!?\"'“”()[]…") for word in text.split())
    return " ".join(word for word in words if word)


def _word(row: LearnedWordRow) -> LearnedWord:
    return LearnedWord(row.heard, row.meant, row.field, row.accepted, row.decided_by, row.decided_at)
