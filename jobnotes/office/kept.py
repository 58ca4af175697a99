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
        self._held: tuple[tuple[object, ...], tuple[object, ...], Value] | None = None

    def of(
        self, sources: tuple[object, ...], make: Callable[[], Value], *, marks: tuple[object, ...] = ()
    ) -> Value:
        """The value of these sources, which must be the same objects as before, and marks, which must be
        equal. Raises whatever `make` raises, and keeps what it had then."""
        with self._lock:
            held = self._held
            if held is None or not _same(held[0], sources) or held[1] != marks:
                self._held = (sources, marks, make())
                return self._held[2]
            return held[2]


def _same(held: tuple[object, ...], sources: tuple[object, ...]) -> bool:
    # By `is`: a row of the register is equal to another that differs in a column of the firm's own.
    return len(held) == len(sources) and all(one is other for one, other in zip(held, sources, strict=True))


class KeptEach(Generic[Key, Source, Value]):
    """A value for each of many, such as machines: made anew for those alone whose own source is another, or
    for all with other `sources` or `marks`; see `Kept`."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._sources: tuple[object, ...] = ()
        self._marks: tuple[object, ...] = ()
        self._held: dict[Key, tuple[Source, Value]] = {}

    def of(
        self,
        each: Mapping[Key, Source],
        make: Callable[[Source], Value],
        *,
        sources: tuple[object, ...] = (),
        marks: tuple[object, ...] = (),
    ) -> list[Value]:
        """The values in the order of `each`. Raises whatever `make` raises, and keeps what it had then."""
        with self._lock:
            before = self._held if _same(self._sources, sources) and self._marks == marks else {}
            held: dict[Key, tuple[Source, Value]] = {}
            for key, source in each.items():
                old = before.get(key)
                held[key] = old if old is not None and old[0] == source else (source, make(source))
            self._sources, self._marks, self._held = sources, marks, held
            return [value for _, value in held.values()]
