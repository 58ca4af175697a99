"""The commands from end to end, on the sample memos, as a user runs them."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
import time
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import jsonschema
import pikepdf
import pytest
from click.testing import CliRunner
from places import Program

import jobnotes.cli as program
from jobnotes import __version__
from jobnotes.cli import commands
from jobnotes.errors import JobnotesError
from jobnotes.intake import given_time, memo_names, time_zone, webvtt
from jobnotes.intake.batch import Row, table
from jobnotes.jobs import ReadMemo, Transcript, Word, jobs_schema

LONDON = ZoneInfo("Europe/London")
HEAVY = ("numpy", "spacy", "pydantic", "faster_whisper", "onnxruntime", "rich", "weasyprint", "av")


def invoke(*arguments: str | Path) -> tuple[int, str, str]:
    """Exit status, standard output and standard error of a command in this process."""
    result = CliRunner().invoke(commands, [str(argument) for argument in arguments])
    if isinstance(result.exception, JobnotesError):
        return program.FAILED, result.stdout, str(result.exception)
    if result.exception and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result.exit_code, result.stdout, result.stderr


def pointed(data: object, pointer: str) -> object:
    """What a JSON Pointer (RFC 6901) points to."""
    for step in pointer.split("/")[1:]:
        step = step.replace("~1", "/").replace("~0", "~")
        data = data[int(step)] if isinstance(data, list) else data[step]  # type: ignore[index]
    return data


# -- help and version --


def test_help_comes_at_once() -> None:
    command = [sys.executable, "-c", "from jobnotes.cli import main; main()", "--help"]
    took = []
    for _ in range(5):
        started = time.perf_counter()
        subprocess.run(command, capture_output=True, check=True)
        took.append(time.perf_counter() - started)
    assert min(took) < 0.4


def test_help_imports_nothing_heavy() -> None:
    code = (
        "import sys, jobnotes.cli as cli\n"
        "try: cli.commands.main(['read', '--help'])\n"
        f"except SystemExit: print([name for name in {HEAVY!r} if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


def test_version(jobnotes: Program) -> None:
    assert jobnotes("--version").stdout.strip() == f"jobnotes, version {__version__}"


def test_a_typed_memo_is_read_soon_from_cold(jobnotes: Program, samples: Path) -> None:
    took = []
    for _ in range(3):
        started = time.perf_counter()
        done = jobnotes("read", samples / "quarry_loader.txt", "--register", samples / "register")
        took.append(time.perf_counter() - started)
        assert done.returncode == 0, done.stderr
    assert min(took) < 2.5


# -- reading typed memos --


def test_read_gives_json_with_evidence(samples: Path) -> None:
    status, out, _ = invoke(
        *("read", samples / "two_in_the_yard.txt", "--register", samples / "register"),
        *("--recorded-at", "2026-05-19T15:34"),
    )
    assert status == 0
    data = json.loads(out)
    assert list(data) == ["memo", "recorded_at", "transcript", "jobs", "notes", "evidence"]
    assert data["memo"] == "two_in_the_yard"
    assert data["recorded_at"] == "2026-05-19T15:34:00"
    assert data["transcript"]["text"].split() == (samples / "two_in_the_yard.txt").read_text().split()
    assert data["transcript"]["remarks"] == []
    jsonschema.Draft202012Validator(jobs_schema()).validate(data)
    assert ReadMemo.model_validate(data).model_dump(mode="json") == data
    fleet = [job["machine"]["fleet_number"] for job in data["jobs"]]
    assert fleet[0] == "SL117" and "GN520" in fleet
    assert all(job["date"] == "2026-05-19" for job in data["jobs"])
    assert data["evidence"]["/jobs/0/machine/fleet_number"]["text"]
    for pointer, evidence in data["evidence"].items():
        pointed(data, pointer)
        assert {"text", "start", "end", "confidence", "check", "why"} <= set(evidence)
        assert not evidence["check"] or evidence["why"], f"{pointer} is to be checked for no stated reason"


def test_read_of_several_files_writes_each_and_a_table(samples: Path, tmp_path: Path) -> None:
    out = tmp_path / "new" / "folder"
    status, shown, told = invoke(
        *("read", samples / "quarry_loader.txt", samples / "pumping_station.txt", "--out", out),
        *("--register", samples / "register", "--recorded-at", "2026-06-09T12:14", "--sheets"),
        *("--firm", samples / "firm.toml", "--engineer", "Ada Finch"),
    )
    assert (status, told) == (0, "")
    names = ["pumping_station-1.pdf", "pumping_station.json", "quarry_loader-1.pdf", "quarry_loader.json"]
    assert sorted(file.name for file in out.iterdir()) == names
    head, *rows, together, last = shown.splitlines()
    assert head.split() == ["memo", "sound", "s", "taken", "s", "jobs", "to", "check", "files", "written"]
    assert [row.split()[0] for row in rows] == ["quarry_loader", "pumping_station"]
    for row in rows:
        name, sound, taken, jobs, checks, *files = row.split()
        data = json.loads((out / f"{name}.json").read_text(encoding="utf-8"))
        assert sound == "typed" and 0 < float(taken) < 60
        assert int(jobs) == len(data["jobs"])
        assert int(checks) == sum(evidence["check"] for evidence in data["evidence"].values())
        assert files == ["1", "json,", "1", "pdf"]
    assert together.split()[0] == "together" and together.endswith("2 json, 2 pdf")
    assert last == f"Written to {out}."
    with pikepdf.open(out / "quarry_loader-1.pdf") as pdf:
        assert len(pdf.attachments) == 1


def test_two_files_of_one_name_do_not_overwrite_each_other(samples: Path, tmp_path: Path) -> None:
    for place, source in (("a", "quarry_loader"), ("b", "marsh_farm_cab")):
        (tmp_path / place).mkdir()
        text = (samples / f"{source}.txt").read_text(encoding="utf-8")
        (tmp_path / place / "memo.txt").write_text(text, encoding="utf-8")
    first, second, out = tmp_path / "a" / "memo.txt", tmp_path / "b" / "memo.txt", tmp_path / "out"
    status, _, told = invoke("read", first, second, first, "--out", out, "--recorded-at", "2026-06-03T16:47")
    assert status == 0
    assert f"{second} has the same name as another file, so its memo is called memo-2." in told
    read = {file.name: json.loads(file.read_text(encoding="utf-8")) for file in out.iterdir()}
    assert set(read) == {"memo.json", "memo-2.json"}
    assert read["memo-2.json"]["memo"] == "memo-2"
    assert "Quillfen" in read["memo.json"]["transcript"]["text"]
    assert "Saltfellow" in read["memo-2.json"]["transcript"]["text"]


@pytest.mark.parametrize(
    ("given", "names"),
    [
        (["a/x.m4a", "b/x.wav", "c/x-2.ogg"], ["x", "x-3", "x-2"]),
        (["a/Memo.m4a", "b/memo.m4a"], ["Memo", "memo-2"]),
        (["a/x.m4a", "a/../a/x.m4a", "b/y.m4a"], ["x", "y"]),
        (["a/monday.early.m4a", ".m4a"], ["monday.early", ".m4a"]),
        (["a/x.m4a", "b/x.m4a", "c/x.m4a"], ["x", "x-2", "x-3"]),
    ],
)
def test_names_of_memos(given: list[str], names: list[str]) -> None:
    assert list(memo_names([Path(path) for path in given]).values()) == names


@pytest.mark.skipif(sys.platform != "linux", reason="names of bytes that are no text are Linux's")
def test_a_name_that_is_no_text(samples: Path, tmp_path: Path) -> None:
    path = tmp_path / os.fsdecode(b"caf\xe9.txt")
    path.write_bytes((samples / "quarry_loader.txt").read_bytes())
    status, _, _ = invoke("read", path, "--out", tmp_path / "out")
    assert status == 0
    (written,) = (tmp_path / "out").iterdir()
    assert json.loads(written.read_text(encoding="utf-8"))["memo"] == "caf\N{REPLACEMENT CHARACTER}"


# -- when it was recorded --


@pytest.mark.parametrize(
    ("text", "zone", "local"),
    [
        ("2026-05-12T10:58", "Europe/London", "2026-05-12T10:58:00"),
        ("2026-05-12 10:58:30", "Europe/London", "2026-05-12T10:58:30"),
        ("2026-05-12T09:58Z", "Europe/London", "2026-05-12T10:58:00"),
        ("2026-01-12T09:58:00.25+00:00", "Europe/London", "2026-01-12T09:58:00"),
        ("2026-05-12T23:30:00+01:00", "Europe/Athens", "2026-05-13T01:30:00"),
    ],
)
def test_given_time(text: str, zone: str, local: str) -> None:
    assert given_time(text, time_zone(zone)).isoformat() == local


@pytest.mark.parametrize("text", ["2026-05-12", "yesterday", "", "10:58", "2026-13-01T10:00", "20260512"])
def test_given_time_that_is_none(text: str) -> None:
    with pytest.raises(JobnotesError, match="write it like 2026-05-12T10:58"):
        given_time(text, LONDON)


@pytest.mark.parametrize("name", ["Mars/Dome", "", "/etc/passwd", "../x", "Europe"])
def test_a_zone_that_is_none(name: str) -> None:
    with pytest.raises(JobnotesError, match="There is no time zone"):
        time_zone(name)


def test_last_change_counts_where_nothing_else_is_known(samples: Path, tmp_path: Path) -> None:
    memo = tmp_path / "memo.txt"
    memo.write_text((samples / "quarry_loader.txt").read_text(encoding="utf-8"), encoding="utf-8")
    changed = datetime(2026, 7, 2, 23, 30, tzinfo=ZoneInfo("UTC")).timestamp()
    os.utime(memo, (changed, changed))
    for zone, at, day in (
        ("Europe/London", "2026-07-03T00:30:00", "2026-07-03"),
        ("America/New_York", "2026-07-02T19:30:00", "2026-07-02"),
    ):
        status, out, told = invoke("read", memo, "--zone", zone)
        data = json.loads(out)
        assert (status, data["recorded_at"], data["jobs"][0]["date"]) == (0, at, day)
        assert "The file does not say when the memo was recorded" in told
        assert data["transcript"]["remarks"] == told.splitlines()


# -- hearing --


@pytest.fixture(scope="module")
def heard(
    samples: Path, speech_weights: Path, tmp_path_factory: pytest.TempPathFactory
) -> tuple[Path, str, str]:
    """Two sample memos heard in one go: the folder, standard output, standard error."""
    out = tmp_path_factory.mktemp("heard")
    files = [samples / "two_in_the_yard.ogg", samples / "pumping_station.3gp"]
    status, shown, told = invoke("hear", *files, "--register", samples / "register", "--out", out)
    assert status == 0, told
    return out, shown, told


def test_hear_shows_and_writes(heard: tuple[Path, str, str]) -> None:
    out, shown, _ = heard
    names = {"two_in_the_yard.json", "two_in_the_yard.vtt", "pumping_station.json", "pumping_station.vtt"}
    assert {file.name for file in out.iterdir()} == names
    for name in ("two_in_the_yard", "pumping_station"):
        data = json.loads((out / f"{name}.json").read_text(encoding="utf-8"))
        assert list(data) == ["memo", "recorded_at", "transcript"]
        transcript = Transcript.model_validate(data["transcript"])
        assert f"{name}:\n{transcript.text}\n" in shown
        starts = [word.start for word in transcript.words]
        assert len(starts) > 100 and None not in starts and starts == sorted(starts)
        assert all(0 <= (word.probability or 0) <= 1 for word in transcript.words)
        captions = (out / f"{name}.vtt").read_text(encoding="utf-8")
        assert captions.startswith("WEBVTT\n\n")
        assert [line for line in captions.split() if line.isalpha()][1:50]
        cues = re.findall(r"^(\d\d:\d\d:\d\d\.\d{3}) --> (\d\d:\d\d:\d\d\.\d{3})$", captions, re.MULTILINE)
        assert len(cues) > 8
        assert all(start < end for start, end in cues)


def test_time_of_recording_comes_from_the_file(heard: tuple[Path, str, str]) -> None:
    out, _, told = heard
    at = {file.stem: json.loads(file.read_text("utf-8"))["recorded_at"] for file in out.glob("*.json")}
    assert {name: time[:16] for name, time in at.items()} == {
        "two_in_the_yard": "2026-05-19T15:34",
        "pumping_station": "2026-06-09T12:14",
    }
    assert "does not say when" not in told


def test_hear_without_a_terminal_shows_no_bar(jobnotes: Program, samples: Path, speech_weights: Path) -> None:
    done = jobnotes("hear", samples / "quarry_loader.m4a")
    assert done.returncode == 0
    assert "\x1b" not in done.stdout + done.stderr and done.stderr == ""
    assert "back at work" in done.stdout


@pytest.mark.skipif(sys.platform != "linux", reason="needs a pseudo-terminal")
def test_hear_on_a_terminal_shows_seconds(samples: Path, speech_weights: Path) -> None:
    import pty

    ours, theirs = pty.openpty()
    process = subprocess.Popen(
        [
            sys.executable,
            "-c",
            "from jobnotes.cli import main; main()",
            "hear",
            samples / "quarry_loader.m4a",
        ],
        stdout=subprocess.DEVNULL,
        stderr=theirs,
        env={**os.environ, "TERM": "xterm", "COLUMNS": "100"},
    )
    os.close(theirs)
    shown = b""
    try:
        while block := os.read(ours, 4096):
            shown += block
    except OSError:  # the other end is closed
        pass
    assert process.wait() == 0
    assert re.search(rb"quarry_loader.* of 78 s", shown)


def test_hear_never_replaces_jobs(samples: Path, tmp_path: Path, speech_weights: Path) -> None:
    kept = tmp_path / "quarry_loader.json"
    kept.write_text('{"jobs": [{"customer": "corrected by hand"}]}', encoding="utf-8")
    status, _, told = invoke("hear", samples / "quarry_loader.m4a", "--out", tmp_path)
    assert status == 1
    assert f"{kept} holds jobs that were read; give the transcript another folder." in told
    assert "corrected by hand" in kept.read_text(encoding="utf-8")
    assert [file.name for file in tmp_path.iterdir()] == ["quarry_loader.json"]


def test_sound_and_text_in_one_batch(samples: Path, tmp_path: Path, speech_weights: Path) -> None:
    status, shown, _ = invoke(
        *("read", samples / "marsh_farm_cab.mp3", samples / "quarry_loader.txt", "--out", tmp_path),
        *("--register", samples / "register"),
    )
    assert status == 0
    assert re.search(r"^marsh_farm_cab +7\d\.\d ", shown, re.MULTILINE)
    data = json.loads((tmp_path / "marsh_farm_cab.json").read_text(encoding="utf-8"))
    assert data["recorded_at"].startswith("2026-06-03T16:47")
    assert data["jobs"][0]["machine"]["fleet_number"] == "TH248"
    evidence = data["evidence"]["/jobs/0/machine/fleet_number"]
    said = data["transcript"]["words"][evidence["first"]]
    assert said["start"] <= evidence["start"] < evidence["end"]


# -- captions, table, setup --


def test_captions_break_at_sentences_pauses_and_length() -> None:
    words = [
        Word(text="One", start=0.0, end=0.4),
        Word(text="<two>.", start=0.4, end=0.8),
        Word(text="Three", start=0.9, end=1.2),
        Word(text="&", start=2.9, end=3.0),
        *(Word(text="a-long-word", start=3.0 + n, end=3.9 + n) for n in range(12)),
        Word(text="typed"),
    ]
    blocks = webvtt(Transcript(text="", words=words)).split("\n\n")
    assert blocks[0] == "WEBVTT"
    assert blocks[1] == "00:00:00.000 --> 00:00:00.800\nOne &lt;two&gt;."
    assert blocks[2] == "00:00:00.900 --> 00:00:01.200\nThree"
    assert blocks[3].startswith("00:00:02.900 --> 00:00:08.900\n&amp; a-long-word")
    assert "typed" not in blocks[-1]
    assert all(len(block.partition("\n")[2]) <= 84 for block in blocks[1:])


def test_captions_of_silence() -> None:
    assert webvtt(Transcript(text="")) == "WEBVTT\n"


def test_table_is_aligned_and_sums_up() -> None:
    rows = [
        Row("short", 12.34, 1.0, 1, 0, [Path("a.json"), Path("a-1.pdf")]),
        Row("much-longer-name", None, 0.5, 2, 13, [Path("b.json")]),
    ]
    head, first, second, together = table(rows).splitlines()
    assert first.split() == ["short", "12.3", "1.0", "1", "0", "1", "json,", "1", "pdf"]
    assert together.split() == ["together", "12.3", "1.5", "3", "13", "2", "json,", "1", "pdf"]
    assert head.index("files") == first.index("1 json") == second.index("1 json") == together.index("2 json")
    assert len(table(rows[:1]).splitlines()) == 2


def test_setup_says_where(speech_weights: Path) -> None:
    status, shown, told = invoke("setup")
    assert (status, shown, told) == (0, f"The speech weights are in {speech_weights}.\n", "")


# -- sheets --


def test_sheets_of_what_was_read(samples: Path, tmp_path: Path) -> None:
    invoke("read", samples / "quarry_loader.txt", "--out", tmp_path, "--recorded-at", "2026-05-12T10:58")
    status, shown, told = invoke(
        *("sheet", tmp_path / "quarry_loader.json", "--out", tmp_path / "sheets"),
        *("--firm", samples / "firm.toml", "--engineer", "Ada Finch"),
    )
    assert (status, told) == (0, "")
    sheet = tmp_path / "sheets" / "quarry_loader-1.pdf"
    assert shown == f"{sheet}\n"
    from pdfminer.high_level import extract_text

    text = extract_text(sheet)
    for words in ("Brackmere Plant Repairs", "Ada Finch", "12 May 2026", "WL31", "DRAFT"):
        assert words in text
    with pikepdf.open(sheet) as pdf:
        (attached,) = pdf.attachments.values()
        job = json.loads(attached.get_file().read_bytes())["job"]
    assert job == json.loads((tmp_path / "quarry_loader.json").read_text(encoding="utf-8"))["jobs"][0]


def test_a_memo_without_a_job_has_no_sheet(tmp_path: Path) -> None:
    memo = ReadMemo(memo="nothing", recorded_at="2026-05-12T10:58:00", transcript=Transcript(text="Hello."))
    (tmp_path / "nothing.json").write_text(memo.model_dump_json(), encoding="utf-8")
    status, shown, told = invoke("sheet", tmp_path / "nothing.json", "--out", tmp_path / "out")
    assert (status, shown) == (0, "")
    assert told == "nothing: no job was found in it, so there is no sheet.\n"
