"""A workshop for the tests of the desk: its people, drafts whose marks are known, a server of its own."""

from __future__ import annotations

import re
import signal
import subprocess
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

import httpx
from argon2 import PasswordHasher
from places import SAMPLES

from jobnotes.desk.state import Standing
from jobnotes.intake import Heard
from jobnotes.jobs import Evidence, Job, Part, Reading, ReadMemo, Transcript, Word
from jobnotes.jobs.model import Check
from jobnotes.paper import Firm
from jobnotes.store import Draft, Person, Workshop, people
from jobnotes.workshop import Settings, Taking, save_settings

PASSWORD = "seven brass washers"
RECORDED_AT = datetime(2026, 5, 12, 10, 58)
FIRM = Firm("Hallbeck Plant Repairs", ("Unit 4, Tannery Yard", "Brackmere"), "01632 960117", "")
QUICK = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
SAID = (
    "Quillfen Quarry for Quillfen Aggregates order number QR4712 the wheel loader WL31 with 6218 hours "
    "the brake light kept coming on the rear accumulator had 6 bar and it should be 50 I fitted a new one "
    "HR-3062 after that it had 50 bar I got there at ten past eight and left at a quarter to eleven 38 miles"
)
MARKED = (
    "/jobs/0/machine/hours",
    "/jobs/0/machine/fleet_number",
    "/jobs/0/readings/0/value",
    "/jobs/0/times/arrived",
    "/jobs/0/order_number",
)


def quick_passwords() -> None:
    """Lets passwords be hashed quickly in this process."""
    people._hasher = lambda: QUICK  # type: ignore[assignment]


class ReaderOf:
    """Stands for hearing and reading: every memo says the same, and so many values are marked."""

    def __init__(self, marks: int) -> None:
        self.marks = marks

    def words(self, path: Path, name: str) -> Heard:
        """The words, without times: the memo is typed."""
        words = [Word(text=text) for text in SAID.split()]
        return Heard(name, Transcript(text=SAID, words=words), RECORDED_AT)

    def understand(self, heard: Heard) -> ReadMemo:
        """One job."""
        job = Job(
            date="2026-05-12",
            customer="Quillfen Aggregates",
            site="Quillfen Quarry",
            order_number="QR4712",
            complaint="brake light kept coming on",
            cause="rear accumulator has lost its gas",
            checks=[Check(what="charging valve", result="ok")],
            readings=[
                Reading(quantity="pressure", at="rear accumulator", value=6, unit="bar", expected=50),
                Reading(
                    quantity="pressure",
                    at="rear accumulator",
                    value=50,
                    unit="bar",
                    stage="after",
                    expected=50,
                ),
            ],
            parts=[Part(description="brake accumulator 0.75 litre", part_number="HR-3062")],
            work=["fitted a new accumulator"],
            outcome="complete",
            machine_state="in_service",
            safety=["bucket on the ground"],
        )
        machine = job.machine
        machine.type, machine.fleet_number, machine.hours = "wheel loader", "WL31", 6218.0
        job.times.arrived, job.times.left = "08:10", "10:45"
        read = ReadMemo(
            memo=heard.name,
            recorded_at=heard.recorded_at.isoformat(),
            transcript=heard.transcript,
            jobs=[job],
        )
        said = SAID.split()
        for pointer, text in (
            ("/jobs/0/machine/hours", "6218"),
            ("/jobs/0/machine/fleet_number", "WL31"),
            ("/jobs/0/readings/0/value", "6"),
            ("/jobs/0/times/arrived", "eight"),
            ("/jobs/0/order_number", "QR4712"),
            ("/jobs/0/customer", "Quillfen"),
            ("/jobs/0/cause", "accumulator"),
        ):
            place = said.index(text)
            check = pointer in MARKED[: self.marks]
            read.evidence[pointer] = Evidence(
                text=text,
                first=place,
                last=place,
                confidence=0.5,
                check=check,
                why="misheard?" if check else None,
            )
        return read


class Still:
    """Stands for the thread that hears: nothing is under way."""

    def __init__(self) -> None:
        self.asked = 0

    def more(self) -> None:
        """Counts."""
        self.asked += 1

    def standings(self) -> tuple[int, list[Standing]]:
        """None."""
        return self.asked, []

    def stop(self) -> None:
        """Nothing to stop."""


