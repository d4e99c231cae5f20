"""The equation of state against CoolProp's full Span & Wagner over the cylinder's whole range."""

import itertools

import pytest
from CoolProp.CoolProp import PropsSI

from brewing import carbon_dioxide
from brewing.errors import OutOfRange

GASES = [*itertools.product([-20, 0, 20, 40, 100], [0.5, 1.01325, 3, 10, 19]), (20, 35), (40, 35), (100, 35)]


@pytest.mark.parametrize("celsius", [-56.0, -40.0, -20.0, -10.0, 0.0, 4.0, 10.0, 20.0, 25.0, 28.0, 30.0, 30.8])
def test_saturation_follows_the_full_equation(celsius: float) -> None:
    found = carbon_dioxide.saturation(celsius)
    kelvin = celsius + 273.15
    assert found.pressure_pa == pytest.approx(PropsSI("P", "T", kelvin, "Q", 0, "CO2"), rel=2e-4)
    assert found.liquid_kg_m3 == pytest.approx(PropsSI("D", "T", kelvin, "Q", 0, "CO2"), rel=2e-3)
    assert found.vapour_kg_m3 == pytest.approx(PropsSI("D", "T", kelvin, "Q", 1, "CO2"), rel=2e-3)


def test_saturation_pressure_rises_all_the_way_to_the_critical_point() -> None:
    pressures = [carbon_dioxide.saturation(tenths / 10).pressure_pa for tenths in range(-565, 310)]
    assert pressures == sorted(pressures)
    assert pressures[-1] < carbon_dioxide.CRITICAL_PA


@pytest.mark.parametrize(("celsius", "bar"), GASES)
def test_gas_density_follows_the_full_equation(celsius: int, bar: float) -> None:
    reference = PropsSI("D", "T", celsius + 273.15, "P", bar * 1e5, "CO2")
    assert carbon_dioxide.gas_density(bar * 1e5, celsius) == pytest.approx(reference, rel=5e-4)


@pytest.mark.parametrize(("celsius", "density"), list(itertools.product([28, 31, 35, 40, 50, 65], range(690, 900, 30))))
def test_a_liquid_full_cylinder_follows_the_full_equation_to_a_quarter_percent(celsius: int, density: int) -> None:
    reference = PropsSI("P", "T", celsius + 273.15, "D", density, "CO2")
    assert carbon_dioxide.pressure_of(density, celsius) == pytest.approx(reference, rel=0.0025)


def test_one_volume_weighs_what_the_equation_says() -> None:
    weighs = carbon_dioxide.gas_density(101_325.0, 0.0)
    assert weighs == pytest.approx(carbon_dioxide.KG_PER_M3_PER_VOLUME, abs=5e-5)


def test_an_ideal_volume_weighs_what_the_gas_constant_says() -> None:
    ideal = 101_325.0 * carbon_dioxide.MOLAR_MASS / (8.314462618 * 273.15)
    assert ideal == pytest.approx(carbon_dioxide.IDEAL_KG_PER_M3_PER_VOLUME, abs=1e-4)


def test_no_pressure_is_no_gas() -> None:
    assert carbon_dioxide.gas_density(0.0, 20.0) == 0.0


def test_gas_above_its_saturation_pressure_is_refused() -> None:
    with pytest.raises(OutOfRange, match="pressure_pa .* the gas turns liquid"):
        carbon_dioxide.gas_density(3.9e6, 0.0)


@pytest.mark.parametrize("celsius", [-57.0, 31.0, float("nan")])
def test_no_saturation_outside_triple_and_critical_point(celsius: float) -> None:
    with pytest.raises(OutOfRange, match="temperature_c"):
        carbon_dioxide.saturation(celsius)
