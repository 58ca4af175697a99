"""Approved invoices and credit notes, each read from the chain once."""

from __future__ import annotations

import threading
from collections.abc import Sequence

from jobnotes.jobs.invoice import Invoice
from jobnotes.store import Workshop


class Documents:
    """All invoices and credit notes, by number. They never change, so each is read once; any number of
    threads may ask."""

    def __init__(self, workshop: Workshop) -> None:
        self._workshop = workshop
        self._lock = threading.Lock()
        self._newest = 0
        self._all: Sequence[Invoice] = ()

    def all(self) -> Sequence[Invoice]:
        """The documents as they stand now, the oldest first: the same sequence until there is another."""
        with self._lock:
            if self._workshop.invoices.newest() != self._newest:
                more = list(self._workshop.invoices.documents(after=self._newest))
                self._all = (*self._all, *(document for _, document in more))
                self._newest = more[-1][0]
            return self._all
