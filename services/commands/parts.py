"""Each service as a part of a process: what it is built of, and what its loop needs besides the bus."""

from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import Any

from schemas.base import ServiceName
from schemas.plant import Plant
from services.runtime.compose import Part, Surroundings
from services.runtime.host import Options
from services.runtime.plant_watch import PlantWatch

Maker = Callable[[Plant, Path, Surroundings], Part[Any]]


def part_of(service: ServiceName, plant: Plant, path: Path, surroundings: Surroundings) -> Part[Any]:
    """One service for `run_services`; the plant file at `path` is watched. Raises KeyError for one not in RUNNABLE.

    Only what the service needs is imported: on a small computer each process pays for what it loads.
    """
    return RUNNABLE[service](plant, path, surroundings)


def _bridge(plant: Plant, path: Path, surroundings: Surroundings) -> Part[Any]:
    from services.bridge.__main__ import part

    return part(plant, surroundings.broker_for(ServiceName.BRIDGE), path)


def _notifier(plant: Plant, path: Path, surroundings: Surroundings) -> Part[Any]:
    from services.notifier.__main__ import part

    return part(plant, surroundings.state_folder, path)


def _deputy(plant: Plant, path: Path, surroundings: Surroundings) -> Part[Any]:
    from services.notifier.__main__ import deputy_part

    return deputy_part(plant, surroundings.state_folder, path)


def _scheduler(plant: Plant, path: Path, surroundings: Surroundings) -> Part[Any]:
    from services.scheduler.__main__ import part

    return part(plant, surroundings.state_folder, path)


def _recorder(plant: Plant, path: Path, surroundings: Surroundings) -> Part[Any]:
    from services.recorder.__main__ import build
    from services.recorder.core import RecorderState

    return Part(
        name=ServiceName.RECORDER,
        build=lambda kept, _now: build(plant, kept, state_folder=surroundings.state_folder),
        state=RecorderState,
        options=Options(watch=PlantWatch(path)),
        persistent=True,
    )


def _plain(service: ServiceName, *, persistent: bool) -> Maker:
    """A service whose `build` takes the plant and its earlier state, and which needs nothing but the bus."""

    def make(plant: Plant, path: Path, _surroundings: Surroundings) -> Part[Any]:
        module = import_module(f"services.{service}.__main__")
        state = import_module(f"services.{service}.core").__dict__[service.capitalize()].State
        return Part(
            name=service,
            build=lambda kept, _now: module.build(plant, kept),
            state=state,
            options=Options(watch=PlantWatch(path)),
            persistent=persistent,
        )

    return make


RUNNABLE: dict[ServiceName, Maker] = {
    ServiceName.BRIDGE: _bridge,
    ServiceName.SUPERVISOR: _plain(ServiceName.SUPERVISOR, persistent=False),
    ServiceName.SCHEDULER: _scheduler,
    ServiceName.NOTIFIER: _notifier,
    ServiceName.DEPUTY: _deputy,
    ServiceName.RECORDER: _recorder,
    ServiceName.SIMULATOR: _plain(ServiceName.SIMULATOR, persistent=False),
}
