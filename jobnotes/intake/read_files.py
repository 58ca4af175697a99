"""What `jobnotes read` wrote, taken in again."""

from __future__ import annotations

import json
from pathlib import Path

from pydantic import ValidationError

from jobnotes.errors import JobnotesError
from jobnotes.files import reading
from jobnotes.intake.plain_files import refuse_pipes
from jobnotes.jobs.model import ReadMemo

COMMAND = "`jobnotes read`"


def load_read(path: Path) -> ReadMemo:
    """The memo with its jobs that the file holds. The file is only read.

    Raises JobnotesError where it is missing, a folder, a pipe, unreadable, no JSON, or not what
    `jobnotes read` writes; the sentence names the first place that is wrong. A file without evidence is
    refused too: its sheets would claim that nothing has to be looked at.
    """
    refuse_pipes(path)
    if path.is_dir():
        raise JobnotesError(f"{path} is a folder; give the files in it that {COMMAND} wrote.")
    with reading(path):
        content = path.read_bytes()
    try:
        data = json.loads(content)
    except (ValueError, RecursionError):
        raise JobnotesError(f"{path} is not JSON; give a file that {COMMAND} wrote.") from None
    if not isinstance(data, dict) or "jobs" not in data:
        raise JobnotesError(f"{path} holds no jobs; give a file that {COMMAND} wrote.")
    try:
        memo = ReadMemo.model_validate(data)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        place = "/".join(map(str, first["loc"]))
        raise JobnotesError(
            f"{path} is not what {COMMAND} writes: at {place}, {_small(first['msg'])}."
        ) from error
    if "evidence" not in data:
        raise JobnotesError(
            f"{path} holds no evidence, so nothing tells what to look at; give a file that {COMMAND} wrote."
        )
    return memo


def holds_jobs(path: Path) -> bool:
    """Whether the file is there and holds jobs that were read from a memo."""
    try:
        if not path.is_file():
            return False
        data = json.loads(path.read_bytes())
    except (OSError, ValueError, RecursionError):
        return False
    return isinstance(data, dict) and "jobs" in data


def _small(text: str) -> str:
    return text[:1].lower() + text[1:]
