"""Work in a workshop, done in processes of its own that are killed. A plain reader stands for the real one:
what is tested is the store, not the hearing."""

from __future__ import annotations

import json
import os
import re
import threading
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from argon2 import PasswordHasher
from sqlalchemy import event
from sqlalchemy.engine import Engine

from jobnotes.intake import Heard
from jobnotes.jobs import Evidence, Job, ReadMemo, Transcript, Word
from jobnotes.store import Draft, Person, SetValue, Signed, Workshop, canonical, people
from jobnotes.workshop import Settings, Taking

LONDON = ZoneInfo("Europe/London")
PASSWORD = "seven brass washers"
RECORDED_AT = datetime(2026, 5, 12, 10, 58)
REAL = people._hasher
# Weak on purpose: a test makes hundreds. One test holds the real one to its strength.
QUICK = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)


def quick_passwords() -> None:
    """Lets passwords be hashed quickly in this process."""
    people._hasher = lambda: QUICK  # type: ignore[assignment]


class PlainReader:
    """Reads lines such as "WL31 hours 4210 customer Quillfen Aggregates": a job each, hours marked."""

    def words(self, path: Path, name: str) -> Heard:
        text = path.read_text(encoding="utf-8")
        return Heard(name, Transcript(text=text, words=[Word(text=w) for w in text.split()]), RECORDED_AT)

    def understand(self, heard: Heard) -> ReadMemo:
        read = ReadMemo(
            memo=heard.name, recorded_at=heard.recorded_at.isoformat(), transcript=heard.transcript
        )
        for line in heard.transcript.text.splitlines():
            found = re.fullmatch(r"(\w+) hours (\d+) customer (.+)", line.strip())
            if not found:
                continue
            job, base = Job(date="2026-05-12", customer=found[3]), f"/jobs/{len(read.jobs)}"
            job.machine.fleet_number, job.machine.hours = found[1], float(found[2])
            read.jobs.append(job)
            for pointer, text, check in (
                ("/machine/fleet_number", found[1], False),
                ("/machine/hours", found[2], True),
                ("/customer", found[3], False),
            ):
                read.evidence[base + pointer] = Evidence(
                    text=text, confidence=0.5, check=check, why="misheard?" if check else None
                )
        return read


def taking(workshop: Workshop) -> Taking:
    """Takes memos in with the plain reader."""
    return Taking(workshop, Settings(), make_intake=lambda _register, _words: PlainReader())


def plain_pdf(document: dict[str, Any]) -> bytes:
    """Stands for a PDF."""
    return b"%PDF-1.7\n" + canonical(document)


def workshop_with_engineer(folder: Path) -> tuple[Workshop, Person]:
    """A new workshop with one engineer, tam."""
    quick_passwords()
    workshop = Workshop(folder)
    return workshop, workshop.people.add("tam", "Tamsin Quill", "engineer", PASSWORD)


def memo_text(number: int, jobs: int = 1) -> str:
    """The words of a memo, other for each number."""
    return "\n".join(f"WL{number}{job} hours {4000 + number} customer Oddmarsh Hire" for job in range(jobs))


def draft_of(workshop: Workshop, engineer: Person, folder: Path, text: str, name: str = "memo") -> Draft:
    """A draft of a typed memo."""
    file = folder / f"{name}.txt"
    file.write_text(text, encoding="utf-8")
    taken = workshop.memos.take(file, engineer=engineer)
    memo = taking(workshop).work(taken.memo)
    assert memo.draft_id is not None, memo.failure
    return workshop.drafts.get(memo.draft_id, engineer)


def signed(workshop: Workshop, engineer: Person, draft: Draft, **more: Any) -> list[Any]:
    """Looks at every mark of the draft and signs it."""
    from jobnotes.store import Confirm

    for pointer in [pointer for pointer, entry in draft.read.evidence.items() if entry.check]:
        draft = workshop.drafts.edit(draft.id, draft.version, engineer, Confirm(pointer=pointer))
    more = {"make_pdf": plain_pdf, "zone": LONDON, **more}
    return workshop.sheets.sign(
        draft.id, draft.version, engineer, PASSWORD, Signed(engineer.display_name), **more
    )


EDITS = 3


def whole_life(folder: Path, memos: Path, number: int, log: Path | None) -> None:
    """One memo from file to signed sheet, or as far as it is not there yet. What is done is noted in `log`
    once the store has said so."""
    quick_passwords()

    def said(what: str) -> None:
        if log is None:
            return
        with log.open("a", encoding="utf-8") as stream:
            stream.write(json.dumps([number, what]) + "\n")

    with Workshop(folder) as workshop:
        engineer = workshop.people.named("tam")
        take = taking(workshop)
        take.carry_on()
        taken = take.take(memos / f"memo{number}.txt", engineer=engineer)
        said("taken")
        memo = take.work(taken.memo)
        assert memo.draft_id is not None, memo
        said("read")
        draft = workshop.drafts.get(memo.draft_id, engineer)
        while draft.state == "open" and draft.version <= EDITS:
            job = (draft.version - 1) % len(draft.read.jobs)
            change = SetValue(pointer=f"/jobs/{job}/machine/hours", value=draft.version)
            draft = workshop.drafts.edit(draft.id, draft.version, engineer, change)
            said(f"edited {draft.version}")
        if draft.state == "open":
            workshop.sheets.sign(
                draft.id,
                draft.version,
                engineer,
                PASSWORD,
                Signed("Tamsin Quill"),
                make_pdf=plain_pdf,
                zone=LONDON,
            )
        said("signed")


def whole_life_until(folder: Path, memos: Path, number: int, steps: int, log: Path) -> None:
    """The same, but the process ends without warning at the step of that number."""
    end_at_step(steps)
    whole_life(folder, memos, number, log)


def end_at_step(steps: int) -> None:
    """Lets the process end without warning at the step of that number from here on: before or after a file
    is made, flushed or renamed, or the database begins or commits."""
    left = [steps]

    def step() -> None:
        left[0] -= 1
        if left[0] == 0:
            os._exit(137)

    def around(function: Any) -> Any:
        def with_steps(*given: Any, **named: Any) -> Any:
            step()
            result = function(*given, **named)
            step()
            return result

        return with_steps

    quick_passwords()
    os.fsync = around(os.fsync)
    os.utime = around(os.utime)
    Path.replace = around(Path.replace)  # type: ignore[method-assign]
    event.listen(Engine, "begin", lambda _connection: step())
    event.listen(Engine, "commit", lambda _connection: step())

    def after_statement(_c: object, _cursor: object, statement: str, *_more: object) -> None:
        if not statement.startswith("SELECT"):
            step()

    event.listen(Engine, "after_cursor_execute", after_statement)


def take_same(folder: Path, file: Path, times: int) -> None:
    """Takes one file in again and again."""
    with Workshop(folder) as workshop:
        for _ in range(times):
            taking(workshop).take(file)
        taking(workshop).carry_on()


def migrate_and_die(folder: Path) -> None:
    """Opens a new workshop, and ends without warning when the last table has just been made."""

    def die(_c: object, _cursor: object, statement: str, *_more: object) -> None:
        if "CREATE VIRTUAL TABLE" in statement:
            os._exit(137)

    event.listen(Engine, "after_cursor_execute", die)
    Workshop(folder)


def terminal() -> Person:
    """Whoever sits at the workshop's machine."""
    from jobnotes.store import TERMINAL

    return TERMINAL


def at_once(work: Callable[[], None], count: int = 3) -> None:
    """Does it in so many threads at once, and waits for all."""
    threads = [threading.Thread(target=work) for _ in range(count)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
