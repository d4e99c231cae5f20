"""Guards of machines and circuits, one rule at a time."""

from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.supervisor import guards
from services.supervisor.guards import Load, Relay, Times, Verdict

TIMES = Times(rest_s=300.0, run_s=180.0, starts_per_hour=3)
RUNNING = Relay(level=1.0, began_s=1000.0, ends_s=1060.0, fresh=False, told=True)
RESTED = Relay(level=0.0, ends_s=0.0, fresh=False, told=True)


def test_a_relay_is_surely_off_only_when_its_lease_is_over() -> None:
    relay = guards.told(RUNNING, 0.0, 1030.0, 60.0)
    assert relay.may_be_on(1059.0)
    assert not relay.may_be_on(1060.0)
    assert relay.off_for(1100.0) == 40.0


def test_a_relay_is_surely_off_once_the_bridge_says_so() -> None:
    relay = guards.heard_off(guards.told(RUNNING, 0.0, 1030.0, 60.0), 1031.0)
    assert relay.off_for(1041.0) == 10.0


def test_a_renewed_lease_keeps_the_run_it_began() -> None:
    relay = guards.told(RUNNING, 1.0, 1050.0, 60.0)
    assert (relay.began_s, relay.ends_s) == (1000.0, 1110.0)


def test_a_run_that_the_bridge_ended_is_over() -> None:
    relay = guards.heard_off(RUNNING, 1020.0)
    assert guards.compressor(relay, 1.0, 1030.0, TIMES, False) == Verdict(0.0, guards.REST, 1320.0)


def test_nothing_is_known_after_a_restart_until_the_longest_lease_is_over() -> None:
    relay = guards.unknown(0.0, 60.0)
    assert relay.may_be_on(59.0)
    assert guards.compressor(relay, 1.0, 100.0, TIMES, False) == Verdict(0.0, guards.POWER_UP, 360.0)


def test_a_compressor_found_running_goes_on() -> None:
    relay = guards.heard_on(guards.unknown(0.0, 60.0), 1.0, 1.0, 60.0)
    assert guards.compressor(relay, 1.0, 2.0, TIMES, False) == Verdict(1.0)


def test_a_relay_reported_on_though_told_off_may_be_on_for_another_lease() -> None:
    relay = guards.heard_on(guards.told(RUNNING, 0.0, 1030.0, 60.0), 1.0, 1100.0, 60.0)
    assert relay.level == 0.0
    assert relay.may_be_on(1159.0)


def test_a_report_of_running_changes_nothing_for_what_is_told_to_run() -> None:
    assert guards.heard_on(RUNNING, 1.0, 1030.0, 60.0) is RUNNING


@pytest.mark.parametrize(("now_s", "level"), [(299.9, 0.0), (300.0, 1.0)])
def test_a_compressor_starts_only_after_its_rest(now_s: float, level: float) -> None:
    assert guards.compressor(RESTED, 1.0, now_s, TIMES, False).level == level


@pytest.mark.parametrize(("now_s", "level"), [(1179.9, 1.0), (1180.0, 0.0)])
def test_a_compressor_stops_only_after_its_run(now_s: float, level: float) -> None:
    assert guards.compressor(RUNNING, 0.0, now_s, TIMES, False).level == level


def test_a_protection_outranks_the_minimum_run() -> None:
    assert guards.compressor(RUNNING, 0.0, 1001.0, TIMES, True) == Verdict(0.0)


def test_no_protection_outranks_the_rest() -> None:
    assert guards.compressor(RESTED, 1.0, 10.0, TIMES, True).held_by == guards.REST


def test_a_compressor_waits_when_it_started_too_often() -> None:
    relay = Relay(ends_s=2000.0, fresh=False, told=True, starts=(100.0, 900.0, 1700.0))
    assert guards.compressor(relay, 1.0, 2400.0, TIMES, False) == Verdict(0.0, guards.STARTS, 3700.0)
    assert guards.compressor(relay, 1.0, 3700.0, TIMES, False) == Verdict(1.0)


def test_starts_older_than_an_hour_are_forgotten() -> None:
    relay = guards.told(Relay(starts=(0.0, 500.0), told=True), 1.0, 3700.0, 60.0)
    assert relay.starts == (500.0, 3700.0)


def test_heat_waits_while_cooling_may_be_on() -> None:
    assert guards.exclusion([RUNNING], 1.0, 1010.0, 300.0) == Verdict(0.0, guards.EXCLUSION)


def test_heat_waits_for_the_change_over_after_cooling() -> None:
    off = Relay(ends_s=1000.0, fresh=False, told=True)
    assert guards.exclusion([off], 1.0, 1299.0, 300.0) == Verdict(0.0, guards.CHANGE_OVER, 1300.0)
    assert guards.exclusion([off], 1.0, 1300.0, 300.0) == Verdict(1.0)


