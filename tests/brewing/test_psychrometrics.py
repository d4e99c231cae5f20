"""Moist air against PsychroLib (ASHRAE) over the whole range."""

import itertools

import psychrolib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from brewing import psychrometrics
from brewing.errors import OutOfRange
from brewing.psychrometrics import Air

psychrolib.SetUnitSystem(psychrolib.SI)
STATES = [
    Air(float(t), rh / 100, p) for t, rh, p in itertools.product(range(-20, 51, 5), (5, 30, 60, 95), (8e4, 101_325.0))
]


@pytest.mark.parametrize("celsius", range(-40, 61, 2))
def test_saturation_pressure_is_the_handbook_s(celsius: int) -> None:
    expected = psychrolib.GetSatVapPres(float(celsius))
    assert psychrometrics.saturation_pressure(celsius) == pytest.approx(expected, rel=1e-9)


def test_humidity_ratio_is_the_handbook_s() -> None:
    for air in STATES:
        expected = psychrolib.GetHumRatioFromRelHum(air.temperature_c, air.humidity, air.pressure_pa)
        assert psychrometrics.humidity_ratio(air) == pytest.approx(expected, rel=1e-3)


def test_enthalpy_is_the_handbook_s() -> None:
    for air in STATES:
        ratio = psychrolib.GetHumRatioFromRelHum(*air)
        expected = psychrolib.GetMoistAirEnthalpy(air.temperature_c, ratio)
        assert psychrometrics.enthalpy(air) == pytest.approx(expected, abs=50.0)


def test_density_is_the_handbook_s() -> None:
    for air in STATES:
        ratio = psychrolib.GetHumRatioFromRelHum(*air)
        expected = psychrolib.GetMoistAirDensity(air.temperature_c, ratio, air.pressure_pa)
        assert psychrometrics.density(air) == pytest.approx(expected, rel=1e-4)


def test_dew_and_frost_points_are_the_handbook_s() -> None:
    for air in STATES:
        if psychrometrics.vapour_pressure(air) > 20.0:
            expected = psychrolib.GetTDewPointFromRelHum(air.temperature_c, air.humidity)
            assert psychrometrics.dew_point(air.temperature_c, air.humidity) == pytest.approx(expected, abs=0.01)


@given(st.floats(-30.0, 60.0), st.floats(0.1, 1.0))
def test_air_at_its_dew_point_is_saturated(celsius: float, humidity: float) -> None:
    vapour = psychrometrics.vapour_pressure(Air(celsius, humidity))
    if vapour > psychrometrics.saturation_pressure(-40.0):
        dew = psychrometrics.dew_point(celsius, humidity)
        assert dew <= celsius
        assert psychrometrics.saturation_pressure(dew) == pytest.approx(vapour, rel=1e-6)


@given(st.floats(0.0, 50.0), st.floats(0.1, 1.0), st.floats(0.1, 1.0))
def test_damper_air_has_a_higher_dew_point(celsius: float, one: float, other: float) -> None:
    dry, damp = sorted((one, other))
    assert psychrometrics.dew_point(celsius, dry) <= psychrometrics.dew_point(celsius, damp) + 1e-9


def test_magnus_stays_within_four_hundredths_of_a_kelvin_above_freezing() -> None:
    for celsius, percent in itertools.product(range(1, 41), range(20, 101, 5)):
        dew = psychrometrics.dew_point(celsius, percent / 100)
        if dew > 0.0:
            assert psychrometrics.dew_point_magnus(celsius, percent / 100) == pytest.approx(dew, abs=0.04)


def test_a_frost_point_is_warmer_than_the_dew_point_over_water() -> None:
    assert psychrometrics.dew_point(4.0, 0.6) == pytest.approx(-2.70, abs=0.01)
    assert psychrometrics.dew_point_magnus(4.0, 0.6) == pytest.approx(-3.07, abs=0.01)


def test_a_surface_gets_wet_just_below_the_dew_point() -> None:
    air = Air(25.0, 0.6)
    dew = psychrometrics.dew_point(25.0, 0.6)
    assert psychrometrics.condenses(air, dew - 0.01)
    assert not psychrometrics.condenses(air, dew + 0.01)


def test_the_driest_surface_keeps_its_margin() -> None:
    air = Air(25.0, 0.6)
    assert psychrometrics.driest_surface(air, 2.0) == pytest.approx(psychrometrics.dew_point(25.0, 0.6) + 2.0)


@pytest.mark.parametrize("air", [Air(-50.0, 0.5), Air(70.0, 0.5), Air(20.0, 1.2), Air(20.0, float("nan"))])
def test_air_outside_the_tables_is_refused(air: Air) -> None:
    with pytest.raises(OutOfRange, match="temperature_c|humidity"):
        psychrometrics.humidity_ratio(air)


def test_percent_for_a_fraction_is_refused() -> None:
    with pytest.raises(OutOfRange, match="humidity is 50 , outside 0 to 1|humidity is 50, outside 0 to 1"):
        psychrometrics.dew_point(20.0, 50.0)


def test_air_too_dry_for_the_tables_is_refused() -> None:
    with pytest.raises(OutOfRange, match="humidity .*drier than tabulated"):
        psychrometrics.dew_point(-35.0, 0.01)


def test_air_in_a_vacuum_is_refused() -> None:
    with pytest.raises(OutOfRange, match="pressure_pa"):
        psychrometrics.humidity_ratio(Air(20.0, 0.5, 100.0))
