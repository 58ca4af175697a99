"""Published lists of codes (`codes.toml`) and the shapes of numbers that money depends on."""

from __future__ import annotations

import re
import tomllib
from functools import cache
from importlib.resources import files

VAT_NUMBER = re.compile(r"[A-Z]{2}[0-9A-Z]{2,13}")
GB_VAT_NUMBER = re.compile(r"GB(\d{9}|\d{12}|(GD|HA)\d{3})")
IBAN = re.compile(r"[A-Z]{2}\d{2}[A-Z0-9]{11,30}")
BIC = re.compile(r"[A-Z]{6}[A-Z0-9]{2}([A-Z0-9]{3})?")


@cache
def _lists() -> dict[str, frozenset[str]]:
    text = files("jobnotes.office").joinpath("codes.toml").read_text(encoding="utf-8")
    return {name: frozenset(codes.split()) for name, codes in tomllib.loads(text).items()}


def currencies() -> frozenset[str]:
    """ISO 4217: the currencies whose amounts have two decimals."""
    return _lists()["currencies"]


def countries() -> frozenset[str]:
    """ISO 3166-1 alpha-2."""
    return _lists()["countries"]


def electronic_schemes() -> frozenset[str]:
    """The EAS list of schemes of electronic addresses."""
    return _lists()["electronic_schemes"]


def compact(text: str) -> str:
    """A number without its spaces, in capitals: "gb 123 4567 89" is "GB123456789"."""
    return "".join(text.split()).upper()


def is_vat_number(number: str) -> bool:
    """Whether a compact number has the shape of a VAT number with its country's prefix (EN 16931, BR-CO-9).

    One of GB has nine or twelve figures, or GD or HA and three (from memory, HM Revenue and Customs). The
    check figures are not reckoned.
    """
    if not VAT_NUMBER.fullmatch(number):
        return False
    if number[:2] == "GB":
        return GB_VAT_NUMBER.fullmatch(number) is not None
    return number[:2] in countries() | _lists()["vat_prefixes"]


def is_iban(number: str) -> bool:
    """Whether a compact number is an IBAN whose check figures are right (ISO 13616: modulo 97 leaves 1)."""
    if not IBAN.fullmatch(number):
        return False
    return int("".join(str(int(sign, 36)) for sign in number[4:] + number[:4])) % 97 == 1


def is_bic(number: str) -> bool:
    """Whether a compact code has the shape of a BIC (ISO 9362)."""
    return BIC.fullmatch(number) is not None
