"""What the terminal shows and takes: sentences, output, a bar of progress."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress

import click

from jobnotes.errors import JobnotesError
from jobnotes.files import reason


def tell(sentence: str) -> None:
    """A sentence for the user, on standard error."""
    with suppress(OSError):
        click.echo(sentence, err=True)


def show(text: str) -> None:
    """Output, on standard output, as UTF-8 whatever the locale. Raises JobnotesError where it can't be
    written."""
    try:
        click.echo(text.encode("utf-8", "replace"))
        sys.stdout.flush()
    except BrokenPipeError:
        # Whoever read our output has read enough, as `head` does.
        _silence()
        raise SystemExit(0) from None
    except OSError as error:
        _silence()
        raise JobnotesError(f"The output could not be written: {reason(error)}.") from error


def _silence() -> None:
    """Python flushes standard output once more when it ends, and would fail once more."""
    with suppress(OSError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


@contextmanager
def bar(name: str, total: float) -> Iterator[Callable[[float], None]]:
    """A bar for `total` seconds of sound on standard error, gone when done; nothing where that is no
    terminal.

    Gives what is to be told the seconds done so far.
    """
    if not sys.stderr.isatty():
        yield lambda _done: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        TextColumn("{task.completed:.0f} of {task.total:.0f} s"),
        TimeRemainingColumn(),
    )
    with Progress(*columns, console=Console(stderr=True), transient=True) as progress:
        task = progress.add_task(name, total=max(total, 0.001))
        yield lambda done: progress.update(task, completed=done)
