#!/usr/bin/env python3
"""Write what the documents take from the program: the commands' help, and the JSON Schema of the jobs.

    python docs/write.py

In commands.md a line <!-- help: COMMAND --> stands before the frame with that command's help.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path

import click

from jobnotes.cli import commands
from jobnotes.jobs import jobs_schema

DOCS = Path(__file__).resolve().parent
MARK = re.compile(r"<!-- help: ([a-z -]+?) -->\n(?:\n```text\n.*?\n```\n)?", re.DOTALL)
WIDTH = 90


def helps(
    command: click.Command = commands, name: str = "jobnotes", parent: click.Context | None = None
) -> Iterator[tuple[str, str]]:
    """Each command's full name and its help, of the group itself first."""
    width = {"terminal_width": WIDTH, "max_content_width": WIDTH}
    context = command.make_context(name, [], parent=parent, resilient_parsing=True, **width)
    yield context.command_path, command.get_help(context)
    if isinstance(command, click.Group):
        for each in command.list_commands(context):
            found = command.get_command(context, each)
            assert found is not None
            yield from helps(found, each, context)


def commands_document(text: str) -> str:
    """The text of commands.md with each frame as it must be. Raises KeyError for a mark without a command."""
    known = dict(helps())
    return MARK.sub(lambda mark: f"<!-- help: {mark[1]} -->\n\n```text\n{known[mark[1]]}\n```\n", text)


def schema_document() -> str:
    """The text of jobs.schema.json."""
    return json.dumps(jobs_schema(), indent=2, ensure_ascii=False) + "\n"


def main() -> None:
    page = DOCS / "commands.md"
    page.write_text(commands_document(page.read_text(encoding="utf-8")), encoding="utf-8")
    (DOCS / "jobs.schema.json").write_text(schema_document(), encoding="utf-8")


if __name__ == "__main__":
    main()