def test_nothing_is_excluded_that_is_not_wanted() -> None:
    assert guards.exclusion([RUNNING], 0.0, 1010.0, 300.0) == Verdict(0.0)


@pytest.mark.parametrize("guard", [guards.REST, guards.RUN, guards.EXCLUSION, guards.CHANGE_OVER])
def test_a_guard_that_is_not_in_force_holds_nothing_back(guard: str) -> None:
    left = guards.ALL - {guard}
    cooled = Relay(ends_s=1000.0, fresh=False, told=True)
    verdicts = {
        guards.REST: guards.compressor(RESTED, 1.0, 1.0, TIMES, False, left),
        guards.RUN: guards.compressor(RUNNING, 0.0, 1001.0, TIMES, False, left),
        guards.EXCLUSION: guards.exclusion([RUNNING], 1.0, 1400.0, 300.0, left),
        guards.CHANGE_OVER: guards.exclusion([cooled], 1.0, 1001.0, 300.0, left),
    }
    assert verdicts[guard].held_by == ""


def load(name: str, watts: float, rank: float = 5, on: bool = False, **more: bool) -> Load:
    """A load that is wanted; one that is on flows."""
    return Load(("c", name), watts, watts, (rank, 0.0), more.pop("wanted", True), on, more.pop("flows", on), **more)


def test_a_start_that_does_not_fit_waits() -> None:
    assert guards.share([load("a", 600, on=True), load("b", 600)], 1000, True) == {("c", "b"): guards.CIRCUIT}


def test_the_starting_current_counts_for_a_start() -> None:
    start = load("b", 100)._replace(start_watts=500.0)
    assert guards.share([load("a", 600, on=True), start], 1000, True) == {("c", "b"): guards.CIRCUIT}


def test_a_load_of_worse_rank_makes_room() -> None:
    barred = guards.share([load("low", 600, rank=9, on=True), load("high", 600, rank=1)], 1000, True)
    assert barred == {("c", "low"): guards.CIRCUIT, ("c", "high"): guards.CIRCUIT}


def test_room_is_made_once_and_then_waited_for() -> None:
    leaving = load("low", 600, rank=9, wanted=False, flows=True)
    barred = guards.share([leaving, load("other", 300, rank=8, on=True), load("high", 600, rank=1)], 1000, True)
    assert barred == {("c", "high"): guards.CIRCUIT}


def test_a_compressor_within_its_run_is_not_shed_for_a_start() -> None:
    loads = [load("low", 600, rank=9, on=True, stays=True), load("high", 600, rank=1)]
    assert guards.share(loads, 1000, True) == {("c", "high"): guards.CIRCUIT}


def test_the_limit_outranks_even_a_minimum_run() -> None:
    loads = [load("a", 600, on=True, stays=True), load("b", 600, on=True, stays=True)]
    assert len(guards.share(loads, 1000, True)) == 1


def test_a_start_of_worse_rank_does_not_take_the_room_another_waits_for() -> None:
    loads = [load("on", 800, rank=1, on=True), load("big", 600, rank=2), load("small", 150, rank=3)]
    assert set(guards.share(loads, 1000, True)) == {("c", "big"), ("c", "small")}


def test_a_load_too_big_for_the_circuit_blocks_nobody() -> None:
    assert guards.share([load("huge", 2000, rank=1), load("small", 150)], 1000, True) == {("c", "huge"): guards.CIRCUIT}


def test_machines_start_one_after_the_other() -> None:
    loads = [load("a", 100, rank=1, staggered=True), load("b", 100, rank=2, staggered=True)]
    assert guards.share(loads, 1000, True) == {("c", "b"): guards.STAGGER}
    assert set(guards.share(loads, 1000, False)) == {("c", "a"), ("c", "b")}


LOADS = st.lists(
    st.tuples(st.integers(1, 900), st.integers(1, 5), st.integers(1, 9), *[st.booleans()] * 4), min_size=1, max_size=8
)


@given(LOADS, st.integers(0, 4000))
def test_what_flows_and_starts_never_passes_the_limit(
    drawn: list[tuple[int, int, int, bool, bool, bool, bool]], spare: int
) -> None:
    loads = [
        Load(("c", str(n)), watts, watts * inrush, (rank, 0.0), wanted, on, on or flows, stays, True)
        for n, (watts, inrush, rank, wanted, on, flows, stays) in enumerate(drawn)
    ]
    limit_w = sum(one.watts for one in loads if one.flows) + spare
    barred = guards.share(loads, limit_w, True)
    starts_w = sum(one.start_watts for one in loads if one.wanted and not one.on and one.key not in barred)
    assert sum(one.watts for one in loads if one.flows) + starts_w <= limit_w


def test_an_output_that_never_ran_has_been_off_for_ever() -> None:
    assert Relay().off_for(10.0) == inf
    assert RUNNING.on_for(1010.0) == 10.0
