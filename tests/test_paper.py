"""The job sheet on paper, read back from the HTML and from the finished PDF."""

from __future__ import annotations

import io
import json
import os
import re
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pikepdf
import pytest
from paper_example import FIRM, empty, example, text_of, with_job
from pdfminer.high_level import extract_text

from jobnotes.jobs.model import Check, Evidence, Job, Machine, Part, Reading
from jobnotes.paper import Firm, Signature, Signatures, job_data, sheet_html, sheet_pdf, words


def leaves(value: Any, pointer: str = "") -> list[str]:
    """The JSON Pointers of all plain values within JSON data."""
    if isinstance(value, dict):
        return [leaf for key, inner in value.items() for leaf in leaves(inner, f"{pointer}/{key}")]
    if isinstance(value, list):
        return [leaf for place, inner in enumerate(value) for leaf in leaves(inner, f"{pointer}/{place}")]
    return [pointer]


@pytest.fixture(scope="module")
def pdf() -> bytes:
    return sheet_pdf(example(), 1, firm=FIRM, engineer="Tamsin Quill")


# The file


def test_pdf_claims_pdfa_3b_and_is_tagged(pdf: bytes) -> None:
    with pikepdf.open(io.BytesIO(pdf)) as document:
        with document.open_metadata() as metadata:
            assert metadata.pdfa_status == "3B"
            assert metadata["dc:title"] == "Job sheet tuesday-quarry 1: " + (
                "wheeled excavator Kelbrack W160, fleet WX 31"
            )
        root = document.Root
        assert str(root.Lang) == "en-GB"
        assert bool(root.MarkInfo.Marked)
        assert bool(root.ViewerPreferences.DisplayDocTitle)
        assert str(document.docinfo["/Title"]).startswith("Job sheet tuesday-quarry 1")
        assert str(document.docinfo["/Author"]) == "Tamsin Quill"
        assert str(root.OutputIntents[0].S) == "/GTS_PDFA1"
        assert not document.is_encrypted
        kinds = {
            str(thing.S)
            for thing in document.objects
            if isinstance(thing, pikepdf.Dictionary) and "/S" in thing and "/P" in thing and "/K" in thing
        }
        assert {"/H1", "/H2", "/Table", "/TR", "/TH", "/TD"} <= kinds


def test_pdf_has_nothing_that_pdfa_forbids(pdf: bytes) -> None:
    # ISO 19005-3, 6.1.3 and 6.5 and 6.6: no encryption, scripts, launching, sound, film or hidden notes.
    with pikepdf.open(io.BytesIO(pdf)) as document:
        assert "/Encrypt" not in document.trailer
        assert len(document.trailer.ID) == 2
        for thing in document.objects:
            if not isinstance(thing, pikepdf.Dictionary | pikepdf.Stream):
                continue
            assert "/JS" not in thing
            assert str(thing.get("/S", "")) not in ("/JavaScript", "/Launch", "/Sound", "/Movie", "/URI")
            if str(thing.get("/Type", "")) == "/Annot":
                flags = int(thing.F)
                assert flags & 4 and not flags & (1 | 2 | 32)  # printed; not invisible, hidden or no-view


def test_job_is_attached_as_source(pdf: bytes) -> None:
    with pikepdf.open(io.BytesIO(pdf)) as document:
        assert list(document.attachments) == ["tuesday-quarry-1.json"]
        associated = list(document.Root.AF)
        assert len(associated) == 1
        assert str(associated[0].AFRelationship) == "/Source"
        assert str(associated[0].EF.F.Subtype) == "/application/json"
        attached = json.loads(document.attachments["tuesday-quarry-1.json"].get_file().read_bytes())
    memo = example()
    assert attached == job_data(memo, 1)
    assert attached["memo"] == "tuesday-quarry"
    assert attached["recorded_at"] == memo.recorded_at
    assert Job.model_validate(attached["job"]) == memo.jobs[0]
    assert set(attached["evidence"]) == {p.replace("/jobs/0", "/job") for p in memo.evidence}
    assert attached["evidence"]["/job/machine/hours"]["start"] == 12.0


