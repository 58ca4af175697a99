"""The signed sheet: what it says, what it carries, and what it refuses."""

from __future__ import annotations

import copy
import hashlib
import io
import json
import math
import os
import re
import subprocess
import sys
from collections.abc import Iterable
from datetime import datetime
from pathlib import Path
from typing import Any

import pikepdf
import pytest
import rfc8785
from paper_example import FIRM, example, text_of
from pdfminer.high_level import extract_pages, extract_text
from pdfminer.layout import LTCurve, LTFigure, LTPage
from signed_example import signed_document, wave

from jobnotes.errors import JobnotesError
from jobnotes.paper import (
    Signature,
    Signatures,
    Withdrawal,
    attached_document,
    canonical_bytes,
    remove_old_sheets,
    sheet_html,
    signed_sheet_pdf,
    tidy_strokes,
)

PRINT = "9e3f7a10" * 8
WITHDRAWAL = Withdrawal(
    "The order number belongs to another job.",
    "Ines Harbottle",
    datetime.fromisoformat("2026-07-16T09:12:00+01:00"),
)


def printed(withdrawn: Withdrawal | None = None, **changes: Any) -> bytes:
    return signed_sheet_pdf(signed_document(**changes), firm=FIRM, fingerprint=PRINT, withdrawn=withdrawn)


def normal() -> dict[str, Any]:
    """The job of a sheet that fits one page also as a draft."""
    job = example().jobs[0]
    job.fault_codes = []
    return {"job": job.model_dump(mode="json"), "evidence": {}}


# What it says


def test_sheet_tells_number_revision_names_times_and_both_sums() -> None:
    document = signed_document()
    text = text_of(printed())
    for words in (
        "Sheet 27 revision 2",
        "Replaces revision 1 of this sheet",
        "Memo tuesday-quarry, job 1",
        "Recorded 10 March 2026, 11:32",
        "SIGNED 14 July 2026, 16:05 (UTC+01:00), by Tamsin Quill",
        "Tamsin Quill Signed 14 July 2026, 16:05",
        "Orla Fennimore Signed 14 July 2026, 16:05",
        "Seen and taken over for the customer",
        "Ostrey Stone Products",
        "WX 31",
    ):
        assert words in text, words
    data = hashlib.sha256(rfc8785.dumps(document)).hexdigest()
    packed = text.replace(" ", "")
    assert data in packed and PRINT in packed
    assert "DRAFT" not in text and "WITHDRAWN" not in text and "to be looked at" not in text


def test_sums_stand_at_the_foot_of_every_page() -> None:
    readings = [
        {**reading, "at": f"port {n}"} for n in range(80) for reading in normal()["job"]["readings"][:1]
    ]
    many = printed(job={**normal()["job"], "readings": readings}, evidence={})
    pages = extract_text(io.BytesIO(many)).split("\f")[:-1]
    assert len(pages) >= 3
    for number, page in enumerate(pages, 1):
        assert PRINT in re.sub(r"\s", "", page)
        assert f"Page {number} of {len(pages)}" in page and "Sheet 27, revision 2" in page


def test_first_revision_typed_and_without_customer() -> None:
    text = text_of(
        printed(
            revision=1,
            replaces=None,
            signatures={"engineer": {"name": "Tamsin Quill", "strokes": None}, "customer": None},
        )
    )
    assert "Sheet 27 revision 1" in text and "Replaces" not in text
    assert "Tamsin Quill Signed by typing the name, 14 July 2026, 16:05" in text
    assert "Customer not present" in text and "Seen and taken over" not in text
    assert "Date and time" not in text  # no line is left to be filled in afterwards


def test_withdrawn_sheet_says_so_on_every_page_and_why() -> None:
    pdf = printed(WITHDRAWAL)
    text = text_of(pdf)
    assert "WITHDRAWN 16 July 2026, 09:12 (UTC+01:00), by Ines Harbottle" in text
    assert "Reason The order number belongs to another job." in text
    assert "SIGNED 14 July 2026" in text
    with pikepdf.open(io.BytesIO(pdf)) as document:
        assert str(document.docinfo["/Title"]).startswith("WITHDRAWN: Job sheet 27, revision 2")
        pages = len(document.pages)
    assert text.count("WITHDRAWN: not to be relied on") == pages
    assert attached_document(pdf) == attached_document(printed())
    # The word lies across each page as outlines, nine letters of it.
    assert curves(pdf) - curves(printed()) >= 9 * pages


