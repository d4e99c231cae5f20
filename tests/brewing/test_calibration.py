"""Corrections and the uncertainty that remains, against simulated calibrations and IAPWS."""

import random
import statistics

import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st

from brewing import calibration
from brewing.calibration import Point
from brewing.errors import OutOfRange


def test_an_ice_bath_takes_the_offset_away() -> None:
    corrected = calibration.ice_point(0.31)
    assert corrected.correct(0.31) == pytest.approx(0.0)
    assert corrected.correct(18.31) == pytest.approx(18.0)


@given(st.floats(-3.0, 3.0), st.floats(0.95, 1.05), st.floats(-10.0, 40.0))
def test_two_points_take_offset_and_slope_away(offset: float, slope: float, true: float) -> None:
    def read(celsius: float) -> float:
        return (celsius - offset) / slope

    corrected = calibration.two_point(Point(read(0.0), 0.0), Point(read(30.0), 30.0))
    assert corrected.correct(read(true)) == pytest.approx(true, abs=1e-9)


def test_uncertainty_grows_away_from_the_ice_point() -> None:
    corrected = calibration.ice_point(0.2)
    grown = [corrected.uncertainty(float(celsius)) for celsius in range(0, 40)]
    assert grown == sorted(grown)
    assert grown[0] < 0.06


def test_uncertainty_is_least_between_two_points() -> None:
    corrected = calibration.two_point(Point(0.2, 0.0), Point(30.3, 30.0))
    assert corrected.uncertainty(15.0) < corrected.uncertainty(0.2)
    assert corrected.uncertainty(15.0) < corrected.uncertainty(60.0)


def test_the_uncertainty_is_what_many_simulated_calibrations_scatter_by() -> None:
    chance = random.Random(7)
    errors = []
    for _ in range(4000):
        cold = Point(0.3 + chance.gauss(0, 0.03), chance.gauss(0, 0.03))
        warm = Point(30.5 + chance.gauss(0, 0.03), 30.0 + chance.gauss(0, 0.1), 0.03, 0.1)
        errors.append(calibration.two_point(cold, warm).correct(18.3 + chance.gauss(0, 0.03)))
    ideal = calibration.two_point(Point(0.3, 0.0), Point(30.5, 30.0, 0.03, 0.1))
    assert statistics.stdev(errors) == pytest.approx(ideal.uncertainty(18.3), rel=0.05)


def test_a_probe_far_off_is_to_be_replaced_rather_than_corrected() -> None:
    with pytest.raises(OutOfRange, match="read_c is 6 degC, outside -5 to 5 degC; too far off: replace the probe"):
        calibration.ice_point(6.0)


def test_points_too_close_together_are_refused() -> None:
    with pytest.raises(OutOfRange, match="read_c .*further apart"):
        calibration.two_point(Point(0.0, 0.0), Point(3.0, 3.0))


def test_a_slope_that_no_probe_has_is_refused() -> None:
    with pytest.raises(OutOfRange, match="slope is 0.5"):
        calibration.two_point(Point(0.0, 0.0), Point(30.0, 15.0))


def test_a_reading_beyond_any_brewery_is_refused() -> None:
    with pytest.raises(OutOfRange, match="read_c"):
        calibration.ice_point(0.1).correct(400.0)


def test_a_point_combines_both_its_uncertainties_in_squares() -> None:
    assert Point(0.0, 0.0, 0.03, 0.04).uncertainty_k == pytest.approx(0.05)


def test_one_point_may_be_taken_anywhere() -> None:
    assert calibration.one_point(Point(19.6, 20.0)).correct(10.0) == pytest.approx(10.4)


@pytest.mark.parametrize("kilopascal", range(60, 111, 5))
def test_water_boils_where_iapws_says(kilopascal: int) -> None:
    expected = PropsSI("T", "P", kilopascal * 1000.0, "Q", 0, "Water") - 273.15
    assert calibration.boiling_point(kilopascal * 1000.0) == pytest.approx(expected, abs=0.01)