def test_all_fonts_are_embedded_and_ours(pdf: bytes) -> None:
    with pikepdf.open(io.BytesIO(pdf)) as document:
        faces = [
            thing
            for thing in document.objects
            if isinstance(thing, pikepdf.Dictionary) and str(thing.get("/Type", "")) == "/FontDescriptor"
        ]
        assert len(faces) >= 4
        for face in faces:
            assert any(key in face for key in ("/FontFile", "/FontFile2", "/FontFile3"))
            assert re.match(r"/[A-Z]{6}\+(Sheet|Label|Code)\b", str(face.FontName))


def test_same_bytes_again_and_without_any_font_of_the_machine(pdf: bytes, tmp_path: Path) -> None:
    nothing = tmp_path / "fonts.conf"
    nothing.write_text(f"<fontconfig><cachedir>{tmp_path}/cache</cachedir></fontconfig>")
    program = (
        "import sys; sys.path[:0] = ['.', 'tests']; import jobnotes.paper as p, paper_example as t\n"
        "sys.stdout.buffer.write(p.sheet_pdf(t.example(), 1, firm=t.FIRM, engineer='Tamsin Quill'))"
    )
    bare = subprocess.run(
        [sys.executable, "-c", program],
        env={**os.environ, "FONTCONFIG_FILE": str(nothing), "TZ": "Asia/Tokyo", "PYTHONHASHSEED": "7"},
        cwd=Path(__file__).parents[1],
        capture_output=True,
        check=True,
    )
    assert bare.stdout == pdf


# What stands on it


def test_every_value_can_be_read_back(pdf: bytes) -> None:
    text = text_of(pdf).lower()
    job = example().jobs[0]
    expected = [
        "Harrow Lane Plant Repairs",
        "01632 960 144",
        "Tamsin Quill",
        "tuesday-quarry",
        "10 March 2026, 11:32",
        "Tue 10 Mar 2026",
        "Ostrey Stone Products",
        "Penny Moor Quarry",
        "PO 88-2041",
        "Wheeled excavator",
        "Kelbrack",
        "W160",
        "16 t",
        "WX 31",
        "KBW160-00418",
        "6214.5 h",
        job.complaint,
        job.cause,
        *job.ruled_out,
        *(check.what for check in job.checks),
        *(reading.at for reading in job.readings if reading.at),
        *(reading.quantity for reading in job.readings),
        *("5.02", "2480", "205", "181", "88", "2500", "180", "Ω", "°C", "bar", "as found", "after work"),
        *("0.02 V over", "20 Ω under", "25 bar over", "Not OK", "Unclear"),
        "SPN 110 FMI 3",
        "voltage above normal, or shorted to high source",
        "E-407",
        *(part.description for part in job.parts),
        *(part.part_number for part in job.parts if part.part_number),
        *("4.5", "each", "Fitted", "To order", "On order", "Not used"),
        *job.work,
        *job.follow_up,
        *job.safety,
        *("08:05", "11:20", "3 h 15 min", "1 h 10 min", "52 miles"),
        "Temporary repair",
        "Machine left in service",
        "Signature",
        "Page 1 of",
    ]
    assert [value for value in expected if value and value.lower() not in text] == []


def test_a_normal_job_takes_one_page(pdf: bytes) -> None:
    plain = example().model_copy(update={"evidence": {}})
    plain.jobs[0].fault_codes = []
    with pikepdf.open(io.BytesIO(sheet_pdf(plain, 1, firm=FIRM, engineer="Tamsin Quill"))) as document:
        assert len(document.pages) == 1
        width, height = (float(side) for side in document.pages[0].mediabox[2:])
    # A4 is 210 mm by 297 mm (ISO 216); a point is 1/72 in.
    assert width == pytest.approx(210 / 25.4 * 72, abs=0.1)
    assert height == pytest.approx(297 / 25.4 * 72, abs=0.1)


def test_a_big_job_repeats_the_table_head_on_each_page() -> None:
    readings = [Reading(quantity="pressure", at=f"port {n}", value=100 + n, unit="bar") for n in range(120)]
    big = sheet_pdf(with_job(readings=readings), 1)
    with pikepdf.open(io.BytesIO(big)) as document:
        pages = len(document.pages)
    assert pages >= 3
    page_texts = extract_text(io.BytesIO(big)).split("\f")[:pages]
    with_readings = [page for page in page_texts if re.search(r"Port \d+", page)]
    assert len(with_readings) >= 2
    assert all("Looked at or measured" in page for page in with_readings)
    assert all(f"Page {n} of {pages}" in page for n, page in enumerate(page_texts, 1))
    assert text_of(big).count("bar") == 120