def curves(pdf: bytes) -> int:
    """The curves on all pages, those within figures too."""

    def within(things: Iterable[Any]) -> int:
        return sum(
            within(thing) if isinstance(thing, LTFigure) else isinstance(thing, LTCurve) for thing in things
        )

    return sum(within(page) for page in extract_pages(io.BytesIO(pdf)))


def test_job_of_several_keeps_its_number() -> None:
    text = text_of(printed(job_number=2, jobs_in_memo=3))
    assert "Memo tuesday-quarry, job 2 of 3" in text


def test_value_that_is_still_to_be_looked_at_is_marked() -> None:
    evidence = {"/job/machine/hours": {**next(iter(signed_document()["evidence"].values()))}}
    evidence["/job/machine/hours"].update(check=True, why="nobody looked")
    text = text_of(printed(evidence=evidence))
    assert "1 place to be looked at" in text and "Nobody looked" in text and "6214.5 h ?1" in text


def test_signed_normal_job_takes_one_page() -> None:
    with pikepdf.open(io.BytesIO(printed(**normal()))) as document:
        assert len(document.pages) == 1


def test_hostile_names_and_reasons_are_printed_not_run() -> None:
    hostile = '<script>alert(1)</script> {{ 7*7 }} </style> & "q"'
    pdf = printed(
        Withdrawal(hostile, hostile, WITHDRAWAL.at),
        memo=hostile,
        signed_by=hostile,
        signatures={
            "engineer": {"name": hostile, "strokes": None},
            "customer": {"name": hostile, "strokes": tidy_strokes(wave(5, 9))},
        },
    )
    assert text_of(pdf).count("<script>alert(1)</script> {{ 7*7 }} </style>") >= 5


# The drawn signature


def drawn_on(pdf: bytes) -> list[tuple[float, float, float, float]]:
    """Boxes of the curves on the last page that lie in its signatures' fields, in points."""
    *_, last = (page for page in extract_pages(io.BytesIO(pdf)) if isinstance(page, LTPage))
    return [
        thing.bbox
        for thing in last
        if isinstance(thing, LTCurve) and len(thing.pts) > 12 and thing.stroking_color is not None
    ]


def test_drawn_signatures_stand_in_their_fields() -> None:
    both = drawn_on(printed(**normal()))
    typed = drawn_on(
        printed(**normal(), signatures={"engineer": {"name": "T", "strokes": None}, "customer": None})
    )
    (left, low, right, high), (customer_left, *_) = [box for box in both if box not in typed]
    millimetre = 72 / 25.4
    # The field: 60 mm by 10 mm at most, the engineer's in the left half of the page, the customer's right.
    assert 5 * millimetre < right - left <= 60 * millimetre and high - low <= 10 * millimetre
    assert left < 105 * millimetre < customer_left


def test_signature_of_many_points_is_set() -> None:
    turn = [[math.cos(n / 1000) * (1 + n / 5000), math.sin(n / 1000)] for n in range(10_000)]
    pdf = printed(
        signatures={"engineer": {"name": "Tamsin Quill", "strokes": tidy_strokes([turn])}, "customer": None}
    )
    assert len(pdf) < 200_000 and drawn_on(pdf)


def test_old_callers_may_draw_too() -> None:
    at = datetime.fromisoformat("2026-03-10T12:00:00+00:00")
    name = Signature("Tamsin Quill", at, tidy_strokes(wave(5, 9)))
    html = sheet_html(example(), 1, signatures=Signatures(engineer=name))
    assert 'class="drawn"' in html and "DRAFT" not in html and "tuesday-quarry" in html


# What it carries


def test_attached_are_the_canonical_bytes_and_nothing_else() -> None:
    document = signed_document(
        memo="Ärger \N{TRACTOR} \u2028 </script>", extra={"z": 1.0, "a": [1e21, "\x07"]}
    )
    pdf = printed(memo=document["memo"], extra=document["extra"])
    assert attached_document(pdf) == rfc8785.dumps(document) == canonical_bytes(document)
    assert json.loads(attached_document(pdf)) == document
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        assert list(opened.attachments) == ["sheet-27-revision-2.json"]
        (associated,) = opened.Root.AF
        assert str(associated.AFRelationship) == "/Source"
        with opened.open_metadata() as metadata:
            assert metadata.pdfa_status == "3B"


def test_attachment_comes_out_of_the_sealed_sheet(sealed: bytes) -> None:
    assert attached_document(sealed) == rfc8785.dumps(signed_document())


def test_sheet_from_canonical_json_is_the_same_sheet() -> None:
    # 16.0 is written 16 there, and comes back as a whole number.
    again = json.loads(rfc8785.dumps(signed_document()))
    assert signed_sheet_pdf(again, firm=FIRM, fingerprint=PRINT) == printed()


