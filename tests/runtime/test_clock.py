"""Clocks: what `now` shows, what `elapsed` counts, and how a step of the wall clock is told from time passing."""

from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.runtime.clock import ScaledClock, SystemClock, VirtualClock, in_milliseconds

START = datetime(2026, 5, 1, 12, tzinfo=UTC)


@pytest.mark.parametrize("clock", [SystemClock(), ScaledClock(60, START, START), VirtualClock(START)])
def test_every_clock_shows_utc_in_whole_milliseconds(clock):
    now = clock.now()
    assert now.tzinfo is UTC
    assert now.microsecond % 1000 == 0


@pytest.mark.parametrize("clock", [SystemClock(), ScaledClock(60, START, START), VirtualClock(START)])
def test_clock_that_nobody_set_reports_no_step(clock):
    clock.now()
    assert clock.step() == timedelta(0)


@given(st.datetimes(timezones=st.just(UTC)))
def test_milliseconds_are_never_rounded_up(moment):
    assert timedelta(0) <= moment - in_milliseconds(moment) < timedelta(milliseconds=1)


def test_virtual_clock_shows_utc_whatever_zone_it_was_given():
    assert VirtualClock(START.astimezone(timezone(timedelta(hours=9)))).now() == START


@given(st.lists(st.integers(0, 10**9), max_size=20))
def test_virtual_clock_elapses_what_it_is_advanced(milliseconds):
    clock = VirtualClock(START)
    for step in milliseconds:
        clock.advance(timedelta(milliseconds=step))
    assert clock.now() - START == timedelta(milliseconds=sum(milliseconds))
    assert clock.elapsed() == pytest.approx(sum(milliseconds) / 1000)


def test_virtual_clock_does_not_go_back_by_itself():
    with pytest.raises(ValueError, match="asked to advance by -1 day"):
        VirtualClock(START).advance(timedelta(days=-1))


def test_advancing_to_a_moment_gone_by_changes_nothing():
    clock = VirtualClock(START)
    assert clock.advance_to(START - timedelta(hours=1)) == START


def test_set_clock_shows_the_new_time_and_elapses_nothing():
    clock = VirtualClock(START)
    clock.set_by(timedelta(hours=-2))
    assert clock.now() == START - timedelta(hours=2)
    assert clock.elapsed() == 0


def test_step_is_told_once():
    clock = VirtualClock(START)
    clock.set_by(timedelta(hours=-2))
    assert clock.step() == timedelta(hours=-2)
    assert clock.step() == timedelta(0)


def test_scaled_clocks_of_two_processes_agree():
    one, other = (ScaledClock(3600, START, datetime(2026, 1, 1, tzinfo=UTC)) for _ in range(2))
    assert abs(one.now() - other.now()) < timedelta(hours=1)


def test_scaled_clock_waits_shorter_in_the_real_world():
    assert ScaledClock(60, START, START).in_real_seconds(30) == 0.5


@pytest.mark.parametrize("factor", [0, -1, float("nan")])
def test_clock_that_stands_still_or_runs_backwards_is_refused(factor):
    with pytest.raises(ValueError, match="factor must be over 0"):
        ScaledClock(factor, START, START)


def test_system_clock_counts_on():
    clock = SystemClock()
    assert clock.elapsed() <= clock.elapsed()
