"""The commands of the workshop: wiring only. What is heavy is imported inside them."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from jobnotes.cli_paths import SOMEWHERE
from jobnotes.errors import JobnotesError
from jobnotes.terminal import bar, show, tell

if TYPE_CHECKING:
    from jobnotes.store import Memo, Person, Workshop

FAILED = 1


WORKSHOP = click.option(
    "--workshop",
    "folder",
    metavar="DIR",
    envvar="JOBNOTES_WORKSHOP",
    type=SOMEWHERE,
    help="The workshop's folder.  [default: workshop in the user's data folder]",
)
REASON = click.option("--reason", metavar="TEXT", default="", help="Why; it stands in the chain for good.")


def _open(folder: Path | None, *, create: bool = False) -> Workshop:
    from jobnotes.store import Workshop

    return Workshop(folder, create=create)


def _engineer(workshop: Workshop, name: str | None) -> Person | None:
    if name is None:
        return None
    person = workshop.people.named(name)
    if person.role == "office":
        raise JobnotesError(f"{person.name} is of the office; a memo is an engineer's.")
    return person


@click.command()
@click.argument("files", metavar="[FILE]...", nargs=-1, type=SOMEWHERE)
@WORKSHOP
@click.option(
    "--watch",
    "watched",
    metavar="DIR",
    type=SOMEWHERE,
    help="Take in what comes into a folder.",
)
@click.option("--engineer", metavar="NAME", help="Whose memos they are, by the name to log in with.")
@click.option(
    "--recorded-at",
    metavar="ISO",
    help="When the memos were recorded, such as 2026-05-12T10:58; else as for `jobnotes read`.",
)
@click.option(
    "--speech-model",
    metavar="NAME|FOLDER",
    envvar="JOBNOTES_SPEECH_MODEL",
    help="Another speech model, as for `jobnotes read`.",
)
@click.pass_context
def take(
    context: click.Context,
    files: tuple[Path, ...],
    folder: Path | None,
    watched: Path | None,
    engineer: str | None,
    recorded_at: str | None,
    speech_model: str | None,
) -> None:
    """Take memo FILEs, sound or .txt, into the workshop, and make drafts of them.

    All files are copied in first, then heard and read one after the other. The same content is one memo,
    however often it comes. Whatever breaks this off, what was taken in is kept, and the next `jobnotes take`,
    without FILEs too, goes on where it stopped. A memo that failed is tried again when it is taken again.

    With --watch it goes on until Ctrl-C, and takes each file in the folder once it has stopped growing. Files
    are only read, never moved or changed.
    """
    from jobnotes.intake import given_time
    from jobnotes.workshop import Taking, load_settings, watch

    with _open(folder, create=True) as workshop:
        settings = load_settings(workshop.folder)
        at = given_time(recorded_at, settings.zone) if recorded_at is not None else None
        whose = _engineer(workshop, engineer)
        taking = Taking(workshop, settings, speech_model=speech_model, recorded_at=at, progress=bar)
        failed = 0
        mine: list[int] = []
        for path in files:
            try:
                taken = taking.take(path, engineer=whose)
            except JobnotesError as error:
                tell(str(error))
                failed += 1
                continue
            if not taken.new and taken.memo.state == "read":
                show(f"{path}: here already, as draft {taken.memo.draft_id}.")
            else:
                mine.append(taken.memo.id)
        worked = taking.carry_on()
        # A desk that is open hears memos too, and may have been quicker: what it made of them is said.
        theirs = sorted(set(mine) - {memo.id for memo in worked})
        for memo in [*worked, *(workshop.memos.get(number) for number in theirs)]:
            failed += _told(workshop, memo)
            if memo.state in ("waiting", "heard"):
                show(f"{memo.file_name}: taken in; the desk, or another `jobnotes take`, is at it now.")
        if watched is not None:
            tell(f"Watching {watched}; Ctrl-C ends it.")

            def told(what: str, memo: Memo) -> None:
                if what == "worked":
                    _told(workshop, memo)

            watch(watched, taking, engineer=whose, told=told, trouble=tell)
    if failed:
        context.exit(FAILED)


def _told(workshop: Workshop, memo: Memo) -> int:
    """Says what became of a memo; 1 where it failed."""
    from jobnotes.store import TERMINAL

    if memo.state == "failed":
        tell(f"{memo.file_name}: {memo.failure}")
        return 1
    if memo.draft_id is not None:
        draft = workshop.drafts.get(memo.draft_id, TERMINAL)
        jobs, marked = len(draft.read.jobs), draft.marked
        show(
            f"{memo.file_name}: draft {draft.id}, {jobs} job{'s' if jobs != 1 else ''}, {marked} value"
            f"{'s' if marked != 1 else ''} to look at."
        )
    return 0


@click.group()
def person() -> None:
    """The people who work with the workshop."""


@person.command("add")
@click.argument("name", metavar="NAME")
@click.option(
    "--role",
    type=click.Choice(["engineer", "office", "owner"]),
    required=True,
    help="engineer: own drafts, signs. office: reads, comments, sends back. owner: accounts too.",
)
@click.option("--display-name", metavar="TEXT", help="The name on the sheets.  [default: NAME]")
@WORKSHOP
def person_add(name: str, role: str, display_name: str | None, folder: Path | None) -> None:
    """Add a person, who logs in with NAME. The password is asked for; it needs 10 characters or more."""
    with _open(folder, create=True) as workshop:
        password = _password(f"Password for {name}")
        made = workshop.people.add(name, display_name or name, role, password)  # type: ignore[arg-type]
        show(f"{made.name} ({made.display_name}) is here as {made.role}.")


@person.command("list")
@WORKSHOP
def person_list(folder: Path | None) -> None:
    """List the people."""
    with _open(folder) as workshop:
        for each in workshop.people.all():
            closed = "" if each.active else ", closed"
            show(f"{each.name}: {each.display_name}, {each.role}{closed}")


@person.command("password")
@click.argument("name", metavar="NAME")
@WORKSHOP
def person_password(name: str, folder: Path | None) -> None:
    """Give a person a new password. Their log-ins end."""
    from jobnotes.store import TERMINAL

    with _open(folder) as workshop:
        found = workshop.people.named(name)
        workshop.people.change_password(found, _password(f"New password for {name}"), TERMINAL)
        show(f"{found.name} has a new password.")


@person.command("close")
@click.argument("name", metavar="NAME")
@click.option("--open", "opened", is_flag=True, help="Open it again instead.")
@WORKSHOP
def person_close(name: str, opened: bool, folder: Path | None) -> None:
    """Close a person's account. Their sheets and corrections stay."""
    from jobnotes.store import TERMINAL

    with _open(folder) as workshop:
        found = workshop.people.set_active(workshop.people.named(name), opened, TERMINAL)
        show(f"The account of {found.name} is {'open' if opened else 'closed'}.")