def test_same_bytes_in_another_process_zone_and_time(tmp_path: Path) -> None:
    program = (
        "import sys; sys.path[:0] = ['.', 'tests', 'tests/paper']; import test_seal_sheet as t\n"
        "sys.stdout.buffer.write(t.printed())"
    )
    other = subprocess.run(
        [sys.executable, "-c", program],
        env={**os.environ, "TZ": "Asia/Tokyo", "PYTHONHASHSEED": "7"},
        cwd=Path(__file__).parents[2],
        capture_output=True,
        check=True,
    )
    assert other.stdout == printed()


def test_signed_sheet_is_never_removed_as_an_old_one(tmp_path: Path) -> None:
    file = tmp_path / "tuesday-quarry-2.pdf"
    file.write_bytes(printed(job_number=2, jobs_in_memo=2))
    assert remove_old_sheets(example(), tmp_path) == []
    assert file.exists()


def test_pdf_without_a_signed_document_is_told(plain: bytes) -> None:
    from jobnotes.paper import sheet_pdf

    with pytest.raises(JobnotesError, match="carries no signed sheet"):
        attached_document(sheet_pdf(example(), 1))
    for broken in (b"", b"no PDF", plain[:400]):
        with pytest.raises(JobnotesError, match="damaged"):
            attached_document(broken)


# What it refuses


def without(*path: str) -> dict[str, Any]:
    document = copy.deepcopy(signed_document())
    *way, last = path
    place: Any = document
    for step in way:
        place = place[step]
    del place[last]
    return document


@pytest.mark.parametrize("missing", [key for key in signed_document() if key != "previous"])
def test_document_without_a_key_is_refused(missing: str) -> None:
    with pytest.raises(JobnotesError, match=rf"signed sheet is wrong at /{missing}: Field required"):
        signed_sheet_pdf(without(missing), fingerprint=PRINT)


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"format": 2}, "wrong at /format"),
        ({"sheet": 0}, "wrong at /sheet"),
        ({"sheet": True}, "wrong at /sheet"),
        ({"sheet": 2**53 + 1}, "canonical JSON"),
        ({"revision": 3}, "Revision 3 of sheet 27 must replace revision 2"),
        ({"revision": 1}, "Revision 1 of sheet 27 must replace none"),
        ({"replaces": None}, "Revision 2 of sheet 27 must replace revision 1"),
        ({"replaces": {"revision": 1, "sha256": "5C" * 32}}, "wrong at /replaces/sha256"),
        ({"job_number": 2}, "job 2 of a memo with 1 jobs"),
        ({"signed_at": "yesterday"}, "no ISO 8601 time with its zone"),
        ({"signed_at": "2026-07-14T16:05:21"}, "no ISO 8601 time with its zone"),
        ({"recorded_at": "last Tuesday"}, "no ISO 8601 time"),
        ({"signed_by": ""}, "wrong at /signed_by"),
        ({"signed_by": "x" * 201}, "wrong at /signed_by"),
        ({"job": {"machine": 3}}, "wrong at /job"),
        ({"memo": b"bytes"}, "canonical JSON"),
        ({"memo": "\ud800"}, "canonical JSON"),
        ({"extra": float("nan")}, "canonical JSON"),
    ],
)
def test_wrong_document_is_refused_in_words(changes: dict[str, Any], sentence: str) -> None:
    with pytest.raises(JobnotesError, match=sentence):
        printed(**changes)


@pytest.mark.parametrize("strokes", [[], [[[1, 1]]], [[[0, 0], [2_000_000, 1]]], [["a"]]])
def test_signature_that_cannot_be_drawn_names_whose_it_is(strokes: list[Any]) -> None:
    engineer = {"name": "Tamsin Quill", "strokes": None}
    with pytest.raises(JobnotesError, match=r"^The customer's signature "):
        printed(signatures={"engineer": engineer, "customer": {"name": "Orla", "strokes": strokes}})
    with pytest.raises(JobnotesError, match=r"^The engineer's signature "):
        printed(signatures={"engineer": {**engineer, "strokes": strokes}, "customer": None})


def test_fingerprint_and_withdrawal_are_checked() -> None:
    for wrong in ("", PRINT.upper(), PRINT[:-1], PRINT + "0"):
        with pytest.raises(JobnotesError, match="fingerprint is not 64 hexadecimal digits"):
            signed_sheet_pdf(signed_document(), fingerprint=wrong)
    with pytest.raises(JobnotesError, match="reason for withdrawing the sheet has 201 characters"):
        printed(Withdrawal("x" * 201, "Ines Harbottle", WITHDRAWAL.at))
