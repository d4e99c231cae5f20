"""The simulator's core: plays every simulated probe and output of a plant, as its devices would."""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache
from random import Random
from typing import Any

from schemas.addresses import SimulatedProbe
from schemas.base import Instant, Model, ServiceName
from schemas.batches import BatchPhase, BatchState
from schemas.plant import Plant
from schemas.topics import TopicKind, every, simulated_probe, simulated_relay
from services.runtime.service import Durability, Incoming, Outgoing
from services.simulator.doors import openings
from services.simulator.faults import Fault, FaultKind
from services.simulator.mapping import beer_of, models_of, steady_probes
from services.simulator.physics import Plant as Physics
from services.simulator.snapshots import dump, load
from services.simulator.weather import Weather, garage, seattle_hourly

Key = tuple[str, str]
LONGEST_GAP = timedelta(days=1)
"""More than so much is not made up for when time jumps, or after the simulator was away."""


@dataclass(frozen=True, slots=True)
class TimedFault:
    """A fault with its time; without an end it stays."""

    fault: Fault
    begins: datetime
    ends: datetime | None = None


@dataclass(slots=True)
class Beat:
    """Probes that speak together: `probes` with the topic of each."""

    every_s: float
    probes: list[tuple[Key, str]]
    due_s: float = 0.0


class SimulatorState(Model):
    """Everything, so that the plant goes on as if nothing had happened."""

    version: int = 1
    origin: Instant
    at: Instant
    levels: dict[str, float] = {}
    batches: dict[str, str] = {}
    physics: dict[str, Any]


