"""Decode a sound file with PyAV, which brings its own FFmpeg libraries."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
import numpy.typing as npt

from jobnotes.audio.endings import broken_off, states_length
from jobnotes.audio.kinds import not_sound, sound_kind
from jobnotes.audio.sound import RATE, Samples, Sound, flat_share, measured
from jobnotes.errors import JobnotesError
from jobnotes.files import reading

# Only demuxers of sound and film. FFmpeg knows play lists and descriptions that fetch other files and
# addresses; a memo from a stranger must not be able to do so.
CONTAINERS = (
    "wav,w64,aiff,au,caf,flac,mp3,aac,ac3,eac3,amr,amrnb,amrwb,mov,ogg,matroska,webm,asf,avi,mpegts,mpeg,nistsphere,"
    "wv,ape,tta,voc,gsm,flv"
)
RATES = (4_000, 384_000)
SHORTFALL_S = 0.25
"""Encoder delay and padding make up to about 0.1 s of difference between the stated and the decoded length.
"""
GAP_S = 0.3
"""A time stamp so far ahead of the sound before it shows that sound is missing; silence takes its place."""
APART = 10.0
"""Amplitude ratio, 20 dB. A channel so far above the other, or above their sum, carries the voice alone."""
FIRST_YEAR = 2000
"""Recorders whose clock was never set write 1904 or 1970, the zero of their containers' clocks."""


def load(path: Path, limit_s: float = 1800.0) -> Sound:
    """The sound in `path` as 16 kHz mono samples, with levels and remarks. The file is only read.

    WAV, FLAC, MP3, M4A/AAC, OGG/Opus, WebM, AMR/3GP and what else FFmpeg decodes, of any usual rate, mono or
    stereo. `limit_s` is the longest recording taken, in seconds. A file that breaks off gives what decodes,
    and a remark says where it broke off. Raises JobnotesError when the path is missing, a folder, unreadable
    or empty, when it is no sound, when nothing of it can be decoded, or when it is longer than the limit.
    """
    path = Path(path)
    if path.is_dir():
        raise JobnotesError(f"{path} is a folder, not a sound file.")
    with reading(path), path.open("rb") as stream:
        return _load(stream, path, limit_s)


def _load(stream: BinaryIO, path: Path, limit_s: float) -> Sound:
    import av

    head = stream.read(512)
    if not head:
        raise JobnotesError(f"{path} is empty (0 bytes).")
    kind = sound_kind(head)
    if kind is None and (other := not_sound(head)) is not None:
        raise JobnotesError(f"{path} is not a sound file but {other}.")
    stream.seek(0)
    try:
        container = av.open(
            stream, mode="r", metadata_errors="ignore", options={"format_whitelist": CONTAINERS}
        )
    except (av.FFmpegError, ValueError) as error:
        raise JobnotesError(_why_not_opened(path, kind)) from error
    with container:
        source = _source(container, path)
        stated = float(source.duration * source.time_base) if source.duration else None
        created = _created({**source.metadata, **container.metadata})
        format_name = container.format.name
        channels, faults = _decode(container, source, path, limit_s)
    if channels.shape[1] == 0:
        raise JobnotesError(
            f"{path} is a {kind or 'sound'} file without any sound in it that can be decoded."
        )
    sound = measured(_mono(channels), created, max(flat_share(channel) for channel in channels))
    last = sound.seconds - SHORTFALL_S
    # A fault of the decoder at the very end is a last frame cut in two; one before it is damage within.
    within = [fault for fault in faults if fault < last]
    cut = broken_off(stream, format_name) or len(within) < len(faults)
    if stated is not None and not within and states_length(stream, format_name):
        cut = cut or sound.seconds < stated - SHORTFALL_S
    if cut:
        sound.remarks.insert(
            0, f"The recording breaks off at {sound.seconds:.1f} s: the rest of the file is missing."
        )
    if within:
        sound.remarks.append(f"The file is damaged at {within[0]:.1f} s: words may be missing there.")
    return sound


