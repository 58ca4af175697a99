"""Readers for the language tests: one with an empty register and one with the demo register, made once a
file."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import settings

from jobnotes.language import Reader
from jobnotes.register import Register, load_register

# The same examples on every machine, and no file of earlier ones.
settings.register_profile("language", derandomize=True, database=None, deadline=None)
settings.load_profile("language")

DEMO = Path(__file__).resolve().parents[2] / "sample_audio" / "register"


@pytest.fixture(scope="module")
def reader() -> Reader:
    """A Reader with the demo register."""
    return Reader(load_register(DEMO))


@pytest.fixture(scope="module")
def bare_reader() -> Reader:
    """A Reader that knows no customer, site, machine or part."""
    return Reader(Register())
