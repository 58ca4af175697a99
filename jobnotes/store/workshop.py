"""A workshop: one folder, and all that is kept in it."""

from __future__ import annotations

from pathlib import Path
from types import TracebackType
from typing import Any

from jobnotes.errors import JobnotesError
from jobnotes.store import problems as problems_of
from jobnotes.store.audit import Audit
from jobnotes.store.database import Database
from jobnotes.store.drafts import Drafts
from jobnotes.store.finding import Search
from jobnotes.store.folder import Folder, default_folder
from jobnotes.store.follow_ups import FollowUps
from jobnotes.store.invoices import Invoices
from jobnotes.store.learning import Words
from jobnotes.store.log_ins import LogIns
from jobnotes.store.memos import Memos
from jobnotes.store.orders import Orders
from jobnotes.store.people import People
from jobnotes.store.registers import Registers
from jobnotes.store.sheets import Sheets
from jobnotes.store.stock import Stock
from jobnotes.store.upgrade import refuse_newer, revision_of, upgrade
from jobnotes.store.values import Draft, Problem


class Workshop:
    """Opens a workshop's folder, made where missing, and brings its database up to date.

    Any number of threads and processes may have one open. Raises JobnotesError where the folder can't be used
    or its database is of a newer jobnotes, and with `create` false where there is no workshop in it.
    """

    def __init__(self, folder: Path | None = None, *, create: bool = True) -> None:
        self.folder = Folder((folder or default_folder()).absolute())
        if not create and not self.folder.database.is_file():
            raise JobnotesError(f"There is no workshop in {self.folder.path}.")
        if self.folder.database.is_file():
            # Before anything is made or changed.
            refuse_newer(self.folder.database, revision_of(self.folder.database))
        self.folder.make()
        self.database = Database(self.folder.database)
        upgrade(self.folder, self.database.engine)
        self.folder.database.chmod(0o600)
        self.audit = Audit(self.database)
        self.people = People(self.database)
        self.log_ins = LogIns(self.database, self.people)
        self.memos = Memos(self.database, self.folder)
        self.drafts = Drafts(self.database)
        self.sheets = Sheets(self.database, self.folder, self.people)
        self.invoices = Invoices(self.database, self.folder)
        self.stock = Stock(self.database)
        self.orders = Orders(self.database)
        self.follow_ups = FollowUps(self.database)
        self.words = Words(self.database)
        self.registers = Registers(self.database)
        self.search = Search(self.database)

    def problems(self, draft: Draft) -> list[Problem]:
        """What is not right with a draft, in words, held against the workshop's register."""
        return problems_of.problems(draft, self.registers.current())

    def check(self, draft: Draft, pointer: str, value: Any, *, added: bool = False) -> list[str]:
        """What would be wrong with a value at a pointer, or with an item `added` to the list there, in
        sentences; nothing is changed."""
        return problems_of.check(draft, self.registers.current(), pointer, value, added=added)

    def sweep(self) -> None:
        """Removes what broken-off work has left. Whoever starts to work on memos calls it first."""
        self.memos.sweep()
        self.sheets.sweep()
        self.invoices.sweep()

    def close(self) -> None:
        """Lets go of the database."""
        self.database.close()

    def __enter__(self) -> Workshop:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()
