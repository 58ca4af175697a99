"""Where one job ends and the next begins, from marks given by hand and from whole memos."""

from __future__ import annotations

import pytest
from memo_words import RECORDED_AT

from jobnotes.language import Reader, from_text
from jobnotes.language.codes import Code
from jobnotes.language.decode import Marked
from jobnotes.language.findings import Findings, Piece, PlacedCode
from jobnotes.language.segments import Segment, segments


def memo(length: int, *marks: tuple[int, int, str, str], codes: dict[int, str] | None = None) -> Findings:
    """`length` pieces of one token each, marks that are all but certain, fleet numbers at given places."""
    found = Findings(pieces=[Piece("word", n, n) for n in range(length)])
    found.marks = [Marked(first, last, group, label, 0.95) for first, last, group, label in marks]
    found.codes = [PlacedCode(Code(n, n, text), "fleet", 0) for n, text in (codes or {}).items()]
    return found


def stretches(found: Findings) -> list[list[tuple[int, int]]]:
    return [s.stretches for s in segments(found)]


def told(first: int) -> tuple[tuple[int, int, str, str], ...]:
    """A machine, a complaint and work at and after `first`: enough to be a job."""
    return (
        (first, first + 2, "name", "machine"),
        (first + 4, first + 8, "complaint", "complaint"),
        (first + 10, first + 14, "work", "work"),
    )


def test_no_words_no_job() -> None:
    assert segments(Findings()) == []


def test_one_job_without_any_beginning_marked() -> None:
    assert stretches(memo(20)) == [[(0, 19)]]


def test_what_goes_before_the_first_job_belongs_to_it() -> None:
    assert stretches(memo(40, (8, 39, "job", "new"), *told(10))) == [[(0, 39)]]


def test_two_jobs() -> None:
    found = memo(80, (0, 39, "job", "new"), *told(2), (40, 79, "job", "new"), *told(42))
    assert stretches(found) == [[(0, 39)], [(40, 79)]]


def test_a_stretch_too_slight_is_no_job() -> None:
    found = memo(60, (0, 9, "job", "new"), (10, 59, "job", "new"), *told(12))
    assert stretches(found) == [[(0, 59)]]


def test_the_machine_of_an_earlier_job_is_that_job_again() -> None:
    found = memo(
        120,
        (0, 39, "job", "new"), *told(2), (6, 6, "name", "fleet"),
        (40, 79, "job", "new"), *told(42), (46, 46, "name", "fleet"),
        (80, 119, "job", "new"), *told(82), (86, 86, "name", "fleet"),
        codes={6: "AB12", 46: "CD34", 86: "AB12"},
    )  # fmt: skip
    assert stretches(found) == [[(0, 39), (80, 119)], [(40, 79)]]


def test_a_word_back_goes_to_the_earlier_job() -> None:
    found = memo(
        100, (0, 39, "job", "new"), *told(2), (40, 79, "job", "new"), *told(42), (80, 99, "job", "back")
    )
    assert stretches(found) == [[(0, 39), (80, 99)], [(40, 79)]]


def test_a_mark_told_in_another_stretch() -> None:
    segment, mark = Segment([(0, 9)]), Marked(20, 21, "value", "dist", 0.9)
    assert not segment.has(mark)
    segment.gained.add(mark)
    assert segment.has(mark)
    own = Marked(3, 4, "value", "dist", 0.9)
    assert segment.has(own)
    segment.lost.add(own)
    assert not segment.has(own)
    assert segment.pieces() == list(range(10))


LOADER = (
    "The wheel loader, W L three one, at Quillfen Quarry. It would not lift. The relief valve was "
    "stuck, so I fitted a "
    "new one, part number H R five one six one. Two hours' labour."
)
LIFT = (
    "the scissor lift, fleet number S L one one seven, at Oddmarsh Main Yard. It would not drive. "
    "The joystick was broken, "
    "so I fitted a new joystick, E L six seven oh two. Forty minutes' labour."
)

MEMOS = [
    (LOADER, ["WL31"]),
    (f"Two jobs today. First one. {LOADER}\n\nSecond one, {LIFT}", ["WL31", "SL117"]),
    (f"First, {LIFT} Then on to the next. {LOADER}", ["SL117", "WL31"]),
    # one machine, spoken of at length, with another beside it that nobody touched
    (f"{LOADER} The excavator next to it was working all the time.", ["WL31"]),
    (f"{LOADER} Oh, and on that loader, its hour meter says six thousand and twenty.", ["WL31"]),
]


@pytest.mark.parametrize(("text", "fleet"), MEMOS)
def test_jobs_of_a_memo(reader: Reader, text: str, fleet: list[str]) -> None:
    read = reader.read(from_text(text), "memo", RECORDED_AT)
    assert [job.machine.fleet_number for job in read.jobs] == fleet
