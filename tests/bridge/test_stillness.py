"""A thermometer that stopped measuring is told from one that has nothing new to say."""

import math
from random import Random

import pytest

from schemas.plant import Point
from services.bridge.stillness import HOUR_S, Constancy, Stillness

EVERY_S = 10.0


def hold(watch: Stillness, value: float, hours: float, begin_s: float, driven: bool = False) -> Constancy | None:
    """The last answer to so many hours of the same value; with `driven`, the machine runs all the while."""
    found = None
    for step in range(1, round(hours * HOUR_S / EVERY_S) + 1):
        found = watch.notice(value, begin_s + step * EVERY_S, begin_s if driven else None)
    return found


def lively(watch: Stillness, step: float = 0.0625) -> float:
    """An hour in which the value moves by one step each reading; returns when it ended."""
    for count in range(360):
        watch.notice(18 + step * (count % 2), count * EVERY_S, None)
    return 360 * EVERY_S


def test_constant_through_a_long_run_is_stuck():
    watch = Stillness(Point.AIR)
    end_s = lively(watch)
    found = hold(watch, 4.0, 0.8, end_s, driven=True)
    assert found is not None
    assert found.driven


def test_beer_gets_longer_than_air_because_it_moves_slower():
    watch = Stillness(Point.BEER)
    assert hold(watch, 18.0, 1.4, lively(watch), driven=True) is None


def test_quiet_probe_may_be_constant_for_hours_at_rest():
    watch = Stillness(Point.BEER)
    assert hold(watch, 18.0, 23, lively(watch)) is None


def test_more_than_a_day_at_rest_is_doubtful():
    watch = Stillness(Point.BEER)
    found = hold(watch, 18.0, 24.5, lively(watch))
    assert found is not None
    assert not found.driven


def test_short_runs_prove_nothing():
    watch = Stillness(Point.AIR)
    end_s = lively(watch)
    for cycle in range(12):
        assert hold(watch, 4.0, 0.5, end_s + cycle * HOUR_S, driven=True) is None


def test_probe_that_was_constant_as_long_before_is_not_suspected():
    watch = Stillness(Point.AIR)
    end_s = lively(watch)
    hold(watch, 4.0, 0.7, end_s, driven=True)
    watch.notice(4.5, end_s + 0.7 * HOUR_S, end_s)
    assert hold(watch, 5.0, 4.0, end_s + HOUR_S, driven=True) is None


def test_coarse_probe_gets_longer_than_a_fine_one():
    watch = Stillness(Point.AIR)
    assert hold(watch, 4.0, 3.0, lively(watch, step=0.5), driven=True) is None


def test_next_change_clears_the_suspicion():
    watch = Stillness(Point.AIR)
    end_s = lively(watch)
    hold(watch, 4.0, 1.0, end_s, driven=True)
    assert watch.notice(4.0625, end_s + HOUR_S + 10, end_s) is None


@pytest.mark.parametrize("point", [Point.ROOM, Point.LINE, None])
def test_machine_proves_nothing_where_it_does_not_reach(point):
    watch = Stillness(point)
    assert hold(watch, 18.0, 20, lively(watch), driven=True) is None


@pytest.mark.parametrize("noise", [0.0, 0.005, 0.02])
@pytest.mark.parametrize("resolution", [0.0625, 0.1, 0.5])
def test_live_probe_under_control_is_never_called_stuck(noise, resolution):
    """Three days of a beer held within 0.15 K, cooled for a quarter of every hour, through steps and noise."""
    watch, random = Stillness(Point.BEER), Random(5)
    for count in range(3 * 8640):
        at_s = count * EVERY_S
        phase = at_s % HOUR_S
        beer = 18 + 0.15 * math.sin(2 * math.pi * phase / HOUR_S) + random.gauss(0, noise)
        driven_since_s = at_s - phase if phase < HOUR_S / 4 else None
        assert watch.notice(round(beer / resolution) * resolution, at_s, driven_since_s) is None