class Simulator:
    """Deterministic for a seed. `weather` makes the room's temperatures from the first moment on: a garage's, unless
    told."""

    name = ServiceName.SIMULATOR
    durability = Durability.LAZILY
    State = SimulatorState

    def __init__(
        self,
        plant: Plant,
        restored: SimulatorState | None = None,
        *,
        seed: int = 1,
        weather: Callable[[datetime], Weather] | None = None,
        faults: Sequence[TimedFault] = (),
    ) -> None:
        self.counts: Counter[str] = Counter()
        self._plant = plant
        self._restored = restored
        self._seed = seed
        self._weather = weather or _garage
        self._planned = tuple(faults)
        self._levels: dict[Key, float] = {}
        self._batches: dict[str, str] = {}
        self._physics: Physics | None = None
        self._origin = self._at = datetime.min
        self._turns: list[tuple[datetime, bool, Fault]] = []
        self._wire()

    @property
    def listens(self) -> tuple[str, ...]:
        """What relays are told, and which beer is where."""
        site = self._plant.site.name
        return (simulated_relay(site, "+", "+"), every(site, TopicKind.BATCH))

    @property
    def physics(self) -> Physics:
        """What really is, for those who measure how well it is controlled. Raises RuntimeError before `start`."""
        if self._physics is None:
            raise RuntimeError("the simulator has not been started")
        return self._physics

    def start(self, now: datetime) -> Iterable[Outgoing]:
        """Nobody hears of it: devices say nothing before they have measured."""
        state = self._restored
        self._origin, self._at = (now, now) if state is None else (state.origin, state.at)
        self._physics = Physics(models_of(self._plant), self._weather(self._origin), self._seed)
        if state is not None:
            self._physics.restore(state.physics)
            self._mend()
            self._levels = {_pair(key): level for key, level in state.levels.items()}
            self._batches = dict(state.batches)
        self._plan(now)
        return ()

    def rejoin(self, now: datetime) -> Iterable[Outgoing]:
        """Devices retain nothing."""
        return ()

    def receive(self, incoming: Incoming, now: datetime) -> Iterable[Outgoing]:
        """A relay's payload, or a batch's state."""
        body = incoming.body
        if isinstance(body, bytes):
            self._switch(incoming.topic, body)
        elif isinstance(body, BatchState):
            self._pour(body, now)
        return ()

    def tick(self, now: datetime) -> Iterable[Outgoing]:
        """Lets the plant live until now; then every probe speaks whose turn it is."""
        physics = self.physics
        passed_s = min(LONGEST_GAP, now - self._at).total_seconds()
        self._at = now
        if passed_s <= 0:
            return ()
        self._turn_faults(now)
        values = physics.advance(passed_s, self._levels)
        elapsed_s = physics.elapsed_s
        return [one for beat in self._beats if elapsed_s >= beat.due_s for one in self._speak(beat, values, elapsed_s)]

    def inject(self, fault: Fault) -> None:
        """From now on, until `clear`. Raises KeyError for a chamber, probe or output that is not there."""
        self.physics.inject(fault)

    def clear(self, fault: Fault) -> None:
        """Mended."""
        self.physics.clear(fault)

    def plant_changed(self, plant: Plant, now: datetime) -> Iterable[Outgoing]:
        """Chambers that are described as before keep their state; others begin anew."""
        before, old = self._plant, self.physics
        self._plant = plant
        self._physics = physics = Physics(models_of(plant), old.weather, self._seed)
        physics.elapsed_s = old.elapsed_s
        for name, chamber in plant.chambers.items():
            if before.chambers.get(name) == chamber:
                load(physics.chambers[name], dump(old.chambers[name]))
                for fault in old.faults:
                    if fault.chamber == name:
                        physics.inject(fault)
        self._mend()
        self._batches = {name: batch for name, batch in self._batches.items() if name in plant.chambers}
        self._wire()
        self._plan(now)
        return ()

    def plant_refused(self, text: str, now: datetime) -> Iterable[Outgoing]:
        """The plant stays as it is."""
        return ()

    def clock_stepped(self, by: timedelta, now: datetime) -> Iterable[Outgoing]:
        """No time passed."""
        self._at = now
        return ()

    def snapshot(self) -> SimulatorState:
        """All of it."""
        levels = {"/".join(key): level for key, level in self._levels.items()}
        return SimulatorState(
            origin=self._origin,
            at=self._at,
            levels=levels,
            batches=self._batches,
            physics=self.physics.snapshot(),
        )

    def _wire(self) -> None:
        site = self._plant.site.name
        self._steady = steady_probes(self._plant)
        self._relays: dict[str, Key] = {}
        beats: dict[float, Beat] = {}
        for name, chamber in self._plant.chambers.items():
            for output in chamber.outputs:
                self._relays[simulated_relay(site, name, output)] = (name, output)
            for probe_name, probe in chamber.probes.items():
                if isinstance(probe.source, SimulatedProbe):
                    beat = beats.setdefault(probe.every_s, Beat(probe.every_s, []))
                    beat.probes.append(((name, probe_name), simulated_probe(site, name, probe_name)))
        self._beats = list(beats.values())

    def _speak(self, beat: Beat, values: dict[Key, float], elapsed_s: float) -> Iterator[Outgoing]:
        beat.due_s = max(beat.due_s + beat.every_s, elapsed_s)
        for key, topic in beat.probes:
            value = values[key] if key in values else self._steady.get(key)
            if value is not None:
                yield Outgoing(topic, b"%.7g" % value, False, 0)

    def _switch(self, topic: str, body: bytes) -> None:
        key = self._relays.get(topic)
        try:
            level = float(body)
        except ValueError:
            level = -1.0
        if key is None or not 0.0 <= level <= 1.0:
            self.counts["relay_payload"] += 1
        else:
            self._levels[key] = level

    def _pour(self, batch: BatchState, now: datetime) -> None:
        """A batch that has begun fills its chamber's vessel, once."""
        chamber = self._plant.chambers.get(batch.chamber)
        running = batch.phase in (BatchPhase.RUNNING, BatchPhase.HELD)
        if (
            chamber is None
            or chamber.kind == "reservoir"
            or not running
            or self._batches.get(batch.chamber) == batch.batch
        ):
            return
        self._batches[batch.chamber] = batch.batch
        self.physics.fill(batch.chamber, beer_of(chamber, batch, now))

    def _mend(self) -> None:
        """Takes back what a plan began before a restart: the plan is laid out anew."""
        planned = {one.fault for one in self._planned}
        for fault in self.physics.faults:
            if fault in planned or fault.kind is FaultKind.DOOR_OPEN:
                self.physics.clear(fault)

    def _plan(self, now: datetime) -> None:
        """Lays out what will go wrong, and every door's next opening."""
        self._turns = []
        for planned in self._planned:
            self._add_turns(planned, now)
        self._doors = {
            name: openings(Random(f"{self._seed} {name}"), chamber.kind, self._origin, self._plant.zone)
            for name, chamber in self._plant.chambers.items()
        }
        for name in self._doors:
            self._plan_opening(name, now)

    def _plan_opening(self, chamber: str, now: datetime) -> None:
        for begins, ends in self._doors[chamber]:
            if ends > now:
                self._add_turns(TimedFault(Fault(FaultKind.DOOR_OPEN, chamber), begins, ends), now)
                return

    def _add_turns(self, planned: TimedFault, now: datetime) -> None:
        if planned.ends is not None and planned.ends <= now:
            return
        self._turns.append((planned.begins, True, planned.fault))
        if planned.ends is not None:
            self._turns.append((planned.ends, False, planned.fault))
        self._turns.sort(key=lambda turn: turn[0], reverse=True)

    def _turn_faults(self, now: datetime) -> None:
        while self._turns and self._turns[-1][0] <= now:
            _, begins, fault = self._turns.pop()
            if begins:
                self.physics.inject(fault)
                continue
            if not self._goes_on(fault, now):
                self.physics.clear(fault)
            if fault.kind is FaultKind.DOOR_OPEN:
                self._plan_opening(fault.chamber, now)

    def _goes_on(self, fault: Fault, now: datetime) -> bool:
        """Who shuts a door behind them does not shut one that was left open."""
        return any(
            one.fault == fault and one.begins <= now and (one.ends is None or now < one.ends) for one in self._planned
        )


@cache
def _hourly() -> tuple[float, ...]:
    return seattle_hourly()


def _garage(start: datetime) -> Weather:
    return garage(start, _hourly())


def _pair(key: str) -> Key:
    chamber, _, output = key.partition("/")
    return chamber, output
