"""Memos: the same content once, failures in words, a watched folder, words that were learned."""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
import store_work
from conftest import Firm
from store_processes import Nursery

from jobnotes.errors import JobnotesError
from jobnotes.intake import Heard
from jobnotes.jobs import Evidence, Job, ReadMemo, Transcript, Word
from jobnotes.store import TERMINAL, LearnedWord, NotAllowedError, SetValue, Workshop
from jobnotes.workshop import Settings, Taking, taking, watch
from jobnotes.workshop.learned import as_heard, expected_words, repaired
from jobnotes.workshop.watching import Watched


@pytest.fixture(scope="module")
def nursery() -> Iterator[Nursery]:
    made = Nursery()
    yield made
    made.close()


def put(folder: Path, name: str, text: str) -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def test_the_same_content_is_one_memo(firm: Firm) -> None:
    first = put(firm.folder, "monday.txt", store_work.memo_text(1))
    again = put(firm.folder, "copy of monday.txt", store_work.memo_text(1))
    memos = firm.workshop.memos
    taken = memos.take(first, engineer=firm.engineer)
    assert taken.new and taken.memo.name == "monday"
    for path in (first, again):
        assert memos.take(path).memo == taken.memo
        assert not memos.take(path).new
    assert len(memos.all()) == len(list(memos.blobs.files())) == 1
    assert memos.recording(taken.memo).stat().st_mtime_ns == first.stat().st_mtime_ns
    assert first.exists() and again.exists()


def test_two_processes_take_the_same_at_once(tmp_path: Path, nursery: Nursery) -> None:
    folder = tmp_path / "workshop"
    workshop, _ = store_work.workshop_with_engineer(folder)
    for round_ in range(5):
        file = put(tmp_path, f"memo{round_}.txt", store_work.memo_text(round_))
        begun = [nursery.begin("take_same", folder, file, 5) for _ in range(4)]
        assert [process.join() for process in begun] == [0, 0, 0, 0]
        assert len(workshop.memos.all()) == round_ + 1
        (draft,) = [line for line in workshop.drafts.lines(TERMINAL) if line.memo == f"memo{round_}"]
        assert draft.version == 1
    assert [memo.state for memo in workshop.memos.all()] == ["read"] * 5
    assert len(list(workshop.memos.blobs.files())) == 5


def test_what_can_not_be_taken(firm: Firm) -> None:
    empty = put(firm.folder, "empty.txt", "")
    pipe = firm.folder / "pipe.wav"
    os.mkfifo(pipe)
    for path, says in (
        (firm.folder / "missing.wav", "no file"),
        (firm.folder, "a folder"),
        (pipe, "a pipe"),
        (empty, "is empty"),
    ):
        with pytest.raises(JobnotesError, match=says):
            firm.workshop.memos.take(path)
    assert firm.workshop.memos.all() == []
    assert list(firm.workshop.memos.blobs.files()) == []


@pytest.mark.parametrize(
    ("given", "name", "ending"),
    [
        ("../../etc/passwd", "passwd", ""),
        ("..\\..\\memo.WAV", "memo", ".wav"),
        ("a\0b.m4a", "a�b", ".m4a"),
        ("memo.tar.$(rm)", "memo.tar.$(rm)", ""),
        (".m4a", ".m4a", ""),
        ("x" * 300 + ".mp3", "x" * 120, ".mp3"),
        ("/", "memo", ""),
    ],
)
def test_a_clients_name_is_never_a_path(firm: Firm, given: str, name: str, ending: str) -> None:
    path = put(firm.folder, "upload", "some words")
    taken = firm.workshop.memos.take(path, file_name=given)
    assert (taken.memo.name, taken.memo.ending) == (name, ending)
    kept = firm.workshop.memos.recording(taken.memo)
    assert kept == firm.workshop.folder.recordings / taken.memo.sha256[:2] / (taken.memo.sha256[2:] + ending)


