#!/usr/bin/env python3
"""Annotated memos: words as spoken, with every value wrapped where it was said.

    annotated.py FOLDER...      hold each memo of a speaker's folder against the rules of training/README.md

As a module it gives `load(path)`: the words, the truth (an object of the jobs schema), and the spans of the
words that bear each value. Only the standard library is used, so that it runs before anything is installed.
"""

from __future__ import annotations

import csv
import re
import sys
import xml.etree.ElementTree as ET
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

STORY = {"complaint", "cause", "out", "work", "todo", "safe", "note"}
PLAIN = {
    "at", "exp", "old", "fleet", "serial", "order", "machine", "size", "hours", "site", "customer", "date",
    "arrived", "left", "labour", "travel", "dist",
}  # fmt: skip
TAGS = STORY | PLAIN | {"memo", "job", "check", "read", "part", "fault", "state", "outcome"}
QUANTITIES = set(
    "pressure voltage current resistance temperature length flow speed torque frequency mass volume "
    "ratio".split()
)
UNITS = set("bar psi kPa MPa V mV A mA ohm kohm degC mm m in thou L/min rpm N*m lbf*ft Hz kg t L %".split())
LAWFUL = {
    "state": ("in_service", "out_of_service"),
    "outcome": ("complete", "temporary", "awaiting_parts", "unresolved"),
}
COLUMNS = {
    "customers": "customer,account_number,payment_days",
    "sites": "site,customer,postcode_area,miles_from_depot",
    "machines": "fleet_number,type,make,model,size,serial_number,customer",
    "parts": "part_number,description,unit,price,van_stock",
}
JOB_ATTRIBUTES = set(
    "n customer site order date type make model size fleet serial hours arrived left labour travel dist "
    "outcome state".split()
)


@dataclass
class Span:
    """One tag: characters `start` to `end` of the words, its name, attributes, and the job it stands in."""

    tag: str
    start: int
    end: int
    attributes: dict[str, str]
    job: str | None


@dataclass
class Annotated:
    """A memo read from its file. `truth` is an object of the jobs schema."""

    name: str
    recorded_at: str
    spoken: str
    spans: list[Span] = field(default_factory=list)
    truth: dict[str, Any] = field(default_factory=dict)
    faults: list[str] = field(default_factory=list)


def amount(text: str) -> dict[str, Any]:
    value, _, unit = text.strip().partition(" ")
    return {"value": float(value), "unit": unit}


def load(path: Path) -> Annotated:
    root = ET.fromstring(path.read_text(encoding="utf-8"))
    memo = Annotated(root.get("name", path.stem), root.get("recorded", ""), "")
    pieces: list[str] = []
    length = 0

    def say(text: str | None) -> None:
        nonlocal length
        if text:
            text = re.sub(r"\s+", " ", text)
            if pieces and pieces[-1].endswith(" ") and text.startswith(" "):
                text = text[1:]
            pieces.append(text)
            length += len(text)

    def walk(node: ET.Element, job: str | None) -> None:
        if node.tag not in TAGS:
            memo.faults.append(f"unknown tag <{node.tag}>")
        if node.tag == "job":
            if job is not None:
                memo.faults.append("a <job> inside a <job>")
            job = node.get("n", "1")
        start = length
        say(node.text)
        for child in node:
            walk(child, job)
            say(child.tail)
        if node.tag != "memo":
            memo.spans.append(Span(node.tag, start, length, dict(node.attrib), job))

    walk(root, None)
    words = "".join(pieces)
    memo.spoken = words
    memo.spans.sort(key=lambda s: (s.start, -s.end))
    memo.truth = truth_of(memo)
    return memo


