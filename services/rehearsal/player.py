"""Plays any plant model as if it were the devices: the part of the simulator in a rehearsal."""

from collections.abc import Iterable, Iterator, Mapping
from copy import deepcopy
from datetime import datetime
from typing import Any

from pydantic import ConfigDict

from schemas.base import Model, ServiceName
from schemas.batches import BatchState
from schemas.plant import Drive, Plant, Point
from schemas.topics import TopicKind, every, simulated_probe, simulated_relay
from services.rehearsal.plant_model import Key, PlantModel, Pouring, Truthful
from services.runtime.service import Durability, Incoming, Outgoing
from services.simulator.mapping import DEFAULT_POWER_W


class PlayerState(Model):
    """In memory only, for a rehearsal that goes on from one moment twice."""

    model_config = ConfigDict(frozen=True, arbitrary_types_allowed=True)

    version: int = 1
    at: datetime
    model: Any
    levels: dict[Key, float]
    readings: dict[Key, float]
    used_j: dict[str, float]
    starts: int


class Player:
    """Counts energy by what is switched on and what the plant file says it takes; typical watts where it is silent."""

    name = ServiceName.SIMULATOR
    durability = Durability.LAZILY
    State = PlayerState

    def __init__(self, plant: Plant, model: PlantModel, restored: PlayerState | None = None) -> None:
        self.model = model if restored is None else deepcopy(restored.model)
        self.readings: dict[Key, float] = {} if restored is None else dict(restored.readings)
        self.used_j = dict.fromkeys(plant.chambers, 0.0) if restored is None else dict(restored.used_j)
        self.starts = 0 if restored is None else restored.starts
        self._levels: dict[Key, float] = {} if restored is None else dict(restored.levels)
        self._at: datetime | None = None if restored is None else restored.at
        self._plant = plant
        self._wire(plant)

    def _wire(self, plant: Plant) -> None:
        site = plant.site.name
        self._watts: dict[Key, float] = {}
        self._relays: dict[str, Key] = {}
        self._machines: set[Key] = set()
        self._probes: list[tuple[Key, str, float]] = []
        self._due_s: dict[Key, float] = {}
        self._elapsed_s = 0.0
        for name, chamber in plant.chambers.items():
            for output, described in chamber.outputs.items():
                self._relays[simulated_relay(site, name, output)] = (name, output)
                self._watts[name, output] = described.power_w or DEFAULT_POWER_W.get(described.drives, 0.0)
                if described.drives is Drive.COMPRESSOR:
                    self._machines.add((name, output))
            for probe, measured in chamber.probes.items():
                self._probes.append(((name, probe), simulated_probe(site, name, probe), measured.every_s))

    @property
    def listens(self) -> tuple[str, ...]:
        """What relays are told, and which beer is where."""
        site = self._plant.site.name
        return simulated_relay(site, "+", "+"), every(site, TopicKind.BATCH)

    def start(self, now: datetime) -> Iterable[Outgoing]:
        """Devices say nothing before they have measured."""
        self._at = self._at or now
        return ()

    def rejoin(self, now: datetime) -> Iterable[Outgoing]:
        """Devices retain nothing."""
        return ()

    def receive(self, incoming: Incoming, now: datetime) -> Iterable[Outgoing]:
        """A relay's payload, or a batch's state."""
        body = incoming.body
        if isinstance(body, bytes):
            self._switch(incoming.topic, float(body))
        elif isinstance(body, BatchState) and isinstance(self.model, Pouring):
            self.model.pour(body, now)
        return ()

    def tick(self, now: datetime) -> Iterable[Outgoing]:
        """The model lives on until now; then every probe speaks whose turn it is."""
        passed_s = (now - (self._at or now)).total_seconds()
        if passed_s <= 0:
            return ()
        self._at = now
        for key, level in self._levels.items():
            if level:
                self.used_j[key[0]] += level * self._watts[key] * passed_s
        self.readings.update(self.model.advance(passed_s, self._levels))
        self._elapsed_s += passed_s
        return self._speak()

    def snapshot(self) -> PlayerState:
        """A copy of it all."""
        at = self._at
        if at is None:
            raise RuntimeError("the player has not been started")
        return PlayerState(
            at=at,
            model=deepcopy(self.model),
            levels=dict(self._levels),
            readings=dict(self.readings),
            used_j=dict(self.used_j),
            starts=self.starts,
        )

    def beer_c(self, chamber: str) -> float | None:
        """As it is where the model tells, else as the beer's or bath's probe says; None where nobody knows."""
        if isinstance(self.model, Truthful):
            return self.model.truth(chamber).beer_c
        described = self._plant.chambers[chamber]
        found = (described.probe_at(point) for point in (Point.BEER, Point.BATH, Point.AIR))
        return next((self.readings[chamber, one] for one in found if one and (chamber, one) in self.readings), None)

    @property
    def kwh(self) -> Mapping[str, float]:
        """Used since the start, by chamber."""
        return {name: joules / 3.6e6 for name, joules in self.used_j.items()}

    def _switch(self, topic: str, level: float) -> None:
        key = self._relays.get(topic)
        if key is None:
            return
        if key in self._machines and level and not self._levels.get(key):
            self.starts += 1
        self._levels[key] = level

    def _speak(self) -> Iterator[Outgoing]:
        elapsed_s = self._elapsed_s
        for key, topic, every_s in self._probes:
            if elapsed_s >= self._due_s.get(key, 0.0) and key in self.readings:
                self._due_s[key] = max(self._due_s.get(key, 0.0) + every_s, elapsed_s)
                yield Outgoing(topic, b"%.7g" % self.readings[key], False, 0)
