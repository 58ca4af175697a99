"""The words, figures, cautions and colours of the job sheet."""

from __future__ import annotations

import re
from typing import Any

from paper_example import example, with_job

from jobnotes.jobs.model import Check, Job, Machine, Part
from jobnotes.paper import sheet_html, words
from jobnotes.paper.cautions import cautions_for, introduction
from jobnotes.paper.place import templates_folder


def test_every_key_of_the_model_has_words() -> None:
    schema = Job.model_json_schema()
    definitions = schema["$defs"]
    keys = {
        "verdict": definitions["Check"]["properties"]["result"]["enum"],
        "stage": definitions["Reading"]["properties"]["stage"]["enum"],
        "part_status": definitions["Part"]["properties"]["status"]["enum"],
        "outcome": schema["properties"]["outcome"]["anyOf"][0]["enum"],
        "machine_state": schema["properties"]["machine_state"]["anyOf"][0]["enum"],
    }
    for kind, wanted in keys.items():
        assert set(words.words()[kind]) == set(wanted)


def test_numbers_and_durations() -> None:
    assert [words.number(v) for v in (210.0, 0.35, 1e-05, 12345678.5, 100, 0)] == [
        *("210", "0.35", "0.00001", "12345678.5", "100", "0")
    ]
    assert [words.minutes(v) for v in (0, 45, 60, 195, None)] == ["0 min", "45 min", "1 h", "3 h 15 min", ""]
    assert words.difference(0.3, 0.1, "V") == "0.2 V over"
    assert words.difference(190, 250, "bar") == "60 bar under"
    assert words.difference(5, 5.0, "V") == "at the figure"


def names_of_cautions(**fields: Any) -> list[str]:
    return [caution.name for caution in cautions_for(Job(**fields))]


def test_cautions_follow_what_was_worked_on() -> None:
    assert names_of_cautions(work=["fitted new hydraulic hose to the slew motor"]) == ["Hydraulic pressure"]
    assert names_of_cautions(complaint="top hose split") == []
    assert names_of_cautions(machine=Machine(type="generator")) == ["Live terminals"]
    assert "Raised booms, bodies and attachments" in names_of_cautions(machine=Machine(type="Boom lift"))
    assert names_of_cautions(cause="battery flat") == ["Batteries"]
    assert "Track adjusters and springs" in names_of_cautions(work=["fitted track adjuster seal kit"])
    assert "Air pressure" in names_of_cautions(machine=Machine(type="compressor"))
    assert "Fuel" in names_of_cautions(parts=[Part(description="fuel filter")])
    assert "Hot exhaust and coolant" in names_of_cautions(checks=[Check(what="Thermostat", result="ok")])
    assert "Movement and roadside" in names_of_cautions(safety=["worked on the hard shoulder"])
    assert "Lifting" in names_of_cautions(machine=Machine(type="mobile crane"))
    assert names_of_cautions(complaint="seat torn") == []
    assert names_of_cautions(complaint="scrammed", cause="belted along") == []  # whole words only


def test_cautions_defer_to_those_who_know() -> None:
    html = sheet_html(example(), 1)
    assert "Hot exhaust and coolant" in html
    for words_of_deference in ("local safety rules", "instructions", "trained", "licensed"):
        assert words_of_deference in introduction()
    assert "Cautions" not in sheet_html(with_job(complaint="seat torn"), 1)


# Readable in a grey print


def _luminance(colour: str) -> float:
    """Relative luminance of #rgb or #rrggbb, 0 to 1 (WCAG 2.2)."""
    figures = colour.lstrip("#")
    figures = "".join(2 * figure for figure in figures) if len(figures) == 3 else figures
    channels = [int(figures[place : place + 2], 16) / 255 for place in (0, 2, 4)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_every_text_colour_reads_in_grey() -> None:
    style = (templates_folder() / "sheet.css").read_text(encoding="utf-8")
    colours = set(re.findall(r"[{;\s]color:\s*(#[0-9a-f]+)", style)) - {"#fff"}
    assert len(colours) >= 3
    for colour in colours:  # WCAG 2.2, 1.4.3: at least 4.5 to 1, here against white paper
        assert 1.05 / (_luminance(colour) + 0.05) >= 4.5, colour
    plate = re.search(r"background: (#f[0-9a-f]{5})", style)
    assert plate
    ink = _luminance("#15191c")
    assert (_luminance(plate[1]) + 0.05) / (ink + 0.05) >= 4.5
