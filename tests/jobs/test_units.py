"""Conversions against NIST Special Publication 811 (2008), Appendix B; its factors are written out here."""

from __future__ import annotations

import math
import subprocess
import sys
from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobnotes.errors import JobnotesError
from jobnotes.jobs.units import QUANTITIES, QUANTITY_OF, convert, quantity_of, same_quantity

# From, to, and "multiply by": Appendix B.8, by the name that each unit has in that list. It gives exact
# factors in bold, and rounds the others to seven digits.
APPENDIX_B = [
    ("bar", "Pa", 1.0e05),  # bar, exact
    ("psi", "Pa", 6.894757e03),  # psi (pound-force per square inch)
    ("psi", "kPa", 6.894757),  # psi, to kilopascal
    ("in", "m", 2.54e-02),  # inch, exact
    ("thou", "m", 2.54e-05),  # mil (0.001 in), exact
    ("thou", "mm", 2.54e-02),  # mil, to millimetre, exact
    ("mi", "m", 1.609344e03),  # mile, exact
    ("mi", "km", 1.609344),  # mile, to kilometre, exact
    ("lbf*ft", "N*m", 1.355818),  # pound-force foot
    ("L", "m3", 1.0e-03),  # liter, exact
    ("rpm", "rad/s", 1.047198e-01),  # revolution per minute
    ("t", "kg", 1.0e03),  # ton, metric, exact
    ("h", "s", 3.6e03),  # hour, exact
    ("min", "s", 6.0e01),  # minute, exact
]
# SP 811, table 5: the prefixes milli, centi, kilo and mega; table 6: minute, hour and litre; 7.10.2: percent.
PREFIXES_AND_TABLES = [
    ("kPa", "Pa", 1e3),
    ("MPa", "Pa", 1e6),
    ("MPa", "bar", 10.0),
    ("mV", "V", 1e-3),
    ("mA", "A", 1e-3),
    ("kohm", "ohm", 1e3),
    ("Mohm", "ohm", 1e6),
    ("mm", "m", 1e-3),
    ("cm", "m", 1e-2),
    ("km", "m", 1e3),
    ("L/min", "m3/s", 1e-3 / 60),
    ("h", "min", 60.0),
    ("%", "1", 0.01),
]


def seven_digits(value: float) -> float:
    return float(f"{value:.6e}")


@pytest.mark.parametrize(("unit", "to", "factor"), APPENDIX_B)
def test_factors_of_nist_sp_811(unit: str, to: str, factor: float) -> None:
    assert seven_digits(convert(1.0, unit, to)) == factor


@pytest.mark.parametrize(("unit", "to", "factor"), PREFIXES_AND_TABLES)
def test_prefixes_and_units_used_with_the_si(unit: str, to: str, factor: float) -> None:
    assert convert(1.0, unit, to) == pytest.approx(factor, rel=1e-12)


# SP 811, B.8, degree Celsius (temperature): T/K = t/degC + 273.15.
@pytest.mark.parametrize(
    ("celsius", "kelvin"), [(0.0, 273.15), (-273.15, 0.0), (20.0, 293.15), (-40.0, 233.15)]
)
def test_temperature_is_offset(celsius: float, kelvin: float) -> None:
    assert convert(celsius, "degC", "K") == pytest.approx(kelvin, abs=1e-9)
    assert convert(kelvin, "K", "degC") == pytest.approx(celsius, abs=1e-9)


@pytest.mark.parametrize("quantity", QUANTITIES)
@given(value=st.floats(-1e6, 1e6))
def test_there_and_back(quantity: str, value: float) -> None:
    for unit, to in permutations(QUANTITIES[quantity], 2):
        there = convert(value, unit, to)
        assert convert(there, to, unit) == pytest.approx(value, rel=1e-9, abs=1e-9), f"{unit} to {to}"


@pytest.mark.parametrize("unit", QUANTITY_OF)
def test_the_same_unit_leaves_the_value_untouched(unit: str) -> None:
    assert convert(0.1 + 0.2, unit, unit) == 0.1 + 0.2


def test_every_unit_of_the_schema_is_known() -> None:
    schema = "bar psi kPa MPa V mV A mA ohm kohm degC mm m in thou L/min rpm N*m lbf*ft Hz kg t L %".split()
    beside = "Mohm mi km h min".split()
    assert {quantity_of(unit) for unit in schema + beside} == set(QUANTITIES)


def test_what_measures_the_same() -> None:
    assert same_quantity("psi", "MPa")
    assert same_quantity("mi", "mm")
    assert not same_quantity("bar", "V")
    # One over a time each, and a force times a length each: the same dimension is not the same quantity.
    assert not same_quantity("rpm", "Hz")
    assert not same_quantity("%", "rad/s")


@pytest.mark.parametrize(("unit", "to"), [("furlong", "m"), ("m", "furlong"), ("", "m"), ("BAR", "psi")])
def test_an_unknown_unit_is_named_in_words(unit: str, to: str) -> None:
    unknown = unit if unit not in QUANTITY_OF else to
    with pytest.raises(JobnotesError, match=rf"^'{unknown}' is not a unit that can be converted; .*psi.*\.$"):
        convert(1.0, unit, to)
    with pytest.raises(JobnotesError, match=f"^'{unknown}' is not a unit"):
        same_quantity(unit, to)


def test_different_quantities_are_refused_in_words() -> None:
    with pytest.raises(JobnotesError, match=r"mm cannot be turned into bar.*length.*pressure\.$"):
        convert(3.0, "mm", "bar")
    with pytest.raises(JobnotesError, match=r"speed.*frequency"):
        convert(1500.0, "rpm", "Hz")


def test_what_is_no_number_stays_none() -> None:
    assert math.isnan(convert(math.nan, "bar", "psi"))
    assert convert(math.inf, "bar", "psi") == math.inf


def test_importing_the_module_does_not_import_pint() -> None:
    program = """
import sys
from jobnotes.jobs.units import convert, same_quantity
same_quantity("bar", "psi"), convert(1, "bar", "bar")
assert "pint" not in sys.modules
convert(1, "bar", "psi")
assert "pint" in sys.modules
"""
    subprocess.run([sys.executable, "-c", program], check=True, timeout=60)
