"""Words, ramps, ends of steps and times of day at their edges."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from schemas.batches import BatchPhase
from schemas.ends import Ends
from schemas.profiles import FreeRiseStep, HoldStep, RampStep
from services.scheduler import calendar
from services.scheduler.course import held_part, next_move, rate_at, setpoint_at
from services.scheduler.records import StepRun, target_c
from services.scheduler.states import Event, NotAllowed, phase_after
from services.scheduler.triggers import View, due, end_of, overdue, ramp_begin, ramp_end
from services.scheduler.words import degrees, lasting, says_end_of, says_ends
from tests.scheduler.bench import MONDAY, days, hours

DUBLIN = ZoneInfo("Europe/Dublin")
RAMP = RampStep.model_validate({"name": "fall", "to": "8 degC", "over": "10 h"})


def ramp(**more: object) -> RampStep:
    return RampStep.model_validate({"name": "fall", "to": "8 degC", "rate": "1 K/h", **more})


def hold(**more: object) -> HoldStep:
    return HoldStep.model_validate({"name": "rest", "hold": "18 degC", **more})


def run(from_c: float = 18.0, **more: object) -> StepRun:
    return StepRun.model_validate({"index": 0, "began": MONDAY, "from_c": from_c, **more})


def ends(**said: object) -> Ends:
    step = hold(ends=said)
    assert step.ends is not None
    return step.ends


def when(step: RampStep | HoldStep, **more: object) -> datetime | None:
    return due(step, View(run(**more), DUBLIN))


@pytest.mark.parametrize(
    ("seconds", "said"),
    [(0, "0 s"), (0.4, "0 s"), (59, "59 s"), (60, "1 min"), (3599.6, "1 h"), (86400, "1 d"), (270_000, "3 d 3 h")],
)
def test_durations_are_said_in_two_units_at_most(seconds: float, said: str) -> None:
    assert lasting(seconds) == said


def test_minutes_beside_whole_days_are_left_out() -> None:
    assert lasting(86400 + 1800) == "1 d"


def test_degrees_are_said_to_a_hundredth() -> None:
    assert (degrees(18.0), degrees(-0.5), degrees(4.126)) == ("18 degC", "-0.5 degC", "4.13 degC")


def test_step_that_nothing_ends_waits_for_somebody() -> None:
    assert says_end_of(hold()) == "somebody moves it on"


def test_lone_choice_is_said_without_brackets() -> None:
    said = {"any": [{"elapsed": "1 d"}, {"word": "ripe?"}]}
    assert says_ends(ends(**said)) == "1 d have passed or somebody says: ripe?"


def test_choice_beside_a_duty_is_said_in_brackets() -> None:
    said = {"all": [{"elapsed": "2 d"}], "any": [{"elapsed": "1 d"}, {"word": "ripe?"}]}
    assert says_ends(ends(**said)) == "2 d have passed and (1 d have passed or somebody says: ripe?)"


def test_target_is_where_each_kind_of_step_ends_up() -> None:
    rise = FreeRiseStep.model_validate({"name": "rise", "free_rise": "22 degC"})
    assert [target_c(one) for one in (hold(), RAMP, rise)] == [18.0, 8.0, 22.0]


def test_hold_stays_where_it_is_whatever_was_before() -> None:
    assert setpoint_at(hold(), run(from_c=3.0), MONDAY) == 18.0
    assert rate_at(hold(), run(from_c=3.0), MONDAY) == 0.0


def test_ramp_is_half_way_in_half_its_time() -> None:
    assert setpoint_at(RAMP, run(), MONDAY + hours(5)) == 13.0


def test_ramp_begins_where_it_was_and_ends_where_it_should() -> None:
    assert [setpoint_at(RAMP, run(), MONDAY + hours(at)) for at in (0, 10, 99)] == [18.0, 8.0, 8.0]


def test_ramp_falls_at_its_rate_until_its_very_end() -> None:
    assert [rate_at(RAMP, run(), MONDAY + hours(at)) for at in (0, 9.99, 10)] == [-1.0, -1.0, 0.0]


def test_held_ramp_stays_where_it_was_held() -> None:
    held = run(held_since=MONDAY + hours(2))
    assert setpoint_at(RAMP, held, MONDAY + days(3)) == 16.0
    assert (rate_at(RAMP, held, MONDAY + days(3)), next_move(RAMP, held, MONDAY + days(3))) == (0.0, None)


def test_ramp_arrives_later_by_the_time_it_was_held() -> None:
    assert ramp_end(RAMP, run(held_s=3600.0)) - ramp_end(RAMP, run()) == hours(1)


def test_ramp_waits_for_its_own_time() -> None:
    waiting = ramp(not_before=MONDAY + hours(6))
    assert ramp_begin(waiting, run()) == MONDAY + hours(6)
    assert setpoint_at(waiting, run(), MONDAY + hours(5)) == 18.0


def test_ramp_whose_own_time_is_past_begins_with_its_step() -> None:
    assert ramp_begin(ramp(not_before=MONDAY - days(1)), run()) == MONDAY


def test_ramp_to_where_the_beer_is_already_stays_there_while_it_waits_for_its_time() -> None:
    waiting = ramp(not_before=MONDAY + hours(6))
    assert setpoint_at(waiting, run(from_c=8.0), MONDAY) == 8.0


def test_waiting_for_a_ramps_own_time_is_no_delay() -> None:
    waiting = ramp(not_before=MONDAY + hours(6))
    assert held_part(waiting, run(held_since=MONDAY), MONDAY + hours(7)) == 3600.0
    assert held_part(waiting, run(held_since=MONDAY), MONDAY + hours(5)) == 0.0


def test_moving_setpoint_is_told_again_no_later_than_its_arrival() -> None:
    assert next_move(RAMP, run(), MONDAY + hours(9.999)) == MONDAY + hours(10)
    assert next_move(RAMP, run(), MONDAY + hours(10)) is None


def test_step_for_a_time_ends_then_and_later_by_what_it_was_held() -> None:
    assert when(hold(**{"for": "2 d"})) == MONDAY + days(2)
    assert when(hold(**{"for": "2 d"}), held_s=3600.0) == MONDAY + days(2) + hours(1)


def test_held_step_does_not_come_due() -> None:
    assert when(hold(**{"for": "2 d"}), held_since=MONDAY) is None


def test_resumed_step_is_not_said_to_have_ended_before() -> None:
    assert when(hold(**{"for": "1 h"}), floor=MONDAY + hours(3)) == MONDAY + hours(3)


def test_step_without_a_latest_time_is_never_overdue() -> None:
    assert overdue(hold(), run()) is None


def test_word_that_nobody_has_said_leaves_the_end_unknown() -> None:
    asked = ends(all=[{"word": "ripe?"}, {"elapsed": "1 h"}])
    assert end_of(asked, View(run(), DUBLIN)) is None
    assert end_of(asked, View(run(word=MONDAY + hours(4)), DUBLIN)) == MONDAY + hours(4)


def test_gravity_that_nobody_measures_leaves_the_end_unknown() -> None:
    assert end_of(ends(all=[{"gravity_at_most": 1.012}]), View(run(), DUBLIN)) is None


def test_time_of_day_that_is_now_is_at_it_and_not_after_it() -> None:
    noon = datetime(2026, 1, 7, 12, tzinfo=UTC)
    assert calendar.at_or_after("12:00", DUBLIN, noon) == noon
    assert calendar.after("12:00", DUBLIN, noon) == noon + days(1)


def test_written_offset_counts_more_than_the_sites_zone() -> None:
    written = datetime.fromisoformat("2026-07-01T12:00:00+05:00")
    assert calendar.in_zone(written, DUBLIN) == datetime(2026, 7, 1, 7, tzinfo=UTC)


def test_local_time_that_comes_twice_is_the_first() -> None:
    """Irish clocks go back at 01:00 UTC on the last Sunday of October: Directive 2000/84/EC."""
    assert calendar.in_zone(datetime(2026, 10, 25, 1, 30), DUBLIN) == datetime(2026, 10, 25, 0, 30, tzinfo=UTC)


def test_refused_event_names_what_is_possible() -> None:
    with pytest.raises(NotAllowed, match="complete knows no pause, only reset"):
        phase_after(BatchPhase.COMPLETE, Event.PAUSE)


def test_no_event_changes_no_phase() -> None:
    assert [phase_after(phase) for phase in BatchPhase] == list(BatchPhase)


def test_held_batch_goes_on_when_restarted() -> None:
    assert phase_after(BatchPhase.RUNNING, Event.HOLD, Event.RESTART) is BatchPhase.RUNNING
