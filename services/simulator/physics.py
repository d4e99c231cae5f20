"""The simulated plant: chambers of the four kinds, their sensors and faults, in one room.

    plant = Plant({"ale": FridgeModel(), "bath": ReservoirModel(), "conical": JacketedModel(cooled_by="bath")},
                  weather=constant(20.0), seed=1)
    raw = plant.advance(10.0, {("ale", "cool"): 1.0})      # {("ale", "beer"): 17.9375, ("ale", "air"): ...}
    plant.truth("ale").beer_c

Everything is deterministic for a seed. Nothing here knows of messages, plant files or clocks.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import ceil
from random import Random
from typing import Any

from services.simulator.bath import Bath
from services.simulator.cabinet import Cabinet
from services.simulator.contents import Contents
from services.simulator.faults import DRIVE_FAULTS, OUTPUT_FAULTS, Fault, FaultKind
from services.simulator.models import BeerModel, ChamberModel, JacketedModel, ReservoirModel
from services.simulator.sensors import POWER_ON_C, Sensor
from services.simulator.snapshots import Plain, dump, load
from services.simulator.vessel import Vessel
from services.simulator.weather import Weather

LONGEST_STEP_S = 10.0
Key = tuple[str, str]
AnyChamber = Cabinet | Vessel | Bath
_ELSEWHERE = {Cabinet: "air", Vessel: "ambient", Bath: "ambient"}
"""What a probe touches that has slipped out of its well."""


@dataclass(frozen=True, slots=True)
class Truth:
    """What no probe says. `beer_c` is the beer's mean (the bath's, for a reservoir), `outer_c` its coldest share.

    `frozen` is the share of the mass that is ice, `kwh` electricity since the start, `gravity` apparent SG, `heat_w` of
    the yeast.
    """

    beer_c: float
    outer_c: float
    frozen: float
    freezes_at_c: float
    gravity: float
    heat_w: float
    kwh: float
    starts: int
    short_rests: int
    power_w: float


class Plant:
    """Chambers by name; a `JacketedModel` names its reservoir. Raises KeyError where it names none."""

    def __init__(
        self,
        chambers: Mapping[str, ChamberModel],
        weather: Weather,
        seed: int = 0,
        *,
        longest_step_s: float = LONGEST_STEP_S,
    ) -> None:
        self._longest_step_s = longest_step_s
        self.weather = weather
        self.elapsed_s = 0.0
        self.room_c = weather.at(0.0)
        self._random = Random(seed)
        self._models = dict(chambers)
        self.chambers: dict[str, AnyChamber] = {name: _build(m, self.room_c) for name, m in chambers.items()}
        self._cabinets = [c for c in self.chambers.values() if isinstance(c, Cabinet)]
        self._loops = _loops(self.chambers)
        self._drives: dict[Key, tuple[AnyChamber, str]] = {}
        self._sensors: list[tuple[Key, Sensor, AnyChamber, Callable[[Any, float], float]]] = []
        self._faults: set[Fault] = set()
        self._forced: dict[Key, float] = {}
        self._dark: frozenset[str] = frozenset()
        self._spoilt: dict[Key, FaultKind] = {}
        for name, chamber in self.chambers.items():
            self._wire(name, chamber)
        self._follow(0.0)

    def _wire(self, name: str, chamber: AnyChamber) -> None:
        for output, drive in chamber.model.outputs.items():
            self._drives[name, output] = (chamber, "pump_level" if drive == "valve" else f"{drive}_level")
        for probe, model in chamber.model.probes.items():
            self._sensors.append(((name, probe), Sensor(model, self._random), chamber, chamber.seen(model.sees)))

    def advance(self, seconds: float, outputs: Mapping[Key, float]) -> dict[Key, float]:
        """Moves on with these output levels (0..1; one that is not named is off) and reads every probe that answers."""
        self._command(outputs)
        steps = max(1, ceil(seconds / self._longest_step_s - 1e-9))
        dt = seconds / steps
        for _ in range(steps):
            self.room_c = room = self.weather.at(self.elapsed_s)
            for cabinet in self._cabinets:
                cabinet.step(room, dt)
            for bath, vessels in self._loops:
                drawn, bath_c = 0.0, bath.bath_c
                for vessel in vessels:
                    vessel.step(room, bath_c, dt)
                    drawn += vessel.drawn_w
                bath.step(room, drawn, dt)
            self.elapsed_s += dt
            self._follow(dt)
        return self.read()

    def _command(self, outputs: Mapping[Key, float]) -> None:
        for key, (chamber, level) in self._drives.items():
            setattr(chamber, level, outputs.get(key, 0.0))
        for key, forced in self._forced.items():
            setattr(*self._drives[key], forced)
        for key, (chamber, level) in self._drives.items() if self._dark else ():
            if key[0] in self._dark:
                setattr(chamber, level, 0.0)

    def _follow(self, dt: float) -> None:
        room = self.room_c
        for _, sensor, chamber, seen in self._sensors:
            sensor.follow(seen(chamber, room), dt)

    def read(self) -> dict[Key, float]:
        """Every probe's number as its device would send it now; a dead one is missing."""
        if self._spoilt:
            return {key: self._spoil(key, sensor) for key, sensor, _, _ in self._sensors if not self._is_dead(key)}
        return {key: sensor.read() for key, sensor, _, _ in self._sensors}

    def _is_dead(self, key: Key) -> bool:
        return self._spoilt.get(key) is FaultKind.PROBE_DEAD

    def _spoil(self, key: Key, sensor: Sensor) -> float:
        kind = self._spoilt.get(key)
        if kind is FaultKind.PROBE_POWER_ON:
            return POWER_ON_C
        return sensor.last if kind is FaultKind.PROBE_STUCK else sensor.read()

    def inject(self, fault: Fault) -> None:
        """From now on. Raises KeyError for a chamber, output or probe that is not there."""
        if fault.chamber or fault.kind is not FaultKind.POWER_CUT:
            self._must_exist(fault)
        self._faults.add(fault)
        self._apply_faults()

    def clear(self, fault: Fault) -> None:
        """The fault is mended; clearing one that is not there does nothing."""
        self._faults.discard(fault)
        self._apply_faults()

    @property
    def faults(self) -> frozenset[Fault]:
        """Those in force."""
        return frozenset(self._faults)

    def _must_exist(self, fault: Fault) -> None:
        model = self.chambers[fault.chamber].model
        if fault.target and fault.target not in {**model.outputs, **model.probes}:
            raise KeyError(f"{fault.chamber} has no output or probe '{fault.target}'")

    def _apply_faults(self) -> None:
        here = self._faults
        for name, chamber in self.chambers.items():
            chamber.suffer(frozenset(fault.kind for fault in here if fault.chamber == name))
        self._forced = {(f.chamber, f.target): OUTPUT_FAULTS[f.kind] for f in here if f.kind in OUTPUT_FAULTS}
        cut = {f.chamber for f in here if f.kind is FaultKind.POWER_CUT}
        self._dark = frozenset(self.chambers) if "" in cut else frozenset(cut)
        drives = {*OUTPUT_FAULTS, *DRIVE_FAULTS.values()}
        self._spoilt = {(f.chamber, f.target): f.kind for f in here if f.target and f.kind not in drives}
        self._sensors = [
            (key, sensor, chamber, self._touched(key, sensor)) for key, sensor, chamber, _ in self._sensors
        ]

    def _touched(self, key: Key, sensor: Sensor) -> Callable[[Any, float], float]:
        chamber = self.chambers[key[0]]
        out = self._spoilt.get(key) is FaultKind.PROBE_OUT
        return chamber.seen(_ELSEWHERE[type(chamber)] if out else sensor.model.sees)

    def fill(self, chamber: str, beer: BeerModel) -> None:
        """Puts another beer into a vessel at once; the ledger of heat goes on as if it had always been there."""
        vessel = self.chambers[chamber]
        if isinstance(vessel, Bath):
            raise KeyError(f"{chamber} is a reservoir and holds no beer")
        before = vessel.stored_j()
        vessel.beer = Contents(beer)
        vessel.gained_j += vessel.stored_j() - before

    def set_level(self, reservoir: str, level: float) -> None:
        """What the level probe of a reservoir sees, 0..1."""
        bath = self.chambers[reservoir]
        if not isinstance(bath, Bath):
            raise KeyError(f"{reservoir} is no reservoir")
        bath.level = level

    def truth(self, chamber: str) -> Truth:
        """The state of one chamber as nobody there can see it."""
        found = self.chambers[chamber]
        kwh = found.used_j / 3.6e6
        machine = None if isinstance(found, Vessel) else found.compressor
        starts, short = (machine.starts, machine.short_rests) if machine else (0, 0)
        if isinstance(found, Bath):
            bath = found.bath_c
            frozen, freezes = found.frozen, found.model.freezes_at_c
            return Truth(bath, bath, frozen, freezes, 1.0, 0.0, kwh, starts, short, found.power_w)
        beer, yeast = found.beer, found.beer.fermentation
        mean, freezes = beer.mean_c, yeast.freezes_at_c()
        return Truth(
            mean, beer.outer_c, beer.frozen, freezes, yeast.gravity(), beer.heat_w, kwh, starts, short, found.power_w
        )

    def snapshot(self) -> Plain:
        """Plain data for JSON: time, nodes, sensors, faults and the state of chance."""
        version, words, gauss = self._random.getstate()
        return {
            "elapsed_s": self.elapsed_s,
            "chambers": {name: dump(chamber) for name, chamber in self.chambers.items()},
            "beers": {name: dump(c.beer.model) for name, c in self.chambers.items() if not isinstance(c, Bath)},
            "sensors": [[sensor.value, sensor.last] for _, sensor, _, _ in self._sensors],
            "faults": sorted([fault.kind.value, fault.chamber, fault.target] for fault in self._faults),
            "chance": [version, list(words), gauss],
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Goes on exactly from a `snapshot` of a plant that was built alike."""
        for name, beer in state["beers"].items():
            self.fill(name, BeerModel(**beer))
        for name, nodes in state["chambers"].items():
            load(self.chambers[name], nodes)
        for (_, sensor, _, _), value in zip(self._sensors, state["sensors"], strict=True):
            sensor.value, sensor.last = value
        self._faults = {Fault(FaultKind(kind), chamber, target) for kind, chamber, target in state["faults"]}
        self._apply_faults()
        version, words, gauss = state["chance"]
        self._random.setstate((version, tuple(words), gauss))
        self.elapsed_s = state["elapsed_s"]
        self.room_c = self.weather.at(self.elapsed_s)


def _build(model: ChamberModel, room_c: float) -> AnyChamber:
    if isinstance(model, JacketedModel):
        return Vessel(model, room_c)
    return Bath(model, room_c) if isinstance(model, ReservoirModel) else Cabinet(model, room_c)


def _loops(chambers: Mapping[str, AnyChamber]) -> list[tuple[Bath, list[Vessel]]]:
    """Each bath with the vessels that draw on it."""
    drawing: dict[str, list[Vessel]] = {name: [] for name, chamber in chambers.items() if isinstance(chamber, Bath)}
    for chamber in chambers.values():
        if isinstance(chamber, Vessel):
            drawing[chamber.model.cooled_by].append(chamber)
    return [(bath, drawing[name]) for name, bath in chambers.items() if isinstance(bath, Bath)]
