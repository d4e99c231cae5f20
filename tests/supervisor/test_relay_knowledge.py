"""What is known of a relay after each word to it and from it, field by field: the guards decide by nothing else."""

from services.supervisor import guards
from services.supervisor.guards import Relay, Times, Verdict

TIMES = Times(rest_s=300.0, run_s=180.0, starts_per_hour=2)
RUNNING = Relay(level=1.0, began_s=1000.0, ends_s=1060.0, fresh=False, told=True)
RESTED = Relay(level=0.0, ends_s=0.0, fresh=False, told=True)


def test_relay_told_to_run_counts_as_on_though_its_lease_is_long_over() -> None:
    forgotten = Relay(level=1.0, began_s=0.0, ends_s=60.0)
    assert forgotten.may_be_on(1000.0)
    assert forgotten.off_for(1000.0) == 0.0


def test_relay_that_may_be_on_has_been_off_for_no_time() -> None:
    assert guards.unknown(0.0, 60.0).off_for(59.5) == 0.0


def test_relay_that_is_off_runs_for_no_time() -> None:
    assert Relay(level=0.0, began_s=100.0).on_for(500.0) == 0.0


def test_start_is_remembered_whole() -> None:
    assert guards.told(RESTED, 0.6, 500.0, 60.0) == Relay(0.6, 500.0, 560.0, fresh=False, told=True, starts=(500.0,))


def test_start_of_exactly_an_hour_ago_no_longer_counts() -> None:
    assert guards.told(Relay(starts=(100.0, 101.0), told=True), 1.0, 3700.0, 60.0).starts == (101.0, 3700.0)


def test_changed_level_is_no_new_start() -> None:
    changed = guards.told(RUNNING, 0.4, 1050.0, 60.0)
    assert (changed.level, changed.began_s, changed.starts) == (0.4, 1000.0, ())


def test_starts_of_before_a_restart_still_count() -> None:
    relay = guards.unknown(1000.0, 60.0, [400.0, 900.0])
    rested_s = relay.ends_s + TIMES.rest_s
    assert guards.compressor(relay, 1.0, rested_s, TIMES, False) == Verdict(0.0, guards.STARTS, 400.0 + 3600.0)


def test_relay_told_off_at_first_and_reported_on_is_not_adopted() -> None:
    relay = guards.heard_on(guards.told(guards.unknown(0.0, 60.0), 0.0, 1.0, 60.0), 1.0, 2.0, 60.0)
    assert (relay.level, relay.may_be_on(61.0)) == (0.0, True)


def test_renewed_relay_that_went_off_and_on_by_itself_is_not_adopted() -> None:
    renewed = guards.told(guards.told(RESTED, 1.0, 500.0, 60.0), 1.0, 530.0, 60.0)
    assert guards.heard_on(guards.heard_off(renewed, 540.0), 1.0, 550.0, 60.0).level == 0.0


def test_repeated_word_that_it_is_off_does_not_begin_its_rest_again() -> None:
    assert guards.heard_off(RESTED, 299.0).off_for(300.0) == 300.0


def test_relay_found_running_is_remembered_whole() -> None:
    found = guards.heard_on(guards.unknown(0.0, 60.0), 0.7, 10.0, 60.0)
    assert found == Relay(0.7, began_s=10.0, ends_s=70.0, fresh=False, told=True)


def test_relay_found_running_must_run_its_time_from_when_it_was_found() -> None:
    found = guards.heard_on(guards.unknown(0.0, 60.0), 1.0, 10.0, 60.0)
    assert guards.compressor(found, 0.0, 100.0, TIMES, False) == Verdict(1.0, guards.RUN, 190.0)


def test_relay_found_running_and_switched_off_rests_as_any_other() -> None:
    found = guards.heard_off(guards.heard_on(guards.unknown(0.0, 60.0), 1.0, 10.0, 60.0), 20.0)
    assert guards.compressor(found, 1.0, 30.0, TIMES, False) == Verdict(0.0, guards.REST, 320.0)


def test_compressor_kept_running_says_by_which_guard_and_until_when() -> None:
    assert guards.compressor(RUNNING, 0.0, 1010.0, TIMES, False) == Verdict(1.0, guards.RUN, 1180.0)


def test_compressor_that_nobody_wants_is_held_back_by_nothing() -> None:
    assert guards.compressor(RESTED, 0.0, 10.0, TIMES, False) == Verdict(0.0)


def test_compressor_whose_rest_is_not_in_force_gets_what_was_wanted() -> None:
    assert guards.compressor(RESTED, 0.8, 10.0, TIMES, False, guards.ALL - {guards.REST}) == Verdict(0.8)


def test_compressor_whose_starts_are_not_counted_gets_what_was_wanted() -> None:
    often = Relay(ends_s=0.0, fresh=False, told=True, starts=(100.0, 200.0, 300.0))
    assert guards.compressor(often, 0.8, 1000.0, TIMES, False, guards.ALL - {guards.STARTS}) == Verdict(0.8)
