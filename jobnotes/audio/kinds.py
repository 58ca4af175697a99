"""What a file is that is no sound, from its first bytes, so that the error can name it."""

from __future__ import annotations

SIGNATURES: tuple[tuple[bytes, int, str], ...] = (
    (b"%PDF", 0, "a PDF document"),
    (b"\x89PNG", 0, "a PNG picture"),
    (b"\xff\xd8\xff", 0, "a JPEG picture"),
    (b"GIF8", 0, "a GIF picture"),
    (b"PK\x03\x04", 0, "a ZIP archive or an office document"),
    (b"\xd0\xcf\x11\xe0", 0, "an office document"),
    (b"\x1f\x8b", 0, "a compressed archive"),
    (b"7z\xbc\xaf", 0, "a 7z archive"),
    (b"Rar!", 0, "a RAR archive"),
    (b"\x7fELF", 0, "a program"),
    (b"MZ", 0, "a program"),
    (b"SQLite format 3", 0, "a database"),
    (b"{\\rtf", 0, "a text document"),
)

SOUND_SIGNATURES: tuple[tuple[bytes, int, str], ...] = (
    (b"RIFF", 0, "WAV"),
    (b"fLaC", 0, "FLAC"),
    (b"OggS", 0, "OGG"),
    (b"\x1a\x45\xdf\xa3", 0, "WebM"),
    (b"ftyp", 4, "M4A or 3GP"),
    (b"moov", 4, "M4A"),
    (b"#!AMR", 0, "AMR"),
    (b"ID3", 0, "MP3"),
)


def not_sound(head: bytes) -> str | None:
    """What the file is by its first bytes (64 or more are wanted): 'a PDF document', 'text'; None if that is
    unclear."""
    for signature, place, name in SIGNATURES:
        if head[place : place + len(signature)] == signature:
            return name
    if head.lstrip()[:5].lower() in (b"<html", b"<!doc", b"<?xml"):
        return "a web page or XML"
    if head and _is_text(head):
        return "text"
    return None


def sound_kind(head: bytes) -> str | None:
    """The kind of sound file that the first bytes announce, None if they announce none."""
    for signature, place, name in SOUND_SIGNATURES:
        if head[place : place + len(signature)] == signature:
            return name
    return None


def _is_text(head: bytes) -> bool:
    # The head may stop inside a UTF-8 character, so up to three bytes at its end are let go.
    for cut in range(4):
        try:
            text = head[: len(head) - cut].decode("utf-8")
        except UnicodeDecodeError:
            continue
        return all(c.isprintable() or c in "\r\n\t\f" for c in text)
    return False
