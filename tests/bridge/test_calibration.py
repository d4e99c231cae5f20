"""A probe is put right by what it read at known points."""

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from schemas.plant import Calibration, Measure
from schemas.plant_file import loads
from services.bridge.calibration import correction
from tests.bridge.bench import Bench

DEGREES = st.floats(-50, 150).map(lambda value: round(value, 3))


def corrected(value: float, reads: tuple[float, ...], true: tuple[float, ...]) -> float:
    correct = correction(Calibration(reads=reads, true=true), Measure.TEMPERATURE)
    assert correct is not None
    return correct(value)


def test_one_point_shifts():
    """Ice water is 0 degC by the definition that every handbook uses."""
    assert corrected(18.4, (0.4,), (0.0,)) == pytest.approx(18.0)


def test_two_points_shift_and_stretch():
    assert corrected(50, (1.0, 99.0), (0.0, 100.0)) == pytest.approx(50.0)


def test_two_points_make_degrees_celsius_of_degrees_fahrenheit():
    """NIST SP 811, B.8: t/degC = (t/degF - 32) / 1.8."""
    assert corrected(68, (32, 212), (0, 100)) == pytest.approx(20)


@given(cold=DEGREES, warm=DEGREES, true_cold=DEGREES, true_warm=DEGREES)
def test_known_points_come_out_true(cold, warm, true_cold, true_warm):
    assume(abs(warm - cold) > 1)
    assert corrected(cold, (cold, warm), (true_cold, true_warm)) == pytest.approx(true_cold, abs=1e-6)
    assert corrected(warm, (cold, warm), (true_cold, true_warm)) == pytest.approx(true_warm, abs=1e-6)


@pytest.mark.parametrize(("reads", "true"), [((1.0, 1.0), (0.0, 5.0)), ((1.0,), (0.0, 5.0))])
def test_points_that_fix_no_line_are_refused(reads, true):
    with pytest.raises(ValueError, match="no straight line"):
        correction(Calibration(reads=reads, true=true), Measure.TEMPERATURE)


def test_contact_is_not_calibrated():
    assert correction(Calibration(reads=(1,), true=(0,)), Measure.CONTACT) is None


def test_reading_carries_the_corrected_value():
    plant = loads("""
site: {name: barn}
chambers:
  ale:
    kind: fridge
    probes:
      beer: {measures: temperature, from: {mqtt: a}, calibration: {reads: [0.4], true: [0]}}
""")
    assert Bench(plant).read("18.4", "a").temperature_c == pytest.approx(18.0)


def test_power_on_value_is_known_through_a_correction():
    plant = loads("""
site: {name: barn}
chambers:
  ale:
    kind: fridge
    probes:
      beer: {measures: temperature, from: {mqtt: a}, highest: 120, calibration: {reads: [0.4], true: [0]}}
""")
    assert "power-on" in Bench(plant).read("85.0", "a").reason


def test_85_degrees_fahrenheit_is_no_power_on_value():
    plant = loads("""
site: {name: barn}
chambers:
  ale:
    kind: fridge
    probes:
      beer: {measures: temperature, from: {mqtt: a}, calibration: {reads: [32, 212], true: [0, 100]}}
""")
    assert Bench(plant).read("85", "a").quality == "good"
