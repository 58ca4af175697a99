"""The workshop at work: store, intake and paper brought together. What each does stands in its own room."""

from jobnotes.workshop.papers import check_sheet_pdf, sealed_pdf, withdrawn_pdf, workshop_fingerprint
from jobnotes.workshop.settings import Settings, load_settings, save_settings
from jobnotes.workshop.taking import Hears, Taking
from jobnotes.workshop.watching import watch

__all__ = [
    "Hears",
    "Settings",
    "Taking",
    "check_sheet_pdf",
    "load_settings",
    "save_settings",
    "sealed_pdf",
    "watch",
    "withdrawn_pdf",
    "workshop_fingerprint",
]
