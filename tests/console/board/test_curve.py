"""Thinning keeps what matters: extremes, gaps, and the last value."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from services.console.board.curve import curve, nothing
from services.console.board.window import HOUR_MS
from tests.console.board.material import buckets

GAP = float("nan")
values = st.lists(st.one_of(st.floats(-30, 40), st.just(GAP)), min_size=1, max_size=400)


@settings(deadline=None)
@given(values, st.integers(1, 120))
def test_thinning_keeps_the_extremes(raw: list[float], count: int) -> None:
    known = [one for one in raw if one == one]
    thinned = curve(buckets(raw), count)
    assert len(thinned) <= count
    if known:
        assert float(np.min(thinned.low)) == min(known)
        assert float(np.max(thinned.high)) == max(known)
        assert float(thinned.last[-1]) == known[-1]


@settings(deadline=None)
@given(st.integers(3, 60), st.integers(3, 60), st.integers(3, 60))
def test_a_gap_stays_a_gap(before: int, missing: int, after: int) -> None:
    thinned = curve(buckets([1.0] * before + [GAP] * missing + [2.0] * after), before + missing + after)
    assert [len(piece) for piece in thinned.stretches(2 * HOUR_MS)] == [before, after]


def test_silence_shorter_than_a_gap_does_not_break_the_line() -> None:
    thinned = curve(buckets([1.0, GAP, 1.0, GAP, GAP, 1.0]), 6)
    assert len(thinned.stretches(4 * HOUR_MS)) == 1


def test_nothing_known_is_no_point_at_all() -> None:
    assert len(curve(buckets([GAP] * 9), 4)) == 0
    assert nothing().stretches(HOUR_MS) == []


def test_a_difference_takes_what_held_at_that_time() -> None:
    beer, wanted = curve(buckets([18.1, 18.4, 20.0]), 3), curve(buckets([18.0, GAP, 21.0]), 3)
    assert np.round(beer.minus(wanted).mean, 6).tolist() == [0.1, 0.4, -1.0]


def test_a_difference_is_not_told_before_anything_was_wanted() -> None:
    beer, wanted = curve(buckets([18.1, 18.4]), 2), curve(buckets([GAP, 18.0]), 2)
    assert len(beer.minus(wanted)) == 1
