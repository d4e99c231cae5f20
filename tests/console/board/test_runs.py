"""Bars of outputs, marks that stand too close, and the strip of steps."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from services.console.board.curve import nothing
from services.console.board.load import Load, draw_load, draw_load_figure
from services.console.board.runs import (
    FEW,
    LEAST_BREADTH,
    MOST_TOLD_APART,
    Mark,
    bars,
    columns,
    crowded,
    path,
    shares,
    together,
)
from services.console.board.scene import View
from services.console.board.standing import clock_words
from services.console.board.strip import draw_marks, label_place, step_strip
from services.console.board.window import BREADTH, Window
from services.console.units import Units

WINDOW = Window(0, 3_600_000)
VIEW = View(WINDOW, 1_800_000, ZoneInfo("UTC"), Units())
DUBLIN = ZoneInfo("Europe/Dublin")


def test_an_output_that_never_ran_has_no_bar() -> None:
    assert bars([], WINDOW) == []


def test_a_run_over_the_whole_window_is_one_bar_across() -> None:
    assert bars([(-1000, 9_000_000)], WINDOW) == [(0.0, BREADTH)]


def test_a_run_before_or_after_the_window_has_no_bar() -> None:
    assert bars([(-2000, -1000), (3_700_000, 3_800_000)], WINDOW) == []


def test_a_run_of_one_moment_can_still_be_seen() -> None:
    assert bars([(1_800_000, 1_800_000)], WINDOW) == [(500.0, 500.0 + LEAST_BREADTH)]


def test_a_run_that_ends_before_it_begins_has_no_bar() -> None:
    assert bars([(2000, 1000)], WINDOW) == []


def test_runs_that_touch_are_one_bar() -> None:
    assert bars([(900_000, 1_800_000), (0, 900_000)], WINDOW) == [(0.0, 500.0)]


def test_runs_apart_are_bars_in_order() -> None:
    assert bars([(2_700_000, 3_600_000), (0, 900_000)], WINDOW) == [(0.0, 250.0), (750.0, 1000.0)]


def test_a_run_within_another_does_not_shorten_it() -> None:
    assert bars([(0, 1_800_000), (360_000, 720_000)], WINDOW) == [(0.0, 500.0)]


def test_few_runs_are_never_crowded() -> None:
    assert not crowded([(0, 1)] * FEW, [])


def test_more_runs_than_can_be_told_apart_are_crowded() -> None:
    many = [(0, 1)] * (MOST_TOLD_APART + 1)
    assert crowded(many, [(0.0, 1.0)] * len(many))


def test_runs_that_stay_bars_of_their_own_are_not_crowded() -> None:
    assert not crowded([(0, 1)] * (FEW + 1), [(0.0, 1.0)] * (FEW + 1))


def test_an_output_on_for_half_the_window_fills_half_the_shares() -> None:
    assert shares([(0, 1_800_000)], WINDOW, 4).tolist() == [1.0, 1.0, 0.0, 0.0]


def test_a_share_is_how_much_of_its_stretch_was_on() -> None:
    assert shares([(0, 450_000)], WINDOW, 4)[0] == pytest.approx(0.5)


def test_an_output_that_never_ran_has_shares_of_nothing() -> None:
    assert shares([], WINDOW, 3).tolist() == [0.0, 0.0, 0.0]


def test_a_stretch_without_a_run_has_no_column() -> None:
    assert columns(np.array([0.0, 0.0]), 100.0, 10.0) == ""


def test_a_column_as_high_as_its_share_stands_in_its_place() -> None:
    assert columns(np.array([0.0, 0.5]), 100.0, 10.0) == "M500.0 100v-5.0h500.0V100Z"


def test_no_bar_is_an_empty_path() -> None:
    assert path([], 4.0) == ""


def test_a_path_runs_along_its_height() -> None:
    assert path([(0.0, 10.0), (20.0, 30.0)], 4.0) == "M0.0 4H10.0M20.0 4H30.0"


def test_marks_close_together_are_one_with_their_number() -> None:
    assert together([Mark(0, "door", "a"), Mark(1000, "door", "b")], WINDOW, 10.0) == [Mark(0, "door", "b", 2)]


def test_a_door_and_an_alarm_at_one_moment_stay_two() -> None:
    assert len(together([Mark(0, "door", "a"), Mark(0, "alarm", "b")], WINDOW, 10.0)) == 2


def test_marks_with_room_between_them_stay_apart() -> None:
    assert len(together([Mark(0, "door", "a"), Mark(1_800_000, "door", "b")], WINDOW, 10.0)) == 2


def test_a_mark_out_of_view_is_not_drawn() -> None:
    assert together([Mark(-1, "door", "a")], WINDOW, 10.0) == []


def test_words_of_a_mark_are_never_markup() -> None:
    drawn = draw_marks([Mark(0, "alarm", "<b>")], VIEW)
    assert "&lt;b&gt;" in drawn
    assert "<b>" not in drawn


def test_several_marks_as_one_tell_their_number_and_the_last() -> None:
    drawn = draw_marks([Mark(0, "door", "first"), Mark(1, "door", "last")], VIEW)
    assert 'title="2 times; the last: last"' in drawn


def test_a_name_left_of_the_present_has_its_whole_step() -> None:
    assert label_place(10.0, 40.0, 60.0) == (10.0, 40.0)


def test_a_name_stands_on_the_roomier_side_of_the_present() -> None:
    assert label_place(0.0, 100.0, 60.0) == (0.0, 60.0)
    assert label_place(0.0, 100.0, 30.0) == (30.0, 100.0)


def test_no_step_in_view_is_an_empty_strip() -> None:
    assert step_strip([], VIEW) == '<ol class="strip none"></ol>'


def test_a_circuit_within_its_limit_is_told_calmly() -> None:
    assert 'class="reading none"' in draw_load_figure(Load(10.0, 10.0, ["compressor"], []))


def test_a_circuit_over_its_limit_is_told_gravely() -> None:
    assert 'class="reading grave"' in draw_load_figure(Load(10.1, 10.0, ["compressor"], []))


def test_an_idle_circuit_says_that_nothing_draws_current() -> None:
    assert "Nothing draws current." in draw_load_figure(Load(0.0, 10.0, [], []))


def test_an_output_that_may_be_on_is_told_as_not_known() -> None:
    assert "Counted as on, not known: pump" in draw_load_figure(Load(1.0, 10.0, [], ["pump"]))


def test_a_circuit_without_a_past_says_so() -> None:
    assert "nothing recorded in this stretch" in draw_load(nothing(), 10.0, VIEW, "Cellar")


def test_the_time_of_day_is_an_hour_later_in_a_dublin_summer() -> None:
    assert clock_words(datetime(2026, 7, 1, 12, tzinfo=UTC), DUBLIN) == "13:00"
    assert clock_words(datetime(2026, 1, 1, 12, tzinfo=UTC), DUBLIN) == "12:00"


def test_seconds_are_told_when_asked_for() -> None:
    assert clock_words(datetime(2026, 1, 1, 12, 0, 7, tzinfo=UTC), DUBLIN, seconds=True) == "12:00:07"
