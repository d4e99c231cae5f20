"""Thermostat cycles against a simulated one, and the figures of the electrical trade."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brewing import electrical
from brewing.errors import OutOfRange


def simulated_cycle(capacity: float, cooling: float, load: float, deadband: float) -> tuple[float, float]:
    """A thermostat followed in small steps: seconds on and off."""
    temperature, step, on, off = deadband, 0.05, 0.0, 0.0
    while temperature > 0.0:
        temperature, on = temperature - (cooling - load) * step / capacity, on + step
    while temperature < deadband:
        temperature, off = temperature + load * step / capacity, off + step
    return on, off


def test_a_cycle_is_what_a_simulated_thermostat_does() -> None:
    on, off = simulated_cycle(20_000.0, 120.0, 30.0, 0.3)
    found = electrical.cycle(20_000.0, 120.0, 30.0, 0.3)
    assert found.on_s == pytest.approx(on, abs=0.2)
    assert found.off_s == pytest.approx(off, abs=0.2)


def test_the_share_of_time_on_is_the_share_of_power_used() -> None:
    assert electrical.cycle(77_760.0, 120.0, 30.0, 1.0).duty == pytest.approx(0.25)


@given(st.floats(10.0, 990.0))
def test_no_load_starts_more_often_than_half_the_power(load: float) -> None:
    worst = electrical.cycle(20_000.0, 1000.0, electrical.worst_load(1000.0), 1.0).starts_per_hour
    assert electrical.cycle(20_000.0, 1000.0, load, 1.0).starts_per_hour <= worst * (1 + 1e-12)


@given(st.floats(5_000.0, 1e6), st.floats(30.0, 500.0), st.floats(1.0, 10.0))
def test_the_deadband_for_a_number_of_starts_keeps_it_at_the_worst_load(
    capacity: float, cooling: float, starts: float
) -> None:
    deadband = electrical.deadband_for(capacity, cooling, starts)
    if 0.01 <= deadband <= 20.0:
        worst = electrical.cycle(capacity, cooling, cooling / 2, deadband)
        assert worst.starts_per_hour == pytest.approx(starts)


@pytest.mark.parametrize("load", [0.0, 120.0, 150.0, float("nan")])
def test_a_load_that_never_cycles_is_refused(load: float) -> None:
    with pytest.raises(OutOfRange, match="load_w"):
        electrical.cycle(20_000.0, 120.0, load, 1.0)


def test_a_start_draws_several_times_the_running_current() -> None:
    assert electrical.inrush_current(0.8) == pytest.approx(4.8)
    with pytest.raises(OutOfRange, match="multiple"):
        electrical.inrush_current(0.8, 30.0)


def test_a_ten_ampere_circuit_carries_eight_for_hours() -> None:
    assert electrical.continuous_limit(10.0) == pytest.approx(8.0)