def _source(container: Any, path: Path) -> Any:
    """The first sound stream of the container, held against what can be decoded."""
    source = next(iter(container.streams.audio), None)
    if source is None:
        raise JobnotesError(f"{path} holds no sound, only pictures or other data.")
    if source.codec_context is None:
        raise JobnotesError(f"{path} holds sound of a kind that can't be decoded.")
    rate = source.codec_context.sample_rate or 0
    if not RATES[0] <= rate <= RATES[1]:
        raise JobnotesError(f"{path} is a damaged sound file: it claims {rate} samples a second.")
    return source


def _why_not_opened(path: Path, kind: str | None) -> str:
    if kind in ("M4A or 3GP", "M4A"):
        return (
            f"{path} is a damaged {kind} file: its index is missing, as when a recording is cut off before "
            "it is saved, and nothing in it can be decoded."
        )
    if kind is not None:
        return f"{path} is a damaged {kind} file: nothing in it can be decoded."
    return f"{path} is not a sound file of any known kind."


def _decode(
    container: Any, source: Any, path: Path, limit_s: float
) -> tuple[npt.NDArray[np.float32], list[float]]:
    """Samples at RATE, shape (1 or 2 channels, samples), and the seconds at which the decoder met damage."""
    import av

    count = 2 if source.codec_context.channels > 1 else 1
    resampler = av.AudioResampler(format="flt", layout="stereo" if count == 2 else "mono", rate=RATE)
    chunks: list[Samples] = []
    taken = 0
    faults: list[float] = []
    # The time stamp of the first frame, and the seconds of sound since then: a later stamp beyond them is a
    # gap.
    first: float | None = None
    heard = 0.0

    def keep(chunk: npt.NDArray[np.float32]) -> None:
        nonlocal taken
        chunks.append(chunk)
        taken += len(chunk)
        if taken > limit_s * RATE:
            raise JobnotesError(
                f"{path} is longer than the limit of {limit_s / 60:g} min; cut it into shorter recordings."
            )

    def resampled(frame: Any) -> list[Any]:
        try:
            return list(resampler.resample(frame))
        except (av.FFmpegError, ValueError):
            # The kind of sound changes in mid-stream, as where two recordings were joined: nothing can be
            # made of it.
            faults.append(taken / RATE)
            return []

    try:
        for packet in container.demux(source):
            try:
                frames = packet.decode()
            except (av.FFmpegError, ValueError):
                faults.append(taken / RATE)
                continue
            for frame in frames:
                if frame.time is not None and frame.sample_rate:
                    first = frame.time - heard if first is None else first
                    if GAP_S < (missing := frame.time - first - heard) < limit_s:
                        faults.append(taken / RATE)
                        keep(np.zeros((round(missing * RATE), count), dtype=np.float32))
                        heard += missing
                    heard += frame.samples / frame.sample_rate
                # Gaps are filled above, within bounds; the resampler would fill them without any.
                frame.pts = None
                for piece in resampled(frame):
                    keep(piece.to_ndarray().reshape(-1, count))
    except av.FFmpegError:
        faults.append(taken / RATE)
    if taken:
        for piece in resampled(None):
            keep(piece.to_ndarray().reshape(-1, count))
        samples = np.concatenate(chunks).T
        if not np.isfinite(samples).all():
            samples = np.nan_to_num(samples, nan=0.0, posinf=1.0, neginf=-1.0)
        return samples, faults
    return np.zeros((count, 0), dtype=np.float32), faults


def _mono(channels: npt.NDArray[np.float32]) -> Samples:
    """The mean of two channels; the stronger one where the other is dead or the two cancel out."""
    if len(channels) == 1:
        return np.ascontiguousarray(channels[0])
    mixed: Samples = channels.mean(axis=0, dtype=np.float32)
    strengths = [float(np.sqrt(np.mean(np.square(c, dtype=np.float64)))) for c in (*channels, mixed)]
    left, right, both = strengths
    if max(left, right) > APART * min(left, right, both):
        return np.ascontiguousarray(channels[0] if left >= right else channels[1])
    return mixed


def _created(tags: dict[str, str]) -> datetime | None:
    """The aware time in a container's tags: when the recorder says that it recorded."""
    for name in ("com.apple.quicktime.creationdate", "creation_time"):
        try:
            time = datetime.fromisoformat(tags[name])
        except (KeyError, ValueError):
            continue
        if time.tzinfo is not None and time.year >= FIRST_YEAR:
            return time
    return None
