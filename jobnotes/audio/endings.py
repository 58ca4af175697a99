"""Whether a sound file ends where its own container says that it should.

The decoder takes what is there and keeps silent about what is missing, so the containers are asked here.
"""

from __future__ import annotations

import struct
from typing import BinaryIO

EBML_SEGMENT = 0x18538067
EBML_CLUSTER = 0x1F43B675


def broken_off(stream: BinaryIO, format_name: str) -> bool:
    """True when the container itself shows that the file is cut short. `stream` is seekable; its place is
    lost.

    `format_name` is the demuxer's: wav, ogg or matroska,webm are looked into; of others nothing is known
    here. Sources: RIFF (Multimedia Programming Interface 1.0, 1991), RFC 3533 (Ogg), RFC 8794 (EBML) with RFC
    9559 (Matroska).
    """
    size = stream.seek(0, 2)
    if format_name == "wav":
        return _wav(stream, size)
    if format_name == "ogg":
        return _ogg(stream, size)
    if format_name.startswith("matroska"):
        return _matroska(stream, size)
    return False


def states_length(stream: BinaryIO, format_name: str) -> bool:
    """True when the length that the demuxer gives was written by the encoder, not guessed from the bit
    rate."""
    if format_name == "mp3":
        stream.seek(0)
        head = stream.read(10)
        start = 0
        if head[:3] == b"ID3" and len(head) == 10:
            # An ID3v2 tag stands first; its size is four bytes of seven bits (ID3v2.4, section 3.1).
            start = 10 + (head[6] << 21 | head[7] << 14 | head[8] << 7 | head[9])
        stream.seek(start)
        frame = stream.read(256)
        return b"Xing" in frame or b"Info" in frame or b"VBRI" in frame
    return format_name == "flac" or format_name.startswith("mov")


def _wav(stream: BinaryIO, size: int) -> bool:
    stream.seek(12)
    while len(header := stream.read(8)) == 8:
        name, length = struct.unpack("<4sI", header)
        here = stream.tell()
        if name == b"data":
            # A recorder that writes as it goes leaves 0 or the largest number, and never comes back to fill
            # it in.
            return bool(length < 0x7FFFFFFF and here + length > size)
        stream.seek(here + length + length % 2)
    return False


def _ogg(stream: BinaryIO, size: int) -> bool:
    # Two pages at most: a page is at most 65,307 bytes.
    tail_start = max(0, size - 2 * 65_307)
    stream.seek(tail_start)
    tail = stream.read()
    place = tail.rfind(b"OggS")
    if place < 0 or len(tail) < place + 27:
        return True
    flags, segments = tail[place + 5], tail[place + 26]
    table = tail[place + 27 : place + 27 + segments]
    whole = len(table) == segments and len(tail) >= place + 27 + segments + sum(table)
    end_of_stream = bool(flags & 0x04)
    return not (whole and end_of_stream)


def _matroska(stream: BinaryIO, size: int) -> bool:
    place = 0
    while place < size:
        stream.seek(place)
        head = stream.read(12)
        try:
            name, name_length = _vint(head, keep_marker=True)
            length, length_length = _vint(head[name_length:], keep_marker=False)
        except (ValueError, IndexError):
            return True
        unknown = length == (1 << (7 * length_length)) - 1
        place += name_length + length_length
        if unknown and name not in (EBML_SEGMENT, EBML_CLUSTER):
            return False
        if unknown:
            continue
        if place + length > size:
            return True
        place += length
    return False


def _vint(data: bytes, *, keep_marker: bool) -> tuple[int, int]:
    # A variable-size integer: the place of the first set bit gives its length in bytes (RFC 8794, section 4).
    first = data[0]
    if first == 0:
        raise ValueError("longer than eight bytes")
    length = 9 - first.bit_length()
    if len(data) < length:
        raise IndexError("cut short")
    value = first if keep_marker else first & ((1 << (8 - length)) - 1)
    for byte in data[1:length]:
        value = value << 8 | byte
    return value, length
