"""Several processes, and some killed at any moment: numbers have no gap and no double, a sheet is charged
once."""

from __future__ import annotations

import json
import random
import shutil
import signal
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from conftest import Firm
from office_rows import sheets_of
from store_processes import Nursery

from jobnotes.store import TERMINAL, Workshop, verify

KILLS = 40


@pytest.fixture(scope="module")
def nursery() -> Iterator[Nursery]:
    made = Nursery()
    yield made
    made.close()


def said(log: Path) -> list[list[Any]]:
    lines = log.read_text(encoding="utf-8").splitlines() if log.exists() else []
    found = []
    for line in lines:
        try:
            found.append(json.loads(line))
        except ValueError:
            continue  # the killed was just writing it
    return found


def drafts_for(firm: Firm, count: int) -> list[int]:
    """As many drafts, each of one sheet."""
    sheets = sheets_of(firm.workshop, firm.engineer, firm.folder, count)
    return [firm.workshop.invoices.new_draft("Oddmarsh Hire", [sheet], TERMINAL).id for sheet in sheets]


def without_gap(workshop: Workshop) -> int:
    """How many documents there are, in list and chain alike, numbered 1, 2, 3 and so on."""
    numbers = [each.number for each in workshop.invoices.all(limit=10_000)]
    assert numbers == list(range(len(numbers), 0, -1))
    assert list(verify(workshop)) == []
    invoices = [each for each in workshop.invoices.all(limit=10_000) if each.kind == "invoice"]
    charged = [sheet for each in invoices for sheet, _ in each.sheets]
    assert len(charged) == len(set(charged))
    for number in numbers:
        assert workshop.invoices.pdf(number)
    return len(numbers)


@pytest.mark.parametrize("processes", [2, 8])
def test_processes_approve_different_drafts_at_once(firm: Firm, nursery: Nursery, processes: int) -> None:
    drafts, log = drafts_for(firm, 24), firm.folder / "log"
    folder, moment = firm.workshop.folder.path, time.time() + 1.0
    begun = [
        nursery.begin("approve_drafts", folder, drafts[place::processes], log, moment)
        for place in range(processes)
    ]
    assert [each.join() for each in begun] == [0] * processes
    assert without_gap(firm.workshop) == 24
    approved = {number: draft for what, draft, number in said(log) if what == "approved"}
    assert sorted(approved) == list(range(1, 25)) and sorted(approved.values()) == drafts
    for number, draft in approved.items():
        assert firm.workshop.invoices.get(number).draft_id == draft
    turns = [drafts.index(approved[number]) % processes for number in sorted(approved)]
    assert turns != sorted(turns), "one came behind the other, so this proved nothing"


def test_processes_approve_one_draft_at_once(firm: Firm, nursery: Nursery) -> None:
    log, (draft,) = firm.folder / "log", drafts_for(firm, 1)
    folder, moment = firm.workshop.folder.path, time.time() + 1.0
    begun = [nursery.begin("approve_at_version_one", folder, draft, log, moment) for _ in range(4)]
    assert [each.join() for each in begun] == [0] * 4
    assert sorted(each[0] for each in said(log)) == ["approved", "refused", "refused", "refused"]
    assert all("approved as number 1" in each[2] for each in said(log) if each[0] == "refused")
    assert without_gap(firm.workshop) == 1


@pytest.mark.parametrize("processes", [2, 4])
def test_processes_begin_drafts_of_the_same_sheets(firm: Firm, nursery: Nursery, processes: int) -> None:
    sheets, log = sheets_of(firm.workshop, firm.engineer, firm.folder, 20), firm.folder / "log"
    folder, moment = firm.workshop.folder.path, time.time() + 1.0
    begun = [nursery.begin("begin_drafts", folder, sheets, log, moment) for _ in range(processes)]
    assert [each.join() for each in begun] == [0] * processes
    assert sorted(sheet for what, sheet, _ in said(log) if what == "begun") == sheets
    refusals = [told for what, _, told in said(log) if what == "refused"]
    assert len(refusals) == 20 * (processes - 1) and all("in another draft" in told for told in refusals)
    assert sorted(sheet for draft in firm.workshop.invoices.drafts() for sheet in draft.sheets) == sheets


def test_killed_while_approving(firm: Firm, nursery: Nursery) -> None:
    chance, log = random.Random(20260513), firm.folder / "log"
    folder, drafts = firm.workshop.folder.path, drafts_for(firm, 140)
    # How long it takes to begin, and to approve five, so that the kills fall on approvals.
    took = []
    for some in ([], drafts[:5], [], drafts[5:10]):
        started = time.perf_counter()
        assert nursery.begin("approve_drafts", folder, some, log).join() == 0
        took.append(time.perf_counter() - started)
    first, usual = min(took[0], took[2]), max(took[1], took[3])
    killed = 0
    while killed < KILLS:
        left = [each.id for each in firm.workshop.invoices.drafts()]
        if not left:
            break
        process = nursery.begin("approve_drafts", folder, left, log)
        time.sleep(chance.uniform(first * 0.8, usual * 1.1))
        process.kill()
        killed += process.join() == -signal.SIGKILL
        if killed % 20 == 0:
            without_gap(firm.workshop)
    count = without_gap(firm.workshop)
    assert killed > 20 and count > 30, (killed, count)
    approved = {number: draft for what, draft, number in said(log) if what == "approved"}
    assert set(approved) <= set(range(1, count + 1)), "what was said approved is there"
    assert all(firm.workshop.invoices.get(number).draft_id == draft for number, draft in approved.items())
    assert not [each for each in said(log) if each[0] == "refused"]
    left = [each.id for each in firm.workshop.invoices.drafts()]
    assert nursery.begin("approve_drafts", folder, left, log).join() == 0
    assert without_gap(firm.workshop) == len(drafts)
    firm.workshop.sweep()
    kept = {each.pdf_sha256 for each in firm.workshop.invoices.all()}
    assert {sha256 for sha256, _ in firm.workshop.invoices.blobs.files()} == kept
    assert not firm.workshop.invoices.blobs.unfinished()


def test_ended_at_every_single_step_of_an_approval_and_a_credit(
    firm: Firm, nursery: Nursery, tmp_path: Path
) -> None:
    """Each file made, flushed or renamed, and each change, begin and commit, is once the last one."""
    (draft,) = drafts_for(firm, 1)
    firm.workshop.close()
    states, steps = set(), 1
    while True:
        folder, log = tmp_path / f"copy{steps}", tmp_path / f"log{steps}"
        shutil.copytree(firm.workshop.folder.path, folder)
        status = nursery.begin("approve_and_credit_until", folder, draft, steps, log).join()
        with Workshop(folder) as workshop:
            count = without_gap(workshop)
            states.add((count, workshop.invoices.draft(draft).state))
            assert len(said(log)) <= count, "what was said done is there"
            if status == 0:
                break
            assert status == 137
            assert nursery.begin("approve_and_credit_until", folder, draft, 0, log).join() == 0
            assert without_gap(workshop) == 2
            workshop.sweep()
            assert len(list(workshop.invoices.blobs.files())) == 2
        shutil.rmtree(folder)
        steps += 1
    assert steps > 40, "the steps are not counted any more"
    assert states == {(0, "open"), (1, "approved"), (2, "approved")}
