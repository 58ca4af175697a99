"""Memos taken into the workshop, heard and read there. What breaks off goes on where it stopped."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Protocol

from jobnotes.errors import JobnotesError
from jobnotes.intake import Heard, Intake
from jobnotes.intake.batch import fault
from jobnotes.intake.memos import Progress, no_progress
from jobnotes.jobs.model import ReadMemo
from jobnotes.register import Register
from jobnotes.store import TERMINAL, LearnedWord, Memo, Person, Taken, Workshop
from jobnotes.workshop.learned import as_heard, expected_words, repaired
from jobnotes.workshop.recent import recent_names
from jobnotes.workshop.settings import Settings


class Hears(Protocol):
    """What hears and reads memos; `jobnotes.intake.Intake` does."""

    def words(self, path: Path, name: str) -> Heard:
        """The words of a memo."""

    def understand(self, heard: Heard) -> ReadMemo:
        """The jobs in them."""


MakeIntake = Callable[[Register, list[LearnedWord]], Hears]
"""Given the register and the words that were learned: what hears and reads memos with them."""


class Taking:
    """Takes memos in and makes drafts of them. What is costly to load is loaded with the first memo, and anew
    when the register or the learned words are others."""

    def __init__(
        self,
        workshop: Workshop,
        settings: Settings,
        *,
        speech_model: str | None = None,
        recorded_at: datetime | None = None,
        progress: Progress = no_progress,
        make_intake: MakeIntake | None = None,
    ) -> None:
        """`recorded_at` (local time, naive) is for all memos that are taken in here, and kept with them;
        `speech_model` goes before the settings'."""
        self.workshop = workshop
        self._settings = settings
        self._speech_model = speech_model or settings.speech_model
        self._recorded_at = recorded_at
        self._progress = progress
        self._make_intake = make_intake or self._real_intake
        self._engineer_id: int | None = None
        self._given: datetime | None = None
        self._made: tuple[Register, list[LearnedWord], datetime | None, Hears] | None = None

    def take(
        self,
        path: Path,
        *,
        file_name: str | None = None,
        engineer: Person | None = None,
        by: Person = TERMINAL,
    ) -> Taken:
        """Takes a file in; the memo then waits. Raises JobnotesError where it can't be taken."""
        return self.workshop.memos.take(
            path, file_name=file_name, engineer=engineer, by=by, recorded_at=self._recorded_at
        )

    def work(self, memo: Memo) -> Memo:
        """Hears and reads a memo as far as it is not, and gives its new state: read, or failed with the
        sentence why. A memo that another process is at is left to that."""
        memos = self.workshop.memos
        with memos.working_on(memo) as held:
            if held is None or held.state not in ("waiting", "heard"):
                return held or memos.get(memo.id)
            try:
                self._hear_and_read(held)
            except JobnotesError as error:
                sentence = str(error)
            except Exception as error:
                sentence = fault(error, f"{held.file_name} could not be dealt with")
            else:
                return memos.get(memo.id)
            # The recording's name in the workshop says nothing to whoever gave the file.
            inside = str(memos.blobs.path(held.sha256, held.ending))
            return memos.failed(held.id, sentence.replace(inside, held.file_name))

    def carry_on(self) -> list[Memo]:
        """Works on every memo that waits or was broken off, the oldest first, and gives what became of
        them."""
        self.workshop.sweep()
        return [self.work(memo) for memo in self.workshop.memos.waiting()]

    def _hear_and_read(self, memo: Memo) -> None:
        memos = self.workshop.memos
        words = self.workshop.words.learned(accepted=True)
        waits = memo.state == "waiting"
        # What was given with the memo holds, whichever process it was given to.
        given = datetime.fromisoformat(memo.recorded_at) if waits and memo.recorded_at else None
        intake = self._intake(words, given)
        if waits:
            self._engineer_id = memo.engineer_id
            heard = intake.words(memos.recording(memo), memo.name)
            memo = memos.heard(memo.id, heard.transcript, heard.recorded_at.isoformat())
        if memo.transcript is None or memo.recorded_at is None:
            raise JobnotesError(f"{memo.file_name} was heard, but its words are missing.")
        repair = repaired(memo.transcript, words)
        recorded_at = datetime.fromisoformat(memo.recorded_at)
        read = intake.understand(Heard(memo.name, repair.transcript, recorded_at))
        memos.read(memo.id, as_heard(read, memo.transcript, repair))

    def _intake(self, words: list[LearnedWord], given: datetime | None) -> Hears:
        register = self.workshop.registers.current()
        if self._made is None or self._made[0] is not register or self._made[1:3] != (words, given):
            self._given = given
            self._made = (register, words, given, self._make_intake(register, words))
        return self._made[3]

    def _real_intake(self, register: Register, words: list[LearnedWord]) -> Hears:
        return Intake(
            register,
            zone=self._settings.zone,
            speech_model=self._speech_model,
            recorded_at=self._given,
            progress=self._progress,
            words=expected_words(words),
            recent=lambda: recent_names(self.workshop, self._engineer_id),
        )
