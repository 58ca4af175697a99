"""The seal on a signed sheet, held against our own check and others: pyHanko's, pikepdf, OpenSSL."""

from __future__ import annotations

import asyncio
import io
import logging
import random
import re
import subprocess
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pikepdf
import pytest
from asn1crypto import cms
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import padding
from cryptography.x509 import load_der_x509_certificate
from paper_example import FIRM, example
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.validation import validate_pdf_signature
from pyhanko_certvalidator import ValidationContext

from jobnotes.errors import JobnotesError
from jobnotes.paper import sheet_pdf
from jobnotes.paper.keys import WorkshopKey
from jobnotes.paper.seal import check_seal, seal


def byte_range(pdf: bytes) -> tuple[int, int, int, int]:
    """Where the seal's numbers say it covers the file, read without any library."""
    found = re.search(rb"/ByteRange\s*\[\s*(\d+)\s+(\d+)\s+(\d+)\s+(\d+)\s*\]", pdf)
    assert found
    start, length, rest, to_end = map(int, found.groups())
    return start, length, rest, to_end


def signature_of(pdf: bytes) -> tuple[bytes, bytes]:
    """The CMS structure and the bytes that it covers."""
    start, length, rest, to_end = byte_range(pdf)
    padded = bytes.fromhex(pdf[start + length + 1 : rest - 1].decode())
    encoded = cms.ContentInfo.load(padded).dump()
    return encoded, pdf[start : start + length] + pdf[rest : rest + to_end]


# A good seal


def test_seal_holds(sealed: bytes, key: WorkshopKey, sealing_time: datetime) -> None:
    report = check_seal(sealed, key.certificate)
    assert report.ok and report.trouble == ""
    assert report.intact and report.whole and report.ours
    assert report.signed_at == sealing_time.replace(microsecond=0)


def test_sheet_below_the_seal_is_untouched(plain: bytes, sealed: bytes) -> None:
    assert sealed.startswith(plain)
    assert len(sealed) < len(plain) + 20_000


def test_pyhankos_validator_agrees(sealed: bytes, key: WorkshopKey) -> None:
    (signature,) = PdfFileReader(io.BytesIO(sealed)).embedded_signatures
    root = _as_asn1(key)
    status = validate_pdf_signature(
        signature, ValidationContext(trust_roots=[root], allow_fetching=False, moment=datetime.now(UTC))
    )
    assert status.bottom_line and status.intact and status.valid and status.trusted
    assert status.coverage.name == "ENTIRE_FILE"
    assert status.modification_level is not None and status.modification_level.name == "NONE"
    assert status.docmdp_ok


def test_seal_is_pades_baseline(sealed: bytes, sealing_time: datetime) -> None:
    # ETSI EN 319 142-1, 6.3, level B-B.
    with pikepdf.open(io.BytesIO(sealed)) as document:
        (field,) = document.Root.AcroForm.Fields
        value = field.V
        assert str(value.Type) == "/Sig"
        assert str(value.Filter) == "/Adobe.PPKLite"
        assert str(value.SubFilter) == "/ETSI.CAdES.detached"
        assert str(value.Reason) == "Sheet 27, revision 2"
        assert str(value.Name) == FIRM.name
        assert str(value.M).startswith(f"D:{sealing_time:%Y%m%d%H%M%S}")
        assert "/Cert" not in value
        # ISO 32000-1, 12.8.2.2: the document is certified, and nothing may be changed.
        assert document.Root.Perms.DocMDP.objgen == value.objgen
        (reference,) = value.Reference
        assert str(reference.TransformMethod) == "/DocMDP" and int(reference.TransformParams.P) == 1
        assert int(document.Root.AcroForm.SigFlags) == 3
    encoded, _ = signature_of(sealed)
    data = cms.ContentInfo.load(encoded)["content"]
    (signer,) = data["signer_infos"]
    attributes = {attribute["type"].native: attribute["values"] for attribute in signer["signed_attrs"]}
    assert set(attributes) == {"content_type", "message_digest", "signing_certificate_v2"}
    named = attributes["signing_certificate_v2"][0]["certs"][0]["cert_hash"].native
    (certificate,) = data["certificates"]
    assert named == certificate.chosen.sha256
    assert signer["unsigned_attrs"].native is None


def test_byte_range_covers_all_but_the_seal_itself(sealed: bytes) -> None:
    start, length, rest, to_end = byte_range(sealed)
    assert start == 0
    assert rest + to_end == len(sealed)
    assert re.fullmatch(rb"<[0-9A-F]+>", sealed[length:rest])
    with pikepdf.open(io.BytesIO(sealed)) as document:
        value = document.Root.AcroForm.Fields[0].V
        assert [int(number) for number in value.ByteRange] == [start, length, rest, to_end]
        assert bytes(value.Contents) == bytes.fromhex(sealed[length + 1 : rest - 1].decode())


