"""Heights in a lane."""

from hypothesis import given, settings
from hypothesis import strategies as st

from services.console.board.lane import BOTTOM, TOP
from services.console.board.scale import FINE_K, Difference, plain

PIXEL = 1.0


@settings(deadline=None)
@given(st.floats(-FINE_K, FINE_K - 0.1))
def test_every_tenth_of_a_kelvin_is_seen_as_a_difference(off_k: float) -> None:
    scale = Difference(TOP, BOTTOM)
    assert scale.y(off_k) - scale.y(off_k + 0.1) >= 2 * PIXEL


@settings(deadline=None)
@given(st.floats(-60, 60), st.floats(-60, 60))
def test_greater_differences_never_stand_lower(one: float, other: float) -> None:
    scale = Difference(TOP, BOTTOM)
    low, high = sorted((one, other))
    assert TOP <= scale.y(high) <= scale.y(low) <= BOTTOM


@settings(deadline=None)
@given(st.floats(0.01, 60))
def test_too_warm_and_too_cold_are_drawn_alike(off_k: float) -> None:
    scale = Difference(TOP, BOTTOM)
    middle = (TOP + BOTTOM) / 2
    assert abs((middle - scale.y(off_k)) - (scale.y(-off_k) - middle)) < 1e-9


@settings(deadline=None)
@given(st.lists(st.floats(-40, 120), min_size=1, max_size=40))
def test_everything_fits_and_has_at_least_one_mark(values: list[float]) -> None:
    scale = plain(values, TOP, BOTTOM)
    assert all(TOP < scale.y(one) < BOTTOM for one in values)
    assert 2 <= len(scale.marks()) <= 6


def test_noise_of_a_still_beer_does_not_look_like_news() -> None:
    scale = plain([18.0, 18.1], TOP, BOTTOM)
    assert scale.y(18.0) - scale.y(18.1) < 2 * PIXEL


def test_marks_of_fahrenheit_differences_say_fahrenheit() -> None:
    assert [words for _, words in Difference(TOP, BOTTOM, 1.8).marks()] == ["+1.8", "0", "−1.8"]
