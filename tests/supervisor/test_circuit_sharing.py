"""Who gets the current of a circuit, at the very edges of its limit."""

from services.supervisor import guards
from services.supervisor.guards import CIRCUIT, Load, share

LIMIT_W = 1000.0


def load(name: str, watts: float, rank: float = 5, on: bool = False, **more: bool) -> Load:
    """A load that is wanted; one that is on flows."""
    return Load(("c", name), watts, watts, (rank, 0.0), more.pop("wanted", True), on, more.pop("flows", on), **more)


def barred(*loads: Load, may_stagger: bool = True) -> dict[str, str]:
    return {name: guard for (_, name), guard in share(loads, LIMIT_W, may_stagger).items()}


def test_starts_are_served_by_rank_whatever_they_are_called() -> None:
    assert barred(load("a", 600, rank=2), load("b", 600, rank=1)) == {"a": CIRCUIT}


def test_start_that_fills_the_circuit_to_the_watt_is_allowed() -> None:
    assert barred(load("on", 600, on=True), load("start", 400)) == {}


def test_each_start_counts_on_top_of_what_flows_and_of_those_before_it() -> None:
    starts = [load("a", 300, rank=1), load("b", 200, rank=2), load("c", 200, rank=3)]
    assert barred(load("on", 400, rank=0, on=True), *starts) == {"c": CIRCUIT}


def test_heater_that_starts_leaves_the_moment_to_a_compressor() -> None:
    assert barred(load("heater", 100, rank=1), load("compressor", 100, rank=2, staggered=True)) == {}


def test_load_too_big_for_the_circuit_takes_no_watt_from_the_others() -> None:
    assert barred(load("huge", 2000, rank=1), load("full", 1000, rank=2)) == {"huge": CIRCUIT}


def test_load_as_big_as_the_circuit_keeps_the_room_that_it_waits_for() -> None:
    loads = [load("on", 100, rank=0, on=True), load("big", 1000, rank=1), load("small", 100, rank=2)]
    assert barred(*loads) == {"big": CIRCUIT, "small": CIRCUIT}


def test_excess_is_shed_by_rank_whatever_the_loads_are_called() -> None:
    assert barred(load("a", 600, rank=2, on=True), load("b", 600, rank=1, on=True)) == {"a": CIRCUIT}


def test_load_that_is_leaving_sheds_nobody() -> None:
    leaving = load("leaving", 600, rank=1, on=True, wanted=False)
    assert barred(leaving, load("stays-on", 600, rank=2, on=True)) == {}


def test_compressor_within_its_run_outlasts_a_better_rank_when_there_is_too_much() -> None:
    assert barred(load("low", 600, rank=9, on=True, stays=True), load("high", 600, rank=1, on=True)) == {
        "high": CIRCUIT
    }


def test_loads_that_fill_the_circuit_to_the_watt_all_stay() -> None:
    assert barred(load("a", 600, on=True), load("b", 400, on=True)) == {}


def test_shed_load_leaves_its_room_to_the_next() -> None:
    loads = [load("a", 300, rank=1, on=True), load("b", 800, rank=2, on=True), load("c", 600, rank=3, on=True)]
    assert barred(*loads) == {"b": CIRCUIT}


def test_load_of_the_worst_rank_makes_room_and_no_more_than_needed() -> None:
    lower = [load("z", 400, rank=8, on=True), load("a", 400, rank=9, on=True)]
    assert barred(*lower, load("start", 500, rank=1)) == {"a": CIRCUIT, "start": CIRCUIT}


def test_room_that_is_just_enough_is_made_and_no_more() -> None:
    lower = [load("low", 500, rank=9, on=True), load("lower", 500, rank=8, on=True)]
    assert barred(*lower, load("start", 500, rank=1)) == {"low": CIRCUIT, "start": CIRCUIT}


def test_half_a_watt_too_much_is_too_much() -> None:
    assert barred(load("low", 600, rank=9, on=True), load("start", 400.5, rank=1)) == {"low": CIRCUIT, "start": CIRCUIT}


def test_nobody_is_shed_for_a_start_that_would_not_fit_all_the_same() -> None:
    loads = [load("low", 100, rank=9, on=True), load("kept", 600, rank=9, on=True, stays=True)]
    assert barred(*loads, load("start", 400.5, rank=1)) == {"start": CIRCUIT}


def test_what_is_already_leaving_counts_as_room_to_come() -> None:
    loads = [load("leaving", 300, rank=9, wanted=False, flows=True), load("low", 600, rank=8, on=True)]
    assert barred(*loads, load("start", 600, rank=1)) == {"low": CIRCUIT, "start": CIRCUIT}


def test_without_a_limit_in_force_only_the_stagger_remains() -> None:
    loads = [load("a", 900, rank=1, staggered=True), load("b", 900, rank=2, staggered=True), load("c", 900, rank=3)]
    assert share(loads, LIMIT_W, True, guards.ALL - {CIRCUIT}) == {("c", "b"): guards.STAGGER}
