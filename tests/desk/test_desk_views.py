"""What the pages are made of: typed values, the order of the sheet, a machine over time, charts, sounds."""

from __future__ import annotations

import re
import wave
from io import BytesIO
from pathlib import Path
from xml.etree import ElementTree

import pytest
from desk_work import MARKED, PASSWORD, Shop
from places import SAMPLES

from jobnotes.desk import fields
from jobnotes.desk.charts import over_time
from jobnotes.desk.machine_story import Point, machine_story
from jobnotes.desk.sounds import Sounds
from jobnotes.desk.suggestions import Suggestions
from jobnotes.desk.views import named, sheet_view
from jobnotes.register import load_register
from jobnotes.store import SetValue, Signed
from jobnotes.workshop import load_settings, sealed_pdf


@pytest.mark.parametrize(
    ("text", "minutes"),
    [
        ("95", 95),
        ("95 min", 95),
        ("1 h 35", 95),
        ("1h35m", 95),
        ("1:35", 95),
        ("1.5 h", 90),
        ("2 hours", 120),
    ],
)
def test_durations_as_people_type_them(text: str, minutes: int) -> None:
    assert fields.minutes_of("value", "Labour", text) == minutes


@pytest.mark.parametrize("text", ["an hour", "1:3", "-5", "1 h 2 h", "٣", ""])
def test_what_is_no_duration_is_said_so(text: str) -> None:
    with pytest.raises(fields.TypedError, match="Labour"):
        fields.minutes_of("value", "Labour", text)


def test_figures_and_times_as_people_type_them() -> None:
    number, clock = fields.Kind("number"), fields.Kind("time")
    assert fields.value_of(number, "value", "Hours", " 6,218.5 ") == 6218.5
    assert fields.value_of(number, "value", "Hours", "") is None
    assert fields.value_of(clock, "value", "Arrived", "8.10") == "08:10"
    assert fields.value_of(clock, "value", "Arrived", "1645") == "16:45"
    for text in ("nan", "1e400", "6 218 h", "--1"):
        with pytest.raises(fields.TypedError):
            fields.value_of(number, "value", "Hours", text)


def test_every_place_of_a_sheet_has_its_form(shop: Shop) -> None:
    read = shop.draft(5).read
    view = sheet_view(read.jobs, read.notes, read.evidence)
    job = view.jobs[0]
    places = [*job.facts, job.fleet, job.type, *job.machine, job.outcome, job.state, job.complaint, job.cause]
    places += [*job.times, *(each for items in job.lists.values() for each in items)]
    places += [cell for row in (*job.checks, *job.readings, *job.parts) for cell in row.cells.values()]
    for place in places:
        assert place is not None
        target = fields.target_of(place.pointer)
        assert target is not None, place.pointer
        assert not named(place.pointer).startswith("/"), place.pointer


def test_marks_stand_in_the_order_of_the_paper(shop: Shop) -> None:
    read = shop.draft(5).read
    view = sheet_view(read.jobs, read.notes, read.evidence)
    assert [mark.number for mark in view.marks] == [1, 2, 3, 4, 5]
    assert {mark.pointer for mark in view.marks} == set(MARKED)
    assert [mark.name for mark in view.marks] == [
        "Order number",
        "Fleet number",
        "Hour meter",
        "Reading, value",
        "Arrived",
    ]
    assert view.marks[3].said is not None and view.marks[3].said.text == "6"


def test_a_mark_without_a_place_is_not_lost(shop: Shop) -> None:
    from jobnotes.jobs import Evidence

    read = shop.draft(0).read
    read.evidence["/notes/3"] = Evidence(text="something", check=True)
    read.evidence["/jobs/0/parts/7/quantity"] = Evidence(text="twelve", check=True, why="Of what?")
    view = sheet_view(read.jobs, read.notes, read.evidence)
    assert {(mark.name, mark.why) for mark in view.marks} == {
        ("Heard, not placed", "The reader was not sure."),
        ("Part, quantity", "Of what?"),
    }


def test_the_register_suggests() -> None:
    look_up, register = Suggestions(), load_register(SAMPLES / "register")

    def first(table, text):  # type: ignore[no-untyped-def]
        found = look_up(register, table, text)
        return found[0].value if found else None

    assert first("machine", "wl 31") == "WL31"
    assert {each.value for each in look_up(register, "machine", "WL3")} >= {"WL31", "WL13"}
    assert first("part", "extend relief valve") == "HR-5161"
    assert first("part", "hr3062") == "HR-3062"
    assert first("customer", "quilfen agregates") == "Quillfen Aggregates"
    assert first("site", "") is None
    assert look_up(register, "machine", "wl31")[0].fills["make"] == "Oakhelm"


def _story(shop: Shop, complaint: str = "brake light kept coming on"):  # type: ignore[no-untyped-def]
    tam, settings = shop.people["tam"], load_settings(shop.workshop.folder)
    make = sealed_pdf(shop.workshop, settings)
    for number, (day, hours, value) in enumerate((("2026-03-02", 5900, 44), ("2026-05-12", 6218, 6))):
        draft = shop.draft(0, name=f"visit-{number}")
        for pointer, new in (
            ("/jobs/0/date", day),
            ("/jobs/0/machine/hours", hours),
            ("/jobs/0/readings/0/value", value),
            ("/jobs/0/complaint", complaint),
        ):
            draft = shop.workshop.drafts.edit(
                draft.id, draft.version, tam, SetValue(pointer=pointer, value=new)
            )
        shop.workshop.sheets.sign(
            draft.id, draft.version, tam, PASSWORD, Signed("T"), make_pdf=make, zone=settings.zone
        )
    return machine_story("wl-31", shop.workshop.sheets.lines(fleet_number="WL 31"))


