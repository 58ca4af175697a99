"""Killed at any moment, a workshop has nothing of a memo or goes on with it; what was said done is done."""

from __future__ import annotations

import json
import random
import shutil
import signal
import time
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

import pytest
import store_work
from sqlalchemy import select
from store_processes import Nursery

from jobnotes.store import Workshop, upgrade, verify
from jobnotes.store.tables import MemoRow

KILLS = 200


@pytest.fixture(scope="module")
def nursery() -> Iterator[Nursery]:
    made = Nursery()
    yield made
    made.close()


def said(log: Path) -> dict[int, set[str]]:
    """What the killed had done by their own word, by memo."""
    done: dict[int, set[str]] = defaultdict(set)
    if log.exists():
        for line in log.read_text(encoding="utf-8").splitlines():
            try:
                number, what = json.loads(line)
            except ValueError:
                continue  # the killed was just writing it
            done[number].add(what)
    return done


def hold(workshop: Workshop, log: Path, texts: dict[int, str]) -> None:
    """Everything that was said done is there, once; nothing is half there."""
    engineer = workshop.people.named("tam")
    assert list(verify(workshop)) == []
    by_name = {memo.name: memo for memo in workshop.memos.all()}
    assert len(by_name) == len(workshop.memos.all())
    for memo in by_name.values():
        number = int(memo.name.removeprefix("memo"))
        assert workshop.memos.recording(memo).read_text(encoding="utf-8") == texts[number]
        assert memo.state in ("waiting", "heard", "read"), memo.failure
        assert (memo.state == "waiting") == (memo.transcript is None)
        assert (memo.state == "read") == (memo.draft_id is not None)
        sheets = workshop.sheets.of_memo(memo.id)
        if memo.draft_id is None:
            assert not sheets
            continue
        draft = workshop.drafts.get(memo.draft_id, engineer)
        history = workshop.drafts.history(draft.id, engineer)
        assert [each.version for each in history] == list(range(2, draft.version + 1))
        if history:
            job = int(history[-1].pointer.split("/")[2])
            assert draft.read.jobs[job].machine.hours == history[-1].new == draft.version - 1
        assert (draft.state == "signed") == bool(sheets)
        assert len(sheets) == (len(draft.read.jobs) if draft.state == "signed" else 0)
    for number, done in said(log).items():
        memo = by_name[f"memo{number}"]
        if "read" in done:
            assert memo.draft_id is not None
        if "signed" in done:
            assert workshop.sheets.of_memo(memo.id)
        for what in done:
            if what.startswith("edited"):
                draft_id = memo.draft_id
                assert draft_id is not None
                assert workshop.drafts.get(draft_id, engineer).version >= int(what.split()[1])


def test_killed_at_random_two_hundred_times(tmp_path: Path, nursery: Nursery) -> None:
    chance = random.Random(20260512)
    folder, memos, log = tmp_path / "workshop", tmp_path / "memos", tmp_path / "log"
    memos.mkdir()
    workshop, _ = store_work.workshop_with_engineer(folder)
    texts = {number: store_work.memo_text(number, jobs=1 + number % 3) for number in range(KILLS)}
    for number, text in texts.items():
        (memos / f"memo{number}.txt").write_text(text, encoding="utf-8")
    # How long a life takes here, so that the kills fall all over it.
    for number in (0, 1):
        started = time.perf_counter()
        assert nursery.begin("whole_life", folder, memos, number, log).join() == 0
        usual = time.perf_counter() - started
    killed, number = 0, 2
    reached: dict[str, int] = defaultdict(int)
    while killed < KILLS:
        process = nursery.begin("whole_life", folder, memos, number % KILLS, log)
        time.sleep(chance.uniform(0, usual * 1.1))
        process.kill()
        status = process.join()
        if status == -signal.SIGKILL:
            killed += 1
            done = said(log)[number % KILLS]
            reached["signed" if "signed" in done else max(done, key=len) if done else "nothing"] += 1
            number += chance.random() < 0.6
        else:
            assert status == 0
            number += 1
        if status and killed % 50 == 0:
            hold(workshop, log, texts)
    hold(workshop, log, texts)
    # The kills fell on more than one kind of moment, or this proved little.
    assert len(reached) > 2, reached
    store_work.taking(workshop).carry_on()
    assert not workshop.memos.waiting()
    hold(workshop, log, texts)
    assert not list(folder.rglob("*.part"))
    with workshop.database.reading() as session:
        kept = set(session.scalars(select(MemoRow.sha256)))
    assert {sha256 for sha256, _ in workshop.memos.blobs.files()} == kept
    workshop.close()


def test_ended_at_every_single_step(tmp_path: Path, nursery: Nursery) -> None:
    """Each file made, flushed or renamed, and each change, begin and commit, is once the last one."""
    memos = tmp_path / "memos"
    memos.mkdir()
    texts = {0: store_work.memo_text(0, jobs=2)}
    (memos / "memo0.txt").write_text(texts[0], encoding="utf-8")
    fresh = tmp_path / "fresh"
    store_work.workshop_with_engineer(fresh)[0].close()
    states = set()
    steps = 1
    while True:
        folder, log = tmp_path / f"workshop{steps}", tmp_path / f"log{steps}"
        shutil.copytree(fresh, folder)
        status = nursery.begin("whole_life_until", folder, memos, 0, steps, log).join()
        with Workshop(folder) as workshop:
            hold(workshop, log, texts)
            memo = next(iter(workshop.memos.all()), None)
            states.add("nothing" if memo is None else memo.state)
            if status == 0:
                break
            assert status == 137
            store_work.whole_life(folder, memos, 0, log)
            hold(workshop, log, texts)
            (memo,) = workshop.memos.all()
            assert [sheet.number for sheet in workshop.sheets.of_memo(memo.id)] == [1, 2]
        steps += 1
    assert steps > 40, "the steps are not counted any more"
    assert states == {"nothing", "waiting", "heard", "read"}


def test_a_crash_in_a_migration_leaves_nothing(tmp_path: Path, nursery: Nursery) -> None:
    folder = tmp_path / "workshop"
    assert nursery.begin("migrate_and_die", folder).join() == 137
    assert upgrade.revision_of(folder / "workshop.sqlite") is None
    with Workshop(folder) as workshop:
        assert not workshop.people.any()
