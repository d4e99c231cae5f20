"""Each service as a part of a process: what it is built of, and what its loop needs besides the bus."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

from schemas.base import ServiceName
from schemas.plant import Plant
from services.bridge import __main__ as bridge
from services.notifier import __main__ as notifier
from services.notifier.core import NotifierState
from services.recorder import __main__ as recorder
from services.recorder.core import RecorderState
from services.runtime.compose import Part, Surroundings
from services.runtime.host import Options
from services.runtime.plant_watch import PlantWatch
from services.scheduler import __main__ as scheduler
from services.scheduler.core import SchedulerState
from services.simulator import __main__ as simulator
from services.simulator.core import SimulatorState
from services.supervisor import __main__ as supervisor
from services.supervisor.core import SupervisorState

Maker = Callable[[Plant, Path, Surroundings], Part[Any]]


def part_of(service: ServiceName, plant: Plant, path: Path, surroundings: Surroundings) -> Part[Any]:
    """One service for `run_services`; the plant file at `path` is watched. Raises KeyError for one not in RUNNABLE."""
    return RUNNABLE[service](plant, path, surroundings)


def _watching(path: Path) -> Options:
    return Options(watch=PlantWatch(path))


def _bridge(plant: Plant, path: Path, surroundings: Surroundings) -> Part[Any]:
    return bridge.part(plant, surroundings.broker, path)


def _supervisor(plant: Plant, path: Path, _surroundings: Surroundings) -> Part[Any]:
    return Part(
        name=ServiceName.SUPERVISOR,
        build=lambda kept, _now: supervisor.build(plant, kept),
        state=SupervisorState,
        options=_watching(path),
    )


def _scheduler(plant: Plant, path: Path, _surroundings: Surroundings) -> Part[Any]:
    return Part(
        name=ServiceName.SCHEDULER,
        build=lambda kept, _now: scheduler.build(plant, kept),
        state=SchedulerState,
        options=_watching(path),
        persistent=True,
    )


def _notifier(plant: Plant, path: Path, _surroundings: Surroundings) -> Part[Any]:
    return Part(
        name=ServiceName.NOTIFIER,
        build=lambda kept, _now: notifier.build(plant, kept),
        state=NotifierState,
        options=_watching(path),
        persistent=True,
    )


def _recorder(plant: Plant, path: Path, surroundings: Surroundings) -> Part[Any]:
    return Part(
        name=ServiceName.RECORDER,
        build=lambda kept, _now: recorder.build(plant, kept, state_folder=surroundings.state_folder),
        state=RecorderState,
        options=_watching(path),
        persistent=True,
    )


def _simulator(plant: Plant, path: Path, _surroundings: Surroundings) -> Part[Any]:
    return Part(
        name=ServiceName.SIMULATOR,
        build=lambda kept, _now: simulator.build(plant, kept),
        state=SimulatorState,
        options=_watching(path),
    )


RUNNABLE: dict[ServiceName, Maker] = {
    ServiceName.BRIDGE: _bridge,
    ServiceName.SUPERVISOR: _supervisor,
    ServiceName.SCHEDULER: _scheduler,
    ServiceName.NOTIFIER: _notifier,
    ServiceName.RECORDER: _recorder,
    ServiceName.SIMULATOR: _simulator,
}
