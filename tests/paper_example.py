"""An invented job and its reading-back, for the tests of the paper."""

from __future__ import annotations

import io
from typing import Any

from pdfminer.high_level import extract_text

from jobnotes.jobs.model import (
    Amount,
    Check,
    Evidence,
    Job,
    Machine,
    Part,
    Reading,
    ReadMemo,
    Times,
    Transcript,
)
from jobnotes.paper import Firm

FIRM = Firm(
    name="Harrow Lane Plant Repairs",
    address=("Unit 4, Brackenfold Yard", "Brackmere"),
    telephone="01632 960 144",
    email="desk@harrowlane.example",
)


def example() -> ReadMemo:
    """An invented memo with one job that fills every field of the model, three values to be looked at."""
    job = Job(
        date="2026-03-10",
        customer="Ostrey Stone Products",
        site="Penny Moor Quarry",
        order_number="PO 88-2041",
        machine=Machine(
            type="wheeled excavator",
            make="Kelbrack",
            model="W160",
            size=Amount(value=16, unit="t"),
            fleet_number="WX 31",
            serial_number="KBW160-00418",
            hours=6214.5,
        ),
        complaint="fan runs flat out all day and the coolant warning comes and goes",
        cause="coolant sensor wire chafed through where it passes the loom bracket",
        ruled_out=["thermostat", "fan drive solenoid"],
        checks=[
            Check(what="coolant level", result="ok"),
            Check(what="fan drive solenoid", result="ok"),
            Check(what="sensor wiring to the control unit", result="not_ok"),
            Check(what="nearside front hub, oil mist on the rim", result="unclear"),
        ],
        readings=[
            Reading(quantity="voltage", at="sensor supply", value=5.02, unit="V", expected=5.0),
            Reading(quantity="resistance", at="coolant sensor, cold", value=2480, unit="ohm", expected=2500),
            Reading(quantity="pressure", at="fan drive, flat out", value=205, unit="bar", expected=180),
            Reading(quantity="pressure", at="fan drive, flat out", value=181, unit="bar", stage="after"),
            Reading(quantity="temperature", value=88, unit="degC", stage="after"),
        ],
        fault_codes=["SPN 110 FMI 3", "E-407"],
        parts=[
            Part(description="coolant temperature sensor", part_number="KB-77-1043"),
            Part(description="coolant, ready mixed", quantity=4.5, unit="L"),
            Part(description="thermostat 82 degrees", part_number="KB-77-2210", status="not_used"),
            Part(description="engine loom bracket", part_number="KB-31-0096", status="to_order"),
            Part(description="fan belt", part_number="KB-77-3301", status="ordered"),
        ],
        work=[
            "cut the chafed length out, joined and sleeved the wire",
            "fitted new coolant temperature sensor",
            "tied the loom clear of the bracket for now",
            "topped up the coolant and bled it",
        ],
        times=Times(arrived="08:05", left="11:20", labour_min=195, travel_min=70),
        distance=Amount(value=52, unit="mi"),
        outcome="temporary",
        machine_state="in_service",
        follow_up=[
            "fit the new loom bracket when it comes",
            "look at the nearside hub again at the next visit",
        ],
        safety=["left-hand step is bent, told the foreman"],
    )
    return ReadMemo(
        memo="tuesday-quarry",
        recorded_at="2026-03-10T11:32:00+00:00",
        transcript=Transcript(text="", seconds=84.0),
        jobs=[job],
        evidence={
            "/jobs/0/order_number": Evidence(
                text="order P O eighty eight twenty forty one",
                start=6.4,
                confidence=0.55,
                check=True,
                why="letters and figures close together",
            ),
            "/jobs/0/readings/1/value": Evidence(
                text="two thousand four eighty",
                start=37.1,
                confidence=0.5,
                check=True,
                why="two readings of the number fit",
            ),
            "/jobs/0/parts/1/quantity": Evidence(
                text="four and a half",
                start=52.0,
                confidence=0.6,
                check=True,
                why="spoken twice with different figures",
            ),
            "/jobs/0/machine/hours": Evidence(
                text="six two one four point five", start=12.0, confidence=0.97
            ),
        },
    )


def empty() -> ReadMemo:
    """A memo whose one job has nothing in it."""
    return ReadMemo(
        memo="nothing", recorded_at="2026-03-10T11:32:00", transcript=Transcript(text=""), jobs=[Job()]
    )


def with_job(**fields: Any) -> ReadMemo:
    """A memo with one job that has only these fields."""
    memo = empty()
    return memo.model_copy(update={"jobs": [Job(**fields)]})


def text_of(pdf: bytes) -> str:
    """All words of a PDF as pdfminer reads them, white space single."""
    return " ".join(extract_text(io.BytesIO(pdf)).split())
