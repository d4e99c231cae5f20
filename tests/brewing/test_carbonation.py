"""Gas in beer: the chart both ways, altitude, arrays, and what is impossible."""

import math
import subprocess
import sys

import numpy
import pytest
from hypothesis import given
from hypothesis import strategies as st

from brewing import atmosphere, carbonation, solubility
from brewing.errors import OutOfRange

PSI = carbonation.PSI_PA
temperatures = st.floats(*carbonation.CHART_C)
gauges = st.floats(*carbonation.CHART_GAUGE_PA)
airs = st.floats(70_000.0, 104_000.0)


def test_a_19_litre_keg_of_lager_at_15_psi_in_a_fridge_is_customarily_carbonated() -> None:
    # common practice, no source: fridges hold 3 to 6 degC, lagers 2.4 to 2.9 volumes
    for celsius in (3.0, 4.0, 5.0, 6.0):
        assert 2.4 <= carbonation.volumes(celsius, 15.0 * PSI) <= 2.9


@given(temperatures, gauges, airs)
def test_pressure_to_volumes_and_back_closes(celsius: float, gauge: float, air: float) -> None:
    held = carbonation.volumes(celsius, gauge, air)
    assert carbonation.gauge_for(held, celsius, air) == pytest.approx(gauge, abs=1e-6 * PSI)


@given(temperatures, gauges, airs)
def test_temperature_to_volumes_and_back_closes(celsius: float, gauge: float, air: float) -> None:
    held = carbonation.volumes(celsius, gauge, air)
    assert carbonation.temperature_for(held, gauge, air) == pytest.approx(celsius, abs=1e-6)


@given(temperatures, gauges, gauges)
def test_more_pressure_never_means_less_gas(celsius: float, one: float, other: float) -> None:
    low, high = sorted((one, other))
    assert carbonation.volumes(celsius, low) <= carbonation.volumes(celsius, high)


@given(temperatures, temperatures, gauges)
def test_warmer_beer_never_holds_more_gas(one: float, other: float, gauge: float) -> None:
    cold, warm = sorted((one, other))
    assert carbonation.volumes(cold, gauge) >= carbonation.volumes(warm, gauge)


@given(temperatures, gauges, st.floats(0.0, 3000.0))
def test_adding_the_altitude_part_restores_the_volumes(celsius: float, gauge: float, altitude: float) -> None:
    air = atmosphere.pressure_at_altitude(altitude)
    raised = gauge + atmosphere.gauge_to_add(air)
    if raised <= carbonation.CHART_GAUGE_PA[1]:
        assert carbonation.volumes(celsius, raised, air) == pytest.approx(carbonation.volumes(celsius, gauge))


def test_a_mile_up_the_same_gauge_holds_a_quarter_volume_less() -> None:
    air = atmosphere.pressure_at_altitude(1609.0)
    lost = carbonation.volumes(10 / 3, 12 * PSI) - carbonation.volumes(10 / 3, 12 * PSI, air)
    assert lost == pytest.approx(0.25, abs=0.01)


@pytest.mark.parametrize("celsius", range(0, 22))
def test_beer_holds_three_to_eight_percent_less_than_water(celsius: int) -> None:
    ratio = carbonation.volumes(celsius, 0.0) / solubility.volumes_in_water(celsius)
    assert 0.915 < ratio < 0.97


def test_beer_that_holds_more_than_asked_at_no_pressure_is_refused_with_the_range() -> None:
    with pytest.raises(OutOfRange, match=r"target_volumes is 1 vol, outside 1\.4\d+ to") as refusal:
        carbonation.gauge_for(1.0, 2.0)
    assert refusal.value.low == pytest.approx(carbonation.volumes(2.0, 0.0))


def test_volumes_no_regulator_holds_are_refused() -> None:
    with pytest.raises(OutOfRange, match="target_volumes is 5 vol"):
        carbonation.gauge_for(5.0, 15.0)


def test_volumes_no_temperature_reaches_are_refused() -> None:
    with pytest.raises(OutOfRange, match="target_volumes is 4 vol"):
        carbonation.temperature_for(4.0, 10 * PSI)


