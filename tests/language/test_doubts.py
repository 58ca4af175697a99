"""What a person is told to look at: times never told, what was said once for several jobs, figures left over.

The marks of the clause reader are given by hand here, so that each rule is held alone.
"""

from __future__ import annotations

import pytest
from hand_marked import context, mark, span_of, whole
from memo_words import RECORDED_AT

from jobnotes.jobs import Amount, Job
from jobnotes.language import Reader, from_text
from jobnotes.language.context import Context
from jobnotes.language.doubts import (
    durations_unread,
    left_over,
    machine_unfound,
    nobody_named,
    shared_between,
    times_untold,
)

# -- times that were never told ---

# what was told of the visit's times, and the pointers under /times that are then marked
UNTOLD: list[tuple[dict[str, object], set[str]]] = [
    ({}, {""}),
    ({"travel_min": 30}, {""}),
    ({"arrived": "08:10"}, {"/left"}),
    ({"left": "10:05"}, {"/arrived"}),
    ({"arrived": "08:10", "labour_min": 90}, {"/left"}),
    ({"left": "10:05", "labour_min": 90}, {"/arrived"}),
    ({"arrived": "08:10", "left": "10:05"}, set()),
    ({"labour_min": 90}, set()),
]


@pytest.mark.parametrize(("told", "marked"), UNTOLD)
def test_a_job_that_cannot_be_invoiced_is_marked(
    reader: Reader, told: dict[str, object], marked: set[str]
) -> None:
    c = context(reader, "The roller would not start. Ten past eight, five past ten.")
    for field in told:
        said = "five past ten" if field == "left" else "ten past eight"
        c.book.put(f"/jobs/0/times/{field}", [span_of(c, said)], 0.95)
    times_untold(c, whole(c), Job.model_validate({"times": told}), "/jobs/0")
    added = {p: e for p, e in c.book.entries.items() if p.removeprefix("/jobs/0/times/") not in told}
    assert set(added) == {f"/jobs/0/times{field}" for field in marked}
    assert all(e.check and e.why and e.confidence == 0.3 for e in added.values())
    assert not any(e.check for p, e in c.book.entries.items() if p not in added)


@pytest.mark.parametrize(
    ("told", "missing", "why"), [("arrived", "left", "arriving"), ("left", "arrived", "leaving")]
)
def test_the_mark_shows_the_end_that_was_told(reader: Reader, told: str, missing: str, why: str) -> None:
    c = context(reader, "The roller would not start. Ten past eight.")
    c.book.put(f"/jobs/0/times/{told}", [span_of(c, "ten past eight")], 0.95)
    times_untold(c, whole(c), Job.model_validate({"times": {told: "08:10"}}), "/jobs/0")
    entry = c.book.entries[f"/jobs/0/times/{missing}"]
    assert entry.text == "Ten past eight"
    assert why in (entry.why or "")


@pytest.mark.parametrize("field", ["arrived", "left", "labour_min"])
def test_a_time_that_was_spoken_of_keeps_its_own_mark(reader: Reader, field: str) -> None:
    c = context(reader, "The roller would not start. Labour as before.")
    c.book.put(f"/jobs/0/times/{field}", [span_of(c, "labour")], 0.3, True, "spoken of")
    times_untold(c, whole(c), Job(), "/jobs/0")
    assert c.book.entries[f"/jobs/0/times/{field}"].why == "spoken of"
    assert "/jobs/0/times" not in c.book.entries


def test_a_memo_without_any_time_is_marked_when_read(reader: Reader) -> None:
    text = "The telehandler, T H two four eight. The boom would not lift."
    entry = reader.read(from_text(text), "memo", RECORDED_AT).evidence["/jobs/0/times"]
    assert entry.check
    assert "no time" in (entry.why or "")
    assert entry.text.endswith("not lift")


# -- said once for several jobs ---

