"""What is told in one job's stretch and belongs to another's: late figures, and stretches that point back."""

from __future__ import annotations

import pytest
from hand_marked import context, halves, mark
from memo_words import RECORDED_AT

from jobnotes.language import Reader, from_text
from jobnotes.language.decode import Marked
from jobnotes.language.findings import Findings, Piece
from jobnotes.language.reader import move_late_facts
from jobnotes.language.segments import pointed_at, segments

LOADER = "The wheel loader would not stop."
LIFT = "The telehandler would not lift."
# (memo, the words where its second job begins, the figure's words, its label, the job that it is of)
LATE = [
    (f"{LOADER} {LIFT} Put thirty miles on the wheel loader.", "thirty miles", "dist", 0),
    (f"{LIFT} {LOADER} Put thirty miles on the telehandler.", "thirty miles", "dist", 0),
    (f"{LOADER} {LIFT} On the wheel loader there were thirty miles.", "thirty miles", "dist", 0),
    (f"{LOADER} {LIFT} Two hours on the first one.", "two hours", "labour", 0),
    (f"{LOADER} {LIFT} Nine thousand hours on the wheel loader.", "nine thousand hours", "hours", 0),
    (f"{LOADER} Put thirty miles on the telehandler. {LIFT}", "thirty miles", "dist", 1),
    (f"{LOADER} Two hours on the second job. {LIFT}", "two hours", "labour", 1),
]


@pytest.mark.parametrize(("text", "figure", "label", "owner"), LATE)
def test_a_figure_goes_to_the_machine_it_names(
    reader: Reader, text: str, figure: str, label: str, owner: int
) -> None:
    c = context(reader, text)
    jobs = halves(c, "the telehandler would" if text.startswith(LOADER) else "the wheel loader would")
    late = mark(c, figure, "value", label)
    assert jobs[1 - owner].has(late)
    move_late_facts(c, jobs)
    assert jobs[owner].has(late)
    assert not jobs[1 - owner].has(late)


STAYS = [
    (f"{LOADER} {LIFT} Thirty miles.", "thirty miles", "dist"),
    (f"{LOADER} {LIFT} Put thirty miles on the telehandler.", "thirty miles", "dist"),
    (f"{LOADER} {LIFT} Put thirty miles on the roller.", "thirty miles", "dist"),
    (f"{LOADER} {LIFT} Thirty bar, as on the wheel loader.", "thirty bar", "found"),
    (f"{LOADER} {LIFT} Thirty miles at first light.", "thirty miles", "dist"),
]


@pytest.mark.parametrize(("text", "figure", "label"), STAYS)
def test_other_figures_stay_where_they_are_told(reader: Reader, text: str, figure: str, label: str) -> None:
    c = context(reader, text)
    jobs = halves(c, "the telehandler would")
    late = mark(c, figure, "value", label)
    move_late_facts(c, jobs)
    assert [job.has(late) for job in jobs] == [False, True]


def test_miles_told_at_the_end_stand_in_the_job_they_name(reader: Reader) -> None:
    text = (
        "First job, Saltfellow Marsh Farm. The telehandler, T H two four eight. The boom would not extend. "
        "I fitted a new extend relief valve. I got there at ten past eight and left at ten o'clock. "
        "Second job, Quillfen Quarry. The wheel loader, fleet number W L three one. The brakes were fading. "
        "I fitted a new brake charging valve. I got there at half past eleven and left at one o'clock. "
        "Put thirty-eight miles on the telehandler."
    )
    jobs = reader.read(from_text(text), "memo", RECORDED_AT).jobs
    assert [job.machine.fleet_number for job in jobs] == ["TH248", "WL31"]
    assert [job.distance.value if job.distance else None for job in jobs] == [38, None]


# -- stretches that point back ---


def pieces(text: str) -> Findings:
    """Findings of the words alone."""
    return Findings(pieces=[Piece(word, i, i) for i, word in enumerate(text.split())])


POINTED = [
    ("on the first one i forgot to say", 3, 0),
    ("on the second one i forgot to say", 3, 1),
    ("on the third one i forgot to say", 3, 2),
    ("on the second one i forgot to say", 4, 1),
    ("on the last one i forgot to say", 3, 2),
    ("on the last day i forgot to say", 3, 1),  # names no job: the one before the last
    ("back to that roller", 3, 1),
    ("back to that roller", 2, 0),
    ("on the fourth one i forgot to say", 3, 1),  # there is no fourth
    ("back to that roller " + "and so on " * 5 + "the first one", 3, 1),  # too late to be meant so
]


@pytest.mark.parametrize(("text", "jobs", "wanted"), POINTED)
def test_a_stretch_points_back_by_its_ordinal(text: str, jobs: int, wanted: int) -> None:
    found = pieces(text)
    assert pointed_at(found, (0, len(found.pieces) - 1), jobs) == wanted


@pytest.mark.parametrize(("ordinal", "owner"), [("first", 0), ("second", 1), ("third", 2)])
def test_what_was_forgotten_goes_to_the_job_pointed_at(ordinal: str, owner: int) -> None:
    said = ["loader brakes fading mended valve today"] * 3 + [f"on the {ordinal} one i forgot the nuts"]
    found = pieces(" ".join(said))
    for n in range(3):
        found.marks += [
            Marked(6 * n, 6 * n + 5, "job", "new", 0.9),
            Marked(6 * n, 6 * n, "name", "machine", 0.9),
            Marked(6 * n + 1, 6 * n + 2, "complaint", "complaint", 0.9),
            Marked(6 * n + 3, 6 * n + 4, "work", "work", 0.9),
        ]
    last = len(found.pieces) - 1
    found.marks.append(Marked(18, last, "job", "back", 0.9))
    jobs = segments(found)
    assert len(jobs) == 3
    assert [job.holds(last) for job in jobs] == [n == owner for n in range(3)]
