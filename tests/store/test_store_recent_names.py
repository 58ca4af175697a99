"""The names that an engineer's next memo is likely to hold."""

from __future__ import annotations

import store_work
from conftest import Firm

from jobnotes.workshop.recent import MOST_NAMES, recent_names


def put_register(firm: Firm, *customers: str) -> None:
    folder = firm.folder / "register"
    folder.mkdir()
    (folder / "customers.csv").write_text("\n".join(["customer", *customers]) + "\n", encoding="utf-8")
    firm.workshop.registers.load(firm.workshop.registers.compare(folder))


def test_the_engineers_own_newest_first(firm: Firm) -> None:
    put_register(firm, "Oddmarsh Hire", "Quillfen Aggregates")
    assert recent_names(firm.workshop, firm.engineer.id) == []
    names = ("Oddmarsh Hire", "Oddmash Higher", "Quillfen Aggregates", "Lower Penny Stone")
    drafts = [
        firm.draft(f"WL{n} hours 4{n} customer {name}", f"memo{n}") for n, name in enumerate(names, start=1)
    ]
    # An open draft's misheard name is not expected again; a signed one was looked at.
    assert recent_names(firm.workshop, firm.engineer.id) == ["Quillfen Aggregates", "Oddmarsh Hire"]
    store_work.signed(firm.workshop, firm.engineer, drafts[3])
    assert recent_names(firm.workshop, firm.engineer.id) == [
        "Lower Penny Stone",
        "Quillfen Aggregates",
        "Oddmarsh Hire",
    ]
    firm.workshop.drafts.withdraw(drafts[2].id, firm.engineer, "no job")
    assert recent_names(firm.workshop, firm.engineer.id) == ["Lower Penny Stone", "Oddmarsh Hire"]
    assert recent_names(firm.workshop, firm.other.id) == []
    assert recent_names(firm.workshop, firm.owner.id) == []
    assert recent_names(firm.workshop, None) == []


def test_no_more_than_a_prompt_can_hold(firm: Firm) -> None:
    customers = [f"Oddmarsh {chr(65 + n)}" for n in range(MOST_NAMES + 4)]
    put_register(firm, *customers)
    lines = "\n".join(f"WL{n} hours 4{n} customer {name}" for n, name in enumerate(customers))
    firm.draft(lines)
    assert recent_names(firm.workshop, firm.engineer.id) == customers[:MOST_NAMES]
