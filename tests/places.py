"""Where the repository and its samples stand, and the type of the program as the tests run it."""

from __future__ import annotations

import subprocess
from collections.abc import Callable
from pathlib import Path

REPOSITORY = Path(__file__).resolve().parents[1]
SAMPLES = REPOSITORY / "sample_audio"

Program = Callable[..., "subprocess.CompletedProcess[str]"]
