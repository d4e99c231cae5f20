"""A door's delay follows what stands behind it."""

from datetime import timedelta

import pytest

from schemas.batches import BatchPhase, BatchState
from services.notifier.loads import LONGEST, SHORTEST, Loads, patience
from tests.notifier.bench import NOON, Bench, site_with


def batch(phase, chamber="left", name="one"):
    return BatchState(at=NOON, source="scheduler", batch=name, title=name, chamber=chamber, profile="p", phase=phase,
                      started=NOON, step=None, steps=())  # fmt: skip


def holding(litres, **chamber):
    return site_with({}, {}, left={"contents": {"volume": f"{litres} L"}, **chamber})


def test_the_delay_is_for_twenty_litres():
    assert patience(20.0) == 1.0


def test_more_beer_stands_an_open_door_for_longer_and_all_of_it_within_bounds():
    ratios = [patience(litres) for litres in (0, 1, 5, 20, 40, 100, 1000, 100_000)]
    assert ratios[0] == SHORTEST
    assert ratios[2:] == sorted(ratios[2:])
    assert all(SHORTEST <= ratio <= LONGEST for ratio in ratios)


def test_a_hundred_litres_warm_as_slowly_as_a_heat_balance_by_hand_says():
    """438 kJ/K behind 14.6 W/K against 99.6 kJ/K behind 5 W/K: 1.50 times, the door being no bottleneck."""
    by_hand = (438 / 14.62) / (99.6 / 5.0)
    assert patience(100.0) == pytest.approx(by_hand, rel=0.1)


def minutes_until_told(bench):
    opened = bench.now
    bench.condition("door-open")
    while not bench.raised("door-open"):
        bench.after(0.25)
        assert bench.now - opened < timedelta(hours=1)
    return (bench.now - opened).total_seconds() / 60


def test_a_full_fridge_is_given_longer_than_an_empty_one():
    empty, full, large = Bench(holding(20)), Bench(holding(20)), Bench(holding(100))
    empty.hear(batch(BatchPhase.COMPLETE), "one")
    full.hear(batch(BatchPhase.RUNNING), "one")
    assert minutes_until_told(empty) == pytest.approx(2.0, abs=0.3)
    assert minutes_until_told(full) == pytest.approx(5.0, abs=0.3)
    assert minutes_until_told(large) == pytest.approx(7.5, abs=0.8)


def test_a_chamber_is_empty_only_when_its_last_batch_is_known_to_have_ended():
    loads = Loads(holding(20))
    assert loads.litres("left") == 20
    loads.take(batch(BatchPhase.IDLE, name="planned"))
    assert loads.litres("left") == 20
    loads.take(batch(BatchPhase.COMPLETE))
    assert loads.litres("left") == 0
    loads.take(batch(BatchPhase.RUNNING, name="two"))
    assert loads.litres("left") == 20


def test_a_batch_that_moves_on_leaves_its_chamber_and_fills_the_next():
    loads = Loads(holding(20))
    loads.take(batch(BatchPhase.COMPLETE, "right", "old"))
    loads.take(batch(BatchPhase.RUNNING, "left"))
    loads.take(batch(BatchPhase.RUNNING, "right"))
    assert loads.litres("right") == 20


def test_a_keg_fridge_that_holds_a_temperature_is_never_empty():
    loads = Loads(holding(20, hold="5 degC"))
    loads.take(batch(BatchPhase.COMPLETE))
    assert loads.litres("left") == 20


def test_what_the_plant_file_says_of_the_delay_holds_whatever_stands_there():
    bench = Bench(holding(100, alarms={"door-open": {"on_delay": "10 min"}}))
    assert minutes_until_told(bench) == pytest.approx(10.0, abs=0.3)


def test_no_chamber_holds_nothing():
    assert Loads(holding(20)).litres("site") == 0
