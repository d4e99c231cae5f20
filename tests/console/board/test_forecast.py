"""The forecast follows the programme as fast as the chamber can, and its band widens honestly."""

import numpy as np
import pytest

from services.console.board.curve import nothing
from services.console.board.forecast import USUAL_RATE_K_PER_H, Pace, foresee, pace
from services.console.board.programme import Corner
from services.console.board.window import DAY_MS, HOUR_MS, Window, around
from tests.console.board.material import NOW_MS, line

WINDOW = around(NOW_MS, 10 * DAY_MS)
STEADY: list[Corner] = [(NOW_MS, 18.0)]
SLOW = Pace(fall=0.5, rise=0.5, stray_k=0.1)


def drop(after_h: float) -> list[Corner]:
    """From 20 to 2 degC at one moment."""
    at = NOW_MS + round(after_h * HOUR_MS)
    return [(NOW_MS, 20.0), (at, 20.0), (at, 2.0), (at + 99 * DAY_MS, 2.0)]


def test_beer_falls_no_faster_than_the_chamber_can() -> None:
    found = foresee(20.0, 0.05, (drop(10), drop(10), drop(10)), SLOW, WINDOW, NOW_MS)
    hours = np.diff(found.at_ms) / HOUR_MS
    assert np.max(-np.diff(found.likely) / hours) == pytest.approx(0.5)
    assert found.likely[-1] == 2.0


def test_band_widens_with_time_and_never_leaves_the_likely_line() -> None:
    found = foresee(18.0, 0.02, (STEADY, STEADY, STEADY), SLOW, WINDOW, NOW_MS)
    widths = np.array(found.high) - np.array(found.low)
    assert np.all(np.diff(widths) > 0)
    assert np.all((np.array(found.low) < found.likely) & (np.array(found.likely) < found.high))


def test_band_takes_in_early_and_late_ends_of_steps() -> None:
    found = foresee(20.0, 0.05, (drop(48), drop(24), drop(72)), SLOW, WINDOW, NOW_MS)
    middle = min(range(len(found.at_ms)), key=lambda index: abs(found.at_ms[index] - NOW_MS - 60 * HOUR_MS))
    assert found.high[middle] > 19.9
    assert found.low[middle] < 2.5


def test_nothing_is_foreseen_in_a_window_of_the_past() -> None:
    past = Window(NOW_MS - 3 * DAY_MS, NOW_MS - DAY_MS)
    assert foresee(18.0, 0.1, (STEADY, STEADY, STEADY), SLOW, past, NOW_MS).at_ms == []


def test_pace_is_learnt_from_the_fastest_fall_in_view() -> None:
    window = Window(NOW_MS - 4 * DAY_MS, NOW_MS)
    falling = [20.0] * 48 + [20.0 - 0.3 * index for index in range(48)]
    assert pace(line(falling, window), nothing()).fall == pytest.approx(0.3, rel=0.02)


def test_pace_is_the_usual_one_until_something_was_seen() -> None:
    window = Window(NOW_MS - DAY_MS, NOW_MS)
    assert pace(nothing(), nothing()).fall == USUAL_RATE_K_PER_H
    assert pace(line([18.0] * 48, window), line([18.0] * 48, window)).fall == USUAL_RATE_K_PER_H


def test_how_far_the_beer_strays_while_holding_is_learnt() -> None:
    window = Window(NOW_MS - DAY_MS, NOW_MS)
    swinging = [18.0 + 0.3 * (-1) ** index for index in range(96)]
    assert pace(line(swinging, window), line([18.0] * 96, window)).stray_k == pytest.approx(0.3)
