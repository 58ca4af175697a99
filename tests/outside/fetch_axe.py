#!/usr/bin/env python3
"""Fetch axe-core, against which the tests of the desk hold every page. Does nothing twice.

    python tests/outside/fetch_axe.py

axe-core 4.14.1 (Deque Systems and others; MPL-2.0), fetched with npm. It lies in .work/outside, which is not
committed; the SHA-256 of the archive is checked before anything is taken out of it.
"""

from __future__ import annotations

import hashlib
import subprocess
import sys
import tarfile
import tempfile
from pathlib import Path

VERSION = "4.14.1"
SHA256 = "e6b0ce02b84d892e2e33e403485e7f3d6c29e2be6df65daf44d89ba564139745"
FOLDER = Path(__file__).resolve().parents[2] / ".work" / "outside"
WANTED = "package/axe.min.js"


def fetch() -> Path:
    """The script, fetched if it is not there yet.

    Raises RuntimeError when npm is missing or can't get the archive, or its checksum is another.
    """
    script = FOLDER / f"axe-core-{VERSION}.min.js"
    if script.exists():
        return script
    FOLDER.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=FOLDER) as temporary:
        try:
            done = subprocess.run(
                ["npm", "pack", "--silent", f"axe-core@{VERSION}"],
                cwd=temporary,
                capture_output=True,
                text=True,
                check=False,
            )
        except FileNotFoundError:
            raise RuntimeError("npm is missing; on Debian and Ubuntu the package is npm.") from None
        archive = Path(temporary) / f"axe-core-{VERSION}.tgz"
        if done.returncode != 0 or not archive.exists():
            raise RuntimeError(f"npm could not fetch axe-core {VERSION}:\n{done.stderr.strip()[-2000:]}")
        if (found := hashlib.sha256(archive.read_bytes()).hexdigest()) != SHA256:
            raise RuntimeError(f"{archive.name} has SHA-256 {found}, not {SHA256}: it is not used.")
        with tarfile.open(archive) as tar:
            stream = tar.extractfile(WANTED)
            assert stream is not None
            whole = Path(temporary) / "axe.min.js"
            whole.write_bytes(stream.read())
        whole.replace(script)
    return script


if __name__ == "__main__":
    try:
        print(fetch())
    except RuntimeError as error:
        sys.exit(str(error))
