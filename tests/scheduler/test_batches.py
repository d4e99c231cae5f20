"""What people can do with a batch, and what the scheduler makes of it."""

from datetime import timedelta

import pytest

from schemas.batches import BatchPhase
from schemas.requests import (
    AbortBatch,
    Accepted,
    ClearTemperature,
    ConfirmStep,
    FinishBatch,
    GoBack,
    HoldBatch,
    MoveBatch,
    Refused,
    ResumeBatch,
    SetTemperature,
    SkipStep,
    StopBatch,
)
from tests.scheduler.bench import MONDAY, Bench, days, hours, profile

PALE = profile(
    "name: ferment, hold: 18 degC, for: 3 d", "name: crash, to: 2 degC, over: 16 h", "name: serve, hold: 4 degC"
)
SHORT = profile("name: a, hold: 18 degC, for: 90 s", "name: b, hold: 17 degC, for: 100 s", "name: c, hold: 4 degC")
BY_RATE = profile("name: a, hold: 18 degC, for: 1 h", "name: b, to: 2 degC, rate: 2 K/h", "name: c, hold: 2 degC")


@pytest.fixture
def bench() -> Bench:
    bench = Bench()
    assert isinstance(bench.start(PALE), Accepted)
    return bench


def test_step_ended_by_elapsed_time_is_followed_by_the_next_at_that_moment(bench: Bench) -> None:
    bench.run(days(5))
    assert bench.steps_begun() == [("ferment", MONDAY), ("crash", MONDAY + days(3)), ("serve", MONDAY + hours(88))]


def test_moment_of_a_step_does_not_depend_on_how_often_the_scheduler_is_called() -> None:
    coarse, fine = Bench(period=timedelta(seconds=60)), Bench(period=timedelta(seconds=7))
    for one in (coarse, fine):
        one.start(SHORT)
        one.run(hours(1))
    assert coarse.steps_begun() == fine.steps_begun()


def test_step_until_a_moment_ends_then() -> None:
    bench = Bench()
    bench.start(profile("name: wait, hold: 18 degC, until: 2026-03-04T18:00:00Z", "name: cold, hold: 2 degC"))
    bench.run(days(3))
    assert bench.steps_begun()[1] == ("cold", MONDAY + days(2) + hours(10))


def test_ramp_moves_the_setpoint_in_a_straight_line(bench: Bench) -> None:
    bench.run(days(3) + hours(8))
    assert bench.setpoint().temperature_c == pytest.approx(10, abs=0.03)
    assert bench.setpoint().rate_k_per_h == pytest.approx(-1)


def test_moving_setpoint_is_told_at_every_fiftieth_of_a_kelvin(bench: Bench) -> None:
    bench.run(days(3))
    told: list[float] = []
    bench.run(hours(15.9), hook=lambda: told.append(bench.setpoint().temperature_c))
    assert max(abs(a - b) for a, b in zip(told, told[1:], strict=False)) <= 0.025


def test_ramp_by_rate_takes_as_long_as_it_needs() -> None:
    bench = Bench()
    bench.start(BY_RATE)
    bench.run(hours(12))
    assert bench.steps_begun()[2] == ("c", MONDAY + hours(9))


def test_ramp_waits_for_its_time() -> None:
    bench = Bench()
    bench.start(
        profile("name: a, hold: 18 degC, for: 1 h", "name: b, to: 2 degC, over: 8 h, not_before: 2026-03-02T12:00:00Z")
    )
    bench.run(hours(3.5))
    assert bench.setpoint().temperature_c == 18
    bench.run(hours(4.5))
    assert bench.setpoint().temperature_c == pytest.approx(10, abs=0.03)


def test_setpoint_tells_what_is_to_come(bench: Bench) -> None:
    ahead = [(one.at, one.temperature_c) for one in bench.setpoint().ahead]
    assert ahead == [
        (MONDAY + days(3), 18),
        (MONDAY + hours(88), 2),
        (MONDAY + hours(88), 2),
        (MONDAY + hours(88), 4),
    ]


def test_plan_gives_expected_times_and_what_ends_each_step(bench: Bench) -> None:
    steps = bench.batch().steps
    assert [one.ends for one in steps] == [MONDAY + days(3), MONDAY + hours(88), None]
    assert steps[0].ends_when == "3 d have passed"