@pytest.mark.parametrize(("celsius", "gauge"), [(-5.0, 0.0), (25.0, 0.0), (math.nan, 0.0), (4.0, 3e5), (4.0, math.nan)])
def test_states_off_the_chart_are_refused(celsius: float, gauge: float) -> None:
    with pytest.raises(OutOfRange, match="temperature_c|gauge_pa"):
        carbonation.volumes(celsius, gauge)


@pytest.mark.parametrize("fahrenheit", range(32, 71))
def test_residual_gas_lies_above_the_chart_at_no_pressure_by_at_most_an_eighth_of_a_volume(fahrenheit: int) -> None:
    celsius = (fahrenheit - 32) / 1.8
    above = carbonation.residual_volumes(celsius) - carbonation.volumes(celsius, 0.0)
    assert 0.0 < above < 0.125


def test_a_closed_vessel_leaves_gas_in_proportion_to_its_pressure() -> None:
    open_vessel = carbonation.residual_volumes(18.0)
    assert carbonation.residual_volumes(18.0, 2 * atmosphere.STANDARD_PA) == pytest.approx(2 * open_vessel)


def test_beer_fermented_warmer_keeps_less_gas() -> None:
    left = [carbonation.residual_volumes(celsius) for celsius in range(0, 27)]
    assert left == sorted(left, reverse=True)


@given(st.floats(0.0, 12.0), st.sampled_from(["real", "ideal"]))
def test_grams_and_volumes_undo_each_other(volumes: float, gas: str) -> None:
    grams = carbonation.grams_per_litre(volumes, gas)
    assert carbonation.volumes_from_grams(grams, gas) == pytest.approx(volumes, abs=1e-12)


def test_real_and_ideal_gas_differ_by_seven_in_a_thousand() -> None:
    ratio = carbonation.grams_per_litre(1.0) / carbonation.grams_per_litre(1.0, "ideal")
    assert ratio == pytest.approx(1.0068, abs=1e-4)


def test_a_gas_convention_of_ones_own_is_refused() -> None:
    with pytest.raises(ValueError, match="none of real, ideal"):
        carbonation.grams_per_litre(2.0, "beer")


def test_the_lager_constant_lies_between_a_measured_lager_and_water() -> None:
    # ACS Omega 2021, PMC8047704, Table 1: 2.4 g/(L bar) at 6 degC; water by Weiss 2.68
    water = solubility.volumes_in_water(6.0, 1e5) * 1.9768
    assert 2.4 < carbonation.henry_constant(6.0) < water


def test_arrays_say_what_single_states_say() -> None:
    celsius, gauge = numpy.linspace(0, 20, 41), numpy.linspace(0, 2e5, 41)
    many = carbonation.volumes_of_many(celsius, gauge, 95_000.0)
    singly = [carbonation.volumes(t, p, 95_000.0) for t, p in zip(celsius, gauge, strict=True)]
    assert many == pytest.approx(singly, rel=1e-12)


def test_arrays_close_the_round_trip() -> None:
    celsius, gauge = numpy.linspace(0, 20, 1000), numpy.linspace(0, 2e5, 1000)
    back = carbonation.gauges_for_many(carbonation.volumes_of_many(celsius, gauge), celsius)
    assert back == pytest.approx(gauge, abs=1e-6)


def test_one_bad_state_among_many_is_named() -> None:
    celsius = numpy.array([4.0, 4.0, 44.0, numpy.nan])
    with pytest.raises(OutOfRange, match="temperatures_c is 44 degC"):
        carbonation.volumes_of_many(celsius, numpy.zeros(4))


def test_one_impossible_target_among_many_is_refused() -> None:
    with pytest.raises(OutOfRange, match="target_volumes"):
        carbonation.gauges_for_many(numpy.array([2.5, 0.1]), numpy.array([4.0, 4.0]))


def test_scalars_need_no_array_library() -> None:
    asks = "import sys; from brewing import carbonation; carbonation.volumes(4, 1e5); print('numpy' in sys.modules)"
    run = subprocess.run([sys.executable, "-c", asks], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "False"
