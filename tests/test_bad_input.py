"""Whatever is wrong ends in one clear sentence and an exit status, and leaves no half-written file."""

from __future__ import annotations

import errno
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import av
import numpy as np
import pytest
from places import Program

import jobnotes.files
from jobnotes import interrupts
from jobnotes.errors import JobnotesError
from jobnotes.intake.batch import Batch, Row, StoppedError
from jobnotes.intake.text_files import read_text

MEMO = "The grader, fleet number GR7, lock valve leaking. Fitted a new one. Left at ten past four."
PROGRAM = [sys.executable, "-c", "from jobnotes.cli import main; main()"]


def files_in(folder: Path) -> list[str]:
    """Names of all files in the folder and below, hidden ones too."""
    return sorted(str(file.relative_to(folder)) for file in folder.rglob("*") if file.is_file())


@pytest.fixture
def memo(tmp_path: Path) -> Path:
    path = tmp_path / "memo.txt"
    path.write_text(MEMO, encoding="utf-8")
    return path


# -- files that are no memo --


def missing(folder: Path) -> Path:
    return folder / "nothing.m4a"


def a_folder(folder: Path) -> Path:
    (folder / "folder.m4a").mkdir()
    return folder / "folder.m4a"


def document(folder: Path) -> Path:
    (folder / "invoice.m4a").write_bytes(
        b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n1 0 obj\n<< /Type /Catalog >>\nendobj\n" * 40
    )
    return folder / "invoice.m4a"


def no_bytes(folder: Path) -> Path:
    (folder / "empty.txt").touch()
    return folder / "empty.txt"


def no_words(folder: Path) -> Path:
    (folder / "blank.txt").write_text(" \n\t--\n", encoding="utf-8")
    return folder / "blank.txt"


def binary(folder: Path) -> Path:
    (folder / "binary.txt").write_bytes(
        bytes(np.random.default_rng(3).integers(0, 256, 4000, dtype=np.uint8))
    )
    return folder / "binary.txt"


def sound_named_text(folder: Path) -> Path:
    shutil.copy(Path(__file__).parents[1] / "sample_audio" / "two_in_the_yard.ogg", folder / "sound.txt")
    return folder / "sound.txt"


def text_named_sound(folder: Path) -> Path:
    (folder / "words.wav").write_text(MEMO, encoding="utf-8")
    return folder / "words.wav"


def endless(folder: Path) -> Path:
    (folder / "endless.txt").write_text("on and on " * 200_000, encoding="utf-8")
    return folder / "endless.txt"


NO_MEMOS: list[tuple[Callable[[Path], Path], str]] = [
    (missing, "There is no file {path}."),
    (a_folder, "{path} is a folder, not a sound file."),
    (document, "{path} is not a sound file but a PDF document."),
    (no_bytes, "{path} is empty (0 bytes)."),
    (no_words, "{path} holds no words."),
    (binary, "{path} is not text."),
    (sound_named_text, "{path} is not text but a sound file (OGG); give its name the ending of its kind."),
    (text_named_sound, "{path} is not a sound file but text."),
    (endless, "{path} is longer than 1 MB, which no memo is."),
]


@pytest.mark.parametrize(("make", "sentence"), NO_MEMOS, ids=lambda value: getattr(value, "__name__", ""))
def test_no_memo(jobnotes: Program, tmp_path: Path, make: Callable[[Path], Path], sentence: str) -> None:
    path = make(tmp_path)
    before = files_in(tmp_path)
    done = jobnotes("read", path)
    assert done.returncode == 1
    assert done.stderr == sentence.format(path=path) + "\n"
    assert done.stdout == ""
    assert files_in(tmp_path) == before


def test_the_rest_of_a_batch_goes_through(jobnotes: Program, tmp_path: Path, memo: Path) -> None:
    bad = [make(tmp_path) for make, _ in NO_MEMOS]
    good = tmp_path / "other.txt"
    good.write_text(MEMO, encoding="utf-8")
    out = tmp_path / "out"
    done = jobnotes("read", bad[0], memo, *bad[1:], good, "--out", out, "--recorded-at", "2026-04-17T16:20")
    assert done.returncode == 1
    assert files_in(out) == ["memo.json", "other.json"]
    lines = done.stderr.splitlines()
    for path, (_, sentence) in zip(bad, NO_MEMOS, strict=True):
        assert sentence.format(path=path) in lines
    assert lines[-1] == f"2 of {len(bad) + 2} files were read; failed: {', '.join(map(str, bad))}."
    assert [row.split()[0] for row in done.stdout.splitlines()[1:]] == [
        "memo",
        "other",
        "together",
        "Written",
    ]


