"""A draft sheet of a recording that can't be trusted, and of words that were set right."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from paper_example import example

from jobnotes.jobs.model import Evidence, Word
from jobnotes.paper import Signature, Signatures, sheet_html
from jobnotes.paper.marks import set_right

POOR = "The recording is poor: the voice stands only 2 dB above the noise, and words may be misheard."
HARD = "The words are hard to make out throughout: hold them against the recording."
OTHER = "From 12 to 15 s somebody is heard, but not all words could be made out."


@pytest.mark.parametrize("remark", [POOR, HARD])
def test_a_draft_of_a_poor_recording_says_so_at_the_top(remark: str) -> None:
    memo = example()
    memo.transcript.remarks = [remark, OTHER]
    html = sheet_html(memo, 1)
    assert html.count(remark) == 1
    assert html.index("DRAFT</strong>") < html.index(remark) < html.index('<dl class="facts">')
    assert html.index('<div class="signatures">') > html.index(OTHER) > html.index("To be looked at</h2>")


def test_other_remarks_and_signed_sheets_have_nothing_at_the_top() -> None:
    memo = example()
    memo.transcript.remarks = [OTHER]
    assert "CHECK EVERYTHING" not in sheet_html(memo, 1)
    memo.transcript.remarks = [POOR]
    signed = Signatures(engineer=Signature("Tamsin Quill", datetime(2026, 3, 10, 17, 5, tzinfo=UTC)))
    assert "CHECK EVERYTHING" not in sheet_html(memo, 1, signatures=signed)


HEARD = [
    Word(text="at"),
    Word(text="80,", heard="air tea"),
    Word(text="bar"),
    Word(text="MK88", heard="MK88"),
]


@pytest.mark.parametrize(
    ("first", "last", "told"),
    [
        (0, 2, ["“air tea” was heard, and set right to “80”"]),
        (1, 1, ["“air tea” was heard, and set right to “80”"]),
        (2, 3, []),
        (7, 9, []),
        (None, None, []),
    ],
)
def test_both_spellings_of_what_stands_behind_a_value(
    first: int | None, last: int | None, told: list[str]
) -> None:
    assert set_right(HEARD, Evidence(text="", first=first, last=last)) == told


def test_the_list_of_what_to_look_at_shows_both_spellings() -> None:
    memo = example()
    memo.transcript.words = HEARD
    memo.evidence = {
        "/jobs/0/readings/2/value": Evidence(text="at 80, bar", first=0, last=2, check=True, why="not sure."),
        "/jobs/0/cause": Evidence(text="bar", first=2, last=2, check=True, why="not sure."),
    }
    html = sheet_html(memo, 1)
    assert html.count("<td>Not sure; “air tea” was heard, and set right to “80”</td>") == 1
    assert html.count("<td>Not sure.</td>") == 1