def test_a_failure_in_words_and_again(firm: Firm) -> None:
    broken = [True]

    class Breaks(store_work.PlainReader):
        def words(self, path: Path, name: str) -> Heard:
            if broken[0]:
                raise JobnotesError(f"{path} is not a sound file but a PDF document.")
            return super().words(path, name)

        def understand(self, heard: Heard) -> ReadMemo:
            if broken[-1] == "reading":
                raise ZeroDivisionError("oh")
            return super().understand(heard)

    make = Taking(firm.workshop, Settings(), make_intake=lambda *_given: Breaks())
    path = put(firm.folder, "memo.txt", store_work.memo_text(1))
    memo = make.work(make.take(path).memo)
    assert (memo.state, memo.failure) == ("failed", "memo.txt is not a sound file but a PDF document.")
    assert make.carry_on() == [], "what failed is not tried for ever"
    broken[:] = [False, "reading"]  # type: ignore[list-item]
    taken = make.take(path)
    assert not taken.new and taken.memo.state == "waiting"
    memo = make.work(taken.memo)
    assert memo.state == "failed" and "fault in jobnotes (ZeroDivisionError oh)" in (memo.failure or "")
    broken[:] = [False]
    assert make.take(path).memo.state == "heard", "it is not heard a second time"
    (memo,) = make.carry_on()
    assert memo.state == "read" and memo.draft_id is not None


def test_a_memo_held_by_another_is_left_to_it(firm: Firm) -> None:
    memo = firm.workshop.memos.take(put(firm.folder, "memo.txt", store_work.memo_text(1))).memo
    with firm.workshop.memos.working_on(memo) as held:
        assert held is not None
        again = firm.workshop.memos.get(memo.id)
        assert store_work.taking(firm.workshop).work(again).state == "waiting"
    assert store_work.taking(firm.workshop).work(memo).state == "read"


def test_when_it_was_recorded_holds_whoever_hears_it(firm: Firm, monkeypatch: pytest.MonkeyPatch) -> None:
    given: list[datetime | None] = []

    class Listener(store_work.PlainReader):
        def __init__(self, *_register: object, recorded_at: datetime | None, **_more: object) -> None:
            given.append(recorded_at)

    monkeypatch.setattr(taking, "Intake", Listener)
    at = datetime(2026, 3, 4, 17, 5)
    told = Taking(firm.workshop, Settings(), recorded_at=at)
    first = told.take(put(firm.folder, "told.txt", store_work.memo_text(1))).memo
    second = firm.workshop.memos.take(put(firm.folder, "untold.txt", store_work.memo_text(2))).memo
    # Taken by one process, heard by another: by the desk, say, or after a crash.
    desk = Taking(Workshop(firm.workshop.folder.path), Settings())
    assert [memo.state for memo in desk.carry_on()] == ["read", "read"]
    assert [first.id, second.id] == [1, 2] and given == [at, None]


def test_who_works_alone_is_the_engineer(tmp_path: Path) -> None:
    workshop, engineer = store_work.workshop_with_engineer(tmp_path / "workshop")
    memo = workshop.memos.take(put(tmp_path, "memo.txt", "words")).memo
    assert memo.engineer_id == engineer.id


# -- the watched folder --


def test_a_growing_file_is_left_until_it_rests(tmp_path: Path) -> None:
    clock = [0.0]
    watched = Watched(tmp_path, 2.0, clock=lambda: clock[0])
    path = put(tmp_path, "memo.wav", "a")
    for second in range(1, 5):
        assert watched.ready() == []
        clock[0] = float(second)
        path.write_text("a" * (second + 1), encoding="utf-8")
    assert watched.ready() == []
    clock[0] = 5.9
    assert watched.ready() == []
    clock[0] = 6.0
    assert watched.ready() == [path]
    clock[0] = 60.0
    assert watched.ready() == [], "it is named once"
    path.write_text("another", encoding="utf-8")
    assert watched.ready() == []
    clock[0] = 63.0
    assert watched.ready() == [path]
    put(tmp_path, ".memo.wav", "hidden")
    put(tmp_path, "memo.part", "not come yet")
    put(tmp_path, "none.wav", "")
    (tmp_path / "folder.wav").mkdir()
    watched.ready()
    clock[0] = 70.0
    assert watched.ready() == []


def test_a_link_in_the_watched_folder_leads_nowhere(tmp_path: Path) -> None:
    clock = [0.0]
    private = put(tmp_path, "private.txt", "nobody else's business")
    folder = tmp_path / "dropped"
    folder.mkdir()
    (folder / "memo.txt").symlink_to(private)
    watched = Watched(folder, 2.0, clock=lambda: clock[0])
    watched.ready()
    clock[0] = 10.0
    assert watched.ready() == []


def test_a_file_that_could_not_be_taken_is_tried_again(tmp_path: Path) -> None:
    clock = [0.0]
    watched = Watched(tmp_path, 2.0, clock=lambda: clock[0])
    path = put(tmp_path, "memo.wav", "a")
    watched.ready()
    clock[0] = 3.0
    assert watched.ready() == [path]
    watched.again(path)
    clock[0] = 100.0
    assert watched.ready() == []
    clock[0] = 400.0
    assert watched.ready() == [path]