def _password(prompt: str) -> str:
    """Asked for twice at a terminal; else the first line of standard input."""
    if sys.stdin.isatty():
        return str(click.prompt(prompt, hide_input=True, confirmation_prompt=True, err=True))
    return sys.stdin.readline().rstrip("\r\n")


@click.group()
def register() -> None:
    """The register in the workshop: customers, sites, machines and parts."""


@register.command("load")
@click.argument("source", metavar="DIR", type=SOMEWHERE)
@click.option("--yes", is_flag=True, help="Load without asking.")
@WORKSHOP
def register_load(source: Path, yes: bool, folder: Path | None) -> None:
    """Load the CSV files of DIR into the workshop, after showing what changes.

    A file that is not there leaves its table as it is. The files are kept byte for byte, and `jobnotes
    register export` gives them back.
    """
    with _open(folder, create=True) as workshop:
        load = workshop.registers.compare(source)
        for problem in load.problems:
            tell(f"Register {source}: {problem}")
        if load.empty:
            show("Nothing changes.")
            return
        for table, counts in load.counts().items():
            show(f"{table}: " + ", ".join(f"{count} {kind}" for kind, count in counts.items()))
        for change in load.changes:
            show(f"  {change.in_words()}")
        if not yes and not click.confirm("Load it?", err=True):
            tell("Nothing was loaded.")
            return
        workshop.registers.load(load)
        show("The register is loaded.")


@register.command("export")
@click.argument("target", metavar="DIR", type=SOMEWHERE)
@WORKSHOP
def register_export(target: Path, folder: Path | None) -> None:
    """Write the workshop's register into DIR, as it was loaded."""
    with _open(folder) as workshop:
        for path in workshop.registers.export(target):
            show(str(path))


