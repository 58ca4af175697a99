"""A workshop with an engineer, an office and an owner."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
import store_work

from jobnotes.store import Draft, Person, Workshop, people


@dataclass
class Firm:
    """A workshop and its people."""

    workshop: Workshop
    engineer: Person
    other: Person
    office: Person
    owner: Person
    folder: Path

    def draft(self, text: str | None = None, name: str = "memo") -> Draft:
        """A draft of the engineer's."""
        return store_work.draft_of(
            self.workshop, self.engineer, self.folder, text or store_work.memo_text(1), name
        )


@pytest.fixture
def firm(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Firm]:
    monkeypatch.setattr(people, "_hasher", lambda: store_work.QUICK)
    with Workshop(tmp_path / "workshop") as workshop:
        add = workshop.people.add
        owner = add("ilse", "Ilse Brandreth", "owner", store_work.PASSWORD)
        engineer = add("tam", "Tamsin Quill", "engineer", store_work.PASSWORD)
        other = add("joss", "Joss Wherrie", "engineer", store_work.PASSWORD)
        office = add("pru", "Prudence Able", "office", store_work.PASSWORD)
        yield Firm(workshop, engineer, other, office, owner, tmp_path)