def truth_of(memo: Annotated) -> dict[str, Any]:
    jobs: dict[str, dict[str, Any]] = {}
    notes = []
    for s in memo.spans:
        a = s.attributes
        if s.tag == "job":
            if unknown := set(a) - JOB_ATTRIBUTES:
                memo.faults.append(f"<job> with unknown attributes {sorted(unknown)}")
            if s.job not in jobs:
                jobs[s.job or "1"] = blank_job(a, memo)
        elif s.tag == "note":
            notes.append(a.get("as", memo.spoken[s.start : s.end]))
        elif a.get("more") == "yes" or s.tag in PLAIN:
            continue
        elif s.job is None:
            memo.faults.append(f"<{s.tag}> outside of any job: {memo.spoken[s.start : s.end][:40]!r}")
        else:
            try:
                put(jobs[s.job], s, memo)
            except (KeyError, ValueError) as error:
                memo.faults.append(f"<{s.tag} {a}>: {error!r}")
    return {"jobs": list(jobs.values()), "notes": notes}


def blank_job(a: dict[str, str], memo: Annotated) -> dict[str, Any]:
    get = a.get

    def number(key: str, kind: type) -> Any:
        return kind(get(key)) if get(key) else None

    try:
        return {
            "date": get("date") or memo.recorded_at[:10],
            "customer": get("customer"),
            "site": get("site"),
            "order_number": get("order"),
            "machine": {
                "type": get("type"),
                "make": get("make"),
                "model": get("model"),
                "size": amount(a["size"]) if get("size") else None,
                "fleet_number": get("fleet"),
                "serial_number": get("serial"),
                "hours": number("hours", float),
            },
            "complaint": None,
            "cause": None,
            "ruled_out": [],
            "checks": [],
            "readings": [],
            "fault_codes": [],
            "parts": [],
            "work": [],
            "times": {
                "arrived": get("arrived"),
                "left": get("left"),
                "labour_min": number("labour", int),
                "travel_min": number("travel", int),
            },
            "distance": amount(a["dist"]) if get("dist") else None,
            "outcome": get("outcome"),
            "machine_state": get("state"),
            "follow_up": [],
            "safety": [],
        }
    except ValueError as error:
        memo.faults.append(f"<job {a}>: {error}")
        return blank_job({"n": a.get("n", "1")}, memo)


def put(job: dict[str, Any], s: Span, memo: Annotated) -> None:
    a = s.attributes
    words = memo.spoken[s.start : s.end]
    lists = {"out": "ruled_out", "work": "work", "todo": "follow_up", "safe": "safety"}
    if s.tag in ("complaint", "cause"):
        if job[s.tag] is None:
            job[s.tag] = a["as"]
    elif s.tag in lists:
        job[lists[s.tag]].append(a["as"])
    elif s.tag == "check":
        if a["r"] not in ("ok", "not_ok", "unclear"):
            raise ValueError(a["r"])
        job["checks"].append({"what": a["what"], "result": a["r"]})
    elif s.tag == "read":
        if a["q"] not in QUANTITIES or a["u"] not in UNITS or a["stage"] not in ("found", "after"):
            raise ValueError("quantity, unit or stage is not of the list")
        expected = float(a["exp"]) if a.get("exp") else None
        job["readings"].append(
            {
                "quantity": a["q"],
                "at": a.get("at"),
                "value": float(a["v"]),
                "unit": a["u"],
                "stage": a["stage"],
                "expected": expected,
            }
        )
    elif s.tag == "part":
        if a["u"] not in ("each", "L", "m", "kg", "set"):
            raise ValueError(a["u"])
        if a["s"] not in ("fitted", "to_order", "ordered", "not_used"):
            raise ValueError(a["s"])
        job["parts"].append(
            {
                "description": a.get("d") or words,
                "part_number": a.get("no"),
                "quantity": float(a["qty"]),
                "unit": a["u"],
                "status": a["s"],
            }
        )
    elif s.tag == "fault":
        job["fault_codes"].append(a["code"])
    elif s.tag in LAWFUL and a["v"] not in LAWFUL[s.tag]:
        raise ValueError(a["v"])


STOP = set(
    "a an the of to and in on at it its was is were be been for with from that this some one by as into up "
    "out had has have".split()
)


