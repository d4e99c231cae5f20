"""What is wanted from here on, by steps, by a person's own setpoint, or by what the chamber holds."""

from datetime import timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from schemas.batches import BatchPhase
from schemas.control import Waypoint
from services.console.board.programme import ahead, stretches, value_at
from services.console.board.window import HOUR_MS
from tests.console.board.material import NOON, NOW_MS, batch, setpoint, step

PALE = batch(
    step("ferment", -48, -2, 18.0, done=True),
    step("rest", -2, 10, 21.0, ends_latest=NOON + timedelta(hours=30), ends_earliest=NOON + timedelta(hours=6)),
    step("crash", 10, 34, 1.0, does="ramp", from_c=21.0),
    step("cold", 34, None, 1.0),
    running=1,
)


def wanted(hours: float, time: str = "likely") -> float:
    """So many hours from now."""
    return value_at(ahead(setpoint(21.0), PALE, NOW_MS, time), NOW_MS + round(hours * HOUR_MS))  # type: ignore[arg-type]


def test_programme_follows_the_steps_to_come() -> None:
    assert [wanted(hours) for hours in (0, 9.9, 22, 40, 900)] == [21.0, 21.0, 11.0, 1.0, 1.0]


def test_early_and_late_ends_move_what_comes_after() -> None:
    assert wanted(8, "early") < wanted(8) == wanted(8, "late") == 21.0
    assert wanted(29, "late") == 21.0


def test_ramp_under_way_begins_where_it_is_now() -> None:
    ramp = batch(step("down", -10, 10, 1.0, does="ramp", from_c=21.0))
    corners = ahead(setpoint(11.0), ramp, NOW_MS)
    assert corners[0] == (NOW_MS, 11.0)


def test_own_setpoint_holds_until_it_expires_and_then_the_programme_goes_on() -> None:
    own = setpoint(5.0, expires=NOON + timedelta(hours=22))
    corners = ahead(own, PALE, NOW_MS)
    assert value_at(corners, NOW_MS + 21 * HOUR_MS) == 5.0
    assert value_at(corners, NOW_MS + 22 * HOUR_MS) == 11.0


def test_held_batch_goes_by_what_is_asked_and_not_by_its_clock() -> None:
    corners = ahead(setpoint(19.0), PALE.model_copy(update={"phase": BatchPhase.HELD}), NOW_MS)
    assert {celsius for _, celsius in corners} == {19.0}


def test_waypoints_are_followed_where_there_is_no_batch() -> None:
    point = Waypoint(at=NOON + timedelta(hours=4), temperature_c=10.0)
    corners = ahead(setpoint(18.0, ahead=(point,)), None, NOW_MS)
    assert value_at(corners, NOW_MS + 2 * HOUR_MS) == 14.0


def test_nothing_is_drawn_where_nothing_is_asked() -> None:
    assert ahead(None, PALE, NOW_MS) == []


def test_steps_tell_what_is_done_what_runs_and_what_comes() -> None:
    assert [one.state for one in stretches(PALE)] == ["done", "now", "coming", "coming"]
    assert stretches(batch(step("some day", None, None, 4.0))) == []


@settings(deadline=None)
@given(st.lists(st.tuples(st.integers(0, 1000), st.floats(-5, 30)), min_size=1, max_size=9), st.integers(-50, 1200))
def test_value_between_corners_is_never_beyond_them(corners: list[tuple[int, float]], at: int) -> None:
    corners = sorted(corners)
    values = [celsius for _, celsius in corners]
    assert min(values) - 1e-9 <= value_at(corners, at) <= max(values) + 1e-9
