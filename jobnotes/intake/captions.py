"""A transcript as WebVTT, to be read along with the recording (W3C, WebVTT: The Web Video Text Tracks
Format)."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from jobnotes.jobs.model import Transcript, Word

LONGEST_S = 6.0
MOST_CHARACTERS = 84
"""Two lines of 42, what broadcasters commonly allow."""
PAUSE_S = 1.0
SHORTEST_S = 0.1
STOPS = (".", "?", "!")


def webvtt(transcript: Transcript) -> str:
    """The transcript as WebVTT: a cue a sentence, or less where a sentence is long or the speaker pauses.

    A cue lasts LONGEST_S s and MOST_CHARACTERS characters at most. Words without times are left out.
    """
    blocks = ["WEBVTT"]
    for cue in _cues([word for word in transcript.words if word.start is not None and word.end is not None]):
        start = cue[0].start or 0.0
        end = max(cue[-1].end or 0.0, start + SHORTEST_S)
        text = " ".join(word.text for word in cue)
        blocks.append(f"{_clock(start)} --> {_clock(end)}\n{_escaped(text)}")
    return "\n\n".join(blocks) + "\n"


def _cues(words: Sequence[Word]) -> Iterator[list[Word]]:
    cue: list[Word] = []
    for word in words:
        if cue and _full(cue, word):
            yield cue
            cue = []
        cue.append(word)
    if cue:
        yield cue


def _full(cue: list[Word], following: Word) -> bool:
    length = sum(len(word.text) + 1 for word in cue) + len(following.text)
    return (
        length > MOST_CHARACTERS
        or (following.end or 0.0) - (cue[0].start or 0.0) > LONGEST_S
        or (following.start or 0.0) - (cue[-1].end or 0.0) > PAUSE_S
        or cue[-1].text.endswith(STOPS)
    )


def _clock(seconds: float) -> str:
    thousandths = round(seconds * 1000)
    minutes, rest = divmod(thousandths, 60_000)
    return f"{minutes // 60:02d}:{minutes % 60:02d}:{rest // 1000:02d}.{rest % 1000:03d}"


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
