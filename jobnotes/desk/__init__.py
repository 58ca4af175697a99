"""The desk: web pages on which drafts are heard, put right and signed. All that is kept is the store's."""

from jobnotes.desk.app import make_app
from jobnotes.desk.state import Desk

__all__ = ["Desk", "make_app"]
