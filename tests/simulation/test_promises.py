"""The promises, held through rehearsals in which messages are lost and services are killed, seed after seed."""

from datetime import UTC, datetime, timedelta
from pathlib import Path
from random import Random

import pytest

from schemas.base import ServiceName
from schemas.plant_file import load
from services.rehearsal.ensemble import Ensemble, on_stage
from services.rehearsal.faults import draw_outages, play, rough_bus
from services.rehearsal.past import barn_batches, start_request
from services.rehearsal.stage import Stage
from tests.simulation.watcher import Watcher

BARN = load(Path("services/simulator/barn.yaml"))
START = datetime(2026, 11, 2, 6, tzinfo=UTC)
KILLABLE = (
    ServiceName.BRIDGE,
    ServiceName.SUPERVISOR,
    ServiceName.SCHEDULER,
    ServiceName.NOTIFIER,
    ServiceName.RECORDER,
)
SPAN = timedelta(hours=2)
SLICE = range(10)
ALL = range(10, 210)


def rough_rehearsal(seed: int, span: timedelta = SPAN) -> tuple[Watcher, Stage, Ensemble]:
    """Five chambers at work, six kills, a bus that loses, doubles, delays and reorders."""
    random = Random(seed)
    stage, ensemble = on_stage(BARN, START, seed=seed, mishaps=rough_bus(random), keep_every=timedelta(seconds=5))
    watcher = Watcher(ensemble.plant)
    stage.witnesses.append(watcher.hear)
    stage.on_tick.append(watcher.look)
    stage.ask(*(start_request(BARN, one, stage.now) for one in barn_batches()))
    play(stage, draw_outages(random, KILLABLE, START, span, count=6), START + span)
    return watcher, stage, ensemble


@pytest.mark.parametrize("seed", SLICE)
def test_leases_rests_exclusion_and_circuit_hold_when_much_goes_wrong(seed: int) -> None:
    watcher, _, _ = rough_rehearsal(seed)
    assert watcher.breaches == []
    assert watcher.readings


@pytest.mark.soak
@pytest.mark.parametrize("seed", ALL)
def test_leases_rests_exclusion_and_circuit_hold_for_two_hundred_seeds(seed: int) -> None:
    watcher, _, _ = rough_rehearsal(seed)
    assert watcher.breaches == []
    assert watcher.readings


def test_the_watcher_sees_a_lease_that_is_not_kept() -> None:
    stage, ensemble = on_stage(BARN, START)
    watcher = Watcher(ensemble.plant)
    stage.witnesses.append(watcher.hear)
    watcher.levels["ale-fridge", "heat"] = 1.0
    watcher.look(START)
    assert "lease" in watcher.breaches[0]


def test_supervisor_dead_every_output_is_off_when_the_lease_ends_and_an_alarm_stands() -> None:
    stage, ensemble = on_stage(BARN, START)
    watcher = Watcher(ensemble.plant)
    stage.witnesses.append(watcher.hear)
    stage.ask(*(start_request(BARN, one, stage.now) for one in barn_batches()))
    stage.run_until(START + timedelta(minutes=30))
    assert any(level > 0 for level in watcher.levels.values())
    stage.kill(ServiceName.SUPERVISOR)
    stage.run_until(stage.now + timedelta(seconds=80))
    assert not any(level > 0 for level in watcher.levels.values())
    alarms = {topic: kept.body for topic, kept in stage.bus.retained.items() if "/alarm/site/service-lost" in topic}
    assert any(alarm.phase != "normal" for alarm in alarms.values())


def test_scheduler_dead_the_last_setpoint_is_held() -> None:
    stage, ensemble = on_stage(BARN, START)
    stage.ask(*(start_request(BARN, one, stage.now) for one in barn_batches()))
    stage.run_until(START + timedelta(hours=2))
    stage.kill(ServiceName.SCHEDULER)
    stage.run_until(stage.now + timedelta(hours=12))
    assert ensemble.truth("ale-fridge").beer_c == pytest.approx(18.0, abs=0.5)
    assert ensemble.truth("keg-fridge").beer_c == pytest.approx(6.0, abs=0.8)