def test_held_batch_keeps_its_setpoint_and_loses_no_time_of_its_step(bench: Bench) -> None:
    bench.run(days(3) + hours(4))
    bench.ask(HoldBatch, batch="41-pale", why="power work")
    held = bench.setpoint().temperature_c
    bench.run(hours(10))
    assert bench.setpoint().temperature_c == held == pytest.approx(14, abs=0.03)
    bench.ask(ResumeBatch, batch="41-pale")
    bench.run(hours(13))
    assert bench.steps_begun()[2] == ("serve", MONDAY + hours(98))


def test_skipping_begins_the_next_step_now(bench: Bench) -> None:
    bench.run(hours(5))
    bench.ask(SkipStep, batch="41-pale")
    assert bench.steps_begun()[1] == ("crash", MONDAY + hours(5))


def test_going_back_begins_the_step_before_anew(bench: Bench) -> None:
    bench.run(days(3) + hours(8))
    bench.ask(GoBack, batch="41-pale", why="still green")
    assert bench.steps_begun()[2] == ("ferment", MONDAY + days(3) + hours(8))
    assert bench.setpoint().temperature_c == 18


def test_going_back_from_the_first_step_is_refused(bench: Bench) -> None:
    assert isinstance(bench.ask(GoBack, batch="41-pale"), Refused)


@pytest.mark.parametrize(
    ("verb", "phase"),
    [(StopBatch, BatchPhase.STOPPED), (FinishBatch, BatchPhase.COMPLETE)],
    ids=["stopped", "finished"],
)
def test_chamber_goes_on_holding_after_a_batch_has_ended(bench: Bench, verb: type, phase: BatchPhase) -> None:
    bench.ask(verb, batch="41-pale", why="away")
    assert bench.batch().phase is phase
    assert (bench.setpoint().temperature_c, bench.setpoint().batch) == (18, None)


def test_aborted_batch_leaves_the_chamber_to_its_own_temperature() -> None:
    bench = Bench()
    bench.start(profile("name: a, hold: 12 degC"), chamber="keg-fridge")
    bench.ask(AbortBatch, batch="41-pale", why="sour")
    assert bench.setpoint("keg-fridge").temperature_c == 4


def test_last_step_that_ends_completes_the_batch() -> None:
    bench = Bench()
    bench.start(profile("name: a, hold: 18 degC, for: 1 h"))
    bench.run(hours(2))
    assert (bench.batch().phase, bench.batch().step, bench.batch().steps[0].done) == (BatchPhase.COMPLETE, None, True)


def test_second_batch_in_one_chamber_is_refused_and_changes_nothing(bench: Bench) -> None:
    before = bench.scheduler.snapshot().batches
    answer = bench.start(PALE, "42-stout")
    assert isinstance(answer, Refused)
    assert "41-pale is in ale-fridge" in answer.reason
    assert bench.scheduler.snapshot().batches == before


def test_name_that_was_used_is_refused(bench: Bench) -> None:
    assert isinstance(bench.start(PALE, chamber="third"), Refused)


def test_batch_waits_for_its_time_to_begin() -> None:
    bench = Bench()
    bench.start(PALE, begins=MONDAY + hours(6))
    assert bench.batch().phase is BatchPhase.IDLE
    bench.run(hours(7))
    assert bench.steps_begun() == [("ferment", MONDAY + hours(6))]


def test_waiting_batch_can_be_withdrawn() -> None:
    bench = Bench()
    bench.start(PALE, begins=MONDAY + hours(6))
    bench.ask(StopBatch, batch="41-pale")
    bench.run(hours(7))
    assert (bench.batch().phase, bench.steps_begun()) == (BatchPhase.STOPPED, [])


def test_waiting_batch_whose_chamber_is_full_begins_when_it_is_free(bench: Bench) -> None:
    bench.start(PALE, "42-stout", begins=MONDAY + hours(1))
    bench.run(hours(5))
    bench.ask(StopBatch, batch="41-pale")
    assert bench.steps_begun("42-stout") == [("ferment", MONDAY + hours(5))]


def test_moved_batch_goes_on_in_the_other_chamber(bench: Bench) -> None:
    bench.run(days(3) + hours(8))
    bench.ask(MoveBatch, batch="41-pale", chamber="third")
    assert bench.setpoint("third").temperature_c == pytest.approx(10, abs=0.03)
    assert bench.setpoint("ale-fridge").batch is None


