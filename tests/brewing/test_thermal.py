"""Heat: closed forms against integration, balances, and what cannot be reached."""

import math

import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st

from brewing import thermal
from brewing.errors import OutOfRange
from brewing.thermal import Mass

BEER = Mass(19.2)


def integrated(mass: Mass, start: float, ambient: float, ua: float, cooling: float, seconds: float) -> float:
    """The same chamber in small steps."""
    temperature, steps = start, 20_000
    for _ in range(steps):
        temperature += (ua * (ambient - temperature) - cooling) * (seconds / steps) / mass.capacity
    return temperature


def test_a_crash_takes_as_long_as_integrating_it_says() -> None:
    seconds = thermal.crash_time(BEER, 20.0, 2.0, 22.0, 2.0, 100.0)
    assert integrated(BEER, 20.0, 22.0, 2.0, 100.0, seconds) == pytest.approx(2.0, abs=0.01)


@given(st.floats(5.0, 25.0), st.floats(-5.0, 4.0), st.floats(0.01, 0.99))
def test_time_to_reach_undoes_temperature_after(start: float, end: float, part: float) -> None:
    target = start + part * (end - start)
    seconds = thermal.time_to_reach(target, start, end, 20_000.0)
    assert thermal.temperature_after(seconds, start, end, 20_000.0) == pytest.approx(target, abs=1e-9)


@given(st.floats(0.0, 1e6), st.floats(0.0, 1e6))
def test_cooling_never_turns_back(one: float, other: float) -> None:
    early, late = sorted((one, other))
    assert thermal.temperature_after(late, 20.0, 0.0, 9e4) <= thermal.temperature_after(early, 20.0, 0.0, 9e4) + 1e-12


def test_a_target_beyond_where_it_settles_is_refused_with_that_temperature() -> None:
    with pytest.raises(OutOfRange, match="target_c is -1 degC, outside 0 to 20 degC; it is never reached"):
        thermal.time_to_reach(-1.0, 20.0, 0.0, 1000.0)


def test_where_it_settles_is_never_quite_reached() -> None:
    with pytest.raises(OutOfRange, match="never quite"):
        thermal.time_to_reach(0.0, 20.0, 0.0, 1000.0)


def test_too_little_cooling_is_refused() -> None:
    with pytest.raises(OutOfRange, match="target_c is 2 degC, outside 5 to 20"):
        thermal.crash_time(BEER, 20.0, 2.0, 20.0, 2.0, 30.0)


def test_no_time_is_needed_to_stay() -> None:
    assert thermal.time_to_reach(20.0, 20.0, 0.0, 1000.0) == 0.0


def test_a_very_strong_chiller_is_allowed() -> None:
    assert thermal.crash_time(BEER, 20.0, 2.0, 20.0, 0.5, 2000.0) == pytest.approx(
        BEER.capacity * 18 / 2000.0, rel=0.01
    )


def test_heat_taken_out_is_heat_put_back() -> None:
    assert thermal.sensible_heat(BEER, 20.0, 2.0) == pytest.approx(-thermal.sensible_heat(BEER, 2.0, 20.0))


def test_the_load_over_a_crash_is_its_heat_over_its_time() -> None:
    assert thermal.cooling_load(BEER, 20.0, 1.0, 12 * 3600.0) == pytest.approx(34.2, abs=0.1)


@given(st.floats(0.1, 100.0), st.floats(0.1, 100.0), st.floats(-10.0, 30.0), st.floats(-10.0, 30.0))
def test_mixing_conserves_heat(one_kg: float, other_kg: float, one_c: float, other_c: float) -> None:
    one, other = Mass(one_kg, 3800.0), Mass(other_kg)
    mixed = thermal.mixed_temperature(one, one_c, other, other_c)
    gained = thermal.sensible_heat(one, mixed, one_c) + thermal.sensible_heat(other, mixed, other_c)
    assert gained == pytest.approx(0.0, abs=1e-6 * (one.capacity + other.capacity))


@pytest.mark.parametrize("celsius", [5.0, 10.0, 20.0, 30.0])
def test_wort_without_sugar_has_the_heat_of_water(celsius: float) -> None:
    water = PropsSI("C", "T", celsius + 273.15, "P", 1e5, "Water")
    assert thermal.sugar_solution_specific_heat(0.0, celsius) == pytest.approx(water, rel=0.006)


def test_stronger_wort_holds_less_heat() -> None:
    heats = [thermal.sugar_solution_specific_heat(percent / 100, 10.0) for percent in range(0, 61)]
    assert heats == sorted(heats, reverse=True)


def test_an_idle_vessel_lies_between_its_jacket_and_its_room() -> None:
    # common practice, no source: a 4 degC bucket in a fridge holds a jacketed fermenter near 9 degC in a 20 degC room
    assert thermal.between(4.0, 20.0, 0.4545) == pytest.approx(9.0, abs=0.01)
    # and the same jacket on a -9 degC freezer bath brings it near freezing
    assert thermal.between(-9.0, 20.0, 0.4545) == pytest.approx(0.0, abs=0.1)


def test_a_wall_is_its_insulation_and_two_films_in_series() -> None:
    assert thermal.wall_transmittance(0.04) == pytest.approx(1 / (1 / 8 + 0.04 / 0.024 + 1 / 8))


def test_thicker_walls_leak_less() -> None:
    leaks = [thermal.wall_transmittance(millimetres / 1000) for millimetres in range(10, 100, 5)]
    assert leaks == sorted(leaks, reverse=True)


def test_a_chamber_s_balance_adds_up() -> None:
    balance = thermal.chamber_balance(4.0, 20.0, 1.5, 60.0, fermentation_w=10.0, fans_w=3.0, door_j_per_hour=3600.0)
    assert balance.gain_w == pytest.approx(24.0 + 10.0 + 3.0 + 1.0)
    assert balance.spare_w == pytest.approx(60.0 - 38.0)
    assert balance.duty == pytest.approx(38.0 / 60.0)


def test_a_chamber_without_cooling_never_holds() -> None:
    assert math.isinf(thermal.chamber_balance(4.0, 20.0, 1.5, 0.0).duty)


def test_heating_raises_where_a_chamber_settles() -> None:
    assert thermal.settles_at(10.0, 2.0, heating_w=20.0) == pytest.approx(20.0)


def test_the_time_constant_is_capacity_over_leak() -> None:
    assert thermal.time_constant(BEER, 8.0) == pytest.approx(2.7 * 3600.0)


@pytest.mark.parametrize("mass", [Mass(0.0), Mass(-1.0), Mass(1.0, 10.0), Mass(math.nan)])
def test_a_mass_of_nothing_is_refused(mass: Mass) -> None:
    with pytest.raises(OutOfRange, match="kg|specific_heat"):
        mass.capacity  # noqa: B018


def test_a_temperature_in_kelvin_is_refused() -> None:
    with pytest.raises(OutOfRange, match="from_c is 293 degC"):
        thermal.sensible_heat(BEER, 293.0, 274.0)
