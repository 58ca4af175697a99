"""Whether the user has pressed Ctrl-C. A library that is being loaded just then may turn it into an error
of its own, which would be told as a fault of the program."""

from __future__ import annotations

import signal
import threading
from types import FrameType

_came = threading.Event()


def watch() -> None:
    """Remembers an interrupt from now on; it is raised as KeyboardInterrupt all the same. For the main
    thread."""

    def remember(_number: int, _frame: FrameType | None) -> None:
        _came.set()
        raise KeyboardInterrupt

    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
        signal.signal(signal.SIGINT, remember)


def came() -> bool:
    """Whether an interrupt came since `watch`."""
    return _came.is_set()
