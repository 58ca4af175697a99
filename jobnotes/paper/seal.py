"""The seal on a signed sheet: any reader of PDF shows whether a byte was changed since.

PAdES baseline B-B (ETSI EN 319 142-1): a detached CAdES signature over the whole file, with the signing
certificate named inside what is signed. It certifies the document and allows no change after it (ISO 32000-1,
12.8.2.2). It is put on as an incremental update, so that the sheet below stays byte by byte what it was.
"""

from __future__ import annotations

import asyncio
import io
import logging
import re
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import datetime
from typing import Any, TypeVar

from asn1crypto import cms, keys  # type: ignore[import-untyped]
from asn1crypto import x509 as asn1_x509
from cryptography import x509
from cryptography.hazmat.primitives import serialization
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.fields import MDPPerm, SigFieldSpec, SigSeedSubFilter
from pyhanko.sign.signers import PdfSignatureMetadata, PdfSigner, SimpleSigner
from pyhanko.sign.signers.pdf_signer import PdfSigningSession
from pyhanko.sign.validation import EmbeddedPdfSignature, SignatureCoverageLevel, validate_pdf_signature
from pyhanko_certvalidator import ValidationContext
from pyhanko_certvalidator.registry import SimpleCertificateStore

from jobnotes.errors import JobnotesError
from jobnotes.paper import words
from jobnotes.paper.keys import WorkshopKey, fingerprint

# A damaged seal is told in a sentence; the library would print its own trace as well.
logging.getLogger("pyhanko").addHandler(logging.NullHandler())
logging.getLogger("pyhanko_certvalidator").addHandler(logging.NullHandler())

FIELD = "Seal"
Result = TypeVar("Result")


@dataclass(frozen=True)
class SealReport:
    """What a seal is worth.

    `intact`: what it covers is as it was when sealed, the seal itself too. `whole`: it covers the whole file.
    `ours`: the workshop's key made it. `signed_at` is the sealing time as the sealed file states it, aware.
    `trouble` is a sentence for the first of these that does not hold, empty where all do.
    """

    intact: bool = False
    whole: bool = False
    ours: bool = False
    signed_at: datetime | None = None
    trouble: str = ""

    @property
    def ok(self) -> bool:
        """Whether the file is, to the last byte, what the workshop sealed."""
        return self.intact and self.whole and self.ours and not self.trouble


class _SealedAt(PdfSigner):
    """A signer whose clock is the caller's, so that sheet, store and seal name one time."""

    def __init__(self, at: datetime, *settings: Any, **more: Any) -> None:
        super().__init__(*settings, **more)
        self._at = at

    def init_signing_session(self, *settings: Any, **more: Any) -> PdfSigningSession:
        session = super().init_signing_session(*settings, **more)
        session.system_time = self._at
        return session


def seal(pdf: bytes, key: WorkshopKey, *, reason: str, name: str, at: datetime) -> bytes:
    """The PDF with the workshop's seal: an invisible field that certifies it and allows no change after it.

    `reason` and `name` (who seals) are what readers of PDF show beside the seal; `at` is an aware time. The
    result begins with the very bytes of `pdf`; a PDF/A-3b stays one. Raises JobnotesError where `pdf` is no
    PDF or carries a signature already, `at` has no zone, or the key is not valid at that time.
    """
    if at.tzinfo is None:
        raise JobnotesError("The time of sealing needs its zone, such as 2026-07-14T15:41:00+01:00.")
    first, last = key.certificate.not_valid_before_utc, key.certificate.not_valid_after_utc
    if not first <= at <= last:
        raise JobnotesError(
            f"The workshop's key is valid from {first:%d.%m.%Y} to {last:%d.%m.%Y}, not on {at:%d.%m.%Y}."
        )
    try:
        writer = IncrementalPdfFileWriter(io.BytesIO(pdf))
        sealed_before = bool(writer.prev.embedded_signatures)
    except Exception as trouble:  # the library raises many kinds over what is no PDF
        raise JobnotesError("What should be sealed is not a whole PDF.") from trouble
    if sealed_before:
        raise JobnotesError("The PDF carries a signature already; only a sheet without one can be sealed.")
    certificate = _to_asn1(key.certificate)
    private = keys.PrivateKeyInfo.load(
        key.private.private_bytes(
            serialization.Encoding.DER, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
        )
    )
    nothing_more = SimpleCertificateStore()  # type: ignore[no-untyped-call]
    settings = PdfSignatureMetadata(
        field_name=FIELD,
        md_algorithm="sha256",
        reason=reason,
        name=name,
        certify=True,
        subfilter=SigSeedSubFilter.PADES,
        docmdp_permissions=MDPPerm.NO_CHANGES,
    )
    signer = _SealedAt(
        at,
        settings,
        SimpleSigner(signing_cert=certificate, signing_key=private, cert_registry=nothing_more),
        # Invisible: the sheet shows in its own way who signed. The library sets the flags that PDF/A wants.
        new_field_spec=SigFieldSpec(FIELD, readable_field_name="Seal of the workshop"),
    )
    out = io.BytesIO()
    _outside_any_loop(lambda: signer.sign_pdf(writer, output=out))
    return out.getvalue()


