"""What ends a step."""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from schemas.ends import Ends
from schemas.requests import ConfirmStep, HoldBatch, LogGravity, ResumeBatch, SkipStep
from services.scheduler.records import StepRun
from services.scheduler.triggers import View, due, end_of
from tests.scheduler.bench import MONDAY, Bench, days, hours, profile

DUBLIN = ZoneInfo("Europe/Dublin")


def trial(ends: str, more: str = "") -> Bench:
    bench = Bench()
    answer = bench.start(
        profile(f"name: a, hold: 18 degC, ends: {ends}{more}", "name: b, hold: 2 degC"), original_gravity_sg=1.050
    )
    assert answer.outcome == "accepted", answer
    return bench


def begun(bench: Bench) -> datetime | None:
    """When the second step began."""
    return dict(bench.steps_begun()).get("b")


def test_all_wait_for_the_last_of_them() -> None:
    bench = trial("{all: [{elapsed: 1 d}, {elapsed: 36 h}]}")
    bench.run(days(2))
    assert begun(bench) == MONDAY + hours(36)


def test_any_is_content_with_the_first() -> None:
    bench = trial("{any: [{elapsed: 1 d}, {word: yes?}]}")
    bench.run(days(2))
    assert begun(bench) == MONDAY + days(1)


def test_all_and_any_together_need_both() -> None:
    bench = trial("{all: [{elapsed: 1 d}], any: [{word: yes?}, {elapsed: 3 d}]}")
    bench.run(days(2))
    bench.ask(ConfirmStep, batch="41-pale")
    assert begun(bench) == MONDAY + days(2)


def test_local_time_waited_for_is_the_first_after_all_else_holds() -> None:
    bench = trial("{all: [{word: hops out?}, {next: 'Fri 18:00'}]}")
    bench.run(days(5))
    bench.ask(ConfirmStep, batch="41-pale")
    bench.run(days(8))
    assert begun(bench) == datetime(2026, 3, 13, 18, tzinfo=MONDAY.tzinfo)


def test_not_before_a_local_time_means_the_first_since_the_step_began() -> None:
    bench = trial("{all: [{word: hops out?}, {not_before: 'Fri 18:00'}]}")
    bench.run(days(5))
    bench.ask(ConfirmStep, batch="41-pale")
    assert begun(bench) == MONDAY + days(5)


def test_date_and_time_end_a_step_by_the_sites_clocks() -> None:
    bench = trial("{at: 2026-04-01 18:00}")
    bench.run(days(31))
    assert begun(bench) == datetime(2026, 4, 1, 17, tzinfo=MONDAY.tzinfo)


def test_person_is_asked_and_their_word_ends_the_step() -> None:
    bench = trial("{word: Are the hops out?}")
    assert bench.batch().awaits == "Are the hops out?"
    bench.ask(ConfirmStep, batch="41-pale")
    assert (begun(bench), bench.batch().awaits) == (MONDAY, "")


def test_gravity_by_hand_ends_a_step() -> None:
    bench = trial("{gravity_at_most: 1.012}")
    bench.run(days(3))
    bench.ask(LogGravity, batch="41-pale", hydrometer_sg=1.013)
    assert begun(bench) is None
    bench.ask(LogGravity, batch="41-pale", hydrometer_sg=1.012)
    assert begun(bench) == MONDAY + days(3)


def test_attenuation_ends_a_step() -> None:
    bench = trial("{attenuation_at_least: 75 %}")
    bench.run(days(3))
    bench.ask(LogGravity, batch="41-pale", hydrometer_sg=1.012)
    assert begun(bench) == MONDAY + days(3)


def test_two_equal_measurements_far_enough_apart_are_stable() -> None:
    bench = trial("{gravity_stable: {within: 0.001, over: 48 h}}")
    bench.run(days(3))
    bench.ask(LogGravity, batch="41-pale", hydrometer_sg=1.011)
    bench.run(days(1))
    bench.ask(LogGravity, batch="41-pale", hydrometer_sg=1.011)
    assert begun(bench) is None
    bench.run(days(1))
    bench.ask(LogGravity, batch="41-pale", hydrometer_sg=1.011)
    assert begun(bench) == MONDAY + days(5)


def test_stable_gravity_of_a_stalled_beer_ends_nothing_and_is_told() -> None:
    bench = trial("{gravity_stable: {within: 0.001, over: 48 h}}")
    for _ in range(3):
        bench.run(days(2))
        bench.ask(LogGravity, batch="41-pale", hydrometer_sg=1.030)
    assert begun(bench) is None
    stalled = bench.condition("gravity-stalled")
    assert stalled is not None
    assert "gravity rests at 1.0300" in stalled.detail


def test_fermentation_that_has_not_begun_is_told() -> None:
    bench = trial("{attenuation_at_least: 75 %}")
    bench.run(hours(30))
    bench.ask(LogGravity, batch="41-pale", hydrometer_sg=1.050)
    assert bench.condition("not-begun") is None
    bench.run(hours(7))
    told = bench.condition("not-begun")
    assert told is not None
    assert told.active


def test_time_within_tolerance_ends_a_step() -> None:
    bench = trial("{within_tolerance: 2 h}", ", tolerance: 0.5 K")
    for minute in range(5 * 60):
        bench.see_beer(20.0 if minute < 60 else 18.3)
        bench.run(timedelta(minutes=1))
    assert begun(bench) == MONDAY + hours(3)


