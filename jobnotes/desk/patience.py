"""Connections that ask for nothing: they are closed after a while, so that nobody can hold all of them."""

from __future__ import annotations

import asyncio
import resource

from uvicorn.protocols.http.h11_impl import H11Protocol

PATIENCE_S = 20.0
"""So long a connection may stand open before its request has come with all of its head, the first or the
next."""
MOST_OPEN = 16_384
"""Files and connections that the process may have open, where the system lets it."""


class PatientProtocol(H11Protocol):
    """HTTP/1.1 as uvicorn speaks it, which by itself waits for ever for a request that was begun."""

    _since = 0.0
    _timer: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begins to count."""
        super().connection_made(transport)
        self._since = self.loop.time()
        self._look()

    def connection_lost(self, exc: Exception | None) -> None:
        """Ends it."""
        if self._timer is not None:
            self._timer.cancel()
        super().connection_lost(exc)

    def _look(self) -> None:
        if self.transport.is_closing():
            return
        now = self.loop.time()
        if self.cycle is not None and not self.cycle.response_complete:
            self._since = now
        elif now - self._since >= PATIENCE_S:
            self.transport.close()
            return
        self._timer = self.loop.call_later(PATIENCE_S / 4, self._look)


def allow_many_connections() -> None:
    """Takes as many open files as the system allows, MOST_OPEN at most: each connection is one."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = MOST_OPEN if hard == resource.RLIM_INFINITY else min(MOST_OPEN, hard)
    if soft != resource.RLIM_INFINITY and soft < wanted:
        resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, hard))
