"""What several tests share: the samples, the speech weights, and the program as a user runs it."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from places import SAMPLES, Program


@pytest.fixture(scope="session")
def samples() -> Path:
    return SAMPLES


@pytest.fixture(scope="session")
def speech_weights() -> Path:
    from jobnotes.speech import weights

    return weights.setup()


@pytest.fixture
def jobnotes(tmp_path: Path) -> Program:
    """Runs the program in a process of its own, in tmp_path: jobnotes("read", "memo.txt")."""

    def run(
        *arguments: str | Path, env: dict[str, str] | None = None, **more: object
    ) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-c", "from jobnotes.cli import main; main()", *map(str, arguments)],
            cwd=tmp_path,
            env={**os.environ, **(env or {})},
            capture_output="stdout" not in more,
            text=True,
            timeout=240,
            check=False,
            **more,  # type: ignore[call-overload]
        )

    return run
