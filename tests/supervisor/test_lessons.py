"""What a fault teaches is forgotten when the fault is over."""

import math

import pytest

from services.simulator.faults import FaultKind
from services.simulator.models import BeerModel, FridgeModel
from services.supervisor.controllers import controller_for
from services.supervisor.lessons import DOUBTED_S, EVERY_S, KEPT, Lessons
from tests.supervisor.bench import FRIDGE, Bench, plant_of
from tests.supervisor.trial import Trial, trial

DONE = BeerModel(start_c=11.0, fermented=1.0)
HOUR = 3600.0


def learnt(run: Trial) -> dict[str, float]:
    """Logarithms of the parameters."""
    return {name: pair[0] for name, pair in run.controller.snapshot()["learnt"].items()}


def test_after_a_fault_control_knows_what_it_knew_half_a_day_before() -> None:
    run, lessons, knew = trial(FridgeModel(), 24.0), Lessons(), []
    for hour in range(0, 30, 6):
        lessons.look(hour * HOUR, False, run.controller)
        knew.append(learnt(run))
        run.hours(6.0)
    lessons.look(30 * HOUR, True, run.controller)
    run.hours(2.0)
    assert learnt(run) != pytest.approx(knew[-KEPT], rel=1e-6)
    before = lessons.look(32 * HOUR, False, run.controller)
    assert before is not None
    run.controller.restore(before)
    assert learnt(run) == pytest.approx(knew[-KEPT], rel=1e-6)


def test_without_a_fault_what_is_learnt_stays() -> None:
    run, lessons = trial(FridgeModel(), 24.0).hours(12.0), Lessons()
    before = learnt(run)
    assert [lessons.look(hour * HOUR, False, run.controller) for hour in range(48)] == 48 * [None]
    assert learnt(run) == before
    assert not lessons.doubted(48 * HOUR)


def test_fault_in_the_first_hour_leaves_control_as_it_is() -> None:
    run, lessons = trial(FridgeModel(), 24.0).hours(1.0), Lessons()
    lessons.look(0.0, True, run.controller)
    assert lessons.look(60.0, False, run.controller) is None


def test_forecasts_are_doubted_for_a_day_after_a_fault_has_ended() -> None:
    run, lessons = trial(FridgeModel(), 24.0), Lessons()
    lessons.look(0.0, True, run.controller)
    lessons.look(EVERY_S, True, run.controller)
    assert lessons.doubted(EVERY_S + DOUBTED_S - 1.0)
    assert not lessons.doubted(EVERY_S + DOUBTED_S + 1.0)


def test_lesson_that_cannot_be_read_leaves_control_with_its_defaults() -> None:
    bench = Bench(plant_of(ale=FRIDGE), {"ale": FridgeModel(beer=DONE)}, controllers=controller_for)
    bench.ask("ale", 11.0)
    bench.run(hours=12)
    board = bench.supervisor.boards["ale"]
    assert board.controller.snapshot()["runs"] > 0
    board.recall({"learnt": {"heater_w": [math.nan, math.nan]}, "band_k": 0.03, "runs": 3})
    assert board.controller.snapshot()["runs"] == 0
    bench.run(hours=1)
    assert bench.standing() == set()


@pytest.mark.parametrize(("room_c", "beer"), [(20.0, DONE), (26.0, DONE), (26.0, BeerModel(start_c=18.0))])
def test_compressor_that_was_welded_leaves_no_doubt_in_the_heater(room_c: float, beer: BeerModel) -> None:
    """The heater that worked against it must not seem weak afterwards: a warm room would then seem a welded relay."""
    bench = Bench(plant_of(ale=FRIDGE), {"ale": FridgeModel(beer=beer)}, room_c=room_c, controllers=controller_for)
    bench.ask("ale", beer.start_c)
    bench.run(hours=36)
    bench.fault(FaultKind.WELDED_ON, target="cool")
    bench.run(hours=10)
    assert "relay-welded" in bench.standing()
    bench.sim.clear(next(iter(bench.sim.faults)))
    bench.run(hours=4)
    told = set()
    for _ in range(40):
        bench.run(hours=1)
        told |= bench.standing()
    assert told == set()


def test_powers_are_believed_as_before_once_the_compressor_is_no_longer_welded() -> None:
    bench = Bench(plant_of(ale=FRIDGE), {"ale": FridgeModel(beer=DONE)}, room_c=26.0, controllers=controller_for)
    bench.ask("ale", 11.0)
    bench.run(hours=36)
    believed_w = powers_w(bench)
    bench.fault(FaultKind.WELDED_ON, target="cool")
    bench.run(hours=10)
    assert powers_w(bench)["heater_w"] < 0.75 * believed_w["heater_w"], "the fault is to teach something wrong"
    bench.sim.clear(next(iter(bench.sim.faults)))
    bench.run(hours=2)
    assert powers_w(bench) == pytest.approx(believed_w, rel=0.25)


def powers_w(bench: Bench) -> dict[str, float]:
    """What control believes of heater and compressor."""
    learnt = bench.supervisor.boards["ale"].controller.snapshot()["learnt"]
    return {name: math.exp(learnt[name][0]) for name in ("heater_w", "cooling_w")}


def test_hot_room_is_not_taken_for_a_heater_round_beer_that_was_much_too_cold() -> None:
    bench = Bench(plant_of(ale=FRIDGE), {"ale": FridgeModel(beer=DONE)}, room_c=26.0, controllers=controller_for)
    bench.ask("ale", 6.0)
    bench.run(hours=24)
    bench.ask("ale", 11.0)
    for _ in range(24):
        bench.run(hours=1)
        assert "relay-welded" not in bench.standing()