def test_watching_takes_whole_files_only(firm: Firm) -> None:
    folder = firm.folder / "dropped"
    folder.mkdir()
    put(folder, "early.txt", store_work.memo_text(1))
    stop, told = threading.Event(), []
    thread = threading.Thread(
        target=watch,
        args=(folder, store_work.taking(firm.workshop)),
        kwargs={
            "engineer": firm.engineer,
            "settled_s": 0.6,
            "stop": stop,
            "told": lambda what, memo: told.append((what, memo.name, memo.state)),
        },
    )
    thread.start()
    text = store_work.memo_text(2, jobs=3)
    with (folder / "late.txt").open("w", encoding="utf-8") as stream:
        for piece in text.splitlines(keepends=True):
            stream.write(piece)
            stream.flush()
            time.sleep(0.3)
    until = time.monotonic() + 20
    while len(told) < 4 and time.monotonic() < until:
        time.sleep(0.05)
    stop.set()
    thread.join(10)
    assert sorted(told) == [
        *(("taken", "early", "waiting"), ("taken", "late", "waiting")),
        *(("worked", "early", "read"), ("worked", "late", "read")),
    ]
    late = next(memo for memo in firm.workshop.memos.all() if memo.name == "late")
    assert firm.workshop.memos.recording(late).read_text(encoding="utf-8") == text
    assert sorted(path.name for path in folder.iterdir()) == ["early.txt", "late.txt"]


def test_watching_no_folder(firm: Firm) -> None:
    with pytest.raises(JobnotesError, match="no folder"):
        watch(firm.folder / "nowhere", store_work.taking(firm.workshop))


# -- learning --


def put_right(firm: Firm, number: int, heard: str, meant: str) -> int:
    draft = firm.draft(f"WL{number} hours 5 customer {heard}", f"memo{number}")
    change = SetValue(pointer="/jobs/0/customer", value=meant)
    return firm.workshop.drafts.edit(draft.id, 1, firm.engineer, change).id


def test_three_times_put_right_is_proposed(firm: Firm) -> None:
    words = firm.workshop.words
    put_right(firm, 1, "quill fen", "Quillfen Aggregates")
    put_right(firm, 2, "Quill Fen.", "Quillfen Aggregates")
    assert words.proposals() == []
    third = put_right(firm, 3, "quill fen", "Quillfen Aggregates")
    (proposal,) = words.proposals()
    assert (proposal.heard, proposal.meant, proposal.field) == (
        "quill fen",
        "Quillfen Aggregates",
        "customer",
    )
    assert proposal.times == 3
    from jobnotes.store import Redo, Undo

    drafts = firm.workshop.drafts
    drafts.edit(third, 2, firm.engineer, Undo())
    assert words.proposals() == [], "what was undone does not count"
    drafts.edit(third, 3, firm.engineer, Redo())
    assert words.proposals() == [proposal]
    with pytest.raises(NotAllowedError):
        words.accept(proposal, firm.engineer)
    learned = words.accept(proposal, firm.office)
    assert learned.accepted and learned.decided_by == "Prudence Able"
    assert words.proposals() == []
    with pytest.raises(JobnotesError, match="not proposed"):
        words.accept(proposal, firm.office)
    words.forget(learned, firm.office)
    assert words.proposals() == [proposal]
    assert not words.decline(proposal, firm.office).accepted
    assert words.proposals() == [] and words.learned(accepted=True) == []


def test_the_same_place_counts_once_and_numbers_never(firm: Firm) -> None:
    draft = firm.draft("WL1 hours 5 customer quill fen")
    drafts = firm.workshop.drafts
    for version in range(1, 9):
        value = "Quillfen Aggregates" if version % 2 else "Somebody"
        drafts.edit(draft.id, version, firm.engineer, SetValue(pointer="/jobs/0/customer", value=value))
    for number in range(2, 6):
        other = firm.draft(f"WL{number} hours 5 customer Oddmarsh", f"memo{number}")
        change = SetValue(pointer="/jobs/0/machine/fleet_number", value="WL999")
        drafts.edit(other.id, 1, firm.engineer, change)
    assert firm.workshop.words.proposals() == []


def learned_word(heard: str, meant: str) -> LearnedWord:
    return LearnedWord(heard, meant, "customer", True, "Prudence Able", store_work.RECORDED_AT)