TWO_JOBS = (
    "The wheel loader would not stop. The roller would not start. "
    "Order number Q R four seven one two. Thirty-eight miles. Half an hour travelling."
)
SHARED = [
    ("order_number", "q r four seven one two", {"order_number": "QR4712"}),
    ("distance", "thirty - eight miles", {"distance": Amount(value=38, unit="mi")}),
    ("times/travel_min", "half an hour", {"times": {"travel_min": 30}}),
]


def told_in(
    c: Context, field: str, words: str, values: dict[str, object], numbers: tuple[int, ...], jobs: int = 2
) -> list[Job]:
    """Jobs of which those in `numbers` have the value, with evidence that it was well heard."""
    for number in numbers:
        c.book.put(f"/jobs/{number}/{field}", [span_of(c, words)], 0.95)
    return [Job.model_validate(values if n in numbers else {}) for n in range(jobs)]


@pytest.mark.parametrize("teller", [0, 1])
@pytest.mark.parametrize(("field", "words", "values"), SHARED)
def test_what_one_job_alone_has_is_asked_for_the_others(
    reader: Reader, field: str, words: str, values: dict[str, object], teller: int
) -> None:
    c = context(reader, TWO_JOBS)
    shared_between(c, told_in(c, field, words, values, (teller,), 3))
    teller_entry = c.book.entries[f"/jobs/{teller}/{field}"]
    assert set(c.book.entries) == {f"/jobs/{n}/{field}" for n in range(3)}
    for number in {0, 1, 2} - {teller}:
        entry = c.book.entries[f"/jobs/{number}/{field}"]
        assert entry.check
        assert entry.confidence == 0.3
        assert "several jobs" in (entry.why or "")
        assert entry.text == teller_entry.text
    # an order number is most likely right where it was said; miles may be those of the whole round
    assert teller_entry.check is (field != "order_number")


@pytest.mark.parametrize(("field", "words", "values"), SHARED)
def test_what_each_job_has_is_not_asked(
    reader: Reader, field: str, words: str, values: dict[str, object]
) -> None:
    c = context(reader, TWO_JOBS)
    shared_between(c, told_in(c, field, words, values, (0, 1)))
    assert not any(e.check for e in c.book.entries.values())


@pytest.mark.parametrize(("field", "words", "values"), SHARED)
def test_a_lone_job_is_not_asked(reader: Reader, field: str, words: str, values: dict[str, object]) -> None:
    c = context(reader, TWO_JOBS)
    shared_between(c, told_in(c, field, words, values, (0,), 1))
    assert list(c.book.entries) == [f"/jobs/0/{field}"]
    assert not c.book.entries[f"/jobs/0/{field}"].check


def test_a_mark_already_there_stands(reader: Reader) -> None:
    c = context(reader, TWO_JOBS)
    jobs = told_in(c, "distance", "thirty - eight miles", {"distance": Amount(value=38, unit="mi")}, (0,))
    c.book.put("/jobs/1/distance", [span_of(c, "miles")], 0.3, True, "spoken of")
    shared_between(c, jobs)
    assert c.book.entries["/jobs/1/distance"].why == "spoken of"


def test_an_order_number_of_one_of_two_customers_is_asked_for_the_other(reader: Reader) -> None:
    text = (
        "First job, Quillfen Quarry. The wheel loader, fleet number W L three one. The brakes were fading. "
        "I cleaned the brake valve. One hour labour. Second job was Saltfellow Marsh Farm, order number "
        "Q R four seven one two. The telehandler, T H two four eight. The boom would not extend. I freed the "
        "spool. Two hours labour."
    )
    read = reader.read(from_text(text), "memo", RECORDED_AT)
    assert [job.order_number for job in read.jobs] == [None, "QR4712"]
    assert read.evidence["/jobs/0/order_number"].check


# -- figures left over ---

LEFT_OVER = [
    ("It has a twenty-four volt system.", []),
    ("I tried the twelve volt starter.", []),
    ("It has a one hundred and ten volt supply.", []),
    ("It has a twenty-three volt system.", ["twenty - three volt"]),
    ("It showed twenty-four volts.", ["twenty - four volts"]),
    ("It showed twenty-four bar there.", ["twenty - four bar"]),
    ("It took ten litres, and two metres of it.", []),
]


