"""What was reckoned once, for as long as what it was reckoned from stands."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from typing import Generic, TypeVar

Key = TypeVar("Key")
Source = TypeVar("Source")
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


class KeptEach(Generic[Key, Source, Value]):
    """A value for each of many, such as machines: made anew for those alone whose own source is another, or
    for all with other `sources`."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._sources: tuple[object, ...] = ()
        self._held: dict[Key, tuple[Source, Value]] = {}

    def of(
        self, each: Mapping[Key, Source], sources: tuple[object, ...], make: Callable[[Source], Value]
    ) -> list[Value]:
        """The values in the order of `each`. Raises whatever `make` raises, and keeps what it had then."""
        with self._lock:
            before = self._held if self._sources == sources else {}
            held: dict[Key, tuple[Source, Value]] = {}
            for key, source in each.items():
                old = before.get(key)
                held[key] = old if old is not None and old[0] == source else (source, make(source))
            self._sources, self._held = sources, held
            return [value for _, value in held.values()]
