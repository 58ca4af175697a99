"""The workshop's key, which seals its signed sheets, and its certificate, by which a receiver knows it."""

from __future__ import annotations

import hashlib
import os
import stat
import tempfile
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import rsa
from cryptography.x509.oid import NameOID

from jobnotes.errors import JobnotesError
from jobnotes.files import reading, reason, write_atomically
from jobnotes.paper import words

KEY_FILE = "workshop-key.pem"
CERTIFICATE_FILE = "workshop-certificate.pem"
# ISO 32000-1, table 257, lets a seal of this kind be RSA, and every reader of PDF checks that; with 3072 bits
# it is as strong as NIST SP 800-57 part 1 (table 2) asks for beyond 2030.
KEY_BITS = 3072
YEARS = 10
LONGEST_NAME = 64  # bytes: the upper bound of a common name (RFC 5280, appendix A.1)


@dataclass(frozen=True)
class WorkshopKey:
    """The private key and its certificate. `fingerprint` is what a receiver compares."""

    certificate: x509.Certificate
    private: rsa.RSAPrivateKey = field(repr=False)

    @property
    def fingerprint(self) -> str:
        """The SHA-256 of the certificate (DER), 64 hexadecimal digits."""
        return fingerprint(self.certificate)


def fingerprint(certificate: x509.Certificate) -> str:
    """The SHA-256 of a certificate (DER), 64 hexadecimal digits, as readers of PDF and OpenSSL show it."""
    return hashlib.sha256(certificate.public_bytes(serialization.Encoding.DER)).hexdigest()


def make_key(folder: Path, firm_name: str) -> WorkshopKey:
    """Makes the workshop's key in `folder` (made where missing, for its owner alone) and gives it.

    `workshop-key.pem` holds the private key and the certificate and may be read by its owner only;
    `workshop-certificate.pem` holds the certificate, to be given to whoever receives sheets. The key appears
    whole or not at all, and one that is there is never written over. Valid for ten years. Raises
    JobnotesError for a firm without a name, where a key stands in the folder, and where none can be written.
    """
    name = words.shown(firm_name)
    if not name:
        raise JobnotesError("The workshop's key carries the firm's name; give the firm a name first.")
    private = rsa.generate_private_key(public_exponent=65537, key_size=KEY_BITS)
    key = WorkshopKey(_self_signed(private, _fitting(name)), private)
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as trouble:
        raise JobnotesError(f"The folder {folder} can't be made: {reason(trouble)}.") from trouble
    _write_once(folder / KEY_FILE, _as_pem(key))
    write_atomically(folder / CERTIFICATE_FILE, key.certificate.public_bytes(serialization.Encoding.PEM))
    return key


def load_key(folder: Path) -> WorkshopKey:
    """The key that `make_key` wrote. Raises JobnotesError where there is none, it is damaged, others than its
    owner may read it, or its two halves do not belong together."""
    path = folder / KEY_FILE
    content = _read(path)
    # A key that others may read seals nothing: they could seal too.
    if path.stat().st_mode & (stat.S_IRWXG | stat.S_IRWXO):
        raise JobnotesError(f"{path} may be read by others than its owner; put that right: chmod 600 {path}.")
    try:
        private = serialization.load_pem_private_key(content, password=None)
    except (ValueError, TypeError, UnsupportedAlgorithm) as trouble:
        raise JobnotesError(_damaged(path, "it holds no private key")) from trouble
    certificate = _certificate_in(content, path)
    if not isinstance(private, rsa.RSAPrivateKey) or private.public_key() != certificate.public_key():
        raise JobnotesError(_damaged(path, "its key and its certificate do not belong together"))
    return WorkshopKey(certificate, private)


def load_certificate(folder: Path) -> x509.Certificate:
    """The certificate alone, which is enough to check seals; from the key's file where its own is missing.

    Raises JobnotesError where there is neither, or it is damaged.
    """
    path = folder / CERTIFICATE_FILE
    if not path.exists():
        path = folder / KEY_FILE
    return _certificate_in(_read(path), path)


def _damaged(path: Path, how: str) -> str:
    return f"{path} is damaged: {how}. Bring it back from a backup."


def _read(path: Path) -> bytes:
    if not path.exists():
        raise JobnotesError(f"There is no key of the workshop: {path} is missing.")
    with reading(path):
        return path.read_bytes()


def _certificate_in(content: bytes, path: Path) -> x509.Certificate:
    try:
        return x509.load_pem_x509_certificate(content)
    except ValueError as trouble:
        raise JobnotesError(_damaged(path, "it holds no certificate")) from trouble


def _fitting(name: str) -> str:
    """The name, or as much of it as a certificate takes."""
    while len(name.encode()) > LONGEST_NAME:
        name = name[:-1].rstrip()
    return name


def _self_signed(private: rsa.RSAPrivateKey, name: str) -> x509.Certificate:
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])
    now = datetime.now(UTC).replace(microsecond=0)
    usage = x509.KeyUsage(
        digital_signature=True,
        content_commitment=True,  # formerly called nonRepudiation
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        key_cert_sign=False,
        crl_sign=False,
        encipher_only=False,
        decipher_only=False,
    )
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(private.public_key())
        .serial_number(x509.random_serial_number())
        # A receiver's clock may be behind ours.
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=round(365.25 * YEARS)))
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(usage, critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(private.public_key()), critical=False)
        .sign(private, hashes.SHA256())
    )


def _as_pem(key: WorkshopKey) -> bytes:
    private = key.private.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    return private + key.certificate.public_bytes(serialization.Encoding.PEM)


def _write_once(path: Path, content: bytes) -> None:
    """Writes a private file (0600) whole or not at all, and never over another.

    A hard link to a finished file appears at once and, unlike a rename, fails where the name is taken (POSIX
    link). Raises JobnotesError.
    """
    temporary: Path | None = None
    try:
        handle, name = tempfile.mkstemp(prefix=f".{path.name}.", suffix=".part", dir=path.parent)
        temporary = Path(name)  # mkstemp makes it 0600
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        path.hardlink_to(temporary)
    except FileExistsError:
        raise JobnotesError(
            f"{path} is there already and is not written over: sheets are sealed with it."
        ) from None
    except OSError as trouble:
        raise JobnotesError(f"{path} could not be written: {reason(trouble)}.") from trouble
    finally:
        if temporary is not None:
            with suppress(OSError):
                temporary.unlink()
