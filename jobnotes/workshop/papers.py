"""Sheets of the store as sealed PDFs of paper's, and held against their seals."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

from jobnotes.errors import JobnotesError
from jobnotes.paper import Withdrawal, attached_document, signed_sheet_pdf
from jobnotes.paper.keys import (
    CERTIFICATE_FILE,
    KEY_FILE,
    WorkshopKey,
    load_certificate,
    load_key,
    make_key,
)
from jobnotes.paper.seal import check_seal, seal
from jobnotes.store import CheckPdf, MakePdf, SignedSheet, Workshop
from jobnotes.workshop.settings import Settings


def sealed_pdf(workshop: Workshop, settings: Settings) -> MakePdf:
    """What makes the sealed PDF of a signed document, with the workshop's letterhead and key.

    The first sheet makes the key. Raises JobnotesError where the firm has no name, and where the key is gone
    though sheets were sealed with it.
    """
    key = _key(workshop, settings)

    def make(document: dict[str, Any]) -> bytes:
        plain = signed_sheet_pdf(document, firm=settings.firm, fingerprint=key.fingerprint)
        return seal(
            plain,
            key,
            reason=f"Sheet {document['sheet']}, revision {document['revision']}",
            name=settings.firm.name or document["signed_by"],
            at=datetime.fromisoformat(document["signed_at"]),
        )

    return make


def check_sheet_pdf(workshop: Workshop) -> CheckPdf:
    """What holds a sheet's PDF against the workshop's seal, and what it carries against what was signed.

    Raises JobnotesError where the workshop's certificate is missing or damaged.
    """
    certificate = load_certificate(workshop.folder.keys)

    def check(pdf: bytes, content: bytes) -> str | None:
        report = check_seal(pdf, certificate)
        if not report.ok:
            return report.trouble
        try:
            attached = attached_document(pdf)
        except JobnotesError as error:
            return str(error)
        return None if attached == content else "It carries another document than was signed."

    return check


def withdrawn_pdf(workshop: Workshop, settings: Settings, sheet: SignedSheet) -> bytes:
    """A withdrawn sheet printed anew, with WITHDRAWN over it. It is not sealed: what was signed stays what it
    was, and can be had as it was."""
    if sheet.state != "withdrawn" or sheet.withdrawn_why is None:
        raise JobnotesError(f"Sheet {sheet.number} is not withdrawn.")
    by, at = workshop.sheets.withdrawal(sheet)
    return signed_sheet_pdf(
        sheet.record,
        firm=settings.firm,
        fingerprint=workshop_fingerprint(workshop, settings),
        withdrawn=Withdrawal(sheet.withdrawn_why, by, at),
    )


def workshop_fingerprint(workshop: Workshop, settings: Settings) -> str:
    """The SHA-256 of the workshop's certificate, 64 hexadecimal digits. Raises as `sealed_pdf` does."""
    return _key(workshop, settings).fingerprint


def _key(workshop: Workshop, settings: Settings) -> WorkshopKey:
    folder = workshop.folder.keys
    with workshop.folder.lock("key"):
        if _there(folder):
            return load_key(folder)
        if workshop.sheets.any():
            raise JobnotesError(
                f"The workshop's key is missing from {folder}, though sheets are sealed with it; bring it "
                "back from a backup."
            )
        return make_key(folder, settings.firm.name)


def _there(folder: Path) -> bool:
    return (folder / KEY_FILE).exists() or (folder / CERTIFICATE_FILE).exists()