@pytest.mark.parametrize(("text", "wanted"), LEFT_OVER)
def test_a_nominal_voltage_is_no_figure_left_over(reader: Reader, text: str, wanted: list[str]) -> None:
    c = context(reader, text)
    assert [" ".join(c.tokens[a : b + 1]) for a, b in left_over(c, whole(c))] == wanted


def test_a_figure_in_a_mark_is_not_left_over(reader: Reader) -> None:
    c = context(reader, "It showed twenty-three volts.")
    assert left_over(c, whole(c))
    mark(c, "twenty - three volts", "value", "found")
    assert left_over(c, whole(c)) == []


# -- what a heard job lacks ---

LACKS_A_MACHINE = [
    ("Telehandler, lima par three one seven. The boom would not lift.", True),
    ("The generator at the wharf keeps tripping.", True),
    ("The telehandler, there was no number on it.", False),
    ("The telehandler, and I never got the number.", False),
    ("Somebody has painted over the fleet number of this one.", False),
]


@pytest.mark.parametrize(("text", "asked"), LACKS_A_MACHINE)
def test_a_heard_machine_that_the_register_has_not_is_asked_for(
    reader: Reader, text: str, asked: bool
) -> None:
    c = context(reader, text, by_ear=True)
    machine_unfound(c, whole(c), Job(), "/jobs/0")
    marked = {p for p, e in c.book.entries.items() if e.check}
    both = {"/jobs/0/machine/fleet_number", "/jobs/0/machine/serial_number"}
    assert marked == (both if asked else set())


@pytest.mark.parametrize("check", [True, False])
def test_the_serial_number_is_asked_with_a_doubtful_fleet_number(reader: Reader, check: bool) -> None:
    c = context(reader, "The roller, H X nine nine. It would not start.", by_ear=True)
    c.book.put(
        "/jobs/0/machine/fleet_number", [span_of(c, "h x nine nine")], 0.5, check, "not in the register"
    )
    job = Job.model_validate({"machine": {"fleet_number": "HX99"}})
    machine_unfound(c, whole(c), job, "/jobs/0")
    assert ("/jobs/0/machine/serial_number" in c.book.entries) is check


@pytest.mark.parametrize("customer", [None, "Quillfen Aggregates"])
def test_a_job_without_a_customer_is_marked(reader: Reader, customer: str | None) -> None:
    c = context(reader, "The roller would not start.")
    nobody_named(c, whole(c), Job(customer=customer), "/jobs/0")
    assert ("/jobs/0/customer" in c.book.entries) is (customer is None)


# the memo, what was read of its times, and the field that is then asked for
DURATIONS = [
    ("Away at half past one, five hours lever.", {"left": "13:30"}, "labour_min"),
    (
        "Away at half past one, five hours on it, an hour back.",
        {"left": "13:30", "labour_min": 300},
        "travel_min",
    ),
    ("Away at half past one. It ran for half an hour.", {"left": "13:30"}, None),
    ("Away at half past one, after five minutes of it.", {"left": "13:30"}, None),
    ("Away at half past one, five hours.", {"left": "13:30", "labour_min": 300, "travel_min": 60}, None),
]


@pytest.mark.parametrize(("text", "times", "asked"), DURATIONS)
def test_a_duration_beside_the_times_of_the_visit_is_asked_for(
    reader: Reader, text: str, times: dict[str, object], asked: str | None
) -> None:
    c = context(reader, text, by_ear=True)
    c.book.put("/jobs/0/times/left", [span_of(c, "half past one")], 0.95)
    if "labour_min" in times:
        c.book.put("/jobs/0/times/labour_min", [span_of(c, "five hours")], 0.95)
    durations_unread(c, whole(c), Job.model_validate({"times": times}), "/jobs/0")
    marked = {p for p, e in c.book.entries.items() if e.check}
    assert marked == ({f"/jobs/0/times/{asked}"} if asked else set())
