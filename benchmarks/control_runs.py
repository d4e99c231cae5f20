"""One plant, one seed, one way of control: ten days in steps of ten seconds, and what the true beer did meanwhile."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Protocol

from benchmarks.control_plants import HOUR, Case, Programme
from services.simulator.faults import Fault, FaultKind
from services.simulator.models import ReservoirModel
from services.simulator.physics import Key, Plant

TICK_S = 10.0
SAMPLE_S = 60.0


@dataclass(slots=True)
class Trace:
    """True beer once a minute, and what was switched. `fights` are heat and cold on one chamber within half an hour."""

    beer_c: list[float] = field(default_factory=list)
    setpoint_c: list[float] = field(default_factory=list)
    frozen_minutes: float = 0.0
    pump_starts: int = 0
    fights: int = 0


@dataclass(slots=True)
class Outcome:
    """One run: traces by judged chamber; `kwh`, compressor starts and short rests of the whole plant."""

    traces: dict[str, Trace]
    kwh: float = 0.0
    starts: int = 0
    short_rests: int = 0
    compressors: int = 1


class Policy(Protocol):
    """A way of control: readings in, levels of every output out; called every ten seconds."""

    def act(self, now: datetime, elapsed_s: float, reads: Mapping[Key, float], plant: Plant) -> Mapping[Key, float]: ...


def setpoint(programme: Programme, elapsed_s: float) -> tuple[float, float]:
    """degC and K/h now."""
    hour = elapsed_s / HOUR
    before = programme[0]
    for point in programme:
        if point[0] > hour:
            rate = (point[1] - before[1]) / (point[0] - before[0])
            return before[1] + rate * (hour - before[0]), rate
        before = point
    return before[1], 0.0


class Watch:
    """Sees what heater and cooling of one chamber really do, and counts what should not be."""

    __slots__ = ("trace", "_cooled_at", "_heated_at", "_pumping", "_counted", "_stepped_at", "_setpoint_c")

    def __init__(self) -> None:
        self.trace = Trace()
        self._cooled_at = self._heated_at = -1e9
        self._pumping = False
        self._counted = self._stepped_at = -1e9
        self._setpoint_c: float | None = None

    def see(self, elapsed_s: float, cool: bool, heat: bool, setpoint_c: float) -> None:
        """One tick; a fight counts once in half an hour, and not in the first hour after a step of the setpoint."""
        if self._setpoint_c is None or abs(setpoint_c - self._setpoint_c) > 0.5:
            self._stepped_at = elapsed_s
        self._setpoint_c = setpoint_c
        judged = elapsed_s - self._stepped_at > HOUR
        if cool:
            self._cooled_at = elapsed_s
        if heat:
            self._heated_at = elapsed_s
        self.trace.pump_starts += cool and not self._pumping
        self._pumping = cool
        close = abs(self._cooled_at - self._heated_at) < HOUR / 2 and (cool or heat)
        if judged and close and elapsed_s - self._counted > HOUR / 2:
            self.trace.fights += 1
            self._counted = elapsed_s


class Run:
    """A run that can be taken some hours further at a time, and be copied half-way."""

    def __init__(self, case: Case, seed: int, policy: Policy) -> None:
        self.case = case
        self.plant = Plant(case.models, case.weather(seed), seed)
        self.policy = policy
        self.elapsed_s = 0.0
        self.watches = {name: Watch() for name in case.programmes}
        self._start = case.start(seed)
        self._reads: Mapping[Key, float] = self.plant.read()

    def until(self, hour: float) -> None:
        """On to this hour after the start."""
        while self.elapsed_s < hour * HOUR - 1e-6:
            self._tick()

    def _tick(self) -> None:
        case, plant, elapsed_s = self.case, self.plant, self.elapsed_s
        _doors(case, plant, elapsed_s)
        levels = self.policy.act(self._start + timedelta(seconds=elapsed_s), elapsed_s, self._reads, plant)
        if elapsed_s % SAMPLE_S < 1e-6:
            _sample(case, plant, self.watches, elapsed_s)
        for name, watch in self.watches.items():
            cool = levels.get((name, "cool"), 0.0) + levels.get((name, "pump"), 0.0)
            heat = levels.get((name, "heat"), 0.0)
            watch.see(elapsed_s, cool > 0.0, heat > 0.0, setpoint(case.programmes[name], elapsed_s)[0])
        self._reads = plant.advance(TICK_S, levels)
        self.elapsed_s += TICK_S

    def outcome(self) -> Outcome:
        """What has happened so far."""
        truths = {name: self.plant.truth(name) for name in self.case.models}
        machines = [name for name, model in self.case.models.items() if "compressor" in model.outputs.values()]
        return Outcome(
            {name: watch.trace for name, watch in self.watches.items()},
            sum(truth.kwh for truth in truths.values()),
            sum(truths[name].starts for name in machines),
            sum(truths[name].short_rests for name in machines),
            len(machines),
        )


def run(case: Case, seed: int, policy_for: Callable[[Case, int], Policy], hours: float | None = None) -> Outcome:
    """The whole programme, or as many `hours` as asked."""
    found = Run(case, seed, policy_for(case, seed))
    found.until(hours or case.hours)
    return found.outcome()


def _doors(case: Case, plant: Plant, elapsed_s: float) -> None:
    for chamber, every_h, minutes in case.doors:
        phase = elapsed_s % (every_h * HOUR)
        fault = Fault(FaultKind.DOOR_OPEN, chamber)
        if phase == 12 * HOUR:
            plant.inject(fault)
        elif phase == 12 * HOUR + minutes * 60.0:
            plant.clear(fault)


def _sample(case: Case, plant: Plant, watches: Mapping[str, Watch], elapsed_s: float) -> None:
    for name, watch in watches.items():
        truth = plant.truth(name)
        watch.trace.beer_c.append(truth.beer_c)
        watch.trace.setpoint_c.append(setpoint(case.programmes[name], elapsed_s)[0])
        watch.trace.frozen_minutes += truth.frozen > 0.0


class Thermostat:
    """Two-point, on the beer probe: 0.5 K differential, three minutes between runs of a compressor; the bath within
    2 K."""

    def __init__(self, case: Case, seed: int) -> None:
        self._case = case
        self._on: dict[Key, float] = {}
        self._stopped_at: dict[Key, float] = {}

    def act(self, now: datetime, elapsed_s: float, reads: Mapping[Key, float], plant: Plant) -> Mapping[Key, float]:
        """Cools from half a kelvin above the setpoint down to it, heats from half a kelvin below up to it."""
        for name, model in self._case.models.items():
            if isinstance(model, ReservoirModel):
                self._switch((name, "chill"), reads[name, "bath"] - self._case.bath_c, 2.0, 180.0, elapsed_s)
                continue
            error = reads[name, "beer"] - setpoint(self._case.programmes[name], elapsed_s)[0]
            for output, drive in model.outputs.items():
                key = (name, output)
                if drive == "heater":
                    self._switch(key, -error, 0.5, 0.0, elapsed_s)
                elif drive in ("compressor", "pump"):
                    self._switch(key, error, 0.5, 180.0 if drive == "compressor" else 0.0, elapsed_s)
            if "fan" in model.outputs:
                self._on[name, "fan"] = max(self._on[name, "cool"], self._on.get((name, "heat"), 0.0))
        return self._on

    def _switch(self, key: Key, excess: float, differential: float, rest_s: float, elapsed_s: float) -> None:
        if self._on.get(key, 0.0):
            if excess <= 0.0:
                self._on[key] = 0.0
                self._stopped_at[key] = elapsed_s
        else:
            rested = elapsed_s - self._stopped_at.get(key, -1e9) >= rest_s
            self._on[key] = float(excess >= differential and rested)