def test_cryptography_verifies_what_was_signed(sealed: bytes, key: WorkshopKey) -> None:
    encoded, covered = signature_of(sealed)
    data = cms.ContentInfo.load(encoded)["content"]
    (signer,) = data["signer_infos"]
    digest = hashes.Hash(hashes.SHA256())
    digest.update(covered)
    attributes = {
        attribute["type"].native: attribute["values"].native for attribute in signer["signed_attrs"]
    }
    assert attributes["message_digest"] == [digest.finalize()]
    held = load_der_x509_certificate(data["certificates"][0].dump())
    assert held == key.certificate
    # RFC 5652, 5.4: the attributes are signed as a SET OF, not with the tag that they carry inside.
    key.private.public_key().verify(
        signer["signature"].native,
        b"\x31" + signer["signed_attrs"].dump()[1:],
        padding.PKCS1v15(),
        hashes.SHA256(),
    )


def test_openssl_verifies_the_signature(sealed: bytes, key_folder: Path, tmp_path: Path) -> None:
    def verified(covered: bytes) -> int:
        (tmp_path / "covered").write_bytes(covered)
        return subprocess.run(
            [
                *("openssl", "cms", "-verify", "-binary", "-inform", "DER", "-in", tmp_path / "seal.der"),
                *("-content", tmp_path / "covered", "-CAfile", key_folder / "workshop-certificate.pem"),
                *("-purpose", "any", "-out", tmp_path / "out"),
            ],
            capture_output=True,
            check=False,
        ).returncode

    encoded, covered = signature_of(sealed)
    (tmp_path / "seal.der").write_bytes(encoded)
    assert verified(covered) == 0
    assert verified(covered[:-1] + b" ") != 0


def test_sheet_stays_pdfa_3b(plain: bytes, sealed: bytes) -> None:
    with pikepdf.open(io.BytesIO(sealed)) as document:
        with document.open_metadata() as metadata:
            assert metadata.pdfa_status == "3B"
            title = "Job sheet 27, revision 2: wheeled excavator Kelbrack W160, fleet WX 31"
            assert metadata["dc:title"] == title
        raw = document.Root.Metadata.read_bytes()
        # The prefix is fixed too (ISO 19005-3, 6.6.4).
        assert b"http://www.aiim.org/pdfa/ns/id/" in raw
        assert re.search(rb'pdfaid:part(="|>)3', raw) and re.search(rb'pdfaid:conformance(="|>)B', raw)
        assert "/Encrypt" not in document.trailer and len(document.trailer.ID) == 2
        assert str(document.Root.OutputIntents[0].S) == "/GTS_PDFA1"
        assert bool(document.Root.MarkInfo.Marked)
        assert len(document.Root.AF) == 1
        (field,) = document.Root.AcroForm.Fields
        # ISO 19005-3, 6.3.2 and 6.3.3: printed, not hidden; no appearance needed where there is no area.
        # 6.4.1: appearances are not to be made anew.
        assert int(field.F) & 4 and not int(field.F) & (1 | 2 | 32)
        left, bottom, right, top = (float(side) for side in field.Rect)
        assert left == right or bottom == top
        assert "/NeedAppearances" not in document.Root.AcroForm
        assert "/A" not in field and "/AA" not in field
        with pikepdf.open(io.BytesIO(plain)) as before:
            assert len(before.pages) == len(document.pages)
            for page, old in zip(document.pages, before.pages, strict=True):
                assert page.Contents.read_bytes() == old.Contents.read_bytes()


def test_draft_layout_can_be_sealed_too(key: WorkshopKey) -> None:
    result = seal(sheet_pdf(example(), 1), key, reason="r", name="n", at=datetime.now(UTC))
    assert check_seal(result, key.certificate).ok


def test_sealing_works_within_an_event_loop(plain: bytes, key: WorkshopKey) -> None:
    async def within() -> bool:
        result = seal(plain, key, reason="r", name="n", at=datetime.now(UTC))
        return check_seal(result, key.certificate).ok

    assert asyncio.run(within())


# A seal that does not hold


def test_any_flipped_bit_is_noticed(sealed: bytes, key: WorkshopKey) -> None:
    chance = random.Random(27)
    start, length, rest, _ = byte_range(sealed)
    encoded = len(signature_of(sealed)[0])
    places = [
        *chance.sample(range(len(sealed)), 120),
        *chance.sample(range(length + 1, length + 1 + 2 * encoded), 60),  # the seal itself, hexadecimal
        *chance.sample(range(length + 1 + 2 * encoded, rest - 1), 15),  # the padding behind it
        *(start, length, rest - 1, rest, len(sealed) - 1),
    ]
    assert len(places) == 200
    missed = []
    for place in places:
        changed = bytearray(sealed)
        changed[place] ^= 1 << chance.randrange(8)
        report = check_seal(bytes(changed), key.certificate)
        if report.ok or not report.trouble.endswith("."):
            missed.append(place)
    assert missed == []


