"""Edits, plans, gravity and cooling at their edges: nothing known, little known, too late."""

from zoneinfo import ZoneInfo

import pytest

from schemas.batches import BatchPhase
from schemas.ends import Stability
from services.scheduler.answers import Refusal
from services.scheduler.cooling import Cooling
from services.scheduler.edits import edited, told_of
from services.scheduler.gravity_facts import GravityFacts, change_at_most
from services.scheduler.gravity_log import HAND_SD, GravityLog, GravityPoint, enter, hear, strike
from services.scheduler.plan import Outlook, expect, plan, planned_steps
from services.scheduler.records import BatchRecord, PendingEdit, StepRun
from tests.scheduler.bench import MONDAY, days, hours, profile

DUBLIN = ZoneInfo("Europe/Dublin")


def run(from_c: float = 18.0, **more: object) -> StepRun:
    return StepRun.model_validate({"index": 0, "began": MONDAY, "from_c": from_c, **more})


def record(*steps: str, **more: object) -> BatchRecord:
    fields = {"batch": "41-pale", "title": "Pale", "chamber": "ale-fridge", "profile": profile(*steps)}
    return BatchRecord.model_validate({**fields, "begins": MONDAY, **more})


def edit(first: int, *steps: str) -> PendingEdit:
    return PendingEdit(at=MONDAY, first=first, steps=profile(*steps).steps, who="Ada", why="riper")


def point(after_h: float, sg: float) -> GravityPoint:
    return GravityPoint(at=MONDAY + hours(after_h), sg=sg, sd=HAND_SD, by="Ada", hand=True, entry=f"e{after_h}")


def test_edit_leaves_the_steps_before_it_alone() -> None:
    before = record("name: a, hold: 18 degC, for: 1 d", "name: b, hold: 2 degC")
    after = edited(before, edit(1, "name: c, hold: 4 degC"), MONDAY)
    assert [step.name for step in after.profile.steps] == ["a", "c"]


def test_edit_that_leaves_a_gap_is_refused() -> None:
    with pytest.raises(Refusal, match="has 1 steps"):
        edited(record("name: a, hold: 18 degC"), edit(2, "name: c, hold: 4 degC"), MONDAY)


def test_batch_that_is_over_takes_no_edit() -> None:
    over = record("name: a, hold: 18 degC", phase=BatchPhase.COMPLETE)
    with pytest.raises(Refusal, match="complete"):
        edited(over, edit(0, "name: c, hold: 4 degC"), MONDAY)


def test_step_that_follows_one_without_an_end_is_refused_with_a_remedy() -> None:
    with pytest.raises(Refusal) as caught:
        edited(record("name: a, hold: 18 degC"), edit(1, "name: c, hold: 4 degC"), MONDAY)
    assert "ends" in caught.value.remedy


def test_edit_is_told_with_its_steps_and_its_reason() -> None:
    told = told_of(record("name: a, hold: 18 degC"), edit(0, "name: c, hold: 4 degC"), MONDAY)
    assert told.why == "from step 0 on: 'c'. riper"


def test_plan_of_a_batch_that_has_ended_expects_nothing() -> None:
    over = record("name: a, hold: 18 degC", phase=BatchPhase.COMPLETE)
    assert expect(over, Outlook(DUBLIN), MONDAY) == []


def test_plan_begins_each_step_where_the_one_before_ends() -> None:
    found = expect(record("name: a, hold: 18 degC, for: 2 d", "name: b, hold: 2 degC"), Outlook(DUBLIN), MONDAY)
    assert [(one.run.began, one.ends) for one in found] == [(MONDAY, MONDAY + days(2)), (MONDAY + days(2), None)]


def test_plan_goes_no_further_than_a_step_whose_end_is_unknown() -> None:
    waiting = record("name: a, hold: 18 degC, ends: {word: ripe?}", "name: b, hold: 2 degC")
    assert [one.step.name for one in expect(waiting, Outlook(DUBLIN), MONDAY)] == ["a"]


def test_step_beyond_what_can_be_foreseen_is_told_without_times() -> None:
    waiting = record("name: a, hold: 18 degC, ends: {word: ripe?}", "name: b, hold: 2 degC")
    last = planned_steps(waiting, plan(waiting, Outlook(DUBLIN), MONDAY))[1]
    assert (last.name, last.begins, last.ends, last.done) == ("b", None, None, False)


