"""Beer that is left to warm up by itself is not heated, unless it needs protection."""

from typing import Any

import pytest

from services.simulator.models import BeerModel, FridgeModel
from services.supervisor.controllers import controller_for
from services.supervisor.deadband import Deadband
from tests.supervisor.bench import Bench, fridge

WORKING = FridgeModel(beer=BeerModel(start_c=18.0, fermented=0.25, rate_per_h=0.09))
DONE = FridgeModel(beer=BeerModel(start_c=18.0, fermented=1.0))
COLD = FridgeModel(beer=BeerModel(start_c=1.0, fermented=1.0))


def heated(bench: Bench) -> bool:
    return any(key[1] == "heat" and level for _, key, level in bench.history)


@pytest.fixture(params=[controller_for, Deadband], ids=["predictive", "band"])
def control(request: pytest.FixtureRequest) -> Any:
    """Whichever controls."""
    return request.param


def test_working_beer_rises_by_its_own_heat_alone_and_is_held_there(control: Any) -> None:
    bench = fridge(models={"ale": WORKING}, room_c=18.0, controllers=control)
    bench.ask("ale", 21.0, may_heat=False)
    bench.run(hours=30)
    assert not heated(bench)
    assert max(bench.sim.truth("ale").beer_c, 20.0) < 21.6
    assert bench.sim.truth("ale").beer_c > 19.5


def test_same_beer_is_heated_where_that_is_allowed(control: Any) -> None:
    bench = fridge(models={"ale": WORKING}, room_c=18.0, controllers=control)
    bench.ask("ale", 21.0)
    bench.run(hours=6)
    assert heated(bench)


def test_status_says_why_nothing_is_done(control: Any) -> None:
    bench = fridge(models={"ale": DONE}, room_c=16.0, controllers=control)
    bench.ask("ale", 21.0, may_heat=False)
    bench.run(hours=6)
    assert not heated(bench)
    assert bench.standing() == set(), "beer that may rise by itself is on its way, not too cold"


def test_beer_near_its_freezing_point_is_warmed_all_the_same(control: Any) -> None:
    bench = fridge(models={"ale": COLD}, room_c=-8.0, controllers=control)
    bench.ask("ale", 21.0, may_heat=False)
    bench.run(hours=24)
    assert heated(bench)
    assert bench.sim.truth("ale").frozen == 0.0
    assert -2.2 < bench.sim.truth("ale").beer_c < 3.0


def test_least_temperature_of_the_step_is_kept(control: Any) -> None:
    bench = fridge(models={"ale": DONE}, room_c=8.0, controllers=control)
    bench.ask("ale", 21.0, may_heat=False, alarm_below_c=17.5)
    bench.run(hours=16)
    assert heated(bench)
    assert bench.sim.truth("ale").beer_c == pytest.approx(17.7, abs=0.5)


def test_heater_that_runs_stops_when_the_beer_may_rise_by_itself(control: Any) -> None:
    bench = fridge(models={"ale": DONE}, room_c=16.0, controllers=control)
    bench.ask("ale", 21.0)
    bench.run(hours=1)
    assert bench.level("heat") == 1.0
    bench.ask("ale", 21.0, may_heat=False)
    bench.run(seconds=20)
    assert bench.level("heat") == 0.0