def test_a_machine_over_time(shop: Shop) -> None:
    story = _story(shop)
    assert story.fleet_number == "WL31"
    assert [(point.day, point.value) for point in story.hours] == [("2026-03-02", 5900), ("2026-05-12", 6218)]
    series = story.readings[0]
    assert series.unit == "bar" and [point.value for point in series.points] == [44, 50, 6, 50]
    assert {again.kind for again in story.again} == {"Part fitted", "Complaints alike"}
    assert [part.part_number for part in story.parts] == ["HR-3062", "HR-3062"]
    # A withdrawn sheet tells nothing any more.
    shop.workshop.sheets.withdraw(2, shop.people["pru"], "Wrong machine.")
    assert len(machine_story("WL31", shop.workshop.sheets.lines(fleet_number="WL31")).hours) == 1


def test_a_service_done_twice_is_nothing_that_came_back(shop: Shop) -> None:
    assert {again.kind for again in _story(shop, "500-hour service").again} == {"Part fitted"}


def test_a_chart_draws_each_figure_at_its_height_and_the_specification() -> None:
    points = [
        Point("2026-01-01", 10.0, 1, "found", 50.0),
        Point("2026-01-01", 50.0, 1, "after", 50.0),
        Point("2026-03-02", 30.0, 2, "found", 50.0),
    ]
    drawn = over_time('Rear <accumulator> "x"', "bar", points)
    root = ElementTree.fromstring(str(drawn).replace("<svg ", '<svg xmlns="s" ', 1))
    assert root.attrib["aria-label"] == 'Rear <accumulator> "x"'
    found = [(float(each.attrib["cx"]), float(each.attrib["cy"])) for each in root.iter("{s}circle")]
    after = [float(each.attrib["y"]) + 4.5 for each in root.iter("{s}rect")]
    assert len(found) == 2 and len(after) == 1
    # Equal steps of figures are equal steps of height, and more stands higher.
    assert found[0][1] - found[1][1] == pytest.approx(found[1][1] - after[0], abs=0.2)
    assert found[0][0] < found[1][0]
    spec = next(each.attrib["d"] for each in root.iter("{s}path") if each.attrib.get("class") == "spec")
    height = re.search(r"M[\d.]+ ([\d.]+)H", spec)
    assert height and float(height[1]) == pytest.approx(after[0], abs=0.2)
    assert "specified 50 bar" in str(drawn) and "style=" not in str(drawn)
    # The line goes from what was left to what was found: it falls and comes back.
    line = next(each.attrib["points"] for each in root.iter("{s}polyline")).split()
    heights = [float(each.partition(",")[2]) for each in line]
    assert heights == pytest.approx([found[0][1], after[0], found[1][1]], abs=0.2)
    # Nothing can lie on the words of the specification: they stand above the picture.
    words = next(each for each in root.iter("{s}text") if "specified" in (each.text or ""))
    assert float(words.attrib["y"]) < min([*heights, *(y for _, y in found)])


@pytest.mark.parametrize("values", [[0.0], [1e-9, 2e-9], [-5.0, 5.0], [1e12, 1e12], [6218.0, 6218.0]])
def test_a_chart_of_any_figures(values: list[float]) -> None:
    points = [Point(f"2026-01-{10 + at}", value, 1) for at, value in enumerate(values)]
    drawn = str(over_time("x", "bar", points))
    ElementTree.fromstring(drawn)
    heights = [float(found) for found in re.findall(r'class="after" x="[\d.]+" y="(-?[\d.]+)"', drawn)]
    assert len(heights) == len(values) and all(0 <= height <= 250 for height in heights)


def test_a_recording_is_played_second_for_second() -> None:
    path = SAMPLES / "pumping_station.3gp"
    played = Sounds().played("a" * 64, path)
    with wave.open(BytesIO(played.wav)) as sound:
        assert (sound.getframerate(), sound.getnchannels(), sound.getsampwidth()) == (16_000, 1, 2)
        assert sound.getnframes() / 16_000 == pytest.approx(played.seconds)
    assert len(played.peaks) == 900 and max(played.peaks) == 1.0 and min(played.peaks) >= 0


def test_pieces_of_a_recording(shop: Shop, visit, tmp_path: Path) -> None:
    from desk_work import ReaderOf

    from jobnotes.workshop import Settings, Taking

    taking = Taking(shop.workshop, Settings(), make_intake=lambda _register, _words: ReaderOf(0))
    memo = taking.work(taking.take(SAMPLES / "pumping_station.3gp", engineer=shop.people["tam"]).memo)
    path = f"/api/drafts/{memo.draft_id}/recording"
    mine = visit("tam")
    whole = mine.get(path)
    assert whole.status_code == 200 and whole.content[:4] == b"RIFF"
    for asked, piece in (
        ("0-99", whole.content[:100]),
        ("100-", whole.content[100:]),
        ("-10", whole.content[-10:]),
    ):
        answer = mine.get(path, headers={"range": f"bytes={asked}"})
        assert answer.status_code == 206 and answer.content == piece
        assert answer.headers["content-range"].endswith(f"/{len(whole.content)}")
    assert mine.get(path, headers={"range": f"bytes={len(whole.content)}-"}).status_code == 416
    wave_ = mine.get(f"/api/drafts/{memo.draft_id}/waveform").json()
    assert len(wave_["peaks"]) == 900 and wave_["seconds"] > 10
