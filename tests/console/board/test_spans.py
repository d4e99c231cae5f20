"""Windows at their limits, thinned curves of few points, and heights at the edges of a lane."""

from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest

from services.console.board.curve import curve, nothing
from services.console.board.scale import FARTHEST_K, Difference, Plain, plain
from services.console.board.ticks import midnights, ticks
from services.console.board.window import (
    BREADTH,
    DAY_MS,
    HOUR_MS,
    LONGEST_MS,
    SHORTEST_MS,
    Window,
    around,
    between,
    milliseconds,
    shifted,
    spanning,
)
from tests.console.board.material import NOW_MS, buckets

GAP = float("nan")
DUBLIN = ZoneInfo("Europe/Dublin")
DAY = Window(0, DAY_MS)


def test_a_window_begins_at_the_left_and_ends_at_the_right() -> None:
    assert (DAY.x(0), DAY.x(DAY_MS)) == (0.0, BREADTH)


def test_a_moment_before_the_window_stands_left_of_the_drawing() -> None:
    assert DAY.x(-DAY_MS) == -BREADTH


def test_both_ends_of_a_window_belong_to_it() -> None:
    assert DAY.holds(0)
    assert DAY.holds(DAY_MS)


def test_a_millisecond_beyond_either_end_is_not_in_the_window() -> None:
    assert not DAY.holds(-1)
    assert not DAY.holds(DAY_MS + 1)


def test_ends_of_a_window_are_moments_of_universal_time() -> None:
    assert DAY.start == datetime(1970, 1, 1, tzinfo=UTC)
    assert DAY.end == datetime(1970, 1, 2, tzinfo=UTC)


def test_a_window_whose_present_touches_the_edge_is_not_followed() -> None:
    assert not DAY.follows(DAY_MS)
    assert not DAY.follows(0)


def test_six_tenths_of_a_window_about_the_present_are_past() -> None:
    assert around(NOW_MS, DAY_MS).percent(NOW_MS) == pytest.approx(60)


