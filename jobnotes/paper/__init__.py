"""The job sheet on paper: HTML and PDF, as a draft and signed."""

from jobnotes.paper.letterhead import Firm, Signature, Signatures
from jobnotes.paper.pdf import job_data, remove_old_sheets, sheet_name, sheet_pdf, write_sheets
from jobnotes.paper.sheet import sheet_html
from jobnotes.paper.signed import attached_document, canonical_bytes, signed_sheet_pdf
from jobnotes.paper.signed_state import SignedState, Withdrawal
from jobnotes.paper.strokes import tidy_strokes

__all__ = [
    "Firm",
    "Signature",
    "Signatures",
    "SignedState",
    "Withdrawal",
    "attached_document",
    "canonical_bytes",
    "job_data",
    "remove_old_sheets",
    "sheet_html",
    "sheet_name",
    "sheet_pdf",
    "signed_sheet_pdf",
    "tidy_strokes",
    "write_sheets",
]
