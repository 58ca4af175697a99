"""The signed sheet: printed from the very document that was signed, which goes into the PDF byte by byte."""

from __future__ import annotations

import hashlib
import io
import re
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Any, Literal

import rfc8785
from pydantic import BaseModel, ConfigDict, Field, StringConstraints, ValidationError

from jobnotes.errors import JobnotesError
from jobnotes.jobs.model import Evidence, Job, ReadMemo, Transcript
from jobnotes.paper import words
from jobnotes.paper.letterhead import LONGEST_TEXT, Firm, Signature, Signatures, refuse_long
from jobnotes.paper.pdf import Attached, set_page
from jobnotes.paper.sheet import sheet_html
from jobnotes.paper.signed_state import SignedState, Withdrawal
from jobnotes.paper.strokes import tidy_strokes

Name = Annotated[str, StringConstraints(min_length=1, max_length=LONGEST_TEXT)]
Sha256 = Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{64}$")]
Counted = Annotated[int, Field(ge=1)]
ATTACHMENT = re.compile(r"sheet-\d+-revision-\d+\.json")


class _Part(BaseModel):
    """Keys that paper does not print may stand beside those it does: they are signed and attached all the
    same."""

    model_config = ConfigDict(extra="ignore", strict=True, allow_inf_nan=False)


class _Replaces(_Part):
    revision: Counted
    sha256: Sha256


class _Signature(_Part):
    name: Name
    strokes: list[Any] | None


class _Signatures(_Part):
    engineer: _Signature
    customer: _Signature | None


class _Document(_Part):
    """The signed document, as docs/signing.md describes it."""

    format: Literal[1]
    sheet: Counted
    revision: Counted
    replaces: _Replaces | None
    memo: str
    recorded_at: str
    recording_sha256: Sha256 | None
    job_number: Counted
    jobs_in_memo: Counted
    job: Job
    evidence: dict[str, Evidence]
    signed_by: Name
    signed_at: str
    signatures: _Signatures


@dataclass(frozen=True)
class _Printable:
    read: ReadMemo
    signatures: Signatures
    state: SignedState
    canonical: bytes


def canonical_bytes(document: dict[str, Any]) -> bytes:
    """The document as RFC 8785 writes it, UTF-8: what is hashed, signed and attached.

    Raises JobnotesError where it holds what JSON has no form for, or a whole number beyond 2**53.
    """
    try:
        return rfc8785.dumps(document)
    except (rfc8785.CanonicalizationError, ValueError, TypeError) as trouble:
        raise JobnotesError(f"The sheet can't be written as canonical JSON: {trouble}.") from trouble


def signed_sheet_pdf(
    document: dict[str, Any],
    *,
    firm: Firm | None = None,
    fingerprint: str,
    withdrawn: Withdrawal | None = None,
) -> bytes:
    """The signed sheet as a PDF/A-3b, not sealed yet; `canonical_bytes(document)` is attached to it.

    All that is printed comes from the document, save the letterhead `firm`, the workshop key's `fingerprint`
    (64 hexadecimal digits, printed small so that a receiver can compare) and the withdrawal. The same input
    gives the same bytes. Raises JobnotesError where the document is not of the form that docs/signing.md
    describes or a drawn signature can't be drawn, and as `sheet_pdf` does.
    """
    printable = _printable(document, fingerprint, withdrawn)
    state = printable.state
    html = sheet_html(printable.read, 1, firm=firm, signatures=printable.signatures, signed=printable.state)
    attached = Attached(
        name=f"sheet-{state.sheet}-revision-{state.revision}.json",
        content=printable.canonical,
        description="The sheet as it was signed (RFC 8785)",
    )
    return set_page(html, attached, state.made_at)


def attached_document(pdf: bytes) -> bytes:
    """The signed document that a signed sheet carries, byte by byte; says nothing about the seal.

    Raises JobnotesError where the PDF can't be read or carries none.
    """
    import pikepdf

    try:
        with pikepdf.open(io.BytesIO(pdf)) as opened:
            names = [name for name in opened.attachments if ATTACHMENT.fullmatch(name)]
            contents = [opened.attachments[name].get_file().read_bytes() for name in names]
    except Exception as trouble:  # a damaged PDF makes the library raise many kinds
        raise JobnotesError("The PDF is damaged: it can't be read.") from trouble
    if len(contents) != 1:
        raise JobnotesError("The PDF carries no signed sheet.")
    return bytes(contents[0])


def _printable(document: dict[str, Any], fingerprint: str, withdrawn: Withdrawal | None) -> _Printable:
    if not re.fullmatch(r"[0-9a-f]{64}", fingerprint):
        raise JobnotesError("The key's fingerprint is not 64 hexadecimal digits in small letters.")
    canonical = canonical_bytes(document)
    try:
        signed = _Document.model_validate(document)
    except ValidationError as trouble:
        first = trouble.errors(include_url=False)[0]
        where = "/" + "/".join(str(step) for step in first["loc"])
        raise JobnotesError(f"The signed sheet is wrong at {where}: {first['msg']}.") from trouble
    _check_numbers(signed)
    if withdrawn:
        refuse_long("The reason for withdrawing the sheet", withdrawn.reason)
        refuse_long("The name of who withdrew the sheet", withdrawn.by)
    state = SignedState(
        sheet=signed.sheet,
        revision=signed.revision,
        replaces=signed.replaces.revision if signed.replaces else None,
        job_number=signed.job_number,
        jobs_in_memo=signed.jobs_in_memo,
        signed_by=signed.signed_by,
        signed_at=_aware(signed.signed_at),
        sha256=hashlib.sha256(canonical).hexdigest(),
        fingerprint=fingerprint,
        withdrawn=withdrawn,
    )
    read = ReadMemo(
        memo=signed.memo,
        recorded_at=signed.recorded_at,
        transcript=Transcript(text=""),
        jobs=[signed.job],
        # The document's own pointers begin at its job, those of a memo at its list of jobs.
        evidence={
            re.sub(r"^/job(?=/|$)", "/jobs/0", pointer): evidence
            for pointer, evidence in signed.evidence.items()
        },
    )
    engineer = _signature(signed.signatures.engineer, state.signed_at, "The engineer's signature")
    customer = None
    if signed.signatures.customer:
        customer = _signature(signed.signatures.customer, state.signed_at, "The customer's signature")
    return _Printable(read, Signatures(engineer, customer), state, canonical)


def _check_numbers(signed: _Document) -> None:
    if signed.job_number > signed.jobs_in_memo:
        raise JobnotesError(
            f"The signed sheet is of job {signed.job_number} of a memo with {signed.jobs_in_memo} jobs."
        )
    replaced = signed.replaces.revision if signed.replaces else 0
    if replaced != signed.revision - 1:
        raise JobnotesError(
            f"Revision {signed.revision} of sheet {signed.sheet} must replace "
            + (f"revision {signed.revision - 1}." if signed.revision > 1 else "none.")
        )


def _aware(text: str) -> datetime:
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        at = None
    if at is None or at.tzinfo is None:
        raise JobnotesError(
            f"The sheet was signed at {words.shown(text[:60])!r}, which is no ISO 8601 time with its zone"
            " such as 2026-07-14T15:41:00+01:00."
        )
    return at


def _signature(given: _Signature, at: datetime, whose: str) -> Signature:
    strokes = None if given.strokes is None else tidy_strokes(given.strokes, whose)
    return Signature(given.name, at, strokes)
