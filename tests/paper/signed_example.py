"""An invented signed document and two drawn signatures, for the tests of the seal and the signed sheet."""

from __future__ import annotations

import math
from typing import Any

from paper_example import example

from jobnotes.paper import job_data, tidy_strokes


def wave(letters: int, height: float) -> list[list[tuple[float, float]]]:
    """A signature as a hand may draw it: a running wave and a line below it, in points of a screen."""
    running = [
        (40 + 1.4 * step + 9 * math.sin(step / 4), 90 + height * math.sin(step / 5) * math.cos(step / 23))
        for step in range(letters * 14)
    ]
    return [running, [(36.5, 128.0), (120.0, 121.5), (running[-1][0] + 20, 124.0)]]


def signed_document(**changes: Any) -> dict[str, Any]:
    """Sheet 27, revision 2, of the example memo, signed by both, with some keys replaced."""
    data = job_data(example(), 1)
    for evidence in data["evidence"].values():
        evidence.update(check=False, why=None)
    document = {
        "format": 1,
        "sheet": 27,
        "revision": 2,
        "replaces": {"revision": 1, "sha256": "5c" * 32},
        "recording_sha256": "a7" * 32,
        "jobs_in_memo": 1,
        **data,
        "signed_by": "Tamsin Quill",
        "signed_at": "2026-07-14T16:05:21+01:00",
        "signatures": {
            "engineer": {"name": "Tamsin Quill", "strokes": tidy_strokes(wave(12, 26))},
            "customer": {"name": "Orla Fennimore", "strokes": tidy_strokes(wave(9, 34))},
        },
        "previous": "0b" * 32,
    }
    return {**document, **changes}
