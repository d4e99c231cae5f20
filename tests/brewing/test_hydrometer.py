"""Hydrometer corrections; the rows of the standards stand in tests/reference."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brewing import hydrometer
from brewing.errors import OutOfRange

GRAVITIES = st.floats(1.0, 1.12)


@given(GRAVITIES, st.sampled_from([15.5556, 20.0]))
def test_a_sample_at_the_hydrometers_own_temperature_needs_no_correction(reading: float, made_for: float) -> None:
    """To 7e-6: the sugar tables take water 0.004 kg/m3 lighter than the standard for water does."""
    assert hydrometer.corrected_gravity(reading, made_for, made_for) == pytest.approx(reading, abs=1e-5)


@given(GRAVITIES, st.floats(10.0, 39.0))
def test_a_warmer_sample_with_the_same_reading_is_heavier(reading: float, temperature_c: float) -> None:
    cooler = hydrometer.corrected_gravity(reading, temperature_c)
    assert hydrometer.corrected_gravity(reading, temperature_c + 1.0) > cooler


@given(st.floats(1.0, 1.1), st.floats(1.0, 40.0), st.floats(1.0, 40.0))
def test_changing_the_scale_there_and_back_changes_nothing(sg: float, one_c: float, other_c: float) -> None:
    there = hydrometer.gravity_on_scale(sg, one_c, other_c)
    assert hydrometer.gravity_on_scale(there, other_c, one_c) == pytest.approx(sg, abs=1e-9)


def test_the_scales_of_the_trade_agree_within_a_third_of_a_point() -> None:
    assert abs(hydrometer.gravity_on_scale(1.100, 20.0, 15.5556) - 1.100) < 0.0005


@pytest.mark.parametrize(("reading", "temperature_c"), [(1.05, 41.0), (1.05, -1.0), (1.3, 20.0), (float("nan"), 20.0)])
def test_a_reading_outside_the_range_is_refused(reading: float, temperature_c: float) -> None:
    with pytest.raises(OutOfRange):
        hydrometer.corrected_gravity(reading, temperature_c)


@given(st.floats(0.0, 30.0), st.floats(5.0, 35.0))
def test_saccharometer_and_hydrometer_tell_the_same(brix: float, temperature_c: float) -> None:
    shown = hydrometer.corrected_brix(brix, temperature_c)
    assert (shown - brix) * (temperature_c - 20.0) >= -1e-6