def check_seal(pdf: bytes, certificate: x509.Certificate) -> SealReport:
    """What the seal on `pdf` is worth, held against the workshop's certificate. No bad PDF makes it raise.

    More is refused than a reader of PDF refuses: every byte counts, also where the file format takes no
    notice of it, such as the padding behind the seal and the parts of it that no signature covers.
    """
    try:
        signatures = PdfFileReader(io.BytesIO(pdf)).embedded_signatures
        if not signatures:
            return SealReport(trouble="The PDF carries no seal.")
        if len(signatures) > 1:
            return SealReport(trouble=f"The PDF carries {len(signatures)} signatures; a sheet has one seal.")
        return _outside_any_loop(lambda: _report(pdf, signatures[0], certificate))
    except Exception:  # a damaged PDF makes the library raise nearly anything
        return SealReport(trouble="The PDF is damaged: it, or the seal on it, can't be read.")


def _report(pdf: bytes, signature: EmbeddedPdfSignature, certificate: x509.Certificate) -> SealReport:
    signed_at = signature.self_reported_timestamp
    sealing = signature.signer_cert
    trust = ValidationContext(trust_roots=[sealing], allow_fetching=False, moment=signed_at)
    status = validate_pdf_signature(signature, signer_validation_context=trust, skip_diff=True)
    intact = bool(status.intact and status.valid) and _as_we_write_it(pdf, signature)
    whole = status.coverage == SignatureCoverageLevel.ENTIRE_FILE
    found, expected = fingerprint(x509.load_der_x509_certificate(sealing.dump())), fingerprint(certificate)
    ours = found == expected
    if not intact:
        trouble = "The PDF was changed after it was sealed."
    elif not whole:
        trouble = "Something was added to the PDF after it was sealed."
    elif not ours:
        trouble = (
            "The PDF is sealed with another key than the workshop's: the fingerprint is "
            f"{words.in_groups(found)}, not {words.in_groups(expected)}."
        )
    elif signed_at is None or not (
        certificate.not_valid_before_utc <= signed_at <= certificate.not_valid_after_utc
    ):
        trouble = "The PDF states no time of sealing within the years for which the key is valid."
    else:
        trouble = ""
    return SealReport(intact, whole, ours, signed_at, trouble)


def _as_we_write_it(pdf: bytes, signature: EmbeddedPdfSignature) -> bool:
    """Whether the seal's own bytes, which it can't cover itself, are just as `seal` writes them."""
    start, length, rest, _ = signature.byte_range
    contents = pdf[start + length : rest]
    written = re.fullmatch(rb"<((?:[0-9A-F]{2})+)>", contents)
    if start != 0 or not written:
        return False
    encoded = bytes.fromhex(written[1].decode())
    content = cms.ContentInfo.load(encoded)
    # DER has one encoding for each value (ITU-T X.690, 10), so what comes out differently was not ours.
    der = _again(content)
    if encoded[: len(der)] != der or any(encoded[len(der) :]):
        return False
    data = content["content"]
    (signer,) = data["signer_infos"]
    (held,) = data["certificates"]
    (digest,) = data["digest_algorithms"]
    certificate = signature.signer_cert
    sha256 = {"algorithm": "sha256", "parameters": None}
    return bool(
        content["content_type"].native == "signed_data"
        and data["version"].native == "v1"
        and digest.native == sha256
        and data["encap_content_info"].native == {"content_type": "data", "content": None}
        and held.dump() == certificate.dump()
        and data["crls"].native is None
        and signer["version"].native == "v1"
        and signer["sid"].chosen["issuer"].dump() == certificate.issuer.dump()
        and signer["sid"].chosen["serial_number"].native == certificate.serial_number
        and signer["digest_algorithm"].native == sha256
        and signer["signature_algorithm"].native in _SIGNATURES
        and signer["unsigned_attrs"].native is None
    )


_SIGNATURES = (
    {"algorithm": "sha256_rsa", "parameters": None},
    {"algorithm": "rsassa_pkcs1v15", "parameters": None},
)


def _again(content: Any) -> bytes:
    """The ASN.1 value encoded anew."""
    return bytes(content.copy().dump(force=True))


def _to_asn1(certificate: x509.Certificate) -> Any:
    return asn1_x509.Certificate.load(certificate.public_bytes(serialization.Encoding.DER))


def _outside_any_loop(work: Callable[[], Result]) -> Result:
    """Runs work that starts an event loop of its own, also where the caller runs in one: then in a thread."""
    try:
        asyncio.get_running_loop()
    except RuntimeError:
        return work()
    with ThreadPoolExecutor(1) as thread:
        return thread.submit(work).result()
