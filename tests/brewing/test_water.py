"""Water against IAPWS-95 (CoolProp and iapws) over whole ranges."""

import math

import pytest
from CoolProp.CoolProp import PropsSI
from iapws import IAPWS95

from brewing import water
from brewing.errors import OutOfRange


@pytest.mark.parametrize("tenths", range(2, 401, 7))
def test_density_stays_within_twelve_milligrams_a_litre_of_iapws(tenths: int) -> None:
    reference = PropsSI("D", "T", tenths / 10 + 273.15, "P", 101_325.0, "Water")
    assert water.density(tenths / 10) == pytest.approx(reference, abs=0.0012)


def test_density_agrees_with_a_second_implementation_of_iapws() -> None:
    for celsius in (0.0, 4.0, 10.0, 20.0, 30.0, 40.0):
        reference = IAPWS95(T=celsius + 273.15, P=0.101325).rho
        assert water.density(celsius) == pytest.approx(reference, abs=0.0012)


def test_water_is_densest_near_four_degrees() -> None:
    densest = max((water.density(hundredths / 100), hundredths / 100) for hundredths in range(0, 1001))[1]
    assert densest == pytest.approx(water.DENSEST_AT_C, abs=0.01)


@pytest.mark.parametrize("celsius", range(1, 98, 4))
def test_specific_heat_follows_iapws(celsius: int) -> None:
    reference = PropsSI("C", "T", celsius + 273.15, "P", 1e5, "Water")
    assert water.specific_heat(celsius) == pytest.approx(reference, abs=0.5)


@pytest.mark.parametrize("celsius", range(1, 98, 4))
def test_viscosity_follows_iapws(celsius: int) -> None:
    assert water.viscosity(celsius) == pytest.approx(PropsSI("V", "T", celsius + 273.15, "P", 1e5, "Water"), rel=0.001)


@pytest.mark.parametrize("celsius", range(1, 110, 3))
def test_vapour_pressure_follows_iapws(celsius: int) -> None:
    reference = PropsSI("P", "T", celsius + 273.15, "Q", 0, "Water")
    assert water.vapour_pressure(celsius) == pytest.approx(reference, rel=1e-4)


@pytest.mark.parametrize("function", [water.density, water.specific_heat, water.viscosity, water.vapour_pressure])
@pytest.mark.parametrize("celsius", [-0.1, 120.0, math.nan, math.inf])
def test_what_is_no_liquid_water_is_refused(function: object, celsius: float) -> None:
    with pytest.raises(OutOfRange, match="temperature_c"):
        function(celsius)  # type: ignore[operator]