def test_move_into_an_occupied_chamber_is_refused(bench: Bench) -> None:
    bench.start(PALE, "42-stout", "third")
    assert isinstance(bench.ask(MoveBatch, batch="41-pale", chamber="third"), Refused)


def test_repeated_request_gets_the_same_answer_and_no_second_effect(bench: Bench) -> None:
    first = bench.ask(SkipStep, batch="41-pale", id="one")
    again = bench.ask(SkipStep, batch="41-pale", id="one")
    assert first == again
    assert len(bench.steps_begun()) == 2


def test_answer_is_remembered_through_a_restart(bench: Bench) -> None:
    first = bench.ask(SkipStep, batch="41-pale", id="one")
    bench.restart()
    assert bench.ask(SkipStep, batch="41-pale", id="one") == first


def test_request_without_its_turn_is_refused_with_what_is_possible(bench: Bench) -> None:
    answer = bench.ask(ResumeBatch, batch="41-pale")
    assert isinstance(answer, Refused)
    assert answer.reason == "a batch that is running knows no restart, only (done), pause, hold, stop, abort"


def test_request_for_an_unknown_batch_is_refused(bench: Bench) -> None:
    assert isinstance(bench.ask(HoldBatch, batch="nobody"), Refused)


def test_word_that_nobody_asked_for_is_refused(bench: Bench) -> None:
    assert isinstance(bench.ask(ConfirmStep, batch="41-pale"), Refused)


def test_temperature_set_by_hand_lies_over_the_programme_until_it_expires(bench: Bench) -> None:
    bench.ask(SetTemperature, chamber="ale-fridge", temperature_c=15, until=MONDAY + hours(2))
    assert (bench.setpoint().temperature_c, bench.setpoint().expires) == (15, MONDAY + hours(2))
    bench.run(hours(3))
    assert (bench.setpoint().temperature_c, bench.setpoint().expires) == (18, None)


def test_temperature_set_by_hand_tells_the_way_back(bench: Bench) -> None:
    bench.ask(SetTemperature, chamber="ale-fridge", temperature_c=15, until=MONDAY + days(3) + hours(8))
    ahead = bench.setpoint().ahead
    assert [one.temperature_c for one in ahead[:2]] == [15, pytest.approx(10, abs=0.01)]


def test_temperature_set_by_hand_can_be_taken_back(bench: Bench) -> None:
    bench.ask(SetTemperature, chamber="ale-fridge", temperature_c=15)
    bench.ask(ClearTemperature, chamber="ale-fridge")
    assert bench.setpoint().temperature_c == 18


def test_temperature_outside_the_chambers_limits_is_refused(bench: Bench) -> None:
    answer = bench.ask(SetTemperature, chamber="ale-fridge", temperature_c=-3)
    assert isinstance(answer, Refused)
    assert answer.reason == "-3 degC lies outside ale-fridge's 0 degC to 30 degC"


def test_empty_chamber_is_asked_for_its_own_temperature() -> None:
    assert Bench().setpoint("keg-fridge").temperature_c == 4


def test_every_decision_is_journalled_with_who_and_why(bench: Bench) -> None:
    bench.ask(StopBatch, batch="41-pale", why="infected", who="Bo")
    last = bench.journal[-1]
    assert (last.event, last.who, last.why) == ("batch-stopped", "Bo", "infected")


def test_journal_lines_have_ids_of_their_own(bench: Bench) -> None:
    bench.run(days(1))
    bench.restart()
    bench.ask(SkipStep, batch="41-pale")
    ids = [one.id for one in bench.journal]
    assert len(ids) == len(set(ids))


def test_reconnected_scheduler_tells_everything_it_owns_again(bench: Bench) -> None:
    told = [one.topic for one in bench.scheduler.rejoin(bench.now)]
    assert {"coldside/barn/batch/41-pale", "coldside/barn/setpoint/ale-fridge"} <= set(told)


def test_snapshot_survives_the_disk(bench: Bench) -> None:
    bench.run(days(3))
    kept = bench.scheduler.snapshot()
    assert type(kept).model_validate_json(kept.model_dump_json()) == kept


def test_free_rise_forbids_heating_up_to_its_ceiling() -> None:
    bench = Bench()
    bench.start(profile("name: rise, free_rise: 24 degC, alarm_above: 26 degC"))
    said = bench.setpoint()
    assert (said.temperature_c, said.may_heat, said.alarm_above_c) == (24, False, 26)
