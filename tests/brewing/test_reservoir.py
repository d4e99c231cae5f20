"""Whether a bath carries several crashes: balances, staggering and the chiller that would do."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brewing import reservoir, thermal
from brewing.errors import OutOfRange
from brewing.reservoir import Crash, Reservoir
from brewing.thermal import Mass

HOUR = 3600.0
BATH = Reservoir(Mass(41.0, 3790.0), lowest_c=-4.0, highest_c=0.0, chiller_w=150.0, leak_w=20.0)
CRASH = Crash(Mass(23.2), 20.0, 2.0, 0.0, 12 * HOUR)


def test_one_crash_fits_where_three_at_once_do_not() -> None:
    assert reservoir.carries(BATH, [CRASH], -4.0).fits
    assert not reservoir.carries(BATH, [CRASH] * 6, -4.0).fits


def test_staggered_crashes_fit_where_simultaneous_ones_do_not() -> None:
    together = [CRASH] * 5
    staggered = [CRASH._replace(start_s=n * 12 * HOUR) for n in range(5)]
    assert not reservoir.carries(BATH, together, -4.0).fits
    assert reservoir.carries(BATH, staggered, -4.0).fits


@given(st.integers(1, 6), st.floats(0.0, 400.0))
def test_the_bath_closes_its_heat_balance(vessels: int, chiller: float) -> None:
    bath = BATH._replace(chiller_w=chiller)
    verdict = reservoir.carries(bath, [CRASH] * vessels, -4.0)
    poured = vessels * thermal.sensible_heat(CRASH.beer, 20.0, 2.0) + (20.0 - chiller) * CRASH.duration_s
    assert verdict.warmest_c == pytest.approx(-4.0 + max(0.0, poured) / bath.coolant.capacity)


def test_an_idle_bath_is_held_at_its_thermostat() -> None:
    late = CRASH._replace(start_s=48 * HOUR)
    assert reservoir.carries(BATH, [late], -4.0).warmest_c == pytest.approx(-4.0, abs=0.5)


def test_a_bath_that_starts_warm_is_pulled_down_first() -> None:
    late = CRASH._replace(start_s=24 * HOUR)
    verdict = reservoir.carries(BATH, [late], -1.0)
    assert verdict.warmest_c == pytest.approx(-1.0)
    assert verdict.warmest_at_s == 0.0


def test_what_is_missing_is_the_heat_above_the_warmest_allowed() -> None:
    verdict = reservoir.carries(BATH, [CRASH] * 6, -4.0)
    assert verdict.missing_j == pytest.approx((verdict.warmest_c - 0.0) * BATH.coolant.capacity)


def test_the_chiller_found_just_carries_the_crashes() -> None:
    needed = reservoir.chiller_for(BATH, [CRASH] * 4, -4.0)
    assert reservoir.carries(BATH._replace(chiller_w=needed), [CRASH] * 4, -4.0).fits
    assert not reservoir.carries(BATH._replace(chiller_w=needed - 1.0), [CRASH] * 4, -4.0).fits


def test_a_bath_too_warm_at_the_start_is_refused_a_chiller() -> None:
    with pytest.raises(OutOfRange, match="chiller_w .*start colder"):
        reservoir.chiller_for(BATH, [CRASH], 5.0)


def test_stored_cold_is_the_span_of_the_bath() -> None:
    assert reservoir.stored_cold(BATH) == pytest.approx(4.0 * 41.0 * 3790.0)


def test_a_bath_whose_limits_cross_is_refused() -> None:
    with pytest.raises(OutOfRange, match="highest_c is -6 degC"):
        reservoir.stored_cold(BATH._replace(highest_c=-6.0))


def test_a_crash_in_no_time_is_refused() -> None:
    with pytest.raises(OutOfRange, match="duration_s"):
        reservoir.carries(BATH, [CRASH._replace(duration_s=0.0)], -4.0)
