"""What all pages share: the workshop, its settings, who hears memos, the sounds, and what is limited."""

from __future__ import annotations

import gc
import secrets
import threading
import time
from collections import OrderedDict
from dataclasses import dataclass, field
from typing import Any, Protocol

from fastapi import Request

from jobnotes.desk.sounds import Sounds
from jobnotes.errors import JobnotesError
from jobnotes.store import Memo, Person, Workshop
from jobnotes.workshop import Settings, load_settings
from jobnotes.workshop.billing import Billing

SEEN_AGAIN_S = 600.0
"""Who looks at the same thing twice within so long is noted in the audit once."""
MOST_SEEN = 10_000


@dataclass(frozen=True)
class Standing:
    """How far a memo is. `share` of its sound that is heard, 0 to 1; None where nothing is being heard."""

    memo: Memo
    share: float | None


class Hearing(Protocol):
    """Who hears and reads the memos that were taken in."""

    def more(self) -> None:
        """Says that there is a memo to work on."""

    def standings(self) -> tuple[int, list[Standing]]:
        """The memos that wait, are worked on, have failed or were done lately; and a number that changes with
        them."""

    def stop(self) -> None:
        """Takes no further memo."""


@dataclass
class Desk:
    """One desk. `secure`: it is served under TLS. `set_up_code` is what the first owner gives."""

    workshop: Workshop
    hearing: Hearing
    secure: bool = False
    set_up_code: str = field(default_factory=lambda: secrets.token_urlsafe(9))
    sounds: Sounds = field(default_factory=Sounds)
    _seen: OrderedDict[tuple[int, str, str], float] = field(default_factory=OrderedDict)
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _settings: tuple[Any, Settings] | None = None
    _billing: Billing | None = None

    @property
    def settings(self) -> Settings:
        """The workshop's settings as they stand now. Raises JobnotesError as `load_settings` does."""
        file = self.workshop.folder.settings
        mark = (info.st_mtime_ns, info.st_size) if file.exists() and (info := file.stat()) else None
        if self._settings is None or self._settings[0] != mark:
            self._settings = (mark, load_settings(self.workshop.folder))
        return self._settings[1]

    @property
    def billing(self) -> Billing:
        """What the office works with. Sheets and invoices are read once."""
        settings = self.settings
        with self._lock:
            if self._billing is None or self._billing.settings is not settings:
                self._billing = Billing(self.workshop, settings, before=self._billing)
            return self._billing

    def warm_up(self) -> None:
        """Reads and reckons what the office's pages show, so that nobody waits for it who opens one."""
        try:
            self.billing.warm_up()
        except JobnotesError:
            # Whoever opens a page is told.
            return
        # So many sheets stay for good; to look through all of them for garbage would halt every answer.
        gc.collect()
        gc.freeze()

    def saw(self, who: Person, on: str, what: str = "saw") -> None:
        """Notes in the audit that a person saw something, once in SEEN_AGAIN_S."""
        key, now = (who.id, what, on), time.monotonic()
        with self._lock:
            last = self._seen.get(key)
            if last is not None and now - last < SEEN_AGAIN_S:
                return
            self._seen[key] = now
            self._seen.move_to_end(key)
            while len(self._seen) > MOST_SEEN:
                self._seen.popitem(last=False)
        self.workshop.audit.note(who, what, on)


def desk_of(request: Request) -> Desk:
    """The desk that a request is for."""
    desk: Desk = request.app.state.desk
    return desk
