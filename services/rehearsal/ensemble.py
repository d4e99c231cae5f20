"""The whole cast of a rehearsal: every core, wired as in life, on a simulated plant."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import TypeVar

from pydantic import BaseModel

from schemas.base import ServiceName
from schemas.plant import Drive, Plant, as_simulated
from schemas.topics import simulated_relay
from services.bridge.core import Bridge, BridgeState
from services.notifier.core import Notifier, NotifierState
from services.recorder.core import Recorder, RecorderState
from services.recorder.rows import Annotation, Origin, Sample
from services.recorder.store import Sink
from services.rehearsal.stage import Factory, Stage
from services.runtime.memory_bus import Mishaps
from services.runtime.service import Outgoing
from services.scheduler.core import Scheduler, SchedulerState
from services.simulator.core import Simulator, SimulatorState, TimedFault
from services.simulator.physics import Truth
from services.supervisor.core import Supervisor
from services.supervisor.memory import SupervisorState

S = TypeVar("S", bound=BaseModel)

LEASE_TICKS = 6
SHORTEST_LEASE_S = 60.0
LONGEST_LEASE_S = 600.0


@dataclass(slots=True)
class Tally:
    """A sink that counts what it is given and keeps nothing, for rehearsals whose past nobody will read."""

    samples: int = 0
    annotations: int = 0

    def write(self, samples: Sequence[Sample], annotations: Sequence[Annotation] = ()) -> None:
        """Counts."""
        self.samples += len(samples)
        self.annotations += len(annotations)


@dataclass(slots=True)
class Ensemble:
    """Builds the cores. A lease outlives a few ticks, however coarse they are."""

    plant: Plant
    seed: int = 0
    tick: timedelta = timedelta(seconds=10)
    sink: Sink = field(default_factory=Tally)
    faults: Sequence[TimedFault] = ()
    simulator: Simulator | None = None
    devices: Factory | None = None
    """Plays the plant in the simulator's place."""

    def truth(self, chamber: str) -> Truth:
        """What no probe says of a chamber, from the simulator now playing."""
        assert self.simulator is not None
        return self.simulator.physics.truth(chamber)

    def factories(self) -> Mapping[ServiceName, Factory]:
        """In the order in which they tick: the plant first, then whoever looks at it."""
        plant, lease_s = self.plant, self.lease_s
        return {
            ServiceName.SIMULATOR: self.devices or self._play,
            ServiceName.BRIDGE: lambda kept: Bridge(plant, _as(BridgeState, kept)),
            ServiceName.SCHEDULER: lambda kept: Scheduler(plant, _as(SchedulerState, kept)),
            ServiceName.SUPERVISOR: lambda kept: Supervisor(plant, _as(SupervisorState, kept), lease_s=lease_s),
            ServiceName.NOTIFIER: lambda kept: Notifier(plant, _as(NotifierState, kept)),
            ServiceName.RECORDER: lambda kept: Recorder(
                plant, _as(RecorderState, kept), sink=self.sink, origin=Origin.SIMULATED
            ),
        }

    def _play(self, kept: BaseModel | None) -> Simulator:
        self.simulator = Simulator(self.plant, _as(SimulatorState, kept), seed=self.seed, faults=self.faults)
        return self.simulator

    @property
    def lease_s(self) -> float:
        """60 s, or six ticks where these are coarse; ten minutes at the most."""
        return min(LONGEST_LEASE_S, max(SHORTEST_LEASE_S, LEASE_TICKS * self.tick.total_seconds()))


def _as(model: type[S], kept: BaseModel | None) -> S | None:
    return kept if isinstance(kept, model) else None


def guard_words(plant: Plant) -> tuple[Outgoing, ...]:
    """What the bridge's guard connections make the broker say when it dies: off, to all but the fans."""
    return tuple(
        Outgoing(simulated_relay(plant.site.name, chamber, name), b"0")
        for chamber, described in plant.chambers.items()
        for name, output in described.outputs.items()
        if output.drives is not Drive.FAN
    )


def on_stage(
    plant: Plant,
    start: datetime,
    *,
    seed: int = 0,
    tick: timedelta = timedelta(seconds=10),
    mishaps: Mishaps | None = None,
    keep_every: timedelta | None = None,
    kept: Mapping[ServiceName, BaseModel] | None = None,
    sink: Sink | None = None,
    faults: Sequence[TimedFault] = (),
    devices: Factory | None = None,
    absent: Collection[ServiceName] = (),
) -> tuple[Stage, Ensemble]:
    """All cores of a plant but those `absent`, every device of it simulated, ready to run from `start`."""
    simulated = as_simulated(plant)
    ensemble = Ensemble(simulated, seed, tick, sink or Tally(), faults, devices=devices)
    stage = Stage(
        simulated.site.name,
        {name: make for name, make in ensemble.factories().items() if name not in absent},
        start,
        tick=tick,
        mishaps=mishaps,
        keep_every=keep_every,
        kept=kept,
        last_words={ServiceName.BRIDGE: guard_words(simulated)},
    )
    return stage, ensemble
