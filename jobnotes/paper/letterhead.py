"""Who the sheet is from and who has put their name to it."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from jobnotes.errors import JobnotesError
from jobnotes.files import reason
from jobnotes.paper.strokes import Strokes

LONGEST_TEXT = 200
"""Characters. What is longer is no name, and would push the job off its sheet."""


def refuse_long(what: str, text: str) -> None:
    """Raises JobnotesError where the text has more than LONGEST_TEXT characters; `what` names it."""
    if len(text) > LONGEST_TEXT:
        raise JobnotesError(
            f"{what} has {len(text)} characters; a sheet has room for {LONGEST_TEXT} at most."
        )


@dataclass(frozen=True)
class Firm:
    """The firm at the head of the sheet. An empty field prints nothing, an empty name a blank line."""

    name: str = ""
    address: tuple[str, ...] = ()
    telephone: str = ""
    email: str = ""


@dataclass(frozen=True)
class Signature:
    """A name put to the sheet, typed or, with `strokes`, drawn too. `at` is an aware time."""

    name: str
    at: datetime
    strokes: Strokes | None = None


@dataclass(frozen=True)
class Signatures:
    """The two who sign. The sheet is a draft until the engineer has."""

    engineer: Signature | None = None
    customer: Signature | None = None


def load_firm(file: Path) -> Firm:
    """The firm in a TOML file: `name`, `telephone` and `email` are text, `address` a list of lines.

    Raises JobnotesError where the file can't be read, is no TOML, holds anything else, or a text in it has
    more than LONGEST_TEXT characters.
    """
    if file.exists() and not (file.is_file() or file.is_dir()):
        # Opening a pipe would wait for ever.
        raise JobnotesError(f"{file} is a pipe or a device, not a file.")
    try:
        data = tomllib.loads(file.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise JobnotesError(f"There is no file {file}.") from None
    except OSError as error:
        raise JobnotesError(f"{file} can't be read: {reason(error)}.") from error
    except ValueError as error:
        raise JobnotesError(f"{file} is not TOML: {error}.") from error
    address = data.pop("address", [])
    if not isinstance(address, list) or not all(isinstance(line, str) for line in address):
        raise JobnotesError(f'{file}: address must be a list of lines, such as ["Unit 4", "Brackmere"].')
    for key, value in data.items():
        if key not in ("name", "telephone", "email"):
            raise JobnotesError(f"{file}: there is no {key!r}; give name, address, telephone and email.")
        if not isinstance(value, str):
            raise JobnotesError(f"{file}: {key} must be text in quotation marks.")
        refuse_long(f"{file}: {key}", value)
    for line in address:
        refuse_long(f"{file}: a line of the address", line)
    return Firm(address=tuple(address), **data)
