"""JSON in the one form that it is signed in: RFC 8785, the JSON Canonicalization Scheme."""

from __future__ import annotations

import hashlib
import json
from typing import Any

import rfc8785

from jobnotes.errors import JobnotesError


def canonical(value: Any) -> bytes:
    """The value as canonical JSON in UTF-8. Raises JobnotesError where it holds what JSON has no one form
    for: a whole number beyond 2^53, half of a surrogate pair, a number that is none."""
    try:
        return bytes(rfc8785.dumps(value))
    except (rfc8785.CanonicalizationError, UnicodeEncodeError) as error:
        raise JobnotesError(f"It holds a value that can't be signed: {error}.") from error


def is_canonical(content: bytes) -> bool:
    """Whether the bytes are canonical JSON."""
    try:
        return canonical(json.loads(content)) == content
    except (ValueError, RecursionError, JobnotesError):
        return False


def sha256(content: bytes) -> str:
    """The SHA-256 of the bytes, in hex."""
    return hashlib.sha256(content).hexdigest()
