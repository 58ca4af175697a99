"""docs/output.md tells of everything in a transcript."""

from __future__ import annotations

import pytest
from places import REPOSITORY

from jobnotes.jobs.model import Transcript, Word


@pytest.mark.parametrize("name", [*Transcript.model_fields, *Word.model_fields])
def test_every_field_of_a_transcript_stands_on_the_page(name: str) -> None:
    assert f"`{name}`" in (REPOSITORY / "docs" / "output.md").read_text(encoding="utf-8")