def test_a_window_turned_inside_out_becomes_the_shortest_about_its_middle() -> None:
    assert between(DAY_MS, 0) == Window(DAY_MS // 2 - SHORTEST_MS // 2, DAY_MS // 2 + SHORTEST_MS // 2)


def test_zooming_out_without_end_stops_at_eight_weeks() -> None:
    assert around(NOW_MS, 10 * LONGEST_MS).span_ms == LONGEST_MS


def test_a_window_of_the_future_keeps_its_middle_when_its_span_changes() -> None:
    future = shifted(DAY, NOW_MS + DAY_MS)
    assert spanning(future, HOUR_MS, NOW_MS).percent((future.start_ms + future.end_ms) / 2) == pytest.approx(50)


def test_shifting_there_and_back_changes_nothing() -> None:
    assert shifted(shifted(DAY, HOUR_MS), -HOUR_MS) == DAY


def test_milliseconds_are_the_same_on_every_clock() -> None:
    east = datetime(1970, 1, 1, 5, 30, tzinfo=timezone(timedelta(hours=5, minutes=30)))
    assert milliseconds(east) == 0


def test_no_bucket_at_all_is_no_curve() -> None:
    assert len(curve(buckets([]), 10)) == 0


def test_room_for_no_point_still_shows_one() -> None:
    assert len(curve(buckets([1.0, 2.0, 3.0]), 0)) == 1


def test_points_taken_together_show_their_mean() -> None:
    assert curve(buckets([1.0, 2.0, 6.0]), 1).mean.tolist() == [3.0]


def test_a_gap_does_not_count_in_a_mean() -> None:
    assert curve(buckets([2.0, GAP, 4.0]), 1).mean.tolist() == [3.0]


def test_a_single_value_stands_in_the_middle_of_its_bucket() -> None:
    assert curve(buckets([4.0]), 1).at_ms.tolist() == [HOUR_MS // 2]


def test_nothing_is_known_before_the_first_point() -> None:
    assert curve(buckets([4.0]), 1).value_at(0) is None


def test_a_value_is_known_from_the_moment_of_its_point() -> None:
    assert curve(buckets([4.0]), 1).value_at(HOUR_MS // 2) == 4.0


def test_the_last_value_is_known_long_after() -> None:
    assert curve(buckets([4.0, 5.0]), 2).value_at(DAY_MS) == 5.0


def test_an_empty_curve_knows_no_value() -> None:
    assert nothing().value_at(NOW_MS) is None


def test_an_empty_curve_has_an_empty_difference() -> None:
    assert len(nothing().minus(curve(buckets([1.0]), 1))) == 0


def test_a_difference_from_an_empty_curve_is_empty() -> None:
    assert len(curve(buckets([1.0]), 1).minus(nothing())) == 0


def test_a_scaled_curve_moves_all_its_values_and_no_moment() -> None:
    celsius = curve(buckets([0.0, 100.0]), 1)
    fahrenheit = celsius.scaled(1.8, 32.0)
    assert [float(column[0]) for column in fahrenheit.values] == [32.0, 122.0, 212.0, 212.0]
    assert fahrenheit.at_ms.tolist() == celsius.at_ms.tolist()


def test_one_point_is_one_stretch() -> None:
    assert [len(part) for part in curve(buckets([1.0]), 1).stretches(0)] == [1]


def test_a_value_above_a_scale_stands_at_its_top() -> None:
    assert Plain(0.0, 10.0, 5.0, 95.0).y(11.0) == 5.0


def test_a_value_below_a_scale_stands_at_its_bottom() -> None:
    assert Plain(0.0, 10.0, 5.0, 95.0).y(-1.0) == 95.0


def test_a_value_half_way_stands_in_the_middle() -> None:
    assert Plain(0.0, 10.0, 5.0, 95.0).y(5.0) == 50.0


def test_marks_of_ten_degrees_are_round() -> None:
    assert [words for _, words in Plain(0.0, 10.0, 0.0, 100.0).marks()] == ["0", "5", "10"]


def test_marks_below_nought_have_a_true_minus() -> None:
    assert Plain(-10.0, 0.0, 0.0, 100.0).marks()[0] == (-10.0, "\u221210")


def test_marks_finer_than_a_degree_show_a_decimal() -> None:
    assert [words for _, words in Plain(0.0, 1.0, 0.0, 100.0).marks()] == ["0.0", "0.5", "1.0"]


def test_a_scale_of_nothing_can_still_be_drawn() -> None:
    assert len(plain([], 0.0, 100.0).marks()) >= 2


def test_one_value_alone_stands_in_the_middle() -> None:
    assert plain([20.0], 0.0, 100.0).y(20.0) == pytest.approx(50)


def test_a_finer_least_span_is_kept_when_asked_for() -> None:
    fine, usual = plain([1.0, 1.1], 0.0, 100.0, 0.5), plain([1.0, 1.1], 0.0, 100.0)
    assert fine.high - fine.low < usual.high - usual.low


def test_no_difference_stands_in_the_middle_of_its_lane() -> None:
    assert Difference(10.0, 90.0).y(0.0) == 50.0


def test_the_farthest_difference_reaches_the_edge_of_its_lane() -> None:
    assert Difference(10.0, 90.0).y(FARTHEST_K) == pytest.approx(10)
    assert Difference(10.0, 90.0).y(-FARTHEST_K) == pytest.approx(90)


def test_a_difference_beyond_the_farthest_stays_in_its_lane() -> None:
    assert Difference(10.0, 90.0).y(500.0) == pytest.approx(10)


def test_marks_of_a_difference_carry_their_sign() -> None:
    assert Difference(0.0, 100.0).marks() == [(1.0, "+1"), (0.0, "0"), (-1.0, "\u22121")]


def test_an_hour_of_a_winter_morning_has_no_midnight() -> None:
    start = milliseconds(datetime(2026, 1, 10, 9, tzinfo=DUBLIN))
    assert midnights(Window(start, start + HOUR_MS), DUBLIN) == []


def test_a_midnight_at_either_end_of_a_window_is_found() -> None:
    assert midnights(DAY, ZoneInfo("UTC")) == [0, DAY_MS]


def test_midnight_is_the_sites_and_not_universal() -> None:
    assert midnights(DAY, ZoneInfo("Asia/Kolkata")) == [round(18.5 * HOUR_MS)]


def test_the_hour_that_spring_skips_has_no_mark() -> None:
    start = milliseconds(datetime(2026, 3, 29, tzinfo=DUBLIN))
    labels = [one.label for one in ticks(Window(start, start + 4 * HOUR_MS), DUBLIN, 320.0)]
    assert labels == ["Sun 29", "02:00", "03:00", "04:00", "05:00"]


def test_the_hour_that_autumn_repeats_has_a_mark_each_time() -> None:
    start = milliseconds(datetime(2026, 10, 25, tzinfo=DUBLIN))
    labels = [one.label for one in ticks(Window(start, start + 4 * HOUR_MS), DUBLIN, 320.0)]
    assert labels.count("01:00") == 2
