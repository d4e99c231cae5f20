"""Who is hurt least by waiting waits, and nobody for ever."""

import pytest

from services.supervisor.capacity import Wait, urgency


def test_larger_error_is_more_urgent() -> None:
    assert urgency(0.1, 0.0) < urgency(1.0, 0.0) < urgency(10.0, 0.0)


def test_too_cold_hurts_as_much_as_too_warm() -> None:
    assert urgency(-2.0, 0.0) == urgency(2.0, 0.0)


@pytest.mark.parametrize("error_k", [0.0, 0.5, 3.0, 1000.0])
@pytest.mark.parametrize("waited_s", [-5.0, 0.0, 600.0, 1e9])
def test_urgency_stays_between_nothing_and_one(error_k: float, waited_s: float) -> None:
    assert 0.0 <= urgency(error_k, waited_s) <= 1.0


def test_who_waits_overtakes_whoever_is_served() -> None:
    assert urgency(2.0, 2400.0) > urgency(20.0, 0.0) + 0.2


def test_waiting_counts_only_while_unserved() -> None:
    wait = Wait()
    wait.pass_time(60.0, wished=True, served=False)
    wait.pass_time(60.0, wished=True, served=False)
    assert wait.waited_s == 120.0
    wait.pass_time(60.0, wished=True, served=True)
    assert wait.waited_s == 0.0
