"""Where a step's setpoint is at any moment, and how steps are told in words."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from schemas.ends import Ends
from schemas.profiles import FreeRiseStep, HoldStep, RampStep
from services.scheduler.course import FORESIGHT, MOST_WAYPOINTS, held_part, next_move, rate_at, setpoint_at, waypoints
from services.scheduler.records import StepRun
from services.scheduler.words import degrees, lasting, says_end_of, says_ends

BEGAN = datetime(2026, 3, 2, 8, tzinfo=UTC)
DOWN = RampStep(name="crash", to_c=2.0, over_s=16 * 3600.0)
HOLD = HoldStep(name="rest", hold_c=18.0, for_s=3600.0)


def run(from_c: float = 18.0, **more: Any) -> StepRun:
    return StepRun(index=0, began=BEGAN, from_c=from_c, **more)


def after(hours: float) -> datetime:
    return BEGAN + timedelta(hours=hours)


@pytest.mark.parametrize(("hours", "celsius"), [(0, 18.0), (4, 14.0), (8, 10.0), (16, 2.0), (99, 2.0)])
def test_ramp_goes_in_a_straight_line_and_stays_where_it_arrives(hours: float, celsius: float) -> None:
    assert setpoint_at(DOWN, run(), after(hours)) == pytest.approx(celsius)


@given(st.floats(-5, 30), st.floats(-1, 40))
def test_setpoint_of_a_ramp_never_leaves_the_span_between_its_ends(from_c: float, hours: float) -> None:
    low, high = sorted((from_c, 2.0))
    assert low - 1e-9 <= setpoint_at(DOWN, run(from_c), after(hours)) <= high + 1e-9


def test_held_ramp_stays_where_it_was_held() -> None:
    held = run(held_since=after(4))
    assert setpoint_at(DOWN, held, after(12)) == pytest.approx(14.0)
    assert (rate_at(DOWN, held, after(12)), next_move(DOWN, held, after(12))) == (0.0, None)


def test_resumed_ramp_arrives_later_by_as_long_as_it_was_held() -> None:
    resumed = run(held_s=8 * 3600.0)
    assert setpoint_at(DOWN, resumed, after(16)) == pytest.approx(10.0)
    assert setpoint_at(DOWN, resumed, after(24)) == pytest.approx(2.0)


def test_rate_of_a_ramp_is_told_only_while_it_moves() -> None:
    late = DOWN.model_copy(update={"not_before": after(2)})
    assert [rate_at(late, run(), after(h)) for h in (1, 2, 17.9, 18)] == pytest.approx([0.0, -1.0, -1.0, 0.0])


def test_setpoint_is_told_again_when_it_begins_to_move_and_then_at_every_fiftieth_of_a_kelvin() -> None:
    late = DOWN.model_copy(update={"not_before": after(2)})
    assert next_move(late, run(), after(1)) == after(2)
    assert next_move(late, run(), after(2)) == after(2) + timedelta(seconds=72)
    assert next_move(late, run(), after(18)) is None


def test_ramp_that_is_there_already_moves_no_further() -> None:
    assert setpoint_at(DOWN, run(2.0), after(1)) == 2.0
    assert rate_at(DOWN, run(2.0), after(1)) == 0.0


def test_held_temperature_needs_telling_once() -> None:
    assert (setpoint_at(HOLD, run(), after(5)), next_move(HOLD, run(), BEGAN)) == (18.0, None)


def test_hold_while_a_ramp_waits_for_its_own_time_delays_nothing() -> None:
    late = DOWN.model_copy(update={"not_before": after(6)})
    assert held_part(late, run(held_since=after(1)), after(5)) == 0.0
    assert held_part(late, run(held_since=after(1)), after(8)) == 2 * 3600.0


def test_step_that_is_not_held_is_delayed_by_nothing() -> None:
    assert held_part(HOLD, run(), after(5)) == 0.0


def test_jump_ahead_is_two_points_at_one_time() -> None:
    coming = StepRun(index=1, began=after(3), from_c=12.0)
    points = waypoints([(HOLD, coming)], BEGAN)
    assert [(one.at, one.temperature_c) for one in points] == [(after(3), 12.0), (after(3), 18.0)]


def test_what_is_past_or_far_ahead_is_not_told() -> None:
    past, far = run(12.0), StepRun(index=1, began=BEGAN + FORESIGHT + timedelta(hours=1), from_c=12.0)
    assert waypoints([(HOLD, past), (HOLD, far)], BEGAN) == ()


def test_long_programme_is_told_up_to_the_most_that_a_message_holds() -> None:
    steps = [(HOLD, StepRun(index=n, began=after(n + 1), from_c=12.0)) for n in range(20)]
    assert len(waypoints(steps, BEGAN)) == MOST_WAYPOINTS


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (0, "0 s"),
        (90, "1 min 30 s"),
        (3600, "1 h"),
        (3660, "1 h 1 min"),
        (86400 + 59, "1 d"),
        (3 * 86400 + 14400, "3 d 4 h"),
    ],
)
def test_span_is_told_in_two_units_at_most(seconds: float, words: str) -> None:
    assert lasting(seconds) == words


@pytest.mark.parametrize(("celsius", "words"), [(18.0, "18 degC"), (18.456, "18.46 degC"), (-0.5, "-0.5 degC")])
def test_temperature_is_told_to_a_hundredth_at_most(celsius: float, words: str) -> None:
    assert degrees(celsius) == words


@pytest.mark.parametrize(
    ("ends", "words"),
    [
        ({"word": "hops in"}, "somebody says: hops in"),
        ({"any": [{"elapsed": 3600}, {"word": "now"}]}, "1 h have passed or somebody says: now"),
        (
            {"all": [{"gravity_at_most": 1.012}], "any": [{"elapsed": 60}, {"word": "now"}]},
            "gravity is at most 1.012 and (1 min have passed or somebody says: now)",
        ),
    ],
)
def test_ends_are_told_in_one_phrase_that_cannot_be_misread(ends: dict[str, Any], words: str) -> None:
    assert says_ends(Ends.model_validate(ends)) == words


@pytest.mark.parametrize(
    ("step", "words"),
    [
        (HOLD, "1 h have passed"),
        (DOWN, "it is at 2 degC"),
        (HoldStep(name="serve", hold_c=4.0), "somebody moves it on"),
        (FreeRiseStep(name="up", free_rise_c=22.0, latest_s=7200.0, when_late="go-on"), "at the latest after 2 h"),
        (HoldStep(name="a", hold_c=4.0, for_s=60.0, latest_s=120.0), "1 min have passed, overdue after 2 min"),
    ],
)
def test_end_of_a_step_is_told_with_what_bounds_it(step: Any, words: str) -> None:
    assert says_end_of(step) == words
