"""From a file to its transcript, or to the jobs in it. What is costly to load is loaded once, when first
needed."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from jobnotes.errors import JobnotesError
from jobnotes.intake.data_folder import refuse_data_file
from jobnotes.intake.plain_files import refuse_pipes
from jobnotes.intake.recorded import last_change, local
from jobnotes.intake.text_files import is_text_file, read_text
from jobnotes.jobs.model import ReadMemo, Transcript
from jobnotes.register import Register, load_register

if TYPE_CHECKING:
    from jobnotes.language import Reader
    from jobnotes.speech import Recogniser

Progress = Callable[[str, float], AbstractContextManager[Callable[[float], None]]]
"""Given a memo's name and its seconds of sound: what is told the seconds done."""


@contextmanager
def no_progress(_name: str, _seconds: float) -> Iterator[Callable[[float], None]]:
    """Tells nobody."""
    yield lambda _done: None


@dataclass
class Heard:
    """A memo's words. `recorded_at` is local time, naive; `name` goes into `memo` and into file names."""

    name: str
    transcript: Transcript
    recorded_at: datetime


class Intake:
    """One register, one speech model and one reader for any number of memos.

    `recorded_at` (local time, naive) is for all of them; without it each file's `creation_time` tag counts,
    else its modification time, in `zone`. A speech model that can't be loaded fails every recording, and no
    typed memo.
    """

    def __init__(
        self,
        register: Path | Register | None,
        *,
        zone: ZoneInfo,
        speech_model: str | None = None,
        recorded_at: datetime | None = None,
        progress: Progress = no_progress,
        words: Sequence[str] = (),
        recent: Callable[[], Sequence[str]] = tuple,
    ) -> None:
        """Loads the register, unless it is given itself; raises JobnotesError where its folder is missing.

        `words` are such as the recogniser should expect before all names of the register; `recent`, asked
        anew for each recording, gives the names that are likeliest in it (see speech.vocabulary)."""
        self.register = register if isinstance(register, Register) else load_register(register)
        self._words = list(words)
        self._recent = recent
        self._zone = zone
        self._speech_model = speech_model
        self._recorded_at = recorded_at
        self._progress = progress
        self._no_recogniser: JobnotesError | None = None

    def hear(self, path: Path, name: str) -> Heard:
        """The words of a recording. Raises JobnotesError where there are none to be had."""
        refuse_pipes(path)
        if is_text_file(path) and path.is_file():
            raise JobnotesError(f"{path} holds words already, not sound; `jobnotes read` takes it as it is.")
        from jobnotes.audio import load

        sound = load(path)
        from jobnotes.speech import vocabulary

        recogniser = self._recogniser
        with self._progress(name, sound.seconds) as progress:
            expected = vocabulary(self.register, [*self._words, *self._recent()])
            transcript = recogniser.hear(sound, expected, progress)
        return self._dated(path, name, transcript, sound.created)

    def read(self, path: Path, name: str) -> ReadMemo:
        """The jobs in a memo, recorded or (.txt) typed. Raises JobnotesError where the file can't be
        taken."""
        return self.understand(self.words(path, name))

    def words(self, path: Path, name: str) -> Heard:
        """The words of a memo, recorded or (.txt) typed. Raises JobnotesError where there are none to be
        had."""
        refuse_pipes(path)
        return self._typed(path, name) if is_text_file(path) else self.hear(path, name)

    def understand(self, heard: Heard) -> ReadMemo:
        """The jobs in a memo's words."""
        read = self._reader.read(heard.transcript, heard.name, heard.recorded_at)
        read.recorded_at = heard.recorded_at.isoformat()
        return read

    def _typed(self, path: Path, name: str) -> Heard:
        text = read_text(path)
        from jobnotes.language import from_text

        return self._dated(path, name, from_text(text), None)

    def _dated(self, path: Path, name: str, transcript: Transcript, created: datetime | None) -> Heard:
        if self._recorded_at is not None:
            at = self._recorded_at
        elif created is not None:
            at = local(created, self._zone)
        else:
            at = last_change(path, self._zone)
            # Copying a file may change this time, and the date of the work hangs on it: so it is shown.
            transcript.remarks.append(
                "The file does not say when the memo was recorded; it was last changed on "
                f"{at:%Y-%m-%d at %H:%M}, and that is taken for it."
            )
        return Heard(name, transcript, at)

    @property
    def _recogniser(self) -> Recogniser:
        if self._no_recogniser is not None:
            raise self._no_recogniser
        try:
            return self._loaded_recogniser
        except JobnotesError as error:
            self._no_recogniser = error
            raise

    @cached_property
    def _loaded_recogniser(self) -> Recogniser:
        refuse_data_file()
        from jobnotes.speech import Recogniser

        return Recogniser(self._speech_model)

    @cached_property
    def _reader(self) -> Reader:
        from jobnotes.language import Reader

        return Reader(self.register)
