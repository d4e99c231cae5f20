"""Densities of sugar and of alcohol in water, against other sources over their whole ranges."""

import numpy
import pytest
from hypothesis import given
from hypothesis import strategies as st
from iapws import IAPWS95

from brewing import solutions
from brewing.errors import OutOfRange


@pytest.mark.parametrize("temperature_c", range(1, 41, 3))
def test_both_solutions_without_solute_are_water(temperature_c: int) -> None:
    """IAPWS-95 by the iapws library; the older temperature scales of the two standards lie 0.002-0.008 kg/m3 lower."""
    water = float(IAPWS95(T=temperature_c + 273.15, P=0.101325).rho)
    assert solutions.sucrose_density(0.0, temperature_c) == pytest.approx(water, abs=0.009)
    assert solutions.ethanol_density(0.0, temperature_c) == pytest.approx(water, abs=0.009)


@given(st.floats(0.0, 0.59), st.floats(0.0, 80.0))
def test_the_sugar_of_a_density_is_found_again(fraction: float, temperature_c: float) -> None:
    density = solutions.sucrose_density(fraction, temperature_c)
    assert solutions.sucrose_fraction(density, temperature_c) == pytest.approx(fraction, abs=1e-9)


@given(st.floats(0.0, 0.59), st.floats(0.0, 80.0))
def test_more_sugar_is_denser(fraction: float, temperature_c: float) -> None:
    more = solutions.sucrose_density(fraction + 0.01, temperature_c)
    assert more > solutions.sucrose_density(fraction, temperature_c)


@given(st.floats(0.0, 1.0))
def test_alcohol_by_volume_is_found_again_by_mass(fraction: float) -> None:
    assert solutions.alcohol_by_mass(solutions.alcohol_by_volume(fraction)) == pytest.approx(fraction, abs=1e-9)


def test_ethanol_is_as_dense_as_the_fluids_library_says() -> None:
    """Ethanol's equation of state in CoolProp (library), 0-40 degC; OIML R 22 holds 0.1 % of water more likely."""
    from CoolProp.CoolProp import PropsSI

    for temperature_c in numpy.linspace(0.0, 40.0, 9):
        library = PropsSI("D", "T", temperature_c + 273.15, "P", 101325.0, "Ethanol")
        assert solutions.ethanol_density(1.0, float(temperature_c)) == pytest.approx(library, rel=0.001)


@pytest.mark.parametrize(
    ("fraction", "temperature_c"), [(-0.01, 20.0), (0.61, 20.0), (0.1, 81.0), (float("nan"), 20.0), (0.1, float("inf"))]
)
def test_sugar_outside_the_standard_is_refused(fraction: float, temperature_c: float) -> None:
    with pytest.raises(OutOfRange):
        solutions.sucrose_density(fraction, temperature_c)
