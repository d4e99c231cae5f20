"""Refractometer readings of wort and of beer."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brewing import gravity, refractometer
from brewing.errors import OutOfRange


@given(st.floats(0.0, 49.9))
def test_brix_survives_the_way_to_the_index_and_back(brix: float) -> None:
    assert refractometer.brix(refractometer.refractive_index(brix)) == pytest.approx(brix, abs=1e-6)


@given(st.floats(0.0, 49.0))
def test_more_sugar_bends_light_more(brix: float) -> None:
    assert refractometer.refractive_index(brix + 0.5) > refractometer.refractive_index(brix)


@given(st.floats(9.0, 19.0), st.floats(0.6, 0.85))
def test_the_cubic_and_the_added_indices_stay_within_their_published_spread(original: float, attenuated: float) -> None:
    """Published fits straddle the model of added increments by 0.002 at 1.050 and 0.004 at 1.080."""
    final = gravity.specific_gravity(original * (1.0 - attenuated))
    reading = refractometer.reading_of_beer(original, original * (1.0 - attenuated))
    assert refractometer.final_gravity_by_index(original, reading, 1.0) == pytest.approx(final, abs=1e-5)
    assert refractometer.final_gravity(original, reading, 1.0) == pytest.approx(final, abs=0.0045)


def test_the_wort_correction_divides_both_readings() -> None:
    plain = refractometer.final_gravity(12.0, 6.0, 1.0)
    assert refractometer.final_gravity(12.48, 6.24, 1.04) == pytest.approx(plain, abs=1e-12)
    assert refractometer.wort_plato(12.48) == pytest.approx(12.0)


def test_a_warm_sample_reads_too_low() -> None:
    assert refractometer.at_20_c(12.0, 25.0) == pytest.approx(12.35)
    assert refractometer.at_20_c(12.0, 15.0) == pytest.approx(11.65)


def test_the_index_of_alcohol_starts_at_that_of_water() -> None:
    assert refractometer.ethanol_refractive_index(0.0) == pytest.approx(1.33300, abs=1e-5)


@pytest.mark.parametrize(
    ("initial", "final", "factor", "argument"),
    [
        (12.0, 13.0, 1.04, "final"),
        (30.0, 8.0, 1.04, "initial"),
        (12.0, 6.0, 1.5, "wort_correction"),
        (float("nan"), 6.0, 1.04, "initial"),
    ],
)
def test_readings_that_cannot_be_are_refused(initial: float, final: float, factor: float, argument: str) -> None:
    with pytest.raises(OutOfRange) as caught:
        refractometer.final_gravity(initial, final, factor)
    assert caught.value.argument == argument