@dataclass
class Shop:
    """A workshop with its people."""

    workshop: Workshop
    folder: Path
    people: dict[str, Person] = field(default_factory=dict)

    def draft(self, marks: int, whose: str = "tam", name: str = "memo") -> Draft:
        """A draft with so many marks."""
        folder = self.folder.parent / "given"
        folder.mkdir(exist_ok=True)
        file = folder / f"{name}-{time.monotonic_ns()}.txt"
        file.write_text(f"{name} {time.monotonic_ns()}", encoding="utf-8")
        taking = Taking(self.workshop, Settings(), make_intake=lambda _register, _words: ReaderOf(marks))
        memo = taking.work(taking.take(file, engineer=self.people[whose]).memo)
        assert memo.draft_id is not None, memo.failure
        return self.workshop.drafts.get(memo.draft_id, self.people[whose])


def shop_in(folder: Path, *, quick: bool = True) -> Shop:
    """A workshop with an owner, two engineers and an office, and the sample register."""
    if quick:
        quick_passwords()
    workshop = Workshop(folder)
    save_settings(workshop.folder, Settings(FIRM))
    shop = Shop(workshop, folder)
    for name, shown, role in (
        ("ilse", "Ilse Brandreth", "owner"),
        ("tam", "Tamsin Quill", "engineer"),
        ("joss", "Joss Wherrie", "engineer"),
        ("pru", "Prudence Able", "office"),
    ):
        shop.people[name] = workshop.people.add(name, shown, role, PASSWORD)  # type: ignore[arg-type]
    workshop.registers.load(workshop.registers.compare(SAMPLES / "register"))
    return shop


class Server:
    """`jobnotes desk` in a process of its own."""

    def __init__(self, folder: Path, *more: str) -> None:
        self._folder, self._more = folder, more
        self._log = folder.parent / "desk.log"
        self.port = 0
        self.start()

    def start(self) -> None:
        """Starts, on the port of before if there was one, and waits until it answers."""
        command = [sys.executable, "-u", "-c", "from jobnotes.cli import main; main()", "desk"]
        command += ["--workshop", str(self._folder), "--port", str(self.port), *self._more]
        with self._log.open("ab") as log:
            self._process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=log, text=True)
        assert self._process.stdout is not None
        self.said = self._process.stdout.readline()
        found = re.search(r"https?://[\d.]+:(\d+)/", self.said)
        assert found, self.said + self.log()
        self.port = int(found[1])
        self.address = found[0].rstrip("/")

    def kill(self) -> None:
        """Ends it without warning."""
        self._process.send_signal(signal.SIGKILL)
        self._process.wait(10)

    def end(self) -> int:
        """Ends it as Ctrl-C does, and gives its exit status."""
        self._process.send_signal(signal.SIGINT)
        return self._process.wait(20)

    def stop(self) -> None:
        """Ends it, whatever it does."""
        if self._process.poll() is None:
            self._process.terminate()
            try:
                self._process.wait(10)
            except subprocess.TimeoutExpired:
                self.kill()
        assert self._process.stdout is not None
        self._process.stdout.close()

    def log(self) -> str:
        """What it wrote to standard error."""
        return self._log.read_text(encoding="utf-8", errors="replace")


class Browser:
    """A browser without pictures: a session, and the token of its pages."""

    def __init__(self, client: httpx.Client) -> None:
        self.client = client
        self.token = ""

    def log_in(self, name: str, password: str = PASSWORD) -> httpx.Response:
        """Logs in, and takes the token from the page."""
        door = self.client.get("/log-in")
        answer = self.client.post(
            "/log-in", data={"name": name, "password": password, "token": token_in(door.text), "then": "/me"}
        )
        if answer.status_code == 303:
            self.token = token_in(self.client.get("/me").text)
        return answer

    def get(self, path: str, **more: Any) -> httpx.Response:
        """Gets a page."""
        return self.client.get(path, **more)

    def post(self, path: str, **fields: Any) -> httpx.Response:
        """Sends a form with the token."""
        return self.client.post(path, data={"token": self.token, **fields})

    def ask(self, path: str, body: Any) -> httpx.Response:
        """Sends JSON as a page's script does."""
        return self.client.post(path, json=body, headers={"x-token": self.token})


def token_in(page: str) -> str:
    """The token in a page's form."""
    found = re.search(r'name="token" value="([0-9a-f]{64})"', page)
    return found[1] if found else ""


def marked(draft: Draft) -> Sequence[str]:
    """The pointers of a draft's marks."""
    return [pointer for pointer, entry in draft.read.evidence.items() if entry.check]
