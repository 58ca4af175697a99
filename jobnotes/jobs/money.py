"""Money: sums of `Decimal`, rounded half up to the penny, and each sum rounded once."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal

PENNY = Decimal("0.01")
NOUGHT = Decimal("0.00")


def to_penny(amount: Decimal) -> Decimal:
    """The amount in whole pence, halves away from nought: 1.005 is 1.01, -1.005 is -1.01.

    EN 16931-1:2017 lets amounts have two decimals at most, and rounds them so (6.5.12.4).
    """
    return amount.quantize(PENNY, ROUND_HALF_UP)


def share_of(amount: Decimal, percent: Decimal) -> Decimal:
    """So many per cent of an amount, in whole pence: the VAT of a base (EN 16931, BR-CO-17)."""
    return to_penny(amount * percent / 100)