def test_step_that_is_due_already_is_expected_to_end_now() -> None:
    late = record("name: a, hold: 18 degC, for: 1 h", phase=BatchPhase.RUNNING, run=run())
    assert expect(late, Outlook(DUBLIN), MONDAY + days(1))[0].ends == MONDAY + days(1)


def test_batch_without_a_running_step_has_none_to_change() -> None:
    with pytest.raises(ValueError, match="no running step"):
        record("name: a, hold: 18 degC").but_run(late=True)


def test_batch_takes_up_its_chamber_while_it_runs_or_is_held_alone() -> None:
    active = {phase for phase in BatchPhase if record("name: a, hold: 18 degC", phase=phase).active}
    assert active == {BatchPhase.RUNNING, BatchPhase.HELD}


def test_one_look_at_gravity_says_nothing_of_its_change() -> None:
    assert change_at_most([point(0, 1.05)], 86400.0) == 1.0


def test_two_looks_at_one_moment_say_nothing_of_its_change() -> None:
    assert change_at_most([point(0, 1.05), point(0, 1.04)], 86400.0) == 1.0


def test_change_of_gravity_grows_with_the_time_asked_about() -> None:
    seen = [point(0, 1.05), point(24, 1.04), point(48, 1.03)]
    assert change_at_most(seen, 2 * 86400.0) == pytest.approx(2 * change_at_most(seen, 86400.0))


def test_gravity_that_rose_again_is_low_enough_no_longer() -> None:
    seen = GravityFacts(GravityLog(points=(point(0, 1.05), point(24, 1.01), point(48, 1.02))), 1.05)
    assert seen.at_most(1.012) is None


def test_too_short_a_look_is_no_rest() -> None:
    seen = GravityFacts(GravityLog(points=tuple(point(hour, 1.01) for hour in range(43))), 1.05)
    assert seen.at_rest(Stability(over=48 * 3600)) is None
    assert seen.at_rest(Stability(over=40 * 3600)) == MONDAY + hours(42)


def test_measurement_entered_late_takes_its_place_in_time() -> None:
    log = enter(enter(GravityLog(), point(24, 1.03)), point(0, 1.05))
    assert [one.sg for one in log.points] == [1.05, 1.03]


def test_struck_measurement_stays_and_counts_no_more() -> None:
    log = strike(enter(GravityLog(), point(0, 1.05)), "e0", "misread")
    assert log is not None
    assert (len(log.points), log.counted(), log.points[0].mark) == (1, (), "misread")


def test_measurement_cannot_be_struck_twice() -> None:
    log = strike(enter(GravityLog(), point(0, 1.05)), "e0", "misread")
    assert log is not None
    assert strike(log, "e0", "again") is None


def test_second_reading_within_a_minute_is_left_out() -> None:
    log, _ = hear(GravityLog(), "float", 1.05, MONDAY)
    again, complete = hear(log, "float", 1.04, MONDAY + hours(1 / 120))
    assert (again, complete) == (log, False)


def test_half_an_hour_of_readings_becomes_their_median() -> None:
    log, complete = GravityLog(), False
    for minute, sg in ((0, 1.050), (10, 1.090), (20, 1.051), (31, 1.051)):
        log, complete = hear(log, "float", sg, MONDAY + hours(minute / 60))
    assert (complete, [one.sg for one in log.points]) == (True, [1.051])


def test_rate_of_cooling_that_was_seen_draws_the_belief_towards_it() -> None:
    guess = Cooling(at_8=1.0, slope=0.05, var_at_8=0.16, var_slope=0.0009)
    learnt = guess.seen(8.0, 2.0)
    assert 1.0 < learnt.rate(8.0) < 2.0
    assert learnt.var_at_8 < guess.var_at_8


def test_what_was_learnt_of_cooling_is_forgotten_down_to_the_first_guess_at_most() -> None:
    first = Cooling(at_8=1.0, slope=0.05, var_at_8=0.16, var_slope=0.0009)
    old = first.seen(8.0, 1.0)
    for _ in range(100):
        old = old.forgetting(first)
    assert (old.var_at_8, old.var_slope) == (first.var_at_8, first.var_slope)


def test_likely_rate_of_cooling_lies_within_its_deviations() -> None:
    guess = Cooling(at_8=1.0, slope=0.05, var_at_8=0.16, var_slope=0.0009)
    assert guess.rate(8.0, -1.0) == pytest.approx(0.6)
    assert guess.rate(8.0, 1.0) == pytest.approx(1.4)