def test_parts_stand_by_status() -> None:
    html = sheet_html(example(), 1)
    places = [
        html.index(name)
        for name in ("Coolant temperature sensor", "Engine loom", "Fan belt", "Thermostat 82")
    ]
    assert places == sorted(places)


def test_empty_job_gives_a_valid_sheet_with_lines_to_write_on() -> None:
    html = sheet_html(empty(), 1)
    assert html.count('class="blank"') >= 15
    assert html.count("None recorded") == 4
    blank = sheet_pdf(empty(), 1)
    with pikepdf.open(io.BytesIO(blank)) as document, document.open_metadata() as metadata:
        assert metadata.pdfa_status == "3B"
        assert len(document.pages) == 1
    assert "JOB SHEET" in text_of(blank)
    assert "None" not in text_of(blank).replace("None recorded", "")


def test_two_jobs_of_one_memo_say_which_is_which() -> None:
    memo = example()
    memo.jobs.append(Job(complaint="second machine will not start"))
    memo.evidence["/jobs/1/complaint"] = Evidence(text="won't start", check=True, why="noise over the words")
    first, second = sheet_html(memo, 1), sheet_html(memo, 2)
    assert "Job 1 of 2" in first and "Job 2 of 2" in second
    assert "second machine" not in first.lower() and "noise over the words" not in first.lower()
    assert "Noise over the words" in second and "PO 88-2041" not in second
    assert list(job_data(memo, 2)["evidence"]) == ["/job/complaint"]


# Draft and signed


def test_draft_until_the_engineer_signs(pdf: bytes) -> None:
    assert "DRAFT" in text_of(pdf)
    assert "draft.svg" in sheet_html(example(), 1)
    at = datetime(2026, 3, 10, 11, 40, tzinfo=UTC)
    only_customer = Signatures(customer=Signature("Bram Oldacre", at))
    assert "DRAFT" in sheet_html(example(), 1, signatures=only_customer)
    both = Signatures(engineer=Signature("Tamsin Quill", at), customer=Signature("Bram Oldacre", at))
    html = sheet_html(example(), 1, signatures=both)
    assert "DRAFT" not in html and "draft.svg" not in html
    signed = text_of(sheet_pdf(example(), 1, signatures=both))
    assert "DRAFT" not in signed
    assert "Tamsin Quill" in signed and "Bram Oldacre" in signed and "Signed 10 March 2026, 11:40" in signed


# Values to be looked at


def test_marked_values_carry_a_mark_and_stand_in_the_list(pdf: bytes) -> None:
    html = sheet_html(example(), 1)
    assert re.findall(r'href="#look-(\d)"', html) == ["1", "2", "3"]
    assert re.search(r'PO 88-2041<a class="look" href="#look-1">\?1</a>', html)
    assert re.search(r'2480<a class="look"', html)
    assert re.search(r'4\.5<a class="look"', html)
    assert "6214.5 h<a" not in html  # sure of it: no mark
    text = text_of(pdf)
    assert "3 places to be looked at" in text
    for words_of_list in (
        "?1",
        "Order number: PO 88-2041",
        "order P O eighty eight twenty forty one",
        "at 0:06",
        "Letters and figures close together",
        "?2",
        "(coolant sensor, cold)",
        "Two readings of the number fit",
        "?3",
    ):
        assert words_of_list in text


def test_every_place_of_a_job_can_carry_a_mark() -> None:
    memo = example()
    pointers = leaves(memo.jobs[0].model_dump(mode="json"))
    assert len(pointers) > 90
    memo.evidence = {f"/jobs/0{p}": Evidence(text="heard", check=True, why=f"because {p}") for p in pointers}
    html = sheet_html(memo, 1)
    assert len(re.findall(r'<a class="look"', html)) == len(pointers)
    assert all(f"Because {p}<" in html for p in pointers)
    labels = {words.pattern(p) for p in pointers} - set(words.words()["field"])
    assert labels <= {"/machine/size/value", "/machine/size/unit"}


