"""The stretch of time that is shown."""

from hypothesis import given, settings
from hypothesis import strategies as st

from services.console.board.window import (
    DAY_MS,
    HOUR_MS,
    LONGEST_MS,
    SHORTEST_MS,
    Window,
    around,
    between,
    shifted,
    spanning,
)
from tests.console.board.material import NOW_MS


@settings(deadline=None)
@given(st.integers(-(10**13), 10**13), st.integers(-(10**12), 10**12))
def test_no_window_is_shorter_than_an_hour_or_longer_than_eight_weeks(start: int, length: int) -> None:
    assert SHORTEST_MS <= between(start, start + length).span_ms <= LONGEST_MS


def test_present_is_in_view_and_followed_at_first() -> None:
    window = around(NOW_MS)
    assert window.holds(NOW_MS)
    assert window.follows(NOW_MS)
    assert not shifted(window, -10 * DAY_MS).follows(NOW_MS)


def test_another_span_keeps_the_present_in_place_when_it_is_in_view() -> None:
    assert spanning(around(NOW_MS), HOUR_MS, NOW_MS) == around(NOW_MS, HOUR_MS)


def test_another_span_keeps_the_middle_of_a_window_of_the_past() -> None:
    past = Window(0, 4 * DAY_MS)
    assert spanning(past, 2 * DAY_MS, NOW_MS) == Window(DAY_MS, 3 * DAY_MS)


def test_moments_out_of_view_stand_at_the_edge() -> None:
    window = around(NOW_MS)
    assert window.percent(0) == 0.0
    assert window.percent(NOW_MS * 2) == 100.0