@pytest.mark.parametrize("name", ["memo.txt", "memo.wav", "memo.json"])
def test_unreadable(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    # Root may read everything, so for root the refusal is played.
    path = tmp_path / name
    path.write_bytes(b"RIFF")
    path.chmod(0)
    if os.geteuid() == 0:

        def refuse(*_: object, **__: object) -> None:
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))

        monkeypatch.setattr(Path, "open", refuse)
        monkeypatch.setattr(Path, "read_bytes", refuse)
    from jobnotes.audio import load
    from jobnotes.intake import load_read

    take = {".txt": read_text, ".wav": load, ".json": load_read}[path.suffix]
    with pytest.raises(JobnotesError, match="may not be read: permission is denied"):
        take(path)


@pytest.mark.parametrize(
    "data",
    [
        MEMO.encode(),
        b"\xef\xbb\xbf" + MEMO.encode(),
        MEMO.encode("utf-16"),
        b"\xfe\xff" + MEMO.encode("utf-16-be"),
    ],
)
def test_texts_that_are_the_same(tmp_path: Path, data: bytes) -> None:
    (tmp_path / "memo.txt").write_bytes(data)
    assert read_text(tmp_path / "memo.txt") == MEMO


def test_old_codes_and_line_ends(tmp_path: Path) -> None:
    path = tmp_path / "memo.txt"
    path.write_bytes("The café’s mixer,\r\n£40 of seals.\rDone.\n".encode("cp1252"))
    assert read_text(path) == "The café’s mixer,\n£40 of seals.\nDone.\n"
    path.write_bytes("Crème brûlée stand, generator 2 kVA, nothing wrong".encode("latin-1"))
    assert read_text(path) == "Crème brûlée stand, generator 2 kVA, nothing wrong"


def test_reading_changes_no_file(jobnotes: Program, memo: Path) -> None:
    before = memo.read_bytes(), memo.stat().st_mtime_ns
    assert jobnotes("read", memo, "--out", memo.parent / "out").returncode == 0
    assert (memo.read_bytes(), memo.stat().st_mtime_ns) == before


# -- options and folders --


