"""What is written for each memo."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

from jobnotes.errors import JobnotesError
from jobnotes.files import reason, write_atomically
from jobnotes.intake.captions import webvtt
from jobnotes.intake.memos import Heard
from jobnotes.intake.read_files import holds_jobs
from jobnotes.jobs.model import ReadMemo


def made_folder(out: Path) -> Path:
    """The folder, made where missing. Raises JobnotesError where it can't be, or can't be written to: before
    any work is done for it."""
    try:
        out.mkdir(parents=True, exist_ok=True)
    except FileExistsError:
        raise JobnotesError(f"{out} is a file; give a folder to write to.") from None
    except OSError as error:
        raise JobnotesError(f"The folder {out} can't be made: {reason(error)}.") from error
    if not os.access(out, os.W_OK | os.X_OK):
        raise JobnotesError(f"The folder {out} can't be written to: writing there is not allowed.")
    return out


def spare_jobs(name: str, folder: Path) -> None:
    """Raises JobnotesError where NAME.json holds jobs: those are not lost for a transcript."""
    data = folder / f"{name}.json"
    if holds_jobs(data):
        raise JobnotesError(f"{data} holds jobs that were read; give the transcript another folder.")


def write_transcript(heard: Heard, folder: Path) -> list[Path]:
    """Writes NAME.json (memo, recorded_at, transcript) and NAME.vtt.

    Raises JobnotesError where they can't be written, and where NAME.json holds jobs.
    """
    spare_jobs(heard.name, folder)
    data = folder / f"{heard.name}.json"
    captions = folder / f"{heard.name}.vtt"
    content = {
        "memo": heard.name,
        "recorded_at": heard.recorded_at.isoformat(),
        "transcript": heard.transcript.model_dump(mode="json"),
    }
    write_atomically(data, _json(content))
    write_atomically(captions, webvtt(heard.transcript))
    return [data, captions]


def read_as_json(memo: ReadMemo) -> str:
    """What `jobnotes read` gives for a memo, as JSON text."""
    return _json(memo.model_dump(mode="json")).rstrip("\n")


def write_read(memo: ReadMemo, folder: Path) -> Path:
    """Writes MEMO.json. Raises JobnotesError where it can't be written."""
    path = folder / f"{memo.memo}.json"
    write_atomically(path, read_as_json(memo) + "\n")
    return path


class Sheets:
    """Keeps two files of one batch from writing the same sheets."""

    def __init__(self) -> None:
        self._from: dict[str, tuple[str, Path]] = {}

    def claim(self, memo: str, source: Path) -> None:
        """Takes the names of the sheets of the memo so named for `source`. Raises JobnotesError where another
        file has them: names that differ may be alike on paper, where what no file system takes is "-"."""
        from jobnotes.paper import sheet_name

        first = sheet_name(memo, 1)
        taken, other = self._from.setdefault(first.casefold(), (memo, source))
        if other == source:
            return
        if taken == memo:
            raise JobnotesError(
                f"{source} holds a memo named {memo!r}, as {other} does; print it into another folder."
            )
        raise JobnotesError(
            f"{source} holds the memo {memo!r} and {other} the memo {taken!r}: the names are alike on paper "
            f"({first}); print it into another folder."
        )


def _json(content: dict[str, Any]) -> str:
    return json.dumps(content, ensure_ascii=False, indent=2) + "\n"