def stems(text: str) -> set[str]:
    out = set()
    for w in re.findall(r"[a-z0-9]+", text.lower().replace("'", "")):
        for suffix in ("ings", "ing", "ied", "ies", "ed", "es", "s"):
            if w.endswith(suffix) and len(w) - len(suffix) >= 3:
                w = w[: -len(suffix)] + ("y" if suffix in ("ied", "ies") else "")
                break
        if w not in STOP:
            out.add(w)
    return out


def check_folder(folder: Path) -> int:
    faults = 0

    def fault(*what: object) -> None:
        nonlocal faults
        faults += 1
        print(*what)

    register: dict[str, list[dict[str, str]]] = {}
    for name, columns in COLUMNS.items():
        file = folder / "register" / f"{name}.csv"
        rows = list(csv.DictReader(file.open(newline=""))) if file.exists() else []
        if not rows or list(rows[0]) != columns.split(","):
            fault(file, "is missing, empty or has other columns")
        if any(None in r or None in r.values() for r in rows):
            fault(file, "has a row with too many or too few cells (quote a comma)")
        register[name] = rows
    machines = {r["fleet_number"]: r for r in register["machines"]}
    parts = {r["part_number"]: r for r in register["parts"]}
    customers = {r["customer"] for r in register["customers"]}
    files = sorted(folder.glob("*.xml"))
    jobs = 0
    for file in files:
        try:
            memo = load(file)
        except ET.ParseError as error:
            fault(file.name, "is not well formed:", error)
            continue
        for f in memo.faults:
            fault(file.name, f)
        if memo.name != file.stem:
            fault(file.name, "is called", memo.name)
        if not re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d", memo.recorded_at):
            fault(file.name, "recorded", memo.recorded_at)
        if digits := re.findall(r"\S*\d\S*", memo.spoken):
            fault(file.name, "digits in the words:", digits[:5])
        if not 80 <= len(memo.spoken.split()) <= 420:
            fault(file.name, "has", len(memo.spoken.split()), "words")
        for s in memo.spans:
            if s.end <= s.start:
                fault(file.name, f"empty <{s.tag}>")
            said = memo.spoken[s.start : s.end]
            phrase = s.attributes.get("as") or s.attributes.get("what")
            if (
                phrase
                and s.tag != "note"
                and not stems(phrase) & stems(said + " " + memo.spoken[max(0, s.start - 120) : s.start])
            ):
                fault(file.name, f"<{s.tag}> {phrase!r} shares no word with {said!r}")
        for job in memo.truth["jobs"]:
            jobs += 1
            m = job["machine"]
            row = machines.get(m["fleet_number"] or "")
            if m["fleet_number"] and row is None:
                fault(file.name, "fleet", m["fleet_number"], "is not in the register")
            if row:
                for key in ("type", "make", "model", "serial_number"):
                    if (m[key] or "") != row[key]:
                        fault(
                            file.name,
                            m["fleet_number"],
                            key,
                            repr(m[key]),
                            "but the register says",
                            repr(row[key]),
                        )
                if job["customer"] != row["customer"]:
                    fault(file.name, "customer", job["customer"], "but the register says", row["customer"])
            if job["customer"] and job["customer"] not in customers:
                fault(file.name, "customer", job["customer"], "is not in the register")
            for part in job["parts"]:
                row = parts.get(part["part_number"] or "")
                if part["part_number"] and row is None:
                    fault(file.name, "part", part["part_number"], "is not in the register")
                if row and row["description"] != part["description"]:
                    fault(
                        file.name,
                        part["part_number"],
                        part["description"],
                        "is in the register",
                        row["description"],
                    )
            for clock in (job["times"]["arrived"], job["times"]["left"]):
                if clock and not re.fullmatch(r"([01]\d|2[0-3]):[0-5]\d", clock):
                    fault(file.name, "clock", clock)
    print(folder.name, len(files), "memos,", jobs, "jobs,", faults, "faults")
    return faults


if __name__ == "__main__":
    if len(sys.argv) < 2:
        sys.exit(__doc__)
    sys.exit(bool(sum([check_folder(Path(f)) for f in sys.argv[1:]])))