@pytest.mark.parametrize(
    ("arguments", "status", "sentence"),
    [
        (["read", "memo.txt", "--recorded-at", "yesterday"], 1, "'yesterday' is not a date and time"),
        (["read", "memo.txt", "--zone", "Mars/Dome"], 1, "There is no time zone 'Mars/Dome'"),
        (["read", "memo.txt", "--register", "nowhere"], 1, "The register folder nowhere does not exist."),
        (["read", "memo.txt", "--register", "memo.txt"], 1, "The register memo.txt is a file"),
        (["read", "memo.txt", "--out", "memo.txt"], 1, "memo.txt is a file; give a folder to write to."),
        (["read", "memo.txt", "--out", "memo.txt/x"], 1, "The folder memo.txt/x can't be made"),
        (["read", "memo.txt", "--out", "/proc/x"], 1, "The folder /proc/x can't be made"),
        (["read", "memo.txt", "--out", "out", "--firm", "no.toml"], 1, "There is no file no.toml."),
        (["hear", "memo.txt"], 1, "memo.txt holds words already, not sound"),
        (["sheet", "memo.txt", "--out", "out"], 1, "memo.txt is not JSON; give a file that `jobnotes read`"),
        (["sheet", "no.json", "--out", "out"], 1, "There is no file no.json."),
        (["read", "memo.txt", "other.txt"], 2, "Several files need --out DIR."),
        (["read", "memo.txt", "--sheets"], 2, "--sheets needs --out DIR."),
        (["read"], 2, "Missing argument 'FILE...'"),
        (["read", "memo.txt", "--recorded-at", "0001-01-01T00:00+14:00"], 2, "is not a likely date"),
        (["hear", "x.wav", "--recorded-at", "9999-12-31T23:59-14:00"], 2, "is not a likely date"),
        (["read", "memo.txt", "--out", ""], 2, "Invalid value for '--out': it is empty; give a path."),
        (["sheet", "x.json", "--out", ""], 2, "Invalid value for '--out': it is empty; give a path."),
        (
            ["sheet", "x.json", "--out", "out", "--engineer", "A" * 201],
            1,
            "engineer's name has 201 characters",
        ),
        (["sheet", "x.json"], 2, "Missing option '--out'"),
        (["listen"], 2, "No such command 'listen'"),
    ],
)
def test_wrong_options(
    jobnotes: Program, memo: Path, arguments: list[str], status: int, sentence: str
) -> None:
    done = jobnotes(*arguments)
    assert done.returncode == status
    assert sentence in done.stderr
    assert "Traceback" not in done.stderr
    assert status == 2 or len(done.stderr.splitlines()) == 1
    assert files_in(memo.parent) == ["memo.txt"]


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("[]", "holds no jobs"),
        ('{"memo": "x"}', "holds no jobs"),
        (
            '{"memo": "x", "recorded_at": "", "transcript": {"text": ""}, "jobs": [{"date": "soon"}]}',
            "jobs/0/date",
        ),
        ('{"memo": "x", "recorded_at": "", "transcript": {"text": ""}, "jobs": "none"}', "at jobs, "),
        (
            '{"memo": "x", "recorded_at": "soon", "transcript": {"text": ""}, "jobs": [{}], "evidence": {}}',
            "recorded at 'soon'",
        ),
        (
            '{"memo": "x", "recorded_at": "2026-04-17T16:20", "transcript": {"text": ""}, "jobs": [{}]}',
            "holds no evidence",
        ),
        ('{"memo": "x", "rec', "is not JSON"),
    ],
)
def test_no_read_memo(jobnotes: Program, tmp_path: Path, text: str, sentence: str) -> None:
    (tmp_path / "x.json").write_text(text, encoding="utf-8")
    done = jobnotes("sheet", "x.json", "--out", "out")
    assert done.returncode == 1
    assert sentence in done.stderr and len(done.stderr.splitlines()) == 1
    assert files_in(tmp_path) == ["x.json"]


def test_two_files_with_one_memo_do_not_overwrite_each_others_sheets(jobnotes: Program, memo: Path) -> None:
    folder = memo.parent
    assert jobnotes("read", memo, "--out", folder / "a", "--recorded-at", "2026-04-17T16:20").returncode == 0
    (folder / "b").mkdir()
    text = (folder / "a" / "memo.json").read_text(encoding="utf-8")
    (folder / "b" / "memo.json").write_text(text, encoding="utf-8")
    done = jobnotes("sheet", "a/memo.json", "b/memo.json", "--out", "sheets")
    assert done.returncode == 1
    assert "b/memo.json holds a memo named 'memo', as a/memo.json does" in done.stderr
    assert files_in(folder / "sheets") == ["memo-1.pdf"]


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ('name = "Firm"\nlogo = "x.png"\n', "there is no 'logo'"),
        ("name = 3\n", "name must be text"),
        ('address = "Unit 4"\n', "address must be a list"),
        ("name = Firm\n", "is not TOML"),
        (f'name = "{"A" * 201}"\n', "name has 201 characters; a sheet has room for 200 at most."),
    ],
)
def test_no_firm(jobnotes: Program, memo: Path, text: str, sentence: str) -> None:
    (memo.parent / "firm.toml").write_text(text, encoding="utf-8")
    done = jobnotes("read", memo, "--out", "out", "--sheets", "--firm", "firm.toml")
    assert done.returncode == 1
    assert sentence in done.stderr and len(done.stderr.splitlines()) == 1


def test_a_register_with_a_bad_row(jobnotes: Program, memo: Path) -> None:
    register = memo.parent / "register"
    register.mkdir()
    (register / "machines.csv").write_text(
        "fleet_number,type,make,model,size,serial_number,customer,colour\n"
        "GR5,grader,Ravensett,G5,five tonnes,RVS-00511,Hollin Moss Aggregates,red\n"
        "GR7,grader,Ravensett,G9,9 t,RVS-00713,Hollin Moss Aggregates,red\n",
        encoding="utf-8",
    )
    done = jobnotes("read", memo, "--register", register, "--recorded-at", "2026-04-17T16:20")
    assert done.returncode == 3
    first, last = done.stderr.splitlines()
    assert first.startswith(f"Register {register}: machines.csv, line 2: size is 'five tonnes'")
    assert last == "1 row of the register could not be read; all else was done."
    assert '"serial_number": "RVS-00713"' in done.stdout


