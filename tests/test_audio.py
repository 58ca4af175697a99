"""Sound files of every kind, whole and broken. The files are made here with PyAV's encoders."""

from __future__ import annotations

import os
import struct
from datetime import UTC, datetime
from pathlib import Path

import av
import numpy as np
import pytest

from jobnotes.audio import RATE, Sound, load
from jobnotes.audio.endings import broken_off
from jobnotes.audio.kinds import not_sound, sound_kind
from jobnotes.audio.sound import dbfs, flat_share, measured
from jobnotes.errors import JobnotesError

SECONDS = 4.0

# file name, codec, samples a second, layout, options of the container
KINDS = [
    ("memo.wav", "pcm_s16le", 8_000, "mono", {}),
    ("memo.wav", "pcm_s24le", 48_000, "stereo", {}),
    ("memo.wav", "pcm_f32le", 44_100, "mono", {}),
    ("memo.flac", "flac", 44_100, "stereo", {}),
    ("memo.mp3", "libmp3lame", 44_100, "stereo", {}),
    ("memo.mp3", "libmp3lame", 16_000, "mono", {}),
    ("memo.m4a", "aac", 48_000, "mono", {}),
    ("memo.m4a", "aac", 22_050, "stereo", {"movflags": "faststart"}),
    ("memo.aac", "aac", 16_000, "mono", {}),
    ("memo.ogg", "libopus", 48_000, "mono", {}),
    ("memo.opus", "libopus", 16_000, "stereo", {}),
    ("memo.webm", "libopus", 48_000, "mono", {}),
    ("memo.webm", "libopus", 48_000, "mono", {"live": "1"}),
    ("memo.amr", "libopencore_amrnb", 8_000, "mono", {}),
    ("memo.3gp", "libopencore_amrnb", 8_000, "mono", {}),
]


def murmur(seconds: float = SECONDS, level: float = 0.2) -> np.ndarray:
    """Something with the shape of speech: a buzzing tone below 1 kHz in bursts of differing length, float32
    mono."""
    random = np.random.default_rng(7)
    time = np.arange(int(seconds * RATE)) / RATE
    pitch = np.cumsum(120 + 30 * np.sin(2 * np.pi * 0.7 * time)) / RATE
    buzz = sum(np.sin(2 * np.pi * n * pitch) / n for n in range(1, 8))
    bursts = np.repeat(random.choice([0.02, 0.3, 1.0], int(seconds / 0.2) + 1), int(0.2 * RATE))[: len(time)]
    bursts = np.convolve(bursts, np.hanning(800) / np.hanning(800).sum(), mode="same")
    return (level * buzz * bursts).astype(np.float32)


def encode(
    path: Path,
    samples: np.ndarray,
    codec: str = "pcm_s16le",
    rate: int = RATE,
    layout: str = "mono",
    options: dict[str, str] | None = None,
    tags: dict[str, str] | None = None,
) -> Path:
    """Write `samples` (float32; shape (n,) or (2, n), RATE a second) to `path` with PyAV; the suffix names
    the container."""
    kind = {".aac": "adts"}.get(path.suffix)
    with av.open(str(path), "w", format=kind, options=options or {}) as container:
        container.metadata.update(tags or {})
        stream = container.add_stream(codec, rate=rate, layout=layout)
        to_codec = av.AudioResampler(format=stream.format.name, layout=layout, rate=rate)
        planes = np.atleast_2d(samples).astype(np.float32)
        frame = av.AudioFrame.from_ndarray(
            planes, format="fltp", layout="stereo" if len(planes) == 2 else "mono"
        )
        frame.sample_rate = RATE
        queue = av.AudioFifo()
        for piece in to_codec.resample(frame) + to_codec.resample(None):
            piece.pts = None
            queue.write(piece)
        size = stream.codec_context.frame_size or 1024
        written = 0
        while piece := queue.read(size) or queue.read(size, partial=True):
            piece.pts = written
            written += piece.samples
            container.mux(stream.encode(piece))
        container.mux(stream.encode(None))
    return path


