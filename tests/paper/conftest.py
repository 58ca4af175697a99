"""One key, one signed sheet and its seal for all tests of the seal: making them takes a second."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import pytest
from paper_example import FIRM
from signed_example import signed_document

from jobnotes.paper import signed_sheet_pdf
from jobnotes.paper.keys import WorkshopKey, make_key
from jobnotes.paper.seal import seal


@pytest.fixture(scope="session")
def key_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("workshop") / "keys"
    make_key(folder, FIRM.name)
    return folder


@pytest.fixture(scope="session")
def key(key_folder: Path) -> WorkshopKey:
    from jobnotes.paper.keys import load_key

    return load_key(key_folder)


@pytest.fixture(scope="session")
def other_key(tmp_path_factory: pytest.TempPathFactory) -> WorkshopKey:
    return make_key(tmp_path_factory.mktemp("other"), FIRM.name)


@pytest.fixture(scope="session")
def sealing_time(key: WorkshopKey) -> datetime:
    """A time within the key's years, which the machine's clock can't give by chance."""
    return (
        key.certificate.not_valid_before_utc.replace(microsecond=0)
        + (key.certificate.not_valid_after_utc - key.certificate.not_valid_before_utc) / 4
    )


@pytest.fixture(scope="session")
def plain(key: WorkshopKey) -> bytes:
    return signed_sheet_pdf(signed_document(), firm=FIRM, fingerprint=key.fingerprint)


@pytest.fixture(scope="session")
def sealed(plain: bytes, key: WorkshopKey, sealing_time: datetime) -> bytes:
    return seal(plain, key, reason="Sheet 27, revision 2", name=FIRM.name, at=sealing_time)
