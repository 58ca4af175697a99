"""Errors in words: what was wrong, where, and what to do."""

from __future__ import annotations


class JobnotesError(Exception):
    """Something the user can understand and put right. Its text is one clear sentence."""
