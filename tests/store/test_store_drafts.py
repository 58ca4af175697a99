"""Drafts: who may do what, two people at one, what is not right in words."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest
import store_work
from conftest import Firm

from jobnotes.errors import JobnotesError
from jobnotes.store import (
    TERMINAL,
    AddJob,
    Confirm,
    ConflictError,
    InvalidEditError,
    MissingError,
    NotAllowedError,
    Redo,
    SetValue,
    Undo,
)

HOURS = "/jobs/0/machine/hours"


def test_every_edit_is_kept(firm: Firm) -> None:
    draft = firm.draft()
    drafts, who = firm.workshop.drafts, firm.engineer
    drafts.edit(draft.id, 1, who, SetValue(pointer=HOURS, value=12))
    drafts.edit(draft.id, 2, who, SetValue(pointer="/jobs/0/site", value="Penny Moor"))
    drafts.edit(draft.id, 3, who, Undo())
    drafts.edit(draft.id, 4, who, Redo())
    told = [
        (c.version, c.who, c.kind, c.pointer, c.old, c.new, c.heard, c.undone)
        for c in drafts.history(draft.id, firm.office)
    ]
    assert told == [
        (2, "Tamsin Quill", "set", HOURS, 4001.0, 12.0, "4001", False),
        (3, "Tamsin Quill", "set", "/jobs/0/site", None, "Penny Moor", "", False),
        (4, "Tamsin Quill", "undo", "/jobs/0/site", "Penny Moor", None, "", False),
        (5, "Tamsin Quill", "redo", "/jobs/0/site", None, "Penny Moor", "", False),
    ]


def test_undo_and_redo_end(firm: Firm) -> None:
    draft = firm.draft()
    drafts, who = firm.workshop.drafts, firm.engineer
    assert not draft.can_undo and not draft.can_redo
    for operation in (Undo(), Redo()):
        with pytest.raises(InvalidEditError, match="nothing"):
            drafts.edit(draft.id, 1, who, operation)
    draft = drafts.edit(draft.id, 1, who, Confirm(pointer=HOURS))
    assert (draft.marked, draft.can_undo, draft.can_redo) == (0, True, False)
    draft = drafts.edit(draft.id, 2, who, Undo())
    assert (draft.marked, draft.can_undo, draft.can_redo) == (1, False, True)
    draft = drafts.edit(draft.id, 3, who, SetValue(pointer=HOURS, value=5))
    assert not draft.can_redo, "a new change begins a new future"


def test_the_second_of_two_is_told_what_the_first_did(firm: Firm) -> None:
    draft = firm.draft()
    drafts = firm.workshop.drafts
    drafts.edit(draft.id, 1, firm.engineer, SetValue(pointer=HOURS, value=12))
    with pytest.raises(ConflictError, match=rf"Tamsin Quill set {HOURS} from 4001.0 to 12.0") as told:
        drafts.edit(draft.id, 1, firm.engineer, SetValue(pointer=HOURS, value=13))
    assert told.value.version == 2
    assert [(each.pointer, each.new) for each in told.value.corrections] == [(HOURS, 12.0)]
    assert drafts.get(draft.id, firm.engineer).read.jobs[0].machine.hours == 12
    with pytest.raises(InvalidEditError, match="no version 9"):
        drafts.edit(draft.id, 9, firm.engineer, Undo())


def test_many_at_once_lose_no_edit(firm: Firm) -> None:
    draft = firm.draft()
    drafts, done, conflicts = firm.workshop.drafts, [], []

    def work(number: int) -> None:
        for k in range(8):
            version = drafts.get(draft.id, firm.engineer).version
            while True:
                try:
                    after = drafts.edit(
                        draft.id,
                        version,
                        firm.engineer,
                        SetValue(pointer=HOURS, value=100 * number + k),
                    )
                    done.append((after.version, 100.0 * number + k))
                    break
                except ConflictError as error:
                    conflicts.append(error)
                    version = error.version

    threads = [threading.Thread(target=work, args=(number,)) for number in range(1, 6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(done) == 40
    history = drafts.history(draft.id, firm.engineer)
    assert sorted(done) == [(each.version, each.new) for each in history]
    assert [each.old for each in history[1:]] == [each.new for each in history[:-1]]


def test_whose_draft_it_is(firm: Firm) -> None:
    draft = firm.draft()
    drafts, change = firm.workshop.drafts, SetValue(pointer=HOURS, value=1)
    for person in (firm.other, firm.office, firm.owner):
        with pytest.raises(NotAllowedError):
            drafts.edit(draft.id, 1, person, change)
    for read in (drafts.get, drafts.history, drafts.comments):
        with pytest.raises(NotAllowedError, match="another engineer's"):
            read(draft.id, firm.other)
        read(draft.id, firm.office)
    with pytest.raises(NotAllowedError):
        drafts.comment(draft.id, firm.other, "hello")
    with pytest.raises(NotAllowedError):
        drafts.withdraw(draft.id, firm.other, "not wanted")
    assert [line.id for line in drafts.lines(firm.engineer)] == [draft.id]
    assert drafts.lines(firm.other) == []
    assert [line.id for line in drafts.lines(firm.office)] == [draft.id]
    assert drafts.get(draft.id, firm.engineer).version == 1
    with pytest.raises(MissingError):
        drafts.get(999, firm.owner)


def test_the_office_sends_a_draft_back(firm: Firm) -> None:
    draft = firm.draft()
    drafts = firm.workshop.drafts
    with pytest.raises(NotAllowedError):
        drafts.send_back(draft.id, firm.engineer, "to myself")
    with pytest.raises(JobnotesError, match="why"):
        drafts.send_back(draft.id, firm.office, "  ")
    drafts.send_back(draft.id, firm.office, "Which bucket was it?")
    assert drafts.get(draft.id, firm.engineer).returned
    drafts.edit(draft.id, 1, firm.engineer, Confirm(pointer=HOURS))
    assert not drafts.get(draft.id, firm.engineer).returned
    (comment,) = drafts.comments(draft.id, firm.engineer)
    assert (comment.who, comment.text, comment.returned) == ("Prudence Able", "Which bucket was it?", True)


def test_a_draft_that_is_nobodys(firm: Firm, tmp_path: Path) -> None:
    file = tmp_path / "loose.txt"
    file.write_text(store_work.memo_text(5), encoding="utf-8")
    memo = store_work.taking(firm.workshop).work(firm.workshop.memos.take(file).memo)
    assert memo.engineer_id is None and memo.draft_id is not None, "of two engineers neither can be meant"
    drafts = firm.workshop.drafts
    assert [line.id for line in drafts.lines(firm.other)] == [memo.draft_id]
    with pytest.raises(NotAllowedError):
        drafts.edit(memo.draft_id, 1, firm.other, Confirm(pointer=HOURS))
    with pytest.raises(NotAllowedError):
        drafts.assign(memo.draft_id, firm.engineer, firm.other)
    with pytest.raises(JobnotesError, match="signs no sheets"):
        drafts.assign(memo.draft_id, firm.office, firm.office)
    drafts.assign(memo.draft_id, firm.other, firm.other)
    drafts.edit(memo.draft_id, 1, firm.other, Confirm(pointer=HOURS))
    with pytest.raises(NotAllowedError):
        drafts.assign(memo.draft_id, firm.engineer, firm.engineer)
    assert drafts.assign(memo.draft_id, firm.engineer, firm.office).engineer == "Tamsin Quill"


def test_a_withdrawn_draft_is_closed(firm: Firm) -> None:
    draft = firm.draft()
    drafts = firm.workshop.drafts
    with pytest.raises(JobnotesError):
        drafts.withdraw(draft.id, firm.engineer, "")
    assert drafts.withdraw(draft.id, firm.engineer, "recorded in the pocket").state == "withdrawn"
    with pytest.raises(NotAllowedError, match="withdrawn"):
        drafts.edit(draft.id, 1, firm.engineer, AddJob())
    assert drafts.lines(firm.engineer) == []
    assert [line.id for line in drafts.lines(firm.engineer, "withdrawn")] == [draft.id]


def test_problems_in_words(firm: Firm, tmp_path: Path) -> None:
    register = tmp_path / "register"
    register.mkdir()
    (register / "machines.csv").write_text("fleet_number,last_hours\nWL 10,5000\n", encoding="utf-8")
    firm.workshop.registers.load(firm.workshop.registers.compare(register), firm.owner)
    draft = firm.draft()
    (marked,) = firm.workshop.problems(draft)
    assert (marked.pointer, marked.kind, marked.why) == (HOURS, "marked", "misheard?")
    draft = firm.workshop.drafts.edit(draft.id, 1, firm.engineer, Confirm(pointer=HOURS))
    (doubt,) = firm.workshop.problems(draft)
    assert (doubt.pointer, doubt.kind) == (HOURS, "doubt")
    assert "behind the last known 5,000 h" in doubt.why
    assert firm.workshop.check(draft, HOURS, 5100) == []
    assert "behind" in firm.workshop.check(draft, HOURS, 4999)[0]
    assert HOURS in firm.workshop.check(draft, HOURS, "many")[0]
    assert firm.workshop.drafts.get(draft.id, firm.engineer).version == 2, "trying changes nothing"


def test_search(firm: Firm) -> None:
    text = "WX31 hours 120 customer Ostrey Stone Products\nWL7 hours 9 customer Oddmarsh Hire"
    draft = firm.draft(text)
    firm.workshop.drafts.edit(
        draft.id, 1, firm.engineer, SetValue(pointer="/jobs/0/site", value="Penny Moor")
    )
    search = firm.workshop.search

    def found(words: str, who: object = firm.engineer, **more: object) -> list[int]:
        return [each.number for each in search(words, who, **more)]  # type: ignore[arg-type]

    assert found("wx31") == found("ostrey") == found("penny moor") == found("odd") == [draft.id]
    assert found("wx31", field="machine") == [draft.id]
    assert found("wx31", field="customer") == []
    assert found("hours") == [draft.id], "what was heard is found too"
    assert found("wx31", firm.other) == [], "another's draft is not found"
    assert found("wx31", firm.office) == [draft.id]
    assert found("nothing") == []
    for odd in ('"', "NEAR(", "wx31 OR", "* -", "machine:"):
        try:
            search(odd, firm.engineer)
        except JobnotesError as error:
            assert "Give a word" in str(error)
    store_work.signed(firm.workshop, firm.engineer, firm.workshop.drafts.get(draft.id, firm.engineer))
    kinds = {(each.kind, each.number) for each in search("ostrey", firm.other)}
    assert kinds == {("sheet", 1)}


def test_what_the_terminal_may(firm: Firm) -> None:
    draft = firm.draft()
    assert firm.workshop.drafts.edit(draft.id, 1, TERMINAL, Confirm(pointer=HOURS)).version == 2
    (line,) = firm.workshop.drafts.history(draft.id, TERMINAL)
    assert line.who == "at the terminal"
