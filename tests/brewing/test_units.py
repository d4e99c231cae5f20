"""Quantities as people write them, against exact definitions (NIST SP 811, from memory) and round trips."""

import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brewing import units
from brewing.units import QuantityError

EXACT = [
    ("66 degF", "degC", (66.0 - 32.0) / 1.8),
    ("32 °F", "degC", 0.0),
    ("1 gal", "L", 3.785411784),
    ("1 impgal", "L", 4.54609),
    ("5 gal", "L", 18.92705892),
    ("1 psi", "Pa gauge", 6894.757293168),
    ("1 bar", "Pa absolute", 1e5),
    ("12 psig", "Pa gauge", 82737.087518),
    ("14.7 psia", "Pa absolute", 101352.932),
    ("2.5 vol", "g/L", 4.942),
    ("4.942 g/L", "vol", 2.5),
    ("1.8 degF", "K step", 1.0),
    ("0.5 degC", "K step", 0.5),
    ("1.050", "SG", 1.050),
    ("12.4 degP", "degP", 12.4),
    ("90 min", "h", 1.5),
    ("1 lb", "g", 453.59237),
    ("75 %", "percent", 75.0),
    ("1 kWh", "kJ", 3600.0),
    ("100e9 cells", "cell", 1e11),
    ("3 degP/d", "degP/d", 3.0),
]
BAD = [
    ("4", "degC", "no unit"),
    ("4 kg", "degC", "cannot be read in degC"),
    ("23 parsec", "L", "cannot be read in L"),
    ("", "L", "no quantity"),
    ("twelve psi", "Pa gauge", "no quantity"),
    ("nan L", "L", "no quantity"),
    ("1e999 L", "L", "not a finite number"),
    ("26.7 psia", "Pa gauge", "an absolute pressure and a gauge one"),
    ("12 psig", "Pa absolute", "a gauge pressure and an absolute one"),
    ("12 psi", "SG", "neither a specific gravity"),
]


@pytest.mark.parametrize(("written", "unit", "value"), EXACT)
def test_a_written_quantity_is_read_exactly(written: str, unit: str, value: float) -> None:
    assert units.read(written, unit) == pytest.approx(value, rel=1e-7, abs=1e-9)


@pytest.mark.parametrize(("written", "unit", "said"), BAD)
def test_what_cannot_be_read_is_refused_with_an_example(written: str, unit: str, said: str) -> None:
    with pytest.raises(QuantityError, match=said) as caught:
        units.read(written, unit)
    assert units.example(unit) in str(caught.value)


def test_gravity_and_plato_are_read_from_each_other() -> None:
    assert units.read("12.3876 degP", "SG") == pytest.approx(1.050, abs=1e-6)
    assert units.read("1.050", "degP") == pytest.approx(12.3876, abs=1e-4)


@given(st.floats(-40.0, 120.0), st.sampled_from(["degF", "K"]))
def test_temperatures_survive_a_round_trip(celsius: float, unit: str) -> None:
    assert units.convert(units.convert(celsius, "degC", unit), unit, "degC") == pytest.approx(celsius, abs=1e-9)


@given(
    st.floats(1e-3, 1e4), st.sampled_from([("L", "gal"), ("L", "impgal"), ("Pa", "psi"), ("g/L", "vol"), ("J", "btu")])
)
def test_magnitudes_survive_a_round_trip(value: float, pair: tuple[str, str]) -> None:
    there = units.convert(value, *pair)
    assert units.convert(there, pair[1], pair[0]) == pytest.approx(value, rel=1e-12)


def test_the_unit_library_is_not_loaded_until_a_quantity_is_read() -> None:
    heavy = "{'pint', 'numpy', 'scipy'} & set(sys.modules)"
    asked = f"import sys, brewing.units, brewing.fermentation, brewing.forecast; print({heavy})"
    said = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=True)
    assert said.stdout.strip() == "set()"