def transcript(text: str) -> Transcript:
    words = [
        Word(text=word, start=float(n), end=n + 0.5, probability=0.9 - n / 100)
        for n, word in enumerate(text.split())
    ]
    return Transcript(text=text, words=words)


def test_learned_words_are_read_for_what_is_heard() -> None:
    heard = transcript("At the Quill Fen, quarry.\n\nThe WL31 of quill fen's and odd marsh.")
    words = [learned_word("quill fen", "Quillfen"), learned_word("odd marsh", "Oddmarsh Plant Hire")]
    repair = repaired(heard, words)
    assert (
        repair.transcript.text
        == "At the Quillfen, quarry.\n\nThe WL31 of quill fen's and Oddmarsh Plant Hire."
    )
    assert [word.text for word in repair.transcript.words] == repair.transcript.text.split()
    assert repair.places == [
        *((0, 0), (1, 1), (2, 3), (4, 4), (5, 5), (6, 6), (7, 7), (8, 8), (9, 9), (10, 10)),
        *((11, 12), (11, 12), (11, 12)),
    ]
    mended = repair.transcript.words[2]
    assert (mended.start, mended.end, mended.probability) == (2.0, 3.5, 0.87)
    assert repaired(heard, []).transcript is heard
    assert expected_words(words) == ["Quillfen", "Oddmarsh Plant Hire"]


def test_the_evidence_says_what_was_really_heard(firm: Firm) -> None:
    heard = transcript("machine of odd marsh at noon")

    class Reads(store_work.PlainReader):
        def words(self, path: Path, name: str) -> Heard:
            return Heard(name, heard, store_work.RECORDED_AT)

        def understand(self, given: Heard) -> ReadMemo:
            assert given.transcript.text == "machine of Oddmarsh Plant Hire at noon"
            return ReadMemo(
                memo=given.name,
                recorded_at="2026-05-12T10:58:00",
                transcript=given.transcript,
                jobs=[Job(customer="Oddmarsh Plant Hire")],
                evidence={
                    "/jobs/0/customer": Evidence(text="Oddmarsh Plant Hire", first=2, last=4),
                    "/jobs/0": Evidence(text="Plant Hire at noon", first=3, last=6),
                    "/jobs/0/site": Evidence(text="noon", first=6, last=6),
                },
            )

    for number in range(3):
        put_right(firm, number, "odd marsh", "Oddmarsh Plant Hire")
    (proposal,) = firm.workshop.words.proposals()
    firm.workshop.words.accept(proposal, firm.office)
    asked: list[Any] = []

    def make(_register: Any, words: Any) -> Reads:
        asked.append([word.meant for word in words])
        return Reads()

    taking = Taking(firm.workshop, Settings(), make_intake=make)
    memo = taking.work(taking.take(put(firm.folder, "new.wav", "sound")).memo)
    assert asked == [["Oddmarsh Plant Hire"]]
    read = firm.workshop.drafts.get(memo.draft_id or 0, firm.owner).read
    assert read.transcript == heard
    told = {pointer: (e.text, e.first, e.last) for pointer, e in read.evidence.items()}
    assert told == {
        "/jobs/0/customer": ("odd marsh", 2, 3),
        "/jobs/0": ("odd marsh at noon", 2, 5),
        "/jobs/0/site": ("noon", 5, 5),
    }
    assert as_heard(read, heard, repaired(heard, [])) is read


def test_a_new_register_is_read_with(firm: Firm) -> None:
    made: list[int] = []

    def make(register: Any, _words: Any) -> store_work.PlainReader:
        made.append(len(register.machines))
        return store_work.PlainReader()

    taking = Taking(firm.workshop, Settings(), make_intake=make)
    for number in range(2):
        taking.work(taking.take(put(firm.folder, f"a{number}.txt", store_work.memo_text(number))).memo)
    folder = firm.folder / "register"
    folder.mkdir()
    put(folder, "machines.csv", "fleet_number\nWL1\n")
    firm.workshop.registers.load(firm.workshop.registers.compare(folder))
    taking.work(taking.take(put(firm.folder, "b.txt", store_work.memo_text(7))).memo)
    assert made == [0, 1]


def test_opening_needs_a_workshop(tmp_path: Path) -> None:
    with pytest.raises(JobnotesError, match="no workshop"):
        Workshop(tmp_path / "nowhere", create=False)
    assert not (tmp_path / "nowhere").exists()
    file = put(tmp_path, "file", "x")
    with pytest.raises(JobnotesError, match="is a file"):
        Workshop(file)
