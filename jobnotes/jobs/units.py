"""The one place where a value goes from one unit into another.

The factors are those of pint; the tests hold them against NIST Special Publication 811 (2008), Appendix B.
pint is imported at the first conversion, not with this module: it takes about a third of a second.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

from jobnotes.errors import JobnotesError

if TYPE_CHECKING:
    import pint

# What each unit measures, by symbol as the jobs schema writes it; SI units stand beside them for the tests.
# Quantities, not dimensions, decide what may be turned into what: rpm and Hz are both one over a time, yet
# they do not say the same thing.
QUANTITIES: dict[str, tuple[str, ...]] = {
    "pressure": ("bar", "psi", "kPa", "MPa", "Pa"),
    "voltage": ("V", "mV"),
    "current": ("A", "mA"),
    "resistance": ("ohm", "kohm", "Mohm"),
    "temperature": ("degC", "K"),
    "length": ("mm", "cm", "m", "in", "thou", "mi", "km"),
    "flow": ("L/min", "m3/s"),
    "speed": ("rpm", "rad/s"),
    "torque": ("N*m", "lbf*ft"),
    "frequency": ("Hz",),
    "mass": ("kg", "t"),
    "volume": ("L", "m3"),
    "ratio": ("%", "1"),
    "time": ("h", "min", "s"),
}

# What pint calls a unit, where it would not take the symbol, or might take it for another unit.
PINT_NAMES = {
    "in": "inch",
    "t": "metric_ton",
    "%": "percent",
    "1": "dimensionless",
    "mi": "mile",  # the international mile of 1609.344 m, not the US survey mile
    "thou": "thou",  # a thousandth of an inch; SP 811 calls it a mil
    "h": "hour",
    "min": "minute",
    "L": "litre",
    "L/min": "litre / minute",
    "m3": "metre ** 3",
    "m3/s": "metre ** 3 / second",
    "rpm": "revolution / minute",
    "rad/s": "radian / second",
    "N*m": "newton * metre",
    "lbf*ft": "force_pound * foot",
    "kohm": "kiloohm",
    "Mohm": "megaohm",
}

QUANTITY_OF = {symbol: quantity for quantity, symbols in QUANTITIES.items() for symbol in symbols}


def quantity_of(unit: str) -> str:
    """What a unit measures ("pressure" for psi). Raises JobnotesError for a unit not known here."""
    try:
        return QUANTITY_OF[unit]
    except KeyError:
        known = ", ".join(QUANTITY_OF)
        raise JobnotesError(f"{unit!r} is not a unit that can be converted; these can be: {known}.") from None


def is_known(unit: str) -> bool:
    """Whether `unit` is a symbol that can be converted."""
    return unit in QUANTITY_OF


def same_quantity(unit_a: str, unit_b: str) -> bool:
    """Whether two units measure the same thing, so that a value can go from one into the other.

    Raises JobnotesError for a unit not known here.
    """
    return quantity_of(unit_a) == quantity_of(unit_b)


def convert(value: float, unit: str, to: str) -> float:
    """`value`, given in `unit`, expressed in `to`: convert(1, "in", "mm") is 25.4.

    A temperature is one read off a thermometer, not a difference: 20 degC is 293.15 K. The same unit on both
    sides gives back `value` untouched. Raises JobnotesError for a unit not known here, and for two units that
    measure different things.
    """
    if not same_quantity(unit, to):
        measured, wanted = quantity_of(unit), quantity_of(to)
        raise JobnotesError(f"{unit} cannot be turned into {to}: one is a {measured}, the other a {wanted}.")
    if unit == to:
        return value
    registry = _registry()
    return float(registry.Quantity(value, PINT_NAMES.get(unit, unit)).to(PINT_NAMES.get(to, to)).magnitude)


@cache
def _registry() -> pint.UnitRegistry[float]:
    import pint

    return pint.UnitRegistry()
