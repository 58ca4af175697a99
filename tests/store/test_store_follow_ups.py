"""Advised work is closed word for word, with a reason or a later sheet, and can be opened again."""

from __future__ import annotations

from typing import Any

import office_rows
import pytest
from conftest import Firm
from store_work import at_once

from jobnotes.errors import JobnotesError
from jobnotes.store import MissingError, NotAllowedError

HOSE = "renew the lift ram hose"
PINS = "grease the slew ring"


def sheet(firm: Firm, number: int, *, date: str | None = "2026-05-12", **more: Any) -> int:
    more.setdefault("machine__fleet_number", "WL31")
    return office_rows.sheet_with(firm.workshop, firm.engineer, firm.folder, number, date=date, **more).number


def test_closed_with_a_reason_and_opened_again(firm: Firm) -> None:
    sheet(firm, 1, follow_up=[HOSE, PINS])
    act = firm.workshop.follow_ups
    closing = act.close(1, HOSE, firm.office, reason=" scrapped ")
    assert (closing.id, closing.sheet, closing.text, closing.by_sheet) == (1, 1, HOSE, None)
    assert (closing.reason, closing.who, closing.undone) == ("scrapped", "Prudence Able", False)
    with pytest.raises(NotAllowedError, match="closed already"):
        act.close(1, HOSE, firm.office, reason="again")
    with pytest.raises(JobnotesError, match="a reason"):
        act.reopen(1, firm.owner, "")
    again = act.reopen(1, firm.owner, "it came back")
    assert again.undone and act.closings() == [again]
    with pytest.raises(NotAllowedError, match="Ilse Brandreth has opened it again already"):
        act.reopen(1, firm.office, "again")
    second = act.close(1, HOSE, firm.office, reason="sold")
    assert act.closings() == [again, second]
    with pytest.raises(MissingError):
        act.reopen(9, firm.office, "why")
    told = [(each.who, each.what, each.detail) for each in reversed(firm.workshop.audit.lines(on="sheet 1"))]
    assert told == [
        ("pru", "closed advised work", f"{HOSE}: scrapped"),
        ("ilse", "opened advised work again", f"{HOSE}: it came back"),
        ("pru", "closed advised work", f"{HOSE}: sold"),
    ]


def test_closed_by_a_later_sheet(firm: Firm) -> None:
    sheet(firm, 1, follow_up=[HOSE, PINS])
    sheet(firm, 2, date="2026-05-11")
    sheet(firm, 3, date="2026-05-14")
    act = firm.workshop.follow_ups
    for by_sheet, kind, told in (
        (None, JobnotesError, "a reason, or the sheet"),
        (1, JobnotesError, "Sheet 1 is not later than sheet 1"),
        (2, JobnotesError, "Sheet 2 is not later than sheet 1"),
        (9, MissingError, "no sheet 9"),
    ):
        with pytest.raises(kind, match=told):
            act.close(1, HOSE, firm.office, by_sheet=by_sheet)
    assert act.closings() == []
    closing = act.close(1, HOSE, firm.office, by_sheet=3)
    assert (closing.by_sheet, closing.reason) == (3, "")
    assert firm.workshop.audit.lines(on="sheet 1")[0].detail == f"{HOSE}: done on sheet 3"
    firm.workshop.sheets.withdraw(3, firm.office, "wrong machine")
    with pytest.raises(NotAllowedError, match="Sheet 3 is withdrawn"):
        act.close(1, PINS, firm.office, by_sheet=3)


def test_another_machines_sheet_closes_nothing(firm: Firm) -> None:
    sheet(firm, 1, follow_up=[HOSE])
    sheet(firm, 2, date="2026-05-14", machine__fleet_number="TH99")
    with pytest.raises(JobnotesError, match="Sheet 2 is of another machine than sheet 1"):
        firm.workshop.follow_ups.close(1, HOSE, firm.office, by_sheet=2)
    assert firm.workshop.follow_ups.closings() == []


def test_a_visit_signed_earlier_may_be_the_later_one(firm: Firm) -> None:
    sheet(firm, 1, date="2026-05-14")
    sheet(firm, 2, date="2026-05-12", follow_up=[HOSE])
    assert firm.workshop.follow_ups.close(2, HOSE, firm.office, by_sheet=1).by_sheet == 1


def test_the_words_are_those_of_the_newest_revision(firm: Firm) -> None:
    sheet(firm, 1, follow_up=[HOSE])
    act = firm.workshop.follow_ups
    for text in (HOSE.upper(), HOSE + " ", "", PINS):
        with pytest.raises(MissingError, match="does not advise that"):
            act.close(1, text, firm.office, reason="done")
    amending = firm.workshop.sheets.amend(1, firm.engineer)
    office_rows.filled(firm.workshop, firm.engineer, amending, follow_up=[PINS], follow_up__0="renew it")
    with pytest.raises(MissingError, match="does not advise that"):
        act.close(1, HOSE, firm.office, reason="done")
    assert act.close(1, PINS, firm.office, reason="done").text == PINS
    firm.workshop.sheets.withdraw(1, firm.office, "wrong machine")
    with pytest.raises(NotAllowedError, match="Sheet 1 is withdrawn"):
        act.close(1, "renew it", firm.office, reason="done")
    with pytest.raises(MissingError):
        act.close(9, HOSE, firm.office, reason="done")


def test_engineers_close_what_their_own_sheets_advise(firm: Firm) -> None:
    sheet(firm, 1, follow_up=[HOSE, PINS])
    act = firm.workshop.follow_ups
    with pytest.raises(NotAllowedError, match="Only its engineer or the office"):
        act.close(1, HOSE, firm.other, reason="done")
    closing = act.close(1, HOSE, firm.engineer, reason="done")
    with pytest.raises(NotAllowedError, match="Only its engineer or the office"):
        act.reopen(closing.id, firm.other, "not done")
    assert act.reopen(closing.id, firm.engineer, "not done").undone


def test_two_close_the_same_at_once(firm: Firm) -> None:
    sheet(firm, 1, follow_up=[HOSE])
    ends: list[str] = []

    def work() -> None:
        try:
            firm.workshop.follow_ups.close(1, HOSE, firm.office, reason="done")
            ends.append("closed")
        except NotAllowedError:
            ends.append("refused")

    at_once(work)
    assert sorted(ends) == ["closed", "refused", "refused"]
    assert len(firm.workshop.follow_ups.closings()) == 1
