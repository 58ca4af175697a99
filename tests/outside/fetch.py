#!/usr/bin/env python3
"""Fetch what the tests hold the program against and that others have published. Does nothing twice.

    python tests/outside/fetch.py

pocketsphinx 5.1.1, source archive (Carnegie Mellon University and others; BSD-2-Clause). Used of it:
- test/data/librivox: five clips of "Sense and Sensibility" (Jane Austen), read by a volunteer of LibriVox,
  with transcripts. LibriVox recordings are in the public domain.
- test/data/{awful,bad,evil,null}.wav: WAV files broken each in another way.

The archive lies in .work/outside, which is not committed; its SHA-256 is checked before anything is taken out
of it.
"""

from __future__ import annotations

import hashlib
import shutil
import subprocess
import sys
import tarfile
import tempfile
from pathlib import Path

NAME = "pocketsphinx"
VERSION = "5.1.1"
SHA256 = "675778b309a22dfc9b7d37f7621976bba491d2a5f8c59696bd77fd6d07271355"
FOLDER = Path(__file__).resolve().parents[2] / ".work" / "outside"
WANTED = (
    "test/data/librivox/",
    "test/data/awful.wav",
    "test/data/bad.wav",
    "test/data/evil.wav",
    "test/data/null.wav",
)


def fetch() -> Path:
    """The folder of unpacked data (with test/data in it), fetched if it is not there yet.

    Raises RuntimeError when pip can't get the archive, or its checksum is another.
    """
    data = FOLDER / f"{NAME}-{VERSION}"
    if (data / "complete").exists():
        return data
    FOLDER.mkdir(parents=True, exist_ok=True)
    archive = FOLDER / f"{NAME}-{VERSION}.tar.gz"
    if not archive.exists() or _sha256(archive) != SHA256:
        _download(archive)
    if (found := _sha256(archive)) != SHA256:
        archive.unlink()
        raise RuntimeError(f"{archive.name} has SHA-256 {found}, not {SHA256}: it is not used.")
    shutil.rmtree(data, ignore_errors=True)
    with tarfile.open(archive) as tar:
        for member in tar:
            if member.isfile() and member.name.partition("/")[2].startswith(WANTED):
                tar.extract(member, FOLDER, filter="data")
    (data / "complete").touch()
    return data


def _download(archive: Path) -> None:
    with tempfile.TemporaryDirectory(dir=archive.parent) as temporary:
        command = [
            sys.executable,
            "-m",
            "pip",
            "download",
            "--quiet",
            "--disable-pip-version-check",
            "--no-deps",
        ]
        command += ["--no-binary", NAME, "--dest", temporary, f"{NAME}=={VERSION}"]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        files = list(Path(temporary).glob("*.tar.gz"))
        if done.returncode != 0 or len(files) != 1:
            raise RuntimeError(f"pip could not download {NAME} {VERSION}:\n{done.stderr.strip()[-2000:]}")
        files[0].replace(archive)


def _sha256(path: Path) -> str:
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


if __name__ == "__main__":
    try:
        print(fetch())
    except RuntimeError as error:
        sys.exit(str(error))