@click.command()
@click.option("--accept", metavar="NUMBER", type=int, help="Learn the proposal of that number.")
@click.option("--decline", metavar="NUMBER", type=int, help="Put the proposal of that number aside.")
@WORKSHOP
def words(accept: int | None, decline: int | None, folder: Path | None) -> None:
    """Show what the workshop may learn, and what it has learned.

    A name that was misheard and has been put right three times is proposed. Accepted, the recogniser expects
    it and the reader takes what was heard for it.
    """
    from jobnotes.store import TERMINAL

    with _open(folder) as workshop:
        proposals = workshop.words.proposals()
        for number, decide in ((accept, workshop.words.accept), (decline, workshop.words.decline)):
            if number is None:
                continue
            if not 1 <= number <= len(proposals):
                raise JobnotesError(f"There is no proposal {number}; `jobnotes words` lists them.")
            decide(proposals[number - 1], TERMINAL)
        for number, each in enumerate(workshop.words.proposals(), 1):
            show(f"{number}. {each.heard} → {each.meant} ({each.field}, put right {each.times} times)")
        for word in workshop.words.learned(accepted=True):
            show(f"Learned: {word.heard} → {word.meant} ({word.field}), accepted by {word.decided_by}")


@click.command()
@click.argument("file", metavar="FILE", type=SOMEWHERE)
@WORKSHOP
def backup(file: Path, folder: Path | None) -> None:
    """Write the whole workshop into FILE (.tar), while others work.

    It holds recordings, sheets, the database with everything about people, and the key that seals sheets:
    keep it as safe as the workshop itself. `jobnotes restore` brings it back.
    """
    from jobnotes.store import backup as back_up

    with _open(folder) as workshop:
        size = back_up(workshop, file)
        show(f"{file}: {size:,} bytes.")


@click.command()
@click.argument("file", metavar="FILE", type=SOMEWHERE)
@WORKSHOP
def restore(file: Path, folder: Path | None) -> None:
    """Bring the workshop back that FILE holds, into a new or empty folder.

    Every file is held against its hash first; a damaged backup restores nothing.
    """
    from jobnotes.store import default_folder
    from jobnotes.store import restore as bring_back

    target = folder or default_folder()
    count = bring_back(file, target)
    show(f"{count} files are restored to {target}; `jobnotes verify` looks through them.")


@click.command()
@click.option("--expect", metavar="HASH", help="A hash of an entry, noted down earlier, that must be there.")
@WORKSHOP
@click.pass_context
def verify(context: click.Context, expect: str | None, folder: Path | None) -> None:
    """Check that nothing was changed: chain, sheets, seals, corrections and recordings.

    Names the first thing that does not fit, says how many more there are, and ends with status 1. The last
    line is the hash of the newest entry: noted down somewhere else and given to --expect later, it shows
    that no entry was cut off the end since.
    """
    from jobnotes.store import head
    from jobnotes.store import verify as look_through

    with _open(folder) as workshop:
        check = None
        if workshop.sheets.any():
            from jobnotes.workshop import check_sheet_pdf

            check = check_sheet_pdf(workshop)
        faults = list(look_through(workshop, check, expect=expect))
        if faults:
            tell(faults[0].what)
            if len(faults) > 1:
                tell(f"{len(faults) - 1} more: {', '.join(fault.where for fault in faults[1:20])}.")
            context.exit(FAILED)
        number, newest = head(workshop)
        show(f"All of it fits: {number} entr{'y' if number == 1 else 'ies'} in the chain.\n{newest}")


@click.command()
@click.argument("memos", metavar="[MEMO]...", nargs=-1, type=int)
@click.option("--older-than", "days", metavar="DAYS", type=click.IntRange(min=0), help="All that are older.")
@REASON
@WORKSHOP
def forget(memos: tuple[int, ...], days: int | None, reason: str, folder: Path | None) -> None:
    """Delete recordings for good; sheets, drafts and their words stay, and the chain says what was deleted.

    MEMO is a memo's number. With --older-than it is every recording whose sheets were signed, or whose draft
    was withdrawn, more than so many days ago; without either, as many days as recording_days in the
    workshop's settings.toml says. A recording that is still needed is refused.
    """
    from jobnotes.store import TERMINAL, forget_older
    from jobnotes.store import forget as delete
    from jobnotes.workshop import load_settings

    with _open(folder) as workshop:
        if days is None and not memos:
            days = load_settings(workshop.folder).recording_days
            if days is None:
                raise click.UsageError("Give MEMO, --older-than, or recording_days in settings.toml.")
        for number in memos:
            memo = workshop.memos.get(number)
            delete(workshop, memo, TERMINAL, reason or "on request")
            show(f"The recording of {memo.name} is deleted.")
        gone = forget_older(workshop, days, TERMINAL, reason or None) if days is not None else []
        for memo in gone:
            show(f"The recording of {memo.name} is deleted.")
        if not memos and not gone:
            show("No recording is that old.")


WORKSHOP_COMMANDS = (take, person, register, words, backup, restore, verify, forget)