def test_an_empty_register_folder(jobnotes: Program, memo: Path) -> None:
    (memo.parent / "register").mkdir()
    done = jobnotes("read", memo, "--register", "register", "--recorded-at", "2026-04-17T16:20")
    assert done.returncode == 3
    assert done.stderr.splitlines() == [
        "Register register: the folder holds none of customers.csv, sites.csv, machines.csv and parts.csv.",
        "The register could not be read in full; all else was done.",
    ]


# -- what is no file, and what may not be read --


@pytest.mark.parametrize(
    ("command", "name"),
    [("read", "pipe.txt"), ("read", "pipe.wav"), ("hear", "pipe.txt"), ("sheet", "pipe.json")],
)
def test_a_pipe_is_no_file(jobnotes: Program, tmp_path: Path, command: str, name: str) -> None:
    os.mkfifo(tmp_path / name)
    done = jobnotes(command, name, "--out", "out")
    assert (done.returncode, done.stderr) == (1, f"{name} is a pipe, not a file.\n")


def test_a_device_is_no_file(jobnotes: Program) -> None:
    done = jobnotes("read", "/dev/zero")
    assert (done.returncode, done.stderr) == (1, "/dev/zero is a device, not a file.\n")


def test_one_that_may_not_be_read_does_not_end_the_batch(memo: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from test_cli import invoke

    shut = memo.parent / "shut.txt"
    shut.write_text(MEMO, encoding="utf-8")
    real_access, real_open = os.access, Path.open

    # Root may read everything, so the refusal is played, as the system gives it to anybody else.
    def access(path: str | Path, mode: int, **more: bool) -> bool:
        return Path(path) != shut and real_access(path, mode, **more)

    def opened(path: Path, *arguments: str, **more: str) -> object:
        if path == shut:
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
        return real_open(path, *arguments, **more)  # type: ignore[call-overload]

    monkeypatch.setattr(os, "access", access)
    monkeypatch.setattr(Path, "open", opened)
    out = memo.parent / "out"
    status, _, told = invoke("read", shut, memo, "--out", out, "--recorded-at", "2026-04-17T16:20")
    assert status == 1
    assert told.splitlines() == [
        f"{shut} may not be read: permission is denied.",
        f"1 of 2 files was read; failed: {shut}.",
    ]
    assert files_in(out) == ["memo.json"]


def test_standard_output_closed(memo: Path) -> None:
    done = subprocess.run(
        ["sh", "-c", 'exec "$@" >&-', "sh", *PROGRAM, "read", memo],
        stderr=subprocess.PIPE,
        text=True,
        check=False,
    )
    assert done.returncode == 1
    assert done.stderr == "Standard output is closed; leave it open, or send it to a file.\n"


# -- sheets of names that are alike, and of earlier readings --


def test_names_alike_on_paper_share_no_sheet(jobnotes: Program, tmp_path: Path) -> None:
    for name in ("a$b.txt", "a;b.txt"):
        (tmp_path / name).write_text(MEMO, encoding="utf-8")
    at = ("--recorded-at", "2026-04-17T16:20")
    done = jobnotes("read", "a$b.txt", "a;b.txt", "--out", "out", "--sheets", *at)
    assert done.returncode == 1
    assert done.stderr.splitlines()[0] == (
        "a;b.txt holds the memo 'a;b' and a$b.txt the memo 'a$b': the names are alike on paper (a-b-1.pdf); "
        "print it into another folder."
    )
    assert files_in(tmp_path / "out") == ["a$b.json", "a-b-1.pdf"]
    assert jobnotes("read", "a$b.txt", "a;b.txt", "--out", "read", *at).returncode == 0
    done = jobnotes("sheet", "read/a$b.json", "read/a;b.json", "--out", "sheets")
    assert done.returncode == 1
    assert "the names are alike on paper (a-b-1.pdf)" in done.stderr
    assert files_in(tmp_path / "sheets") == ["a-b-1.pdf"]


def test_sheets_of_an_earlier_reading_are_removed(jobnotes: Program, memo: Path) -> None:
    from jobnotes.intake import load_read
    from jobnotes.paper import write_sheets

    out = memo.parent / "out"
    at = ("--recorded-at", "2026-04-17T16:20")
    assert jobnotes("read", memo, "--out", out, *at).returncode == 0
    earlier = load_read(out / "memo.json")
    assert len(earlier.jobs) == 1
    earlier.jobs *= 2
    write_sheets(earlier, out)
    write_sheets(earlier.model_copy(update={"memo": "memo 2"}), out)
    (out / "memo-3.pdf").write_bytes(b"%PDF-1.7 of somebody else")
    # The name of a sheet of this memo, the data of another's.
    (out / "memo-4.pdf").write_bytes((out / "memo 2-2.pdf").read_bytes())
    done = jobnotes("read", memo, "--out", out, "--sheets", *at)
    assert done.returncode == 0
    assert done.stderr == (
        f"memo: {out / 'memo-2.pdf'} was of an earlier reading with more jobs, and was removed.\n"
    )
    assert files_in(out) == sorted(
        ["memo 2-1.pdf", "memo 2-2.pdf", "memo-1.pdf", "memo-3.pdf", "memo-4.pdf", "memo.json"]
    )


# -- weights --


def test_a_file_for_the_data(jobnotes: Program, memo: Path, samples: Path) -> None:
    for command in (["setup"], ["hear", samples / "quarry_loader.m4a"]):
        done = jobnotes(*command, env={"JOBNOTES_DATA": str(memo)})
        assert (done.returncode, done.stdout) == (1, "")
        assert done.stderr == f"JOBNOTES_DATA names {memo}, which is a file; let it name a folder.\n"


def test_weights_missing(jobnotes: Program, tmp_path: Path, samples: Path, memo: Path) -> None:
    sounds = [samples / "quarry_loader.m4a", samples / "two_in_the_yard.ogg"]
    done = jobnotes(
        "read", sounds[0], memo, sounds[1], "--out", "out", env={"JOBNOTES_DATA": str(tmp_path / "none")}
    )
    assert done.returncode == 1
    told = [line for line in done.stderr.splitlines() if "does not say when" not in line]
    assert len(told) == 2
    assert "run `jobnotes setup`" in told[0]
    assert told[1] == f"1 of 3 files was read; failed: {sounds[0]}, {sounds[1]}."
    assert files_in(tmp_path / "out") == ["memo.json"]


def test_weights_damaged(jobnotes: Program, tmp_path: Path, samples: Path, speech_weights: Path) -> None:
    place = tmp_path / "data" / "models" / "whisper-base"
    shutil.copytree(speech_weights, place)
    with (place / "model.bin").open("r+b") as stream:
        stream.truncate(1000)
    env = {"JOBNOTES_DATA": str(tmp_path / "data")}
    done = jobnotes("hear", samples / "quarry_loader.m4a", env=env)
    assert (done.returncode, done.stdout) == (1, "")
    assert "are damaged: model.bin has 1000 bytes" in done.stderr and "jobnotes setup" in done.stderr
    assert jobnotes("setup", env=env).returncode == 0
    assert (place / "model.bin").stat().st_size == (speech_weights / "model.bin").stat().st_size


def test_no_such_speech_model(jobnotes: Program, samples: Path) -> None:
    done = jobnotes("hear", samples / "quarry_loader.m4a", "--speech-model", "enormous")
    assert (done.returncode, done.stdout) == (1, "")
    assert (
        done.stderr.startswith("There is no speech model 'enormous'") and len(done.stderr.splitlines()) == 1
    )


# -- full disk --


def test_full_disk_while_writing(tmp_path: Path, memo: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from test_cli import invoke

    out = tmp_path / "out"
    out.mkdir()
    (out / "memo.json").write_text("as it was", encoding="utf-8")

    def full(_handle: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(jobnotes.files.os, "fsync", full)
    other = tmp_path / "other.txt"
    other.write_text(MEMO, encoding="utf-8")
    status, shown, told = invoke(
        "read", memo, other, "--out", out, "--recorded-at", "2026-04-17T16:20", "--sheets"
    )
    assert (status, shown) == (1, "")
    assert told.splitlines() == [
        f"{out / 'memo.json'} could not be written: the disk is full.",
        f"{out / 'other.json'} could not be written: the disk is full.",
        f"0 of 2 files were read; failed: {memo}, {other}.",
    ]
    assert files_in(out) == ["memo.json"]
    assert (out / "memo.json").read_text(encoding="utf-8") == "as it was"


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs /dev/full")
@pytest.mark.parametrize("command", [["read", "memo.txt", "--recorded-at", "2026-04-17T16:20"], ["setup"]])
def test_full_disk_behind_standard_output(
    jobnotes: Program, memo: Path, command: list[str], speech_weights: Path
) -> None:
    with Path("/dev/full").open("w") as full:
        done = jobnotes(*command, stdout=full, stderr=subprocess.PIPE)
    assert done.returncode == 1
    assert done.stderr == "The output could not be written: the disk is full.\n"


def test_a_reader_of_our_output_that_has_enough(memo: Path) -> None:
    process = subprocess.Popen(
        [*PROGRAM, "read", memo, "--recorded-at", "2026-04-17T16:20"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stdout and process.stderr
    process.stdout.close()
    assert process.stderr.read() == ""
    assert process.wait() == 0


# -- Ctrl-C, and faults of our own --


@pytest.fixture(scope="module")
def long_memo(samples: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Ten minutes of speech, which no machine hears in the time that the test waits."""
    from jobnotes.audio import RATE, load

    speech = np.tile(load(samples / "quarry_loader.m4a").samples, 8)
    path = tmp_path_factory.mktemp("long") / "long.wav"
    with av.open(str(path), "w") as container:
        stream = container.add_stream("pcm_s16le", rate=RATE, layout="mono")
        frame = av.AudioFrame.from_ndarray(
            (speech * 32767).astype(np.int16)[None], format="s16", layout="mono"
        )
        frame.sample_rate = RATE
        container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return path


def stopped(process: subprocess.Popen[str]) -> str:
    """Sends Ctrl-C; what is said then."""
    process.send_signal(signal.SIGINT)
    _, told = process.communicate(timeout=60)
    assert process.returncode == 130
    assert "Traceback" not in told
    return told


@pytest.mark.parametrize("after_s", [1.0, 3.0, 6.0])
def test_ctrl_c(long_memo: Path, tmp_path: Path, speech_weights: Path, after_s: float) -> None:
    out = tmp_path / "out"
    process = subprocess.Popen(
        [*PROGRAM, "read", long_memo, "--out", out, "--sheets"], stderr=subprocess.PIPE, text=True
    )
    time.sleep(after_s)
    told = stopped(process)
    assert "Stopped" in told and len(told.splitlines()) == 1
    assert files_in(tmp_path) == []


def test_ctrl_c_half_way_through_a_batch(long_memo: Path, memo: Path, speech_weights: Path) -> None:
    out = memo.parent / "out"
    command = ["read", memo, long_memo, "--out", out, "--recorded-at", "2026-04-17T16:20"]
    process = subprocess.Popen([*PROGRAM, *command], stderr=subprocess.PIPE, text=True)
    for _ in range(600):
        if (out / "memo.json").exists():
            break
        time.sleep(0.1)
    time.sleep(2.0)
    told = stopped(process)
    assert told == f"Stopped at {long_memo}: 1 of 2 files was finished, and no half-written file is left.\n"
    assert files_in(out) == ["memo.json"]


def test_a_fault_of_our_own_is_a_sentence_too(memo: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from test_cli import invoke

    from jobnotes.language import Reader

    def fault(*_: object) -> None:
        raise KeyError("somewhere deep")

    monkeypatch.setattr(Reader, "read", fault)
    status, shown, told = invoke("read", memo, "--recorded-at", "2026-04-17T16:20")
    assert (status, shown) == (1, "")
    assert told == (
        f"{memo} could not be dealt with because of a fault in jobnotes (KeyError 'somewhere deep'); set "
        "JOBNOTES_TRACEBACK=1 to see where.\n"
    )


def test_a_library_that_makes_a_fault_of_ctrl_c_is_not_blamed(monkeypatch: pytest.MonkeyPatch) -> None:
    """An import that is broken off by Ctrl-C raises an error of the library's own."""
    told: list[str] = []

    def broken_off(_path: Path) -> Row:
        raise ImportError("cannot load")

    monkeypatch.setattr(interrupts, "came", lambda: True)
    with pytest.raises(StoppedError, match=r"Stopped at memo\.wav"):
        Batch(1, told.append).run([Path("memo.wav")], broken_off)
    monkeypatch.setattr(interrupts, "came", lambda: False)
    batch = Batch(1, told.append)
    batch.run([Path("memo.wav")], broken_off)
    assert batch.failed == [Path("memo.wav")]
