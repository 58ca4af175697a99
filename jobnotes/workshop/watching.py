"""A folder watched: files that come into it are taken once they stop growing."""

from __future__ import annotations

import stat
import time
from collections.abc import Callable
from pathlib import Path
from threading import Event

from jobnotes.errors import JobnotesError
from jobnotes.files import reading
from jobnotes.store import Memo, Person
from jobnotes.workshop.taking import Taking

SETTLED_S = 2.0
"""A file that has not changed for so long has come whole: programs that copy write on without a pause."""
AGAIN_S = 300.0
"""A file that could not be taken is tried again so much later: the disk may be full, and be emptied."""
LOOK_MS = 250
ENDINGS = frozenset(
    ".wav .flac .mp3 .m4a .mp4 .aac .ogg .oga .opus .webm .mka .amr .3gp .3gpp .caf .aiff .wma .txt".split()
)
"""Others are left alone: pictures and papers may lie in the folder too."""

State = tuple[int, int]


class Watched:
    """The files of a folder, and how long each has been as it is."""

    def __init__(self, folder: Path, settled_s: float, clock: Callable[[], float] = time.monotonic) -> None:
        self._folder = folder
        self._settled_s = settled_s
        self._clock = clock
        self._seen: dict[Path, tuple[State, float]] = {}
        self._done: dict[Path, State] = {}

    def ready(self) -> list[Path]:
        """The files that have come or changed, and have not changed for SETTLED_S s, by name. Each is named
        once, until it changes."""
        found: dict[Path, tuple[State, float]] = {}
        now = self._clock()
        with reading(self._folder):
            files = sorted(self._folder.iterdir())
        for path in files:
            if path.name.startswith(".") or path.suffix.lower() not in ENDINGS:
                continue
            try:
                info = path.lstat()
            except OSError:
                continue  # gone since it was listed
            # A link leads to what whoever laid it here may not be allowed to read himself.
            if not stat.S_ISREG(info.st_mode):
                continue
            state = (info.st_size, info.st_mtime_ns)
            before = self._seen.get(path)
            found[path] = before if before is not None and before[0] == state else (state, now)
        self._seen = found
        ready = [
            path
            for path, (state, since) in found.items()
            if state[0] and now - since >= self._settled_s and self._done.get(path) != state
        ]
        for path in ready:
            self._done[path] = found[path][0]
        return ready

    def again(self, path: Path) -> None:
        """Names the file once more when AGAIN_S have gone by: it could not be taken."""
        if path in self._seen:
            state, _ = self._seen[path]
            self._seen[path] = (state, self._clock() + AGAIN_S)
            self._done.pop(path, None)


def watch(
    folder: Path,
    taking: Taking,
    *,
    engineer: Person | None = None,
    settled_s: float = SETTLED_S,
    stop: Event | None = None,
    told: Callable[[str, Memo], None] = lambda _what, _memo: None,
    trouble: Callable[[str], None] = lambda _sentence: None,
) -> None:
    """Takes in what comes into `folder`, and hears and reads it, until `stop` is set or Ctrl-C is pressed.

    Files there already are taken too. Files are only read, never moved or removed. `told` is given "taken" or
    "worked" and the memo, `trouble` a sentence for a file that can't be taken. Raises JobnotesError where the
    folder is none or goes away.
    """
    if not folder.is_dir():
        raise JobnotesError(f"{folder} is no folder to watch.")
    from watchfiles import watch as changes

    stop = stop or Event()
    watched = Watched(folder, settled_s)
    taking.workshop.sweep()
    ticks = changes(
        folder,
        stop_event=stop,
        recursive=False,
        debounce=LOOK_MS,
        step=50,
        rust_timeout=LOOK_MS,
        yield_on_timeout=True,
        raise_interrupt=True,
    )
    for _ in ticks:
        for path in watched.ready():
            try:
                taken = taking.take(path, engineer=engineer)
            except JobnotesError as error:
                trouble(str(error))
                watched.again(path)
                continue
            if taken.new:
                told("taken", taken.memo)
        # One memo at a time, so that what comes meanwhile is safe in the workshop before it is heard.
        for memo in taking.workshop.memos.waiting()[:1]:
            told("worked", taking.work(memo))
