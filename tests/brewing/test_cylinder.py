"""The gas cylinder against CoolProp, 49 CFR and mass balances."""

import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st

from brewing import cylinder
from brewing.carbonation import PSI_PA
from brewing.errors import OutOfRange


def test_contents_are_what_the_scale_says_less_the_tare() -> None:
    assert cylinder.contents(6.8, 4.5) == pytest.approx(2.3)


def test_a_cylinder_lighter_than_its_tare_is_refused() -> None:
    with pytest.raises(OutOfRange, match="gross_kg is 4.4 kg, .*weigh again"):
        cylinder.contents(4.4, 4.5)


def test_the_gauge_stands_still_until_seventy_percent_is_gone() -> None:
    full, volume = 2.268, cylinder.internal_volume(2.268)
    pressures = {round(cylinder.pressure(full * share / 100, volume, 20.0)) for share in range(100, 28, -4)}
    assert len(pressures) == 1


def test_below_the_last_liquid_the_gauge_falls() -> None:
    last = cylinder.last_liquid_mass(2.268, 20.0)
    volume = cylinder.internal_volume(2.268)
    falling = [cylinder.pressure(last * share / 10, volume, 20.0) for share in range(10, 0, -1)]
    assert falling == sorted(falling, reverse=True)


def test_the_gauge_says_nothing_while_liquid_remains() -> None:
    assert cylinder.contents_by_gauge(57.2e5, 20.0, 2.268) is None


@given(st.floats(0.01, 0.9), st.floats(-10.0, 28.0))
def test_the_gauge_tells_the_mass_once_the_liquid_is_gone(share: float, celsius: float) -> None:
    mass = share * cylinder.last_liquid_mass(2.268, celsius)
    pressure = cylinder.pressure(mass, cylinder.internal_volume(2.268), celsius)
    told = cylinder.contents_by_gauge(pressure, celsius, 2.268)
    assert told is None or told == pytest.approx(mass, rel=1e-4)


def test_a_gauge_far_above_saturation_means_a_warmer_cylinder() -> None:
    with pytest.raises(OutOfRange, match="warmer than that"):
        cylinder.contents_by_gauge(70e5, 20.0, 2.268)


@pytest.mark.parametrize("celsius", range(-20, 66, 5))
def test_a_legally_full_cylinder_follows_the_full_equation(celsius: int) -> None:
    reference = PropsSI("P", "T", celsius + 273.15, "D", 680.0, "CO2")
    assert cylinder.pressure(0.680, 0.001, celsius) == pytest.approx(reference, rel=0.0025)


def test_a_full_cylinder_turns_dangerous_a_few_degrees_above_the_room() -> None:
    # CoolProp: 57 bar at 20 degC, 109 bar at 40 degC
    assert cylinder.pressure(0.680, 0.001, 40.0) > 1.8 * cylinder.pressure(0.680, 0.001, 20.0)


def test_an_overfilled_cylinder_is_refused() -> None:
    with pytest.raises(OutOfRange, match="mass_kg .*overfilled"):
        cylinder.pressure(0.95, 0.001, 20.0)


def test_the_legal_fill_needs_one_and_a_half_litres_a_kilogram() -> None:
    # 49 CFR 173.304a(a)(2): 68 % of the water capacity
    assert cylinder.internal_volume(1.0) == pytest.approx(1.4706e-3, rel=1e-4)


def test_no_cylinder_may_be_filled_beyond_the_strongest_class() -> None:
    with pytest.raises(OutOfRange, match="fill_kg_m3"):
        cylinder.internal_volume(1.0, 800.0)
    assert max(cylinder.MAXIMUM_FILL_PERCENT.values()) == 74.5


@pytest.mark.parametrize("celsius", [0.0, 4.0, 12.0, 20.0, 30.0])
@pytest.mark.parametrize("psi", [0.0, 8.0, 15.0, 30.0])
def test_gas_that_fills_a_keg_follows_the_full_equation(celsius: float, psi: float) -> None:
    reference = 0.019 * PropsSI("D", "T", celsius + 273.15, "P", 101_325.0 + psi * PSI_PA, "CO2")
    assert cylinder.keg_gas_mass(19.0, psi * PSI_PA, celsius) == pytest.approx(reference, rel=5e-4)


def test_carbonating_takes_the_difference_in_dissolved_gas() -> None:
    assert cylinder.carbonating_mass(19.0, 0.86, 2.5) == pytest.approx(0.0616, abs=1e-4)


def test_carbonating_downwards_is_refused() -> None:
    with pytest.raises(OutOfRange, match="to_volumes"):
        cylinder.carbonating_mass(19.0, 2.5, 2.0)


def test_a_small_cylinder_pushes_a_dozen_or_two_kegs() -> None:
    # common practice, no source: 5 lb of gas serve 12 to 20 kegs and more
    each = cylinder.keg_gas_mass(19.0, 12 * PSI_PA, 4.0) + cylinder.carbonating_mass(19.0, 0.86, 2.5)
    assert 12 <= cylinder.kegs_served(2.268, each) <= 30


def test_waste_takes_its_share() -> None:
    assert cylinder.kegs_served(1.0, 0.1, wasted=0.5) == pytest.approx(5.0)