def envelope(samples: np.ndarray) -> np.ndarray:
    size = RATE // 50
    return np.sqrt(np.mean(samples[: len(samples) // size * size].reshape(-1, size) ** 2, axis=1))


def likeness(sound: Sound, samples: np.ndarray) -> float:
    """Correlation of the loudness curves, 0 to 1, at the best shift of up to 0.1 s (coders delay)."""
    one, other = envelope(sound.samples), envelope(samples)
    best = 0.0
    for shift in range(6):
        length = min(len(one) - shift, len(other))
        best = max(best, float(np.corrcoef(one[shift : shift + length], other[:length])[0, 1]))
    return best


@pytest.mark.parametrize(("name", "codec", "rate", "layout", "options"), KINDS)
def test_every_kind_gives_the_same_sound_and_the_file_stays_as_it_was(
    tmp_path: Path, name: str, codec: str, rate: int, layout: str, options: dict[str, str]
) -> None:
    path = encode(tmp_path / name, murmur(), codec, rate, layout, options)
    os.utime(path, (1_700_000_000, 1_700_000_000))
    before = path.read_bytes()
    sound = load(path)
    assert sound.samples.dtype == np.float32
    assert sound.samples.ndim == 1
    assert sound.seconds == pytest.approx(SECONDS, abs=0.12)
    assert sound.seconds == pytest.approx(len(sound.samples) / RATE)
    assert likeness(sound, murmur()) > 0.95
    assert sound.rms_dbfs == pytest.approx(measured(murmur()).rms_dbfs, abs=3.5)
    assert sound.remarks == []
    assert path.read_bytes() == before
    assert path.stat().st_mtime == 1_700_000_000


@pytest.mark.parametrize(("name", "codec", "rate", "layout", "options"), KINDS)
def test_a_cut_file_gives_what_decodes_and_says_where_it_broke_off(
    tmp_path: Path, name: str, codec: str, rate: int, layout: str, options: dict[str, str]
) -> None:
    path = encode(tmp_path / name, murmur(), codec, rate, layout, options)
    whole = path.read_bytes()
    path.write_bytes(whole[: int(len(whole) * 0.6)])
    if whole[4:8] == b"ftyp" and whole.index(b"moov") > len(whole) * 0.6:
        # The index of an M4A or 3GP file stands at its end unless asked for at the front.
        with pytest.raises(JobnotesError, match=r"damaged M4A or 3GP file: its index is missing"):
            load(path)
        return
    sound = load(path)
    assert 1.0 < sound.seconds < 3.2
    assert sound.remarks[0] == (
        f"The recording breaks off at {sound.seconds:.1f} s: the rest of the file is missing."
    )
    kept = murmur()[: len(sound.samples)]
    assert likeness(sound, kept) > 0.9


def refuse(path: Path, limit_s: float = 1800.0) -> str:
    with pytest.raises(JobnotesError) as caught:
        load(path, limit_s)
    text = str(caught.value)
    assert "\n" not in text
    assert text.endswith(".")
    return text


def test_what_is_no_sound_is_named(tmp_path: Path) -> None:
    for name, content, said in [
        ("sheet.m4a", b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n1 0 obj\n<<>>\nendobj\n", "a PDF document"),
        ("notes.wav", b"Fleet number, then the complaint.\n" * 40, "text"),
        ("umlaut.wav", ("ü" * 600).encode(), "text"),
        ("photo.mp3", b"\xff\xd8\xff\xe0\x00\x10JFIF" + bytes(200), "a JPEG picture"),
        ("photo.ogg", b"\x89PNG\r\n\x1a\n" + bytes(200), "a PNG picture"),
        ("page.flac", b"<!DOCTYPE html><html></html>", "a web page or XML"),
        ("bundle.m4a", b"PK\x03\x04" + bytes(200), "a ZIP archive or an office document"),
    ]:
        path = tmp_path / name
        path.write_bytes(content)
        assert refuse(path) == f"{path} is not a sound file but {said}."
    path = tmp_path / "random.mp3"
    path.write_bytes(np.random.default_rng(1).bytes(5000))
    assert refuse(path) == f"{path} is not a sound file of any known kind."


def test_play_lists_that_point_elsewhere_are_not_followed(tmp_path: Path) -> None:
    encode(tmp_path / "memo.wav", murmur())
    for name, text in [
        ("list.m3u8", "#EXTM3U\n#EXT-X-TARGETDURATION:4\n#EXTINF:4,\nmemo.wav\n#EXT-X-ENDLIST\n"),
        ("list.wav", "ffconcat version 1.0\nfile memo.wav\n"),
    ]:
        (tmp_path / name).write_text(text)
        assert "is not a sound file" in refuse(tmp_path / name)


def test_missing_folder_empty_and_unreadable(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert refuse(tmp_path / "none.wav") == f"There is no file {tmp_path / 'none.wav'}."
    assert refuse(tmp_path) == f"{tmp_path} is a folder, not a sound file."
    empty = tmp_path / "empty.wav"
    empty.touch()
    assert refuse(empty) == f"{empty} is empty (0 bytes)."

    shut = encode(tmp_path / "shut.wav", murmur(0.5))
    shut.chmod(0)
    if os.geteuid() == 0:
        # Nothing is shut to root, so the refusal is played.
        def denied(self: Path, *_: object, **__: object) -> None:
            raise PermissionError(13, "Permission denied")

        monkeypatch.setattr(Path, "open", denied)
    assert refuse(shut) == f"{shut} may not be read: permission is denied."


def test_a_file_that_fails_while_it_is_read() -> None:
    path = Path("/proc/self/mem")
    if not path.exists():
        pytest.skip("needs Linux's /proc")
    assert refuse(path) == "/proc/self/mem can't be read: input/output error."


def test_pictures_without_sound_and_containers_without_samples(tmp_path: Path) -> None:
    film = tmp_path / "film.mp4"
    with av.open(str(film), "w") as container:
        stream = container.add_stream("mpeg4", rate=5)
        stream.width = stream.height = 64
        stream.pix_fmt = "yuv420p"
        for _ in range(5):
            frame = av.VideoFrame.from_ndarray(np.zeros((64, 64, 3), np.uint8), format="rgb24")
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    assert refuse(film) == f"{film} holds no sound, only pictures or other data."
    hollow = tmp_path / "hollow.wav"
    hollow.write_bytes(wav_header(0))
    assert refuse(hollow) == f"{hollow} is a WAV file without any sound in it that can be decoded."


def wav_header(data_bytes: int, rate: int = RATE) -> bytes:
    form = struct.pack("<4sIHHIIHH", b"fmt ", 16, 1, 1, rate, rate * 2, 2, 16)
    return (
        b"RIFF"
        + struct.pack("<I", (36 + data_bytes) & 0xFFFFFFFF)
        + b"WAVE"
        + form
        + struct.pack("<4sI", b"data", data_bytes)
    )


def test_a_recorder_that_never_filled_in_the_length(tmp_path: Path) -> None:
    pcm = (murmur() * 32767).astype("<i2").tobytes()
    for length in (0xFFFFFFFF, 0x7FFFFFFF):
        path = tmp_path / "memo.wav"
        path.write_bytes(wav_header(length) + pcm)
        sound = load(path)
        assert sound.seconds == pytest.approx(SECONDS, abs=0.01)
        assert sound.remarks == []


def test_longer_than_the_limit(tmp_path: Path) -> None:
    path = encode(tmp_path / "long.mp3", murmur(7.0), "libmp3lame")
    assert (
        refuse(path, limit_s=6.0)
        == f"{path} is longer than the limit of 0.1 min; cut it into shorter recordings."
    )
    assert load(path, limit_s=7.5).seconds == pytest.approx(7.0, abs=0.1)


@pytest.mark.parametrize(
    ("name", "codec"),
    [
        ("a.flac", "flac"),
        ("a.mp3", "libmp3lame"),
        ("a.m4a", "aac"),
        ("a.ogg", "libopus"),
        ("a.webm", "libopus"),
    ],
)
def test_damage_within(tmp_path: Path, name: str, codec: str) -> None:
    path = encode(tmp_path / name, murmur(12.0), codec)
    content = bytearray(path.read_bytes())
    middle = len(content) // 2
    content[middle : middle + 1500] = np.random.default_rng(3).bytes(1500)
    path.write_bytes(content)
    sound = load(path)
    # Silence stands for what is lost, so that later words keep their times.
    assert sound.seconds == pytest.approx(12.0, abs=0.9)
    damaged = [remark for remark in sound.remarks if remark.startswith("The file is damaged at ")]
    assert len(damaged) == 1
    assert 4.0 < float(damaged[0].split()[5]) < 8.0
    assert not any("breaks off" in remark for remark in sound.remarks)


def test_levels(tmp_path: Path) -> None:
    tone = np.sin(2 * np.pi * 440 * np.arange(RATE) / RATE).astype(np.float32)
    # A sine's RMS is its peak less 3.01 dB.
    sound = measured(tone * 0.5)
    assert sound.peak_dbfs == pytest.approx(-6.02, abs=0.01)
    assert sound.rms_dbfs == pytest.approx(-9.03, abs=0.01)
    assert dbfs(0.0) == -120.0
    assert measured(np.zeros(RATE, np.float32)).remarks == [
        "The recording is silent: its level is -120 dBFS."
    ]
    hiss = np.random.default_rng(2).standard_normal(RATE).astype(np.float32)
    assert "silent" in measured(hiss * 1e-4).remarks[0]
    quiet = load(encode(tmp_path / "quiet.wav", murmur(level=0.002)))
    assert len(quiet.remarks) == 1
    assert quiet.remarks[0].startswith("The recording is too quiet (-")
    assert measured(murmur()).remarks == []


def test_speech_in_a_long_pause_is_not_called_silent() -> None:
    assert measured(np.concatenate([murmur(15.0), np.zeros(200 * RATE, np.float32)])).remarks == []


@pytest.mark.parametrize(
    ("name", "codec"), [("loud.wav", "pcm_s16le"), ("loud.m4a", "aac"), ("loud.mp3", "libmp3lame")]
)
def test_clipped(tmp_path: Path, name: str, codec: str) -> None:
    loud = np.clip(murmur(level=3.0), -1.0, 1.0)
    sound = load(encode(tmp_path / name, loud, codec))
    assert sound.clipped > 0.001
    assert any(remark.startswith("The recording is clipped (") for remark in sound.remarks)
    fair = murmur()
    fair *= 0.97 / np.max(np.abs(fair))
    assert load(encode(tmp_path / name, fair, codec)).clipped < 0.001
    assert flat_share(np.array([1.0, 0.0, 1.0, 0.0], np.float32)) == 0.0


def test_channels_that_would_cancel_or_weaken_the_voice(tmp_path: Path) -> None:
    voice = murmur()
    against = load(encode(tmp_path / "against.wav", np.stack([voice, -voice]), layout="stereo"))
    assert likeness(against, voice) > 0.99
    assert against.rms_dbfs == pytest.approx(measured(voice).rms_dbfs, abs=0.2)
    one_sided = load(encode(tmp_path / "left.wav", np.stack([voice, np.zeros_like(voice)]), layout="stereo"))
    assert one_sided.rms_dbfs == pytest.approx(measured(voice).rms_dbfs, abs=0.2)
    both = load(encode(tmp_path / "both.wav", np.stack([voice, voice]), layout="stereo"))
    assert both.rms_dbfs == pytest.approx(measured(voice).rms_dbfs, abs=0.2)


def test_too_short_to_hold_a_word(tmp_path: Path) -> None:
    sound = load(encode(tmp_path / "click.wav", murmur(0.05)))
    assert sound.remarks == ["The recording lasts only 0.05 s, too short to hold a word."]
    assert load(encode(tmp_path / "one.wav", np.full(1, 0.5, np.float32))).seconds < 0.01


def test_creation_time(tmp_path: Path) -> None:
    stamped = encode(
        tmp_path / "memo.m4a", murmur(0.5), "aac", tags={"creation_time": "2031-05-06T07:08:09.000000Z"}
    )
    assert load(stamped).created == datetime(2031, 5, 6, 7, 8, 9, tzinfo=UTC)
    assert load(encode(tmp_path / "plain.m4a", murmur(0.5), "aac")).created is None
    unset = encode(tmp_path / "unset.m4a", murmur(0.5), "aac", tags={"creation_time": "1970-01-01T00:00:00Z"})
    assert load(unset).created is None


def test_kinds_by_first_bytes() -> None:
    assert not_sound(b"") is None
    assert not_sound(bytes(100)) is None
    assert sound_kind(b"RIFF....WAVE") == "WAV"
    assert sound_kind(b"%PDF-1.4") is None


def test_endings_of_whole_files(tmp_path: Path) -> None:
    for name, codec, format_name in [
        ("a.wav", "pcm_s16le", "wav"),
        ("a.ogg", "libopus", "ogg"),
        ("a.webm", "libopus", "matroska,webm"),
    ]:
        path = encode(tmp_path / name, murmur(), codec)
        whole = path.read_bytes()
        with path.open("rb") as stream:
            assert not broken_off(stream, format_name)
        for share in (0.2, 0.5, 0.9, 0.99):
            path.write_bytes(whole[: int(len(whole) * share)])
            with path.open("rb") as stream:
                assert broken_off(stream, format_name), (name, share)
