"""What was reckoned once, for as long as what it was reckoned from stands."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Generic, TypeVar

Value = TypeVar("Value")


class Kept(Generic[Value]):
    """One value, made anew whenever it is asked for with other sources; any number of threads may ask, and
    one of them makes it. Nobody changes the value, or a source."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._held: tuple[tuple[object, ...], Value] | None = None

    def of(self, sources: tuple[object, ...], make: Callable[[], Value]) -> Value:
        """The value of these sources. They are held against those of before by `==`, which is quick as long
        as they are the same objects. Raises whatever `make` raises, and keeps nothing then."""
        with self._lock:
            if self._held is None or self._held[0] != sources:
                self._held = (sources, make())
            return self._held[1]
