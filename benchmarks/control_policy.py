"""Coldside's own control as the benchmark runs it: controllers of every chamber, behind the compressor's rest and
run."""

from collections.abc import Mapping
from datetime import datetime, timedelta

from benchmarks.control_plants import HOUR, Case, Programme
from benchmarks.control_runs import setpoint
from services.simulator.physics import Key, Plant
from services.supervisor.control import Decision, Sight, Want, Waypoint
from services.supervisor.controllers import controller_for

_CHANGE_OVER_S = 600.0


IDLE_BATH_C = 12.0
"""What the supervisor asks of a bath when nobody else does."""


class Guard:
    """The least that any plant gets: rest and run of the compressor, a wait between heat and cold."""

    __slots__ = ("cooling", "heating", "_cooled_s", "_heated_s", "_since_s", "_run_s", "_rest_s")

    def __init__(self, run_s: float, rest_s: float) -> None:
        self.cooling = self.heating = False
        self._run_s, self._rest_s = run_s, rest_s
        self._since_s = self._cooled_s = self._heated_s = -1e9

    def ready_in_s(self, elapsed_s: float) -> float:
        """How long it must still rest."""
        return 0.0 if self.cooling else max(0.0, self._since_s + self._rest_s - elapsed_s)

    def apply(self, decision: Decision, elapsed_s: float) -> None:
        """Lets through what may be."""
        wish = decision.cool > 0.5
        if self.cooling:
            wish = wish or elapsed_s - self._since_s < self._run_s
        else:
            wish = wish and self.ready_in_s(elapsed_s) <= 0.0 and elapsed_s - self._heated_s >= _CHANGE_OVER_S
        if wish is not self.cooling:
            self.cooling, self._since_s = wish, elapsed_s
        self._cooled_s = elapsed_s if self.cooling else self._cooled_s
        self.heating = decision.heat > 0.5 and not wish and elapsed_s - self._cooled_s >= _CHANGE_OVER_S
        self._heated_s = elapsed_s if self.heating else self._heated_s


class Predictive:
    """One tuning, whatever the plant."""

    def __init__(self, case: Case, seed: int) -> None:
        self._case = case
        self._start = case.start(seed)
        self.controllers = {name: controller_for(case.rules(name)) for name in case.models}
        self._guards = {name: _guard(case, name) for name in case.models}
        self._order = sorted(case.models, key=lambda name: case.rules(name).kind == "reservoir")
        self.decisions: dict[str, Decision] = {}
        self._ahead = {name: _waypoints(self._start, programme) for name, programme in case.programmes.items()}

    def act(self, now: datetime, elapsed_s: float, reads: Mapping[Key, float], plant: Plant) -> Mapping[Key, float]:
        """Vessels first, so that the bath hears what they want."""
        levels: dict[Key, float] = {}
        wants: list[Want] = []
        for name in self._order:
            sight = self._sight(name, now, elapsed_s, reads, tuple(wants))
            decision = self.controllers[name].decide(sight)
            self.decisions[name] = decision
            if decision.want:
                wants.append(decision.want)
            guard = self._guards[name]
            guard.apply(decision, elapsed_s)
            for output, drive in self._case.models[name].outputs.items():
                levels[name, output] = _level(drive, guard, decision)
        return levels

    def _sight(
        self, name: str, now: datetime, elapsed_s: float, reads: Mapping[Key, float], wants: tuple[Want, ...]
    ) -> Sight:
        guard = self._guards[name]
        programme = self._case.programmes.get(name)
        celsius, rate = setpoint(programme, elapsed_s) if programme else (IDLE_BATH_C, 0.0)
        waypoints = self._ahead.get(name, ())
        beer = reads.get((name, "beer"), reads.get((name, "bath")))
        return Sight(
            now, celsius, beer, reads.get((name, "air")), reads.get(("bath", "bath")), None,
            bool(reads.get((name, "door"), 0.0)), guard.cooling, guard.heating, self._fan(name),
            guard.ready_in_s(elapsed_s), rate, tuple(point for point in waypoints if point[0] > now), -2.0, wants,
        )  # fmt: skip

    def _fan(self, name: str) -> bool:
        decision = self.decisions.get(name)
        return bool(decision and decision.fan) and "fan" in self._case.models[name].outputs


def _guard(case: Case, name: str) -> Guard:
    rules = case.rules(name)
    return Guard(0.0, 0.0) if rules.kind == "jacketed" else Guard(rules.run_s, rules.rest_s)


def _level(drive: str, guard: Guard, decision: Decision) -> float:
    if drive in ("compressor", "pump"):
        return float(guard.cooling)
    return float(guard.heating) if drive == "heater" else decision.fan


def _waypoints(start: datetime, programme: Programme) -> tuple[Waypoint, ...]:
    return tuple((start + timedelta(seconds=hour * HOUR), celsius) for hour, celsius in programme)
