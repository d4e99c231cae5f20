"""What a lane looks like, as HTML and SVG."""

import json
import re
from dataclasses import replace
from html import unescape
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.console.board import runs
from services.console.board.lane import BOTTOM, TOP, draw
from services.console.board.programme import Stretch
from services.console.board.runs import LEAST_BREADTH, Mark
from services.console.board.scene import Lane, Limit, View
from services.console.board.strip import label_place, step_strip
from services.console.board.trace import TRACE_POINTS
from services.console.board.window import BREADTH, DAY_MS, HOUR_MS, Window, around
from services.console.units import Units
from tests.console.board.material import NOW_MS, line

WINDOW = around(NOW_MS, 5 * DAY_MS)
PAST = Window(WINDOW.start_ms, NOW_MS)
VIEW = View(WINDOW, NOW_MS, ZoneInfo("Europe/Dublin"), Units())
LANE = Lane(
    title="Ale fridge",
    beer=line([18.0 + 0.1 * (index % 3) for index in range(72)], PAST),
    wanted=line([18.0] * 72, PAST),
    ahead=[(NOW_MS, 18.0)],
)


def heights(drawn: str, look: str) -> list[float]:
    """Where the points of a path stand."""
    path = re.search(rf'<path class="{look}" d="([^"]*)"', drawn)
    assert path is not None
    return [float(y) for y in re.findall(r"[ML][\d.-]+ ([\d.]+)", path[1])]


def test_tenths_of_a_kelvin_are_seen_only_as_difference() -> None:
    plainly, as_difference = (heights(draw(LANE, replace(VIEW, difference=how)), "beer") for how in (False, True))
    assert max(plainly) - min(plainly) < 4
    assert max(as_difference) - min(as_difference) > 4


def test_wild_values_stay_in_the_lane_as_difference() -> None:
    wild = replace(LANE, beer=line([18.0, 60.0, -40.0] * 24, PAST))
    assert all(TOP <= y <= BOTTOM for y in heights(draw(wild, replace(VIEW, difference=True)), "beer"))


def test_fahrenheit_is_drawn_on_a_fahrenheit_scale() -> None:
    drawn = draw(LANE, replace(VIEW, units=Units(temperature="degF")))
    assert {"64", "66"} & set(re.findall(r"<span style=\"top:[\d.]+%\">(\d+)</span>", drawn))
    assert "°F in this stretch of time" in drawn


def test_empty_lane_says_so() -> None:
    assert "nothing recorded" in draw(Lane(title="New fridge"), VIEW)


def test_limits_are_in_view_with_their_words() -> None:
    drawn = draw(replace(LANE, limits=[Limit(-13.0, "the coolant begins to freeze")]), VIEW)
    assert 'class="limit"' in drawn
    assert "the coolant begins to freeze" in drawn


def test_what_people_write_is_never_markup() -> None:
    step = Stretch("<script>", WINDOW.start_ms, None, "now", ends_when='"gravity"')
    mark = Mark(NOW_MS - HOUR_MS, "alarm", "<b>")
    drawn = draw(replace(LANE, title="<i>", steps=[step], marks=[mark]), replace(VIEW, width_px=4000))
    assert not re.search(r"<(script|i)>", drawn)
    assert drawn.count("<b>") == 0


def test_values_for_who_points_are_those_of_the_line() -> None:
    trace = json.loads(unescape(re.search(r'data-trace="([^"]*)"', draw(LANE, VIEW))[1]))  # type: ignore[index]
    assert len(trace["beer"]) == len(trace["wanted"]) == TRACE_POINTS
    assert set(trace["beer"]) <= {1800, 1810, 1820, None}
    assert trace["wanted"][-1] == 1800


@settings(deadline=None)
@given(st.floats(0, 100), st.floats(0, 100), st.floats(0, 100))
def test_name_of_a_step_never_crosses_the_line_of_the_present(one: float, other: float, now: float) -> None:
    left, right = sorted((one, other))
    start, end = label_place(left, right, now)
    assert left <= start <= end <= right
    assert not start < now < end


def test_short_step_has_no_name_but_tells_it_when_pointed_at() -> None:
    strip = step_strip([Stretch("diacetyl rest", NOW_MS, NOW_MS + HOUR_MS, "coming")], VIEW)
    assert 'title="diacetyl rest"' in strip
    assert "></span>" in strip


@settings(deadline=None)
@given(st.lists(st.tuples(st.integers(0, 5 * DAY_MS), st.integers(0, HOUR_MS)), max_size=200))
def test_every_run_is_seen_and_none_twice(spans: list[tuple[int, int]]) -> None:
    ran = [(WINDOW.start_ms + begin, WINDOW.start_ms + begin + lasts) for begin, lasts in spans]
    bars = runs.bars(ran, WINDOW)
    assert all(high - low >= LEAST_BREADTH * 0.99 for low, high in bars)
    assert all(before[1] < after[0] for before, after in zip(bars, bars[1:], strict=False))
    assert all(any(low <= WINDOW.x(start) <= high + 1e-6 for low, high in bars) for start, _ in ran)


@settings(deadline=None)
@given(st.lists(st.tuples(st.integers(0, 6 * DAY_MS), st.integers(0, HOUR_MS)), max_size=60))
def test_shares_of_crowded_runs_add_up_to_the_time_that_was_run(spans: list[tuple[int, int]]) -> None:
    ran = [(WINDOW.start_ms - DAY_MS + begin, WINDOW.start_ms - DAY_MS + begin + lasts) for begin, lasts in spans]
    inside = sum(max(0, min(end, WINDOW.end_ms) - max(start, WINDOW.start_ms)) for start, end in ran)
    assert float(runs.shares(ran, WINDOW).mean()) * WINDOW.span_ms == pytest.approx(inside, abs=1.0)


def test_crowded_runs_are_drawn_as_shares_not_as_one_long_run() -> None:
    ran = [
        (WINDOW.start_ms + index * HOUR_MS // 4, WINDOW.start_ms + index * HOUR_MS // 4 + 60_000)
        for index in range(280)
    ]
    assert 'class="duty compressor"' in draw(replace(LANE, ran={"compressor": ran}), VIEW)
    assert 'class="run compressor"' in draw(replace(LANE, ran={"compressor": ran[:20]}), VIEW)


def test_run_outside_the_window_is_not_drawn() -> None:
    assert runs.bars([(0, HOUR_MS)], WINDOW) == []
    assert runs.bars([(0, NOW_MS)], WINDOW) == [(0.0, pytest.approx(0.6 * BREADTH))]


def test_marks_too_close_become_one_with_their_number() -> None:
    marks = [Mark(NOW_MS - minutes * 60_000, "door", f"{minutes}") for minutes in (1, 2, 3, 3000)]
    assert sorted(one.count for one in runs.together(marks, WINDOW, 14.0)) == [1, 3]
