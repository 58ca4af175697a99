"""The job sheet on paper: HTML and PDF."""

from jobnotes.paper.letterhead import Firm, Signature, Signatures
from jobnotes.paper.pdf import job_data, remove_old_sheets, sheet_name, sheet_pdf, write_sheets
from jobnotes.paper.sheet import sheet_html

__all__ = [
    "Firm",
    "Signature",
    "Signatures",
    "job_data",
    "remove_old_sheets",
    "sheet_html",
    "sheet_name",
    "sheet_pdf",
    "write_sheets",
]
