"""A memo that was typed, or heard by somebody else: a file with its words."""

from __future__ import annotations

import unicodedata
from pathlib import Path

from jobnotes.errors import JobnotesError
from jobnotes.files import reading

LONGEST = 1_000_000
"""Bytes. Half an hour of fast speech is about 40,000."""
PLAIN = 0.8
"""Share of a text in an old 8-bit code that must be ASCII: English is, save for a pound sign or an accent."""
WHITE = frozenset("\t\n\r\f\v")


def is_text_file(path: Path) -> bool:
    """Whether the file's name says that it holds words and no sound."""
    return path.suffix.lower() == ".txt"


def read_text(path: Path) -> str:
    """The words in a .txt file, lines ended by \\n. The file is only read.

    UTF-8 with or without a byte order mark, UTF-16 with one, else Windows-1252 (the superset of Latin-1 that
    British machines wrote). Raises JobnotesError where the file is missing, a folder, unreadable, empty, too
    long for a memo, without a word, or no text.
    """
    if path.is_dir():
        raise JobnotesError(f"{path} is a folder, not a text file.")
    with reading(path), path.open("rb") as stream:
        data = stream.read(LONGEST + 1)
    if not data:
        raise JobnotesError(f"{path} is empty (0 bytes).")
    if len(data) > LONGEST:
        raise JobnotesError(f"{path} is longer than {LONGEST / 1e6:g} MB, which no memo is.")
    text = _decoded(data)
    if text is None:
        raise JobnotesError(f"{path} is not text{_what_else(data)}.")
    if not any(character.isalnum() for character in text):
        raise JobnotesError(f"{path} holds no words.")
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _decoded(data: bytes) -> str | None:
    """The text in `data`, None where it is none."""
    codes = ["utf-8-sig", "cp1252"]
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        codes = ["utf-16"]
    for code in codes:
        try:
            text = data.decode(code)
        except UnicodeDecodeError:
            continue
        if any(unicodedata.category(character) == "Cc" for character in text if character not in WHITE):
            return None
        if code == "cp1252" and sum(map(str.isascii, text)) < PLAIN * len(text):
            return None
        return text
    return None


def _what_else(data: bytes) -> str:
    from jobnotes.audio.kinds import not_sound, sound_kind

    head = data[:512]
    if (kind := sound_kind(head)) is not None:
        return f" but a sound file ({kind}); give its name the ending of its kind"
    if (other := not_sound(head)) not in (None, "text"):
        return f" but {other}"
    return ""
