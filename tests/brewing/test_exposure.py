"""Carbon dioxide in rooms: limits, mass balances and the way to the steady state."""

import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st

from brewing import exposure
from brewing.errors import OutOfRange


def test_small_releases_are_the_simple_ratio_of_volumes() -> None:
    volume = 0.01 / PropsSI("D", "T", 293.15, "P", 101_325.0, "CO2")
    assert exposure.release(0.01, 30.0) == pytest.approx(1e6 * volume / 30.0, rel=1e-3)


def test_a_small_cylinder_in_a_small_room_reaches_the_dangerous_level() -> None:
    assert exposure.release(2.268, 30.0) > exposure.LIMITS["idlh"].ppm


@given(st.floats(0.0, 1000.0), st.floats(1.0, 100.0))
def test_a_room_never_holds_more_than_all_gas(mass: float, room: float) -> None:
    assert 0.0 <= exposure.release(mass, room) <= 1e6


def test_the_rise_tends_to_its_steady_value() -> None:
    steady = exposure.steady_rise(2e-6, 0.5, 30.0)
    assert exposure.rise_after(0.0, 2e-6, 0.5, 30.0) == 0.0
    assert exposure.rise_after(7 * 86_400.0, 2e-6, 0.5, 30.0) == pytest.approx(steady)


def test_the_rise_closes_the_mass_balance_step_by_step() -> None:
    gas = 2e-4 / exposure.gas_density(101_325.0, 20.0)
    share, step = 0.0, 1.0
    for _ in range(3600):
        share += step * (gas - (gas + 15.0 / 3600.0) * share) / 30.0
    assert exposure.rise_after(3600.0, 2e-4, 0.5, 30.0) == pytest.approx(1e6 * share, rel=1e-3)


@given(st.floats(1e-7, 1e-3), st.floats(5.0, 500.0), st.floats(500.0, 30_000.0))
def test_the_air_changes_found_hold_the_limit(source: float, room: float, limit: float) -> None:
    changes = exposure.air_changes_for(limit, source, room)
    if changes <= 100.0:
        assert exposure.steady_rise(source, changes, room) == pytest.approx(limit)


def test_five_thousand_ppm_is_nine_grams_in_a_cubic_metre() -> None:
    # NIOSH rounds 5000 ppm to 9000 mg/m3
    assert exposure.milligrams_per_m3(5000.0) == pytest.approx(9000.0, rel=0.001)


@pytest.mark.parametrize(
    ("ppm", "said"), [(420.0, ""), (6000.0, "8 h"), (31_000.0, "15 min"), (50_000.0, "dangerous"), (2e5, "unconscious")]
)
def test_the_gravest_limit_reached_is_named(ppm: float, said: str) -> None:
    found = exposure.verdict(ppm)
    assert said in found
    assert bool(found) == bool(said)


def test_every_limit_names_its_source() -> None:
    assert all(limit.source and limit.meaning for limit in exposure.LIMITS.values())


def test_the_gas_is_half_as_heavy_again_as_air() -> None:
    ratio = PropsSI("D", "T", 293.15, "P", 101_325.0, "CO2") / PropsSI("D", "T", 293.15, "P", 101_325.0, "Air")
    assert pytest.approx(ratio, abs=0.005) == exposure.DENSITY_RATIO_TO_AIR


def test_a_room_of_no_size_is_refused() -> None:
    with pytest.raises(OutOfRange, match="room_m3"):
        exposure.release(1.0, 0.0)
