"""Quantities as people write them. Conversions: NIST SP 811, appendix B (exact factors, from memory)."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from schemas.quantities import QuantityError, magnitude

CONVERSIONS = [
    ("23 L", "liter", 23.0),
    ("5 gal", "liter", 18.92705892),
    ("4 impgal", "liter", 18.18436),
    ("5 min", "second", 300.0),
    ("3 d", "second", 259200.0),
    ("12 psi", "bar", 0.8273708751802034),
    ("66 degF", "degC", 18.88888888888889),
    ("-4 °C", "degC", -4.0),
    ("30 %", "percent", 30.0),
    ("200 ft", "meter", 60.96),
    ("0.1 kW", "watt", 100.0),
    ("2.3 kg", "kilogram", 2.3),
]


@pytest.mark.parametrize(("written", "unit", "value"), CONVERSIONS, ids=[row[0] for row in CONVERSIONS])
def test_quantity_is_read_in_the_unit_asked_for(written: str, unit: str, value: float) -> None:
    assert magnitude(written, unit) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(("written", "kelvin"), [("0.5 K", 0.5), ("0.5 degC", 0.5), ("0.9 degF", 0.5)])
def test_difference_of_temperatures_has_no_offset(written: str, kelvin: float) -> None:
    assert magnitude(written, "delta_degree") == pytest.approx(kelvin)


@pytest.mark.parametrize("written", ["23", "", "L", "23 L L", "nan L", "23 banana", "5 min", "0x10 L", "23 L; 4"])
def test_what_is_no_volume_is_refused_with_an_example(written: str) -> None:
    with pytest.raises(QuantityError, match="23 L"):
        magnitude(written, "liter")


def test_infinite_quantity_is_refused() -> None:
    with pytest.raises(QuantityError, match="not a finite number"):
        magnitude("1e999 L", "liter")


@given(st.floats(-60, 150))
def test_fahrenheit_and_celsius_agree(celsius: float) -> None:
    written = f"{celsius * 9 / 5 + 32!r} degF"
    assert math.isclose(magnitude(written, "degC"), celsius, abs_tol=1e-9)