def test_case_of_a_hexadecimal_digit_is_noticed_though_it_means_the_same(
    sealed: bytes, key: WorkshopKey
) -> None:
    _, length, rest, _ = byte_range(sealed)
    place = length + sealed[length:rest].index(b"A")
    changed = sealed[:place] + b"a" + sealed[place + 1 :]
    report = check_seal(changed, key.certificate)
    assert not report.ok and report.trouble == "The PDF was changed after it was sealed."


def test_changed_time_of_sealing_is_told(sealed: bytes, key: WorkshopKey, sealing_time: datetime) -> None:
    # The file writes a colon within text as an octal number.
    changed = sealed.replace(f"/M (D\\072{sealing_time:%Y}".encode(), b"/M (D\\0722027")
    assert changed != sealed and len(changed) == len(sealed)
    report = check_seal(changed, key.certificate)
    assert not report.intact and report.trouble == "The PDF was changed after it was sealed."


def test_whatever_is_added_is_noticed(sealed: bytes, key: WorkshopKey) -> None:
    for more in (b"\n", b"%", b"\x00" * 40, b"\n%%EOF\n"):
        report = check_seal(sealed + more, key.certificate)
        assert not report.ok, more


def test_appended_revision_is_told(sealed: bytes, key: WorkshopKey) -> None:
    from pyhanko.pdf_utils import generic
    from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter

    writer = IncrementalPdfFileWriter(io.BytesIO(sealed))
    writer.root["/Lang"] = generic.TextStringObject("de")
    writer.update_root()
    out = io.BytesIO()
    writer.write(out)
    assert out.getvalue().startswith(sealed)
    report = check_seal(out.getvalue(), key.certificate)
    assert report.intact and report.ours and not report.whole and not report.ok
    assert report.trouble == "Something was added to the PDF after it was sealed."


def test_another_key_of_the_same_name_is_told(
    plain: bytes, sealed: bytes, key: WorkshopKey, other_key: WorkshopKey, sealing_time: datetime
) -> None:
    foreign = seal(plain, other_key, reason="Sheet 27, revision 2", name=FIRM.name, at=sealing_time)
    report = check_seal(foreign, key.certificate)
    assert report.intact and report.whole and not report.ours and not report.ok
    assert "sealed with another key than the workshop's" in report.trouble
    assert other_key.fingerprint[:8] in report.trouble and key.fingerprint[:8] in report.trouble
    assert check_seal(foreign, other_key.certificate).ok
    assert not check_seal(sealed, other_key.certificate).ok


def test_seal_taken_from_another_sheet_does_not_fit(sealed: bytes, key: WorkshopKey) -> None:
    other = seal(
        sheet_pdf(example(), 1), key, reason="Sheet 27, revision 2", name=FIRM.name, at=datetime.now(UTC)
    )
    moved = signature_of(other)[0].hex().upper().encode()
    _, length, rest, _ = byte_range(sealed)
    room = rest - length - 2
    forged = sealed[: length + 1] + moved.ljust(room, b"0") + sealed[rest - 1 :]
    report = check_seal(forged, key.certificate)
    assert not report.intact and report.trouble == "The PDF was changed after it was sealed."


def test_file_without_a_good_seal_is_told(plain: bytes, sealed: bytes, key: WorkshopKey) -> None:
    assert check_seal(plain, key.certificate).trouble == "The PDF carries no seal."
    for broken in (b"", b"no PDF", sealed[:-1], sealed[: len(sealed) // 2], sealed[100:]):
        report = check_seal(broken, key.certificate)
        assert not report.ok and report.trouble


def test_damaged_seal_prints_no_trace(
    sealed: bytes, key: WorkshopKey, capfd: pytest.CaptureFixture[str]
) -> None:
    # As in a program that has set up no logging of its own.
    root = logging.getLogger()
    kept, root.handlers = root.handlers, []
    try:
        changed = sealed.replace(b"/ETSI.CAdES.detached", b"/ETSI.CAdES.detachee")
        assert not check_seal(changed, key.certificate).ok
    finally:
        root.handlers = kept
    assert capfd.readouterr() == ("", "")


# What can't be sealed


def test_what_cannot_be_sealed_is_told(plain: bytes, sealed: bytes, key: WorkshopKey) -> None:
    now = datetime.now(UTC)
    settings: dict[str, Any] = {"reason": "r", "name": "n"}
    for broken in (b"", b"no PDF", plain[: len(plain) // 2]):
        with pytest.raises(JobnotesError, match="not a whole PDF"):
            seal(broken, key, at=now, **settings)
    with pytest.raises(JobnotesError, match="carries a signature already"):
        seal(sealed, key, at=now, **settings)
    with pytest.raises(JobnotesError, match="needs its zone"):
        seal(plain, key, at=now.replace(tzinfo=None), **settings)
    for at in (now - timedelta(days=3), now + timedelta(days=366 * 10)):
        with pytest.raises(JobnotesError, match=r"key is valid from .* to .*, not on"):
            seal(plain, key, at=at, **settings)


def _as_asn1(key: WorkshopKey) -> Any:
    from asn1crypto import x509

    return x509.Certificate.load(key.certificate.public_bytes(serialization.Encoding.DER))
