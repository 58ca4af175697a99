"""Memos heard and read behind the pages: one after the other, in a thread of their own."""

from __future__ import annotations

import logging
import threading
from collections import OrderedDict
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from jobnotes.desk.state import Standing
from jobnotes.errors import JobnotesError
from jobnotes.store import Memo, Workshop
from jobnotes.workshop import Taking, load_settings

LOG = logging.getLogger(__name__)
LOOK_AGAIN_S = 15.0
"""Memos may also come by `jobnotes take`: so often the workshop is looked through for them."""
REMEMBERED = 40
"""Memos done lately that the intake page still shows."""


class HearingThread:
    """Works on the memos that wait. A memo that another process works on is left to that."""

    def __init__(self, workshop: Workshop, *, speech_model: str | None = None) -> None:
        self._workshop = workshop
        self._speech_model = speech_model
        self._wake = threading.Event()
        self._stopped = False
        self._lock = threading.Lock()
        self._changes = 0
        self._at: int | None = None
        self._share: float | None = None
        self._done: OrderedDict[int, Memo] = OrderedDict()
        self._thread = threading.Thread(target=self._run, name="hearing", daemon=True)

    def start(self) -> None:
        """Begins, with what was left by the last run."""
        self._thread.start()

    def more(self) -> None:
        """Says that there is a memo to work on."""
        self._changed()
        self._wake.set()

    def stop(self) -> None:
        """Takes no further memo; the one at hand waits again at the next start, should the process end."""
        self._stopped = True
        self._wake.set()

    def standings(self) -> tuple[int, list[Standing]]:
        """How far each memo is, the newest first, and a number that changes with them."""
        with self._lock:
            changes, at, share, done = self._changes, self._at, self._share, list(self._done.values())
        memos = {memo.id: memo for memo in done}
        for memo in [*self._workshop.memos.all("failed"), *self._workshop.memos.waiting()]:
            memos[memo.id] = memo
        newest = sorted(memos.values(), key=lambda memo: -memo.id)
        return changes, [Standing(memo, share if memo.id == at else None) for memo in newest]

    def changes(self) -> int:
        """The number alone: cheap enough to ask for often."""
        with self._lock:
            return self._changes

    def _changed(self) -> None:
        with self._lock:
            self._changes += 1

    def _run(self) -> None:
        while not self._stopped:
            self._wake.clear()
            try:
                self._work()
            except JobnotesError as error:
                # The disk is full, or the database is in use: it is tried again at the next look.
                LOG.warning("Memos could not be worked on: %s", error)
            except Exception:
                LOG.exception("Memos could not be worked on; that is a fault of the program.")
            self._wake.wait(LOOK_AGAIN_S)

    def _work(self) -> None:
        waiting = self._workshop.memos.waiting()
        if not waiting:
            return
        taking = Taking(
            self._workshop,
            load_settings(self._workshop.folder),
            speech_model=self._speech_model,
            progress=self._progress,
        )
        while waiting and not self._stopped:
            before = [memo.id for memo in waiting]
            for memo in waiting:
                if self._stopped:
                    return
                self._at_memo(memo.id)
                done = taking.work(memo)
                self._at_memo(None, done if done.state in ("read", "failed") else None)
            waiting = [memo for memo in self._workshop.memos.waiting() if memo.id not in before]

    def _at_memo(self, number: int | None, done: Memo | None = None) -> None:
        with self._lock:
            self._at, self._share = number, None if number is None else 0.0
            self._changes += 1
            if done is not None:
                self._done[done.id] = done
                while len(self._done) > REMEMBERED:
                    self._done.popitem(last=False)

    @contextmanager
    def _progress(self, _name: str, seconds: float) -> Iterator[Callable[[float], None]]:
        def told(done: float) -> None:
            with self._lock:
                self._share = min(1.0, done / seconds) if seconds > 0 else 0.0
                self._changes += 1

        yield told