def test_long_values_are_shortened_in_the_list_only() -> None:
    memo = with_job(cause="worn " * 100)
    memo.evidence = {"/jobs/0/cause": Evidence(text="heard " * 100, check=True, why="long")}
    html = sheet_html(memo, 1)
    assert html.count("Worn " + "worn " * 98 + "worn") == 1
    assert re.search(r"Cause: <strong>(worn ){5,}\w*…</strong>", html)
    assert re.search(r"<q>(heard ){20,}\w*…</q>", html)


def test_what_has_no_place_is_still_listed() -> None:
    memo = example()
    memo.evidence = {
        "/jobs/0": Evidence(text="a", check=True, why="which machine is not sure"),
        "/jobs/0/readings/9": Evidence(text="b", check=True, why="a pressure of nothing"),
        "/heard/0": Evidence(text="mumbled words", start=61.0, check=True, why="no field fits"),
        "/heard/1": Evidence(text="clear words", check=False),
    }
    html = sheet_html(memo, 1)
    for line in (
        "Which machine is not sure",
        "A pressure of nothing",
        "mumbled words",
        "at 1:01",
        "No field fits",
    ):
        assert line in html
    assert "clear words" not in html
    assert "3 places to be looked at" in html


def test_what_is_wrong_with_the_recording_stands_on_the_draft() -> None:
    memo = example()
    memo.transcript.remarks = ["The sound breaks off after 84 seconds."]
    assert "The sound breaks off after 84 seconds." in sheet_html(memo, 1)


# Hostile and odd text


HOSTILE = "<script>alert(1)</script> {{ 7*7 }} {% raw %} <img src=http://a.example/x> & \"q\" 'a' </style>"


def test_hostile_text_is_printed_not_run() -> None:
    memo = with_job(
        customer=HOSTILE,
        complaint=HOSTILE,
        work=[HOSTILE],
        fault_codes=[HOSTILE],
        machine=Machine(type=HOSTILE, fleet_number=HOSTILE),
        parts=[Part(description=HOSTILE, part_number=HOSTILE)],
        checks=[Check(what=HOSTILE, result="ok")],
    )
    memo.memo = HOSTILE
    memo.evidence = {"/jobs/0/customer": Evidence(text=HOSTILE, check=True, why=HOSTILE)}
    html = sheet_html(memo, 1, engineer=HOSTILE, firm=Firm(name=HOSTILE))
    assert "<script" not in html and "<img" not in html and html.count("</style>") == 1
    assert "{{ 7*7 }}" in html and "49" not in html
    printed = text_of(sheet_pdf(memo, 1, engineer=HOSTILE, firm=Firm(name=HOSTILE)))
    assert "<script>alert(1)</script> {{ 7*7 }}" in printed


def test_characters_beyond_the_fonts_print_as_a_sign_and_stay_in_the_data() -> None:
    odd = "Łódź pump \N{CJK UNIFIED IDEOGRAPH-6CF5} \N{TRACTOR} 5 Ω e\N{COMBINING ACUTE ACCENT}nd\x00\u202e"
    memo = with_job(complaint=odd)
    result = sheet_pdf(memo, 1)
    assert "Łódź pump \N{REPLACEMENT CHARACTER} \N{REPLACEMENT CHARACTER} 5 Ω énd" in text_of(result)
    with pikepdf.open(io.BytesIO(result)) as document:
        attached = json.loads(document.attachments["nothing-1.json"].get_file().read_bytes())
        names = [
            str(o.FontName)
            for o in document.objects
            if isinstance(o, pikepdf.Dictionary) and "/FontName" in o
        ]
    assert attached["job"]["complaint"] == odd
    assert all(re.search(r"\+(Sheet|Label|Code)\b", name) for name in names)


def test_long_text_stays_on_the_page() -> None:
    memo = with_job(
        cause="x" * 4000, site="y" * 300, machine=Machine(fleet_number="Z" * 60), order_number="N" * 90
    )
    text = re.sub(r"\s", "", extract_text(io.BytesIO(sheet_pdf(memo, 1))))
    assert text.count("x") >= 3990 and text.count("y") >= 300 and text.count("N") >= 90
