"""Doubts: silent on plausible jobs, and one for each thing that is hardly so."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from jobnotes.jobs import Amount, Job, Machine, Part, Reading, Times
from jobnotes.jobs import plausible as room
from jobnotes.jobs.plausible import Doubt, doubts, limits
from jobnotes.jobs.units import QUANTITIES

NOON = datetime(2026, 4, 17, 12, 30)
DAY = "2026-04-17"


def pointers(found: list[Doubt]) -> list[str]:
    return [doubt.pointer for doubt in found]


def timed(arrived: str | None = None, left: str | None = None, *, date: str | None = DAY, **more: int) -> Job:
    return Job(date=date, times=Times(arrived=arrived, left=left, **more))


def measured(
    quantity: str,
    value: float,
    unit: str,
    *,
    at: str | None = None,
    expected: float | None = None,
    machine: str | None = "excavator",
) -> Job:
    reading = Reading.model_validate(
        {"quantity": quantity, "at": at, "value": value, "unit": unit, "expected": expected}
    )
    return Job(machine=Machine(type=machine), readings=[reading])


def whole_job() -> Job:
    """A plausible job with every field that is looked at."""
    return Job(
        date=DAY,
        machine=Machine(type="grader", hours=4410.5),
        readings=[
            Reading(quantity="pressure", at="blade lift", value=165, unit="bar", expected=190),
            Reading(quantity="voltage", at="battery", value=24.1, unit="V", expected=28),
            Reading(quantity="length", at="blade sag in ten minutes", value=45, unit="mm", expected=20),
        ],
        parts=[Part(description="hydraulic oil", quantity=38, unit="L"), Part(description="lock valve")],
        times=Times(arrived="08:05", left="12:10", labour_min=240, travel_min=80),
        distance=Amount(value=62, unit="mi"),
    )


def test_nothing_is_said_about_a_plausible_job() -> None:
    assert doubts(whole_job(), NOON, last_hours=4102, miles_from_depot=30) == []


def test_nothing_is_said_about_an_empty_job() -> None:
    assert doubts(Job(), NOON, last_hours=100, miles_from_depot=10) == []


@pytest.mark.parametrize(
    ("date", "doubted"),
    [
        ("2026-04-18", True),
        ("2027-04-17", True),
        (DAY, False),
        ("2026-04-16", False),
        ("2026-03-17", False),  # 31 days
        ("2026-03-16", True),  # 32 days
        ("2025-04-17", True),
    ],
)
def test_date(date: str, doubted: bool) -> None:
    assert pointers(doubts(Job(date=date), NOON)) == ["/date"] * doubted


@pytest.mark.parametrize(
    ("hours", "last", "doubted"),
    [
        (0, None, False),
        (60000, None, False),
        (60001, None, True),
        (4410, 4410, False),
        (4409.9, 4410, True),
        (4410 + 8766, 4410, False),
        (4410 + 8767, 4410, True),
    ],
)
def test_hour_meter(hours: float, last: float | None, doubted: bool) -> None:
    found = doubts(Job(machine=Machine(hours=hours)), NOON, last_hours=last)
    assert pointers(found) == ["/machine/hours"] * doubted


def test_hour_meter_below_nought_is_doubted_where_the_model_did_not_stop_it() -> None:
    with pytest.raises(ValidationError):
        Machine(hours=-1)
    job = Job.model_construct(**{**dict(Job()), "machine": Machine.model_construct(hours=-1.0)})
    assert pointers(doubts(job, NOON)) == ["/machine/hours"]


def test_left_before_arrived() -> None:
    (doubt,) = doubts(timed("11:10", "08:20"), NOON)
    assert doubt.pointer == "/times/left"
    assert "08:20 is before arrived at 11:10" in doubt.why
    assert "21 h 10 min, more than 12 h" in doubt.why


def test_two_equal_clock_times() -> None:
    assert doubts(timed("09:15", "09:15"), NOON) == [Doubt("/times/left", "Arrived and left are both 09:15.")]


@pytest.mark.parametrize(
    ("recorded", "date", "arrived", "left"),
    [
        # Told the next morning, put down to the day that it began.
        ("2026-04-18T09:30", DAY, "22:00", "02:30"),
        # Told in the small hours, dated by the recording.
        ("2026-04-17T03:05", DAY, "22:00", "02:50"),
        ("2026-04-17T07:10", DAY, "19:15", "07:00"),
        ("2026-04-17T03:05", None, "22:00", "02:50"),
        # Over before midnight, told just after it.
        ("2026-04-17T00:20", DAY, "20:30", "23:50"),
        # Only the arrival was told.
        ("2026-04-17T02:00", DAY, "21:40", None),
        # Begun after midnight.
        ("2026-04-17T05:00", DAY, "00:40", "04:45"),
    ],
)
def test_a_night_is_no_doubt(recorded: str, date: str | None, arrived: str, left: str | None) -> None:
    assert doubts(timed(arrived, left, date=date), datetime.fromisoformat(recorded)) == []


@pytest.mark.parametrize(
    ("recorded", "arrived", "left", "doubted"),
    [
        # In the afternoon nobody has left a night's work that began today.
        ("2026-04-17T17:00", "16:40", "04:10", ["/times/left"]),
        # Before breakfast, of an afternoon: it was yesterday's, or misheard.
        ("2026-04-17T07:35", "13:20", "15:50", ["/times/arrived", "/times/left"]),
        # A night of fourteen hours.
        ("2026-04-17T08:30", "18:00", "08:00", ["/times/left", "/times/arrived"]),
    ],
)
def test_a_night_out_of_reason_is_doubted(recorded: str, arrived: str, left: str, doubted: list[str]) -> None:
    assert pointers(doubts(timed(arrived, left), datetime.fromisoformat(recorded))) == doubted


def test_times_after_the_recording() -> None:
    assert pointers(doubts(timed("12:40", None), NOON)) == []  # 10 min grace
    assert pointers(doubts(timed("12:41", None), NOON)) == ["/times/arrived"]
    assert pointers(doubts(timed("08:00", "12:41"), NOON)) == ["/times/left"]
    assert pointers(doubts(timed("13:00", "15:00"), NOON)) == ["/times/arrived", "/times/left"]
    assert pointers(doubts(timed("13:00", "15:00", date="2026-04-16"), NOON)) == []
    # Where the date itself lies ahead, that is what is wrong.
    assert pointers(doubts(timed("13:00", "15:00", date="2026-04-18"), NOON)) == ["/date"]


def test_the_recording_counts_by_its_own_clock() -> None:
    summer = NOON.replace(tzinfo=timezone(timedelta(hours=1)))
    assert doubts(timed("08:00", "12:35"), summer) == []
    assert pointers(doubts(timed("08:00", "12:45"), summer)) == ["/times/left"]


@pytest.mark.parametrize(
    ("times", "doubted"),
    [
        ({"labour_min": 24 * 60}, []),
        ({"labour_min": 24 * 60 + 1}, ["/times/labour_min"]),
        ({"arrived": "08:00", "left": "10:00", "labour_min": 135}, []),
        ({"arrived": "08:00", "left": "10:00", "labour_min": 136}, ["/times/labour_min"]),
        ({"arrived": "08:00", "left": "10:00", "labour_min": 20}, []),
        ({"travel_min": 720}, []),
        ({"travel_min": 721}, ["/times/travel_min"]),
        ({"labour_min": 0, "travel_min": 0}, []),
        ({"labour_min": 10**15, "travel_min": 10**15}, ["/times/labour_min", "/times/travel_min"]),
    ],
)
def test_durations(times: dict[str, Any], doubted: list[str]) -> None:
    assert pointers(doubts(Job(date=DAY, times=Times(**times)), NOON)) == doubted


def test_labour_over_midnight() -> None:
    morning = datetime(2026, 4, 18, 9, 30)
    assert doubts(timed("22:00", "02:30", labour_min=270), morning) == []
    (doubt,) = doubts(timed("22:00", "02:30", labour_min=400), morning)
    assert doubt.why.startswith("6 h 40 min of labour is longer than the 4 h 30 min from 22:00 to 02:30")


@pytest.mark.parametrize(
    ("value", "unit", "one_way", "doubted"),
    [
        (46, "mi", 23, []),
        (56, "mi", 23, []),
        (56.5, "mi", 23, ["/distance/value"]),
        (23, "mi", 23, []),
        (22, "mi", 23, ["/distance/value"]),
        (74, "km", 23, []),  # 46 mi
        (91, "km", 23, ["/distance/value"]),  # 56.5 mi
        (36, "km", 23, ["/distance/value"]),  # 22.4 mi
        (900, "mi", None, []),
        (3, "mi", 0, []),
        (-3, "mi", None, ["/distance/value"]),
        (46, "bar", 23, ["/distance/unit"]),
        (46, "leagues", 23, ["/distance/unit"]),
    ],
)
def test_distance(value: float, unit: str, one_way: float | None, doubted: list[str]) -> None:
    job = Job(distance=Amount(value=value, unit=unit))
    assert pointers(doubts(job, NOON, miles_from_depot=one_way)) == doubted


@pytest.mark.parametrize(
    ("quantity", "value", "unit", "at"),
    [
        ("pressure", 1000, "bar", "jack"),
        ("pressure", 14500, "psi", "jack"),
        ("pressure", 1800, "bar", "fuel rail"),
        ("pressure", -0.3, "bar", "suction line"),
        ("pressure", -0.3, "bar", None),
        ("pressure", 0, "kPa", "boost"),
        ("temperature", -60, "degC", None),
        ("temperature", 1200, "degC", "exhaust"),
        ("ratio", 200, "%", None),
        ("resistance", 999, "Mohm", "winding to earth"),
        ("resistance", 0, "ohm", "earth strap"),
        ("current", -180, "A", "battery"),
        ("length", -0.2, "mm", "spool offset"),
        ("speed", 180000, "rpm", "turbocharger"),
        ("mass", 10200, "kg", "load cell"),
        ("torque", 900, "lbf*ft", "slew ring bolts"),
    ],
)
def test_what_a_reading_may_be(quantity: str, value: float, unit: str, at: str | None) -> None:
    assert doubts(measured(quantity, value, unit, at=at), NOON) == []


@pytest.mark.parametrize(
    ("quantity", "value", "unit", "at"),
    [
        ("pressure", 1001, "bar", "jack"),
        ("pressure", 14510, "psi", "jack"),
        ("pressure", 101, "MPa", None),
        ("pressure", 18000, "bar", "fuel rail"),
        ("pressure", 1800, "bar", "trailer brake"),  # no rail
        ("pressure", -1.2, "bar", "suction line"),
        ("pressure", -20, "bar", "boom raise"),
        ("pressure", -0.3, "bar", "boom raise"),
        ("temperature", -61, "degC", None),
        ("temperature", 1201, "degC", "exhaust"),
        ("ratio", 201, "%", None),
        ("resistance", -1, "ohm", None),
        ("current", 12600, "A", None),
        ("flow", -4, "L/min", "case drain"),
        ("speed", 18000, "rpm", "engine"),
        ("torque", -20, "N*m", None),
        ("frequency", 500500, "Hz", None),
        ("mass", 10200, "t", None),
        ("volume", -1, "L", None),
        ("length", 900, "m", None),
    ],
)
def test_what_a_reading_is_hardly(quantity: str, value: float, unit: str, at: str | None) -> None:
    (doubt,) = doubts(measured(quantity, value, unit, at=at), NOON)
    assert doubt.pointer == "/readings/0/value"
    assert "is hardly right: " in doubt.why


@pytest.mark.parametrize(
    ("value", "unit", "machine", "at", "expected"),
    [
        (12.6, "V", "excavator", "battery", None),
        (-12.6, "V", "excavator", "battery", None),
        (28.4, "V", "roller", "alternator", None),
        (4.98, "V", "telehandler", "sensor supply", 5),
        (35, "mV", "telehandler", "earth strap", 200),
        (8.9, "V", "site dumper", "battery while cranking", None),
        (400, "V", "generator", "between phases", 400),
        (480, "V", "generator", "output", None),
        (38, "V", "generator", "output", 230),
        (50.4, "V", "forklift", "traction battery", None),
        (71, "V", "welder", "open circuit", None),
        (232, "V", "excavator", "mains to the block heater", None),
        (65, "V", "tractor", "injector", None),
        (38, "V", "excavator", "cab cooler", 230),
        (230, "V", None, None, None),
        (1000, "V", "generator", "insulation test", None),
    ],
)
def test_voltages_that_something_shows(
    value: float, unit: str, machine: str | None, at: str | None, expected: float | None
) -> None:
    found = doubts(measured("voltage", value, unit, at=at, expected=expected, machine=machine), NOON)
    assert [doubt for doubt in found if doubt.pointer == "/readings/0/value"] == []


@pytest.mark.parametrize(
    ("value", "unit", "machine", "at"),
    [
        (126, "V", "excavator", "battery"),
        (241, "V", "telehandler", "starter motor"),
        (41000, "mV", "mini excavator", "glow plug"),
        (2300, "V", "generator", "output"),
        (1260, "V", None, None),
        (-126, "V", "tractor", None),
    ],
)
def test_voltages_that_nothing_shows(value: float, unit: str, machine: str | None, at: str | None) -> None:
    (doubt,) = doubts(measured("voltage", value, unit, at=at, machine=machine), NOON)
    assert doubt.pointer == "/readings/0/value"


def test_the_specified_value_is_looked_at_too() -> None:
    found = doubts(measured("pressure", 265, "bar", expected=34300), NOON)
    assert "/readings/0/expected" in pointers(found)
    found = doubts(measured("voltage", 24.1, "V", expected=280), NOON)
    assert "/readings/0/expected" in pointers(found)


@pytest.mark.parametrize(
    ("value", "expected"),
    [(343, 343), (210, 320), (38, 12), (0.7, 1.7), (4, 0), (0, 4), (14, 2), (6, 70), (-3, 30), (111, 111)],
)
def test_out_of_specification_is_a_fault_and_no_doubt(value: float, expected: float) -> None:
    assert doubts(measured("length", value, "mm", expected=expected), NOON) == []


@pytest.mark.parametrize(
    ("value", "expected", "why"),
    [
        (
            34.3,
            343,
            "34.3 mm is about 1/10 of the specified 343 mm, as if a point was added or a nought lost.",
        ),
        (
            3.4,
            343,
            "3.4 mm is about 1/100 of the specified 343 mm, as if a point was added or a nought lost.",
        ),
        (25, 2.5, "25 mm is about 10 times the specified 2.5 mm, as if a point was lost or a nought added."),
        (
            255,
            2.5,
            "255 mm is about 100 times the specified 2.5 mm, as if a point was lost or a nought added.",
        ),
        (156, 165, "156 mm has the digits of the specified 165 mm, as if two of them changed places."),
        (21.4, 24.1, "21.4 mm has the digits of the specified 24.1 mm, as if two of them changed places."),
    ],
)
def test_slips_are_named(value: float, expected: float, why: str) -> None:
    assert doubts(measured("length", value, "mm", expected=expected), NOON) == [
        Doubt("/readings/0/value", why)
    ]


@pytest.mark.parametrize(("value", "expected"), [(341, 134), (123, 321), (21.4, 241), (22, 33)])
def test_other_digits_are_no_slip(value: float, expected: float) -> None:
    assert doubts(measured("length", value, "mm", expected=expected), NOON) == []


def test_a_unit_of_something_else() -> None:
    (doubt,) = doubts(measured("pressure", 12, "mm"), NOON)
    assert doubt == Doubt("/readings/0/unit", "mm is not a unit of pressure.")
    assert doubts(measured("pressure", 12, "cubits"), NOON) == []  # nothing is known of it


@pytest.mark.parametrize(
    ("quantity", "unit", "doubted"),
    [(200, "each", False), (201, "each", True), (500, "L", False), (501, "L", True), (90, "m", False)],
)
def test_parts(quantity: float, unit: str, doubted: bool) -> None:
    parts = [
        {"description": "washer"},
        {"description": "other", "quantity": quantity, "unit": unit},
    ]
    found = doubts(Job.model_validate({"parts": parts}), NOON)
    assert pointers(found) == ["/parts/1/quantity"] * doubted


CLOCKS = st.none() | st.times().map(lambda moment: f"{moment:%H:%M}")
NUMBERS = st.floats(allow_nan=False, allow_infinity=False)


@given(
    arrived=CLOCKS,
    left=CLOCKS,
    date=st.none() | st.dates().map(str),
    recorded=st.datetimes(min_value=datetime(1900, 1, 1)),
    labour=st.none() | st.integers(min_value=0),
    quantity=st.sampled_from([name for name in QUANTITIES if name != "time"]),
    unit=st.sampled_from([symbol for symbols in QUANTITIES.values() for symbol in symbols] + ["cubit", ""]),
    value=NUMBERS,
    expected=st.none() | NUMBERS,
    one_way=st.none() | NUMBERS,
)
def test_no_valid_job_breaks_it_and_every_pointer_leads_somewhere(
    arrived: str | None,
    left: str | None,
    date: str | None,
    recorded: datetime,
    labour: int | None,
    quantity: str,
    unit: str,
    value: float,
    expected: float | None,
    one_way: float | None,
) -> None:
    job = measured(quantity, value, unit, expected=expected)
    job.date = date
    job.times = Times(arrived=arrived, left=left, labour_min=labour, travel_min=labour)
    job.distance = Amount(value=value, unit=unit)
    for doubt in doubts(job, recorded, last_hours=value, miles_from_depot=one_way):
        place: Any = job.model_dump()
        for step in doubt.pointer.removeprefix("/").split("/"):
            place = place[int(step)] if isinstance(place, list) else place[step]
        assert place is not None
        assert doubt.why.endswith(".") and "\n" not in doubt.why


def test_every_quantity_and_part_unit_has_its_limits() -> None:
    ranges = {each["quantity"]: each for each in limits()["reading"]}
    quantities = set(Reading.model_json_schema()["properties"]["quantity"]["enum"])
    assert {*ranges, "voltage"} == quantities
    for quantity, each in ranges.items():
        assert each["unit"] in QUANTITIES[quantity]
        assert each["least"] < each["most"]
    assert set(limits()["part"]) == set(Part.model_json_schema()["properties"]["unit"]["enum"])


def test_every_number_of_the_limits_says_where_it_comes_from() -> None:
    text = Path(room.__file__).with_suffix(".toml").read_text(encoding="utf-8")
    assert tomllib.loads(text) == limits()
    section, unsourced = "", []
    for line in text.splitlines():
        section = line if line.startswith("[") else section
        value, _, comment = line.partition(" = ")[2].partition("#")
        is_number = value.strip().lstrip("-").replace(".", "", 1).isdigit()
        # Those of [part] have one source above them all.
        if is_number and section != "[part]" and not comment.strip():
            unsourced.append(line)
    assert unsourced == []


def test_readings_in_the_usual_units_do_not_wait_for_pint() -> None:
    program = """
import sys
from datetime import datetime
from jobnotes.jobs import Amount, Job, Reading
from jobnotes.jobs.plausible import doubts
usual = [("pressure", "bar"), ("voltage", "V"), ("length", "mm"), ("resistance", "ohm"), ("ratio", "%")]
readings = [Reading(quantity=quantity, value=20, unit=unit) for quantity, unit in usual]
job = Job(readings=readings, distance=Amount(value=40, unit="mi"))
assert doubts(job, datetime.now(), miles_from_depot=20) == []
assert "pint" not in sys.modules
"""
    subprocess.run([sys.executable, "-c", program], check=True, timeout=60)
