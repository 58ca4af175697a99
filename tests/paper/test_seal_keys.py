"""The workshop's key: made once, private, never written over, checked when it is loaded."""

from __future__ import annotations

import errno
import hashlib
import os
import stat
import subprocess
from datetime import timedelta
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import serialization
from cryptography.x509.oid import NameOID

from jobnotes.errors import JobnotesError
from jobnotes.paper.keys import WorkshopKey, load_certificate, load_key, make_key


def test_key_is_private_and_says_whose_it_is(key_folder: Path, key: WorkshopKey) -> None:
    assert stat.S_IMODE((key_folder / "workshop-key.pem").stat().st_mode) == 0o600
    assert stat.S_IMODE(key_folder.stat().st_mode) == 0o700
    assert sorted(path.name for path in key_folder.iterdir()) == [
        "workshop-certificate.pem",
        "workshop-key.pem",
    ]
    certificate = key.certificate
    assert certificate.subject == certificate.issuer
    (name,) = certificate.subject.get_attributes_for_oid(NameOID.COMMON_NAME)
    assert name.value == "Harrow Lane Plant Repairs"
    usage = certificate.extensions.get_extension_for_class(x509.KeyUsage)
    assert usage.critical
    assert usage.value.digital_signature and usage.value.content_commitment
    assert not usage.value.key_cert_sign and not usage.value.key_encipherment
    years = certificate.not_valid_after_utc - certificate.not_valid_before_utc
    assert timedelta(days=3650) < years < timedelta(days=3656)
    assert key.private.key_size == 3072
    assert "private" not in repr(key)


def test_certificate_holds_by_openssl_and_has_the_fingerprint(key_folder: Path, key: WorkshopKey) -> None:
    file = key_folder / "workshop-certificate.pem"
    assert b"PRIVATE" not in file.read_bytes()
    printed = subprocess.run(
        ["openssl", "x509", "-in", file, "-noout", "-fingerprint", "-sha256"],
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    assert printed.split("=")[1].strip().replace(":", "").lower() == key.fingerprint
    der = key.certificate.public_bytes(serialization.Encoding.DER)
    assert hashlib.sha256(der).hexdigest() == key.fingerprint
    subprocess.run(["openssl", "verify", "-CAfile", file, file], check=True, capture_output=True)


def test_key_is_never_written_over(key_folder: Path) -> None:
    before = {path.name: path.read_bytes() for path in key_folder.iterdir()}
    with pytest.raises(JobnotesError, match=r"workshop-key\.pem is there already and is not written over"):
        make_key(key_folder, "Another Firm")
    assert {path.name: path.read_bytes() for path in key_folder.iterdir()} == before


def test_full_disk_leaves_no_key(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_handle: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(JobnotesError, match=r"could not be written: the disk is full\."):
        make_key(tmp_path, "Harrow Lane")
    assert list(tmp_path.iterdir()) == []


def test_certificate_comes_back_from_the_key_where_its_file_was_lost(
    key: WorkshopKey, key_folder: Path, tmp_path: Path
) -> None:
    (tmp_path / "workshop-key.pem").write_bytes((key_folder / "workshop-key.pem").read_bytes())
    assert load_certificate(tmp_path) == key.certificate == load_certificate(key_folder)


@pytest.mark.parametrize("name", ["x" * 200, "Ö" * 90, "  Harrow\n Lane\x07 "])
def test_odd_names_make_a_key(name: str, tmp_path: Path) -> None:
    (attribute,) = make_key(tmp_path, name).certificate.subject.get_attributes_for_oid(NameOID.COMMON_NAME)
    assert attribute.value in ("x" * 64, "Ö" * 32, "Harrow Lane")


def test_troubles_with_the_key_are_told_in_words(
    tmp_path: Path, key_folder: Path, other_key: WorkshopKey
) -> None:
    with pytest.raises(JobnotesError, match="give the firm a name first"):
        make_key(tmp_path / "none", " \n")
    assert not (tmp_path / "none").exists()
    with pytest.raises(JobnotesError, match=r"no key of the workshop: .*workshop-key\.pem is missing"):
        load_key(tmp_path)
    with pytest.raises(JobnotesError, match=r"workshop-key\.pem is missing"):
        load_certificate(tmp_path)
    good = (key_folder / "workshop-key.pem").read_bytes()
    file = tmp_path / "workshop-key.pem"
    other = other_key.certificate.public_bytes(serialization.Encoding.PEM)
    private = good[: good.index(b"-----BEGIN CERTIFICATE")]
    for content, sentence in (
        (b"", "holds no private key"),
        (good[:200], "holds no private key"),
        (private, "holds no certificate"),
        (private + other, "do not belong together"),
    ):
        file.write_bytes(content)
        file.chmod(0o600)
        with pytest.raises(JobnotesError, match=sentence):
            load_key(tmp_path)
    file.write_bytes(good)
    for mode in (0o640, 0o604, 0o644, 0o620):
        file.chmod(mode)
        with pytest.raises(JobnotesError, match=r"may be read by others than its owner.*chmod 600"):
            load_key(tmp_path)
    file.chmod(0o400)
    assert load_key(tmp_path).certificate == load_certificate(key_folder)
    (tmp_path / "file").write_text("")
    with pytest.raises(JobnotesError, match="can't be made"):
        make_key(tmp_path / "file" / "keys", "Harrow Lane")
