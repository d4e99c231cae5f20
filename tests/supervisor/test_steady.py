"""Steady time: what timers of machines count, whatever is done to the wall clock."""

from datetime import UTC, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from services.supervisor.steady import Steady

START = datetime(2026, 3, 1, tzinfo=UTC)


def reached(*gaps_s: float) -> list[float]:
    steady, now, found = Steady(START), START, []
    for gap_s in gaps_s:
        now += timedelta(seconds=gap_s)
        found.append(steady.reach(now))
    return found


def test_ordinary_seconds_count() -> None:
    assert reached(1, 1, 1) == [1, 2, 3]


def test_clock_set_forward_ends_no_rest() -> None:
    assert reached(1, 3600, 1) == [1, 1, 2]


def test_clock_set_back_freezes_no_timer() -> None:
    assert reached(1, -3600, 1) == [1, 1, 2]


def test_machine_that_became_slow_is_believed_at_the_second_look() -> None:
    assert reached(1, 10, 10, 10) == [1, 1, 11, 21]


def test_single_late_look_is_within_reason() -> None:
    assert reached(1, 2) == [1, 3]


def test_after_a_slow_time_a_leap_is_doubted_again() -> None:
    slow, quick, leap = [10.0] * 4, [1.0] * 60, [15.0]
    found = reached(*slow, *quick, *leap)
    assert found[-1] == found[-2]


def test_looking_twice_at_one_moment_changes_nothing() -> None:
    steady = Steady(START)
    steady.reach(START + timedelta(seconds=1))
    assert steady.reach(START + timedelta(seconds=1)) == 1.0
    assert not steady.jumped


def test_doubted_gap_is_told_and_forgotten_with_the_next() -> None:
    steady, told = Steady(START), []
    for at_s in (1, 3601, 3602):
        steady.reach(START + timedelta(seconds=at_s))
        told.append(steady.jumped)
    assert told == [False, True, False]


def test_step_that_is_known_costs_no_second() -> None:
    steady = Steady(START)
    steady.reach(START + timedelta(seconds=1))
    steady.stepped(timedelta(hours=1))
    assert steady.reach(START + timedelta(hours=1, seconds=2)) == 2.0


@given(st.lists(st.floats(-7200, 7200), max_size=40))
def test_steady_time_never_goes_back_and_never_gains_on_the_wall(gaps_s: list[float]) -> None:
    found = reached(*gaps_s)
    assert found == sorted(found)
    assert not found or found[-1] <= sum(gap_s for gap_s in gaps_s if gap_s > 0) + 1e-3
