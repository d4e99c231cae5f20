"""How long beer takes to take up gas, against the diffusion series and its short-time limit."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brewing import absorption
from brewing.errors import OutOfRange

DAY = 86_400.0


def crank(fourier: float, terms: int = 4000) -> float:
    """Crank's plane sheet with far more terms than needed."""
    roots = ((2 * k + 1) * math.pi / 2 for k in range(terms))
    return 1.0 - sum(2.0 / root**2 * math.exp(-(root**2) * fourier) for root in roots)


@pytest.mark.parametrize("fourier", [0.001, 0.01, 0.049, 0.05, 0.0501, 0.1, 0.3, 0.848, 1.0, 3.0])
def test_slab_follows_the_full_series(fourier: float) -> None:
    assert absorption.slab_saturation(fourier) == pytest.approx(crank(fourier), abs=2e-4 if fourier < 0.01 else 1e-6)


def test_a_slab_takes_up_gas_steadily_and_never_too_much() -> None:
    filled = [absorption.slab_saturation(n / 500) for n in range(2000)]
    assert filled == sorted(filled)
    assert filled[0] == 0.0
    assert filled[-1] < 1.0


def test_diffusion_alone_needs_years_for_a_keg() -> None:
    assert absorption.diffusion_time(0.5, 4.0) / DAY > 5 * 365


@given(st.floats(0.001, 0.999), st.floats(0.01, 1.0))
def test_diffusion_time_brings_the_saturation_asked_for(saturation: float, depth: float) -> None:
    from brewing.solubility import diffusivity

    fourier = absorption.diffusion_time(depth, 4.0, saturation) * diffusivity(4.0) / depth**2
    assert absorption.slab_saturation(fourier) == pytest.approx(saturation, abs=1e-5)


@given(st.floats(0.01, 100.0), st.floats(0.0, 2.0), st.floats(2.5, 4.0), st.floats(0.01, 0.99))
def test_time_to_volumes_undoes_volumes_after(rate: float, start: float, end: float, part: float) -> None:
    target = start + part * (end - start)
    seconds = absorption.time_to_volumes(target, rate, start, end)
    assert absorption.volumes_after(seconds, rate, start, end) == pytest.approx(target, rel=1e-9)


def test_beer_under_too_little_pressure_loses_gas() -> None:
    assert absorption.volumes_after(2 * DAY, 0.4, 3.0, 2.0) < 3.0


def test_set_and_wait_takes_one_to_two_weeks() -> None:
    # common practice, no source: 7 to 14 days
    way = absorption.METHODS["set and wait"]
    soonest = absorption.time_to_close(0.95, way.fastest_per_day) / DAY
    latest = absorption.time_to_close(0.98, way.slowest_per_day) / DAY
    assert soonest == pytest.approx(7.0, abs=0.5)
    assert 10.0 < latest < 14.0


def test_a_shaken_keg_is_done_within_hours() -> None:
    way = absorption.METHODS["shaken keg"]
    assert absorption.time_to_close(0.95, way.slowest_per_day) < 8 * 3600.0


def test_every_quick_method_names_its_risk() -> None:
    assert all(way.risk and way.how for way in absorption.METHODS.values())
    assert all(way.slowest_per_day < way.fastest_per_day for way in absorption.METHODS.values())


def test_forgetting_a_shaken_keg_at_high_pressure_costs_a_volume_an_hour() -> None:
    assert absorption.overshoot_per_hour(24.0, 2.5, 4.5) == pytest.approx(2.0 * (1 - math.exp(-1.0)))


def test_equilibrium_itself_is_never_reached() -> None:
    with pytest.raises(OutOfRange, match="equilibrium is never reached"):
        absorption.time_to_volumes(2.5, 0.4, 1.0, 2.5)
    with pytest.raises(OutOfRange, match="fraction"):
        absorption.time_to_close(1.0, 0.4)


def test_a_target_beyond_equilibrium_is_refused() -> None:
    with pytest.raises(OutOfRange, match="target_volumes is 2.6 vol, outside 1 to 2.5 vol"):
        absorption.time_to_volumes(2.6, 0.4, 1.0, 2.5)


def test_no_time_is_needed_to_stay() -> None:
    assert absorption.time_to_volumes(1.0, 0.4, 1.0, 2.5) == 0.0
