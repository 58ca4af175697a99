"""Times and miles on the road: both ways together, however the two legs are told; and what is no second leg.

The marks of the clause reader are given by hand here, so that each rule is held alone.
"""

from __future__ import annotations

import pytest
from hand_marked import context, mark, span_of, whole

from jobnotes.jobs import Job
from jobnotes.language import Reader
from jobnotes.language.road import both_ways
from jobnotes.language.times import fill_distance, fill_travel

BOTH_WAYS = [  # (text, the first leg, its value in minutes or miles, both ways)
    # one way, said so
    ("It was forty minutes each way.", "forty minutes", 40, 80),
    ("Eleven mile each road.", "eleven mile", 11, 22),
    ("Half an hour a leg.", "half an hour", 30, 60),
    ("Twelve miles per leg, so that was that.", "twelve miles", 12, 24),
    ("Each way forty minutes.", "forty minutes", 40, 80),
    # the way home told apart
    ("It was eighteen there and nineteen home.", "eighteen", 18, 37),
    ("Fifty out, fifty back.", "fifty", 50, 100),
    ("Forty minutes there and fifty minutes home.", "forty minutes", 40, 90),
    ("Half an hour over, forty minutes back.", "half an hour", 30, 70),
    # as long again
    ("It is twenty-one miles there, same home.", "twenty - one miles", 21, 42),
    ("Twenty-two there so double that.", "twenty - two", 22, 44),
    ("Thirteen miles out and the same again.", "thirteen miles", 13, 26),
    # the sum is told after the leg
    ("Seven mile away, so fourteen.", "seven mile", 7, 14),
    ("Twenty minutes up, so forty minutes.", "twenty minutes", 20, 40),
    ("Twenty-two there, that's forty-four.", "twenty - two", 22, 44),
]


@pytest.mark.parametrize(("text", "leg", "value", "wanted"), BOTH_WAYS)
def test_both_legs_are_one_figure(reader: Reader, text: str, leg: str, value: float, wanted: float) -> None:
    c = context(reader, text)
    found, last = both_ways(c, value, *span_of(c, leg))
    assert found == wanted
    assert span_of(c, leg)[1] <= last < len(c.tokens)


AS_SAID = [  # (text, the figure, its value): nothing is added and nothing doubled
    ("Fifty-two mile round trip.", "fifty - two mile", 52),
    ("It was fifty-two miles both ways.", "fifty - two miles", 52),
    ("Forty minutes there and back.", "forty minutes", 40),
    ("Forty minutes there and back, all in.", "forty minutes", 40),
    ("Forty minutes both ways, so each way was not too bad.", "forty minutes", 40),
    ("Forty minutes.", "forty minutes", 40),
    ("Thirty miles there.", "thirty miles", 30),
    # what follows is no way home
    ("Thirty miles there, then four valves.", "thirty miles", 30),
    ("Thirty miles there and two hours labour.", "thirty miles", 30),
    ("Thirty miles there, nineteen litres of oil.", "thirty miles", 30),
    ("Thirty miles there and a new seal.", "thirty miles", 30),
    ("Nine miles out, ten pounds of grease were left at the back.", "nine miles", 9),
    ("The ram was six minutes going up and ten going down.", "six minutes", 6),
    # nothing says that the figure is a leg
    ("Thirty miles on the way, eighteen home.", "thirty miles", 30),
    ("Thirty miles by the lane out, eighteen home.", "thirty miles", 30),
    ("The ram drifts each way and it is thirty miles.", "thirty miles", 30),
    ("Thirty miles, the van is new, out there eighteen home.", "thirty miles", 30),
    # another sentence, or too far off
    ("Thirty miles there. Fifty back at the yard.", "thirty miles", 30),
    ("Thirty miles there. Same home.", "thirty miles", 30),
    ("He told me it was each way the same for him. It was thirty miles.", "thirty miles", 30),
]


@pytest.mark.parametrize(("text", "said", "value"), AS_SAID)
def test_a_figure_with_no_second_leg_stays(reader: Reader, text: str, said: str, value: float) -> None:
    c = context(reader, text)
    span = span_of(c, said)
    assert both_ways(c, value, *span) == (value, span[1])


DISTANCES: list[tuple[str, list[tuple[str, str]], float | None, str, str]] = [
    # (text, marked words and label, miles or kilometres, the words that bear it)
    ("Eighteen miles there, nineteen home.", [("eighteen miles", "dist")], 37, "mi", "there, nineteen"),
    ("Eighteen there, nineteen home.", [("eighteen there , nineteen", "dist")], 37, "mi", "there, nineteen"),
    ("Twenty-two there so double that.", [("twenty - two", "dist")], 44, "mi", "double that"),
    ("Eighteen k each way.", [("eighteen", "dist")], 36, "km", "Eighteen k"),
    ("Eighteen kilometres each way.", [("eighteen kilometres", "dist")], 36, "km", "Eighteen kilometres"),
    ("Eighteen, all in.", [("eighteen", "dist")], 18, "mi", "Eighteen"),
    (
        "Twelve, no, fourteen there and back.",
        [("twelve , no , fourteen", "dist"), ("twelve", "old")],
        14,
        "mi",
        "fourteen",
    ),
    # passed over by the reader: the words of the whole trip must bear it
    ("Forty miles round trip.", [], 40, "mi", "Forty miles"),
    ("Forty miles there and thirty miles home.", [], 70, "mi", "thirty"),
    ("Forty miles each way.", [], 80, "mi", "Forty miles"),
    ("Forty miles.", [], None, "", ""),
    ("Forty miles there.", [], None, "", ""),
]


@pytest.mark.parametrize(("text", "marks", "value", "unit", "words"), DISTANCES)
def test_the_miles_of_a_job(
    reader: Reader, text: str, marks: list[tuple[str, str]], value: float | None, unit: str, words: str
) -> None:
    c = context(reader, text)
    for said, label in marks:
        mark(c, said, "value", label)
    job = Job()
    fill_distance(c, whole(c), job, "/jobs/0")
    found = (job.distance.value, job.distance.unit) if job.distance else (None, "")
    assert found == (value, unit)
    entry = c.book.entries.get("/jobs/0/distance")
    assert (entry is not None) is (value is not None)
    assert entry is None or words in entry.text


@pytest.mark.parametrize(
    ("text", "said", "minutes", "words"),
    [
        ("Travel was forty minutes there and fifty minutes home.", "forty minutes", 90, "and fifty minutes"),
        ("Travel was half an hour a leg.", "half an hour", 60, "half an hour"),
        ("Travel was forty minutes there and back.", "forty minutes", 40, "forty minutes"),
        ("Travel was two forty.", "two forty", None, ""),  # bare hours and minutes are labour's alone
    ],
)
def test_the_time_on_the_road(reader: Reader, text: str, said: str, minutes: int | None, words: str) -> None:
    c = context(reader, text)
    mark(c, said, "value", "travel")
    job = Job()
    fill_travel(c, whole(c), job, "/jobs/0")
    assert job.times.travel_min == minutes
    assert minutes is None or words in c.book.entries["/jobs/0/times/travel_min"].text