def test_time_while_nobody_looked_does_not_count_as_within_tolerance() -> None:
    bench = trial("{within_tolerance: 2 h}")
    bench.see_beer(18.0)
    bench.run(hours(5))
    bench.see_beer(18.0)
    assert begun(bench) is None


def test_other_batch_that_reaches_a_step_ends_one() -> None:
    bench = Bench()
    bench.start(profile("name: crash, to: 2 degC, over: 1 d", "name: cold, hold: 2 degC"), "40-lager", "lager-fridge")
    bench.start(
        profile("name: a, hold: 18 degC, ends: {reached: {batch: 40-lager, step: cold}}", "name: b, hold: 2 degC")
    )
    bench.run(days(2))
    assert begun(bench) == MONDAY + days(1)


def test_earliest_keeps_a_step_from_ending_too_soon() -> None:
    bench = trial("{elapsed: 1 h}", ", earliest: 3 h")
    bench.run(hours(4))
    assert begun(bench) == MONDAY + hours(3)


def test_late_step_that_waits_is_told_and_goes_on_waiting() -> None:
    bench = trial("{word: ready?}", ", latest: 3 h")
    bench.run(hours(4))
    overdue = bench.condition("step-overdue")
    assert overdue is not None
    assert (overdue.active, overdue.since) == (True, MONDAY + hours(3))
    bench.ask(ConfirmStep, batch="41-pale")
    ended = bench.condition("step-overdue")
    assert (begun(bench), ended and ended.active) == (MONDAY + hours(4), False)


def test_late_step_may_go_on_by_itself() -> None:
    bench = trial("{word: ready?}", ", latest: 3 h, when_late: go-on")
    bench.run(hours(4))
    assert begun(bench) == MONDAY + hours(3)


def test_late_step_may_be_held_until_a_person_comes_and_is_held_only_once() -> None:
    bench = trial("{elapsed: 5 h}", ", latest: 3 h, when_late: hold-and-call")
    bench.run(hours(10))
    assert (bench.batch().phase, begun(bench)) == ("held", None)
    bench.ask(ResumeBatch, batch="41-pale")
    bench.run(hours(10))
    assert begun(bench) == MONDAY + hours(12)
    assert bench.events.count("batch-held") == 1


def test_what_came_true_while_held_counts_from_the_moment_it_goes_on() -> None:
    bench = trial("{at: 2026-03-02T12:00:00Z}")
    bench.ask(HoldBatch, batch="41-pale")
    bench.run(hours(10))
    bench.ask(ResumeBatch, batch="41-pale")
    assert (begun(bench), bench.condition("step-late")) == (MONDAY + hours(10), None)


def test_ramp_with_ends_waits_for_them_after_it_has_arrived() -> None:
    bench = Bench()
    bench.start(profile("name: a, to: 20 degC, over: 2 h, ends: {elapsed: 5 h}", "name: b, hold: 2 degC"))
    bench.run(hours(6))
    assert begun(bench) == MONDAY + hours(5)


def test_skipped_step_is_reached_and_so_is_every_step_of_an_ended_batch() -> None:
    bench = Bench()
    bench.start(profile("name: x, hold: 4 degC, for: 9 d", "name: y, hold: 4 degC, for: 9 d"), "40-lager", "third")
    bench.start(profile("name: a, hold: 18 degC, ends: {reached: {batch: 40-lager, step: y}}", "name: b, hold: 2 degC"))
    bench.ask(SkipStep, batch="40-lager")
    assert begun(bench) == MONDAY


triggers = st.lists(st.integers(0, 200).map(lambda h: {"elapsed_s": h * 3600.0}), min_size=1, max_size=4)


@given(all_of=triggers, any_of=st.lists(st.integers(0, 200).map(lambda h: {"elapsed_s": h * 3600.0}), max_size=4))
def test_end_is_the_latest_of_all_and_the_earliest_of_any(all_of: list[dict], any_of: list[dict]) -> None:
    ends = Ends.model_validate({"all_of": all_of, "any_of": any_of})
    view = View(StepRun(index=0, began=MONDAY, from_c=18), DUBLIN)
    wanted = max(one["elapsed_s"] for one in all_of)
    wanted = max(wanted, min((one["elapsed_s"] for one in any_of), default=0))
    assert end_of(ends, view) == MONDAY + timedelta(seconds=wanted)


@given(held_h=st.integers(0, 100), elapsed_h=st.integers(1, 100))
def test_held_time_is_added_to_what_must_elapse(held_h: int, elapsed_h: int) -> None:
    step = profile(f"name: a, hold: 18 degC, for: {elapsed_h} h").steps[0]
    run = StepRun(index=0, began=MONDAY, from_c=18, held_s=held_h * 3600)
    assert due(step, View(run, DUBLIN)) == MONDAY + hours(held_h + elapsed_h)


def test_held_step_has_no_end_in_sight() -> None:
    step = profile("name: a, hold: 18 degC, for: 1 h").steps[0]
    assert due(step, View(StepRun(index=0, began=MONDAY, from_c=18, held_since=MONDAY), DUBLIN)) is None


@pytest.mark.parametrize("ends", ["{gravity_at_most: 1.01}", "{gravity_stable: {over: 48 h}}", "{word: yes?}"])
def test_what_is_not_known_yet_has_no_moment(ends: str) -> None:
    bench = trial(ends)
    assert bench.batch().steps[0].ends is None
