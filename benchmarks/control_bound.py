"""What could be had: a receding-horizon optimiser that knows the true model and state, and the fastest crash there is.

`python -m benchmarks.control_bound` recomputes `control_bound.json`; it takes some minutes. The file keeps, for each
plant,
a hash of everything the result depends on, so that a bound never outlives its plant.
"""

import json
from collections.abc import Iterator, Mapping
from copy import deepcopy
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from math import inf
from multiprocessing import Pool
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from benchmarks.control_figures import SEEDS, arrival_h, judge
from benchmarks.control_plants import CASES, HOUR, Case, Programme
from benchmarks.control_policy import Guard, Predictive
from benchmarks.control_runs import Run, run, setpoint
from services.simulator.bath import Bath
from services.simulator.physics import Key, Plant
from services.supervisor.control import Decision, Estimate, Want
from services.supervisor.reservoir import FROST_MARGIN_K

FILE = Path(__file__).with_name("control_bound.json")
_FROST_K = 0.1
_REPLAN_S = {True: 300.0, False: 120.0}
"""With a compressor, and without."""
_MINUTES = np.array([1] * 15 + [5] * 33)
"""Lengths of the horizon's steps: fifteen single minutes, then five at a time, three hours in all."""
_BEGIN = np.cumsum(_MINUTES) - _MINUTES
_DELAYS = (0, 5, 10, 15, 20, 30, 45, 60)
"""Multiples of the time between plans: else it would always be best to wait a little longer."""
_LENGTHS = (3, 4, 5, 7, 10, 15, 20, 30, 45, 70, 180)
_PERIODS = (30, 45, 60, 90, 180)
_DUTIES = (0.0, 0.01, 0.02, 0.03, 0.05, 0.08, 0.12, 0.18, 0.3, 0.5, 1.0)
_START_COST = 0.0004
"""K2, mean over the horizon, that a compressor's start must save to be worth while."""
Array = npt.NDArray[np.float64]
_UNKNOWN = Estimate(None, 0.0, None, 0.0, 1.0)


def hash_of(case: Case) -> str:
    """Of the plant, its weather and its programme."""
    return sha256(repr(case).encode()).hexdigest()[:16]


class FullPower:
    """Crashes at full power until the beer is there; stops only for ice. All else as the policy it takes over from."""

    def __init__(self, before: Predictive, case: Case) -> None:
        self._before = before
        self._programmes = case.programmes

    def act(self, now: datetime, elapsed_s: float, reads: Mapping[Key, float], plant: Plant) -> Mapping[Key, float]:
        """Overrules the crash."""
        levels = dict(self._before.act(now, elapsed_s, reads, plant))
        for name, programme in self._programmes.items():
            if elapsed_s >= programme[3][0] * HOUR:
                cold = float(plant.truth(name).outer_c > plant.truth(name).freezes_at_c + _FROST_K)
                for output, drive in plant.chambers[name].model.outputs.items():
                    levels[name, output] = _FULL.get(drive, cold)
        return levels


_FULL = {"heater": 0.0, "fan": 1.0}


def fastest_h(run: Run) -> dict[str, float]:
    """Hours that the crashes would take from where `run` is, were the bath as cold as it may be and power always on."""
    run = deepcopy(run)
    assert isinstance(run.policy, Predictive)
    bath = run.plant.chambers.get("bath")
    if isinstance(bath, Bath):
        own_c = bath.model.compressor.own_coldest_c
        coldest_c = bath.model.freezes_at_c + FROST_MARGIN_K if own_c is None else own_c + 1.0
        bath.bath_c = bath.air_c = min(bath.bath_c, max(coldest_c, bath.model.freezes_at_c + FROST_MARGIN_K))
    run.policy = FullPower(run.policy, run.case)
    programmes = run.case.programmes
    while run.elapsed_s < run.case.hours * HOUR:
        run.until(run.elapsed_s / HOUR + 1.0)
        found = {name: arrival_h(watch.trace, programmes[name]) for name, watch in run.watches.items()}
        if max(found.values()) < inf:
            break
    return found


@dataclass(slots=True)
class _Map:
    """One minute in one mode: x becomes `turn` x + `push`."""

    turn: Array
    push: Array


def _nodes(chamber: Any) -> list[tuple[Any, str]]:
    """Where the state of a chamber lives."""
    found = [(chamber.beer, "core_c"), (chamber.beer, "outer_c"), (chamber.heater, "stored_j")]
    if hasattr(chamber, "compressor"):
        own = ("air_c", "evaporator_c", "wall_c")
        return [*found, (chamber.compressor, "fill"), *((chamber, name) for name in own)]
    return [*found, (chamber, "jacket_c")]


def _read(chamber: Any) -> Array:
    return np.array([getattr(owner, name) for owner, name in _nodes(chamber)])


def _minute(chamber: Any, state: Array, mode: tuple[float, float], room_c: float, bath_c: float) -> Array:
    """The true simulator for a minute from `state`."""
    for (owner, name), value in zip(_nodes(chamber), state, strict=True):
        setattr(owner, name, float(value))
    fermented = chamber.beer.fermentation.fermented
    cool, heat = mode
    chamber.heater_level, chamber.fan_level = heat, max(cool, heat)
    chamber.compressor_level = chamber.pump_level = cool
    for _ in range(6):
        if hasattr(chamber, "compressor"):
            chamber.step(room_c, 10.0)
        else:
            chamber.step(room_c, bath_c, 10.0)
    chamber.beer.fermentation.fermented = fermented
    return _read(chamber)


def linear_map(chamber: Any, mode: tuple[float, float], room_c: float, bath_c: float) -> _Map:
    """The simulator's own minute, made linear about where it is."""
    chamber = deepcopy(chamber)
    if mode[0] and hasattr(chamber, "compressor"):
        chamber.compressor.fill = 1.0
    here = _read(chamber)
    base = _minute(chamber, here, mode, room_c, bath_c)
    nudges = np.array([100.0 if name == "stored_j" else 0.01 for _, name in _nodes(chamber)])
    moved = [_minute(chamber, here + row, mode, room_c, bath_c) - base for row in np.diag(nudges)]
    turn = np.array(moved).T / nudges
    return _Map(turn, base - turn @ here)


def _pulses() -> tuple[Array, Array]:
    """Level by step and plan, and how many starts each has: pulses of one length, after a delay, every so often."""
    plans, starts = [np.zeros(len(_BEGIN))], [0.0]
    for delay in _DELAYS:
        for length in _LENGTHS:
            for period in (period for period in _PERIODS if length < period * 0.8 or period == _PERIODS[-1]):
                since = _BEGIN - delay
                left = np.where(since >= 0, length - since % period, 0.0)
                plans.append(np.clip(left / _MINUTES, 0.0, 1.0))
                starts.append(1.0 + (179 - delay) // period)
    return np.array(plans).T, np.array(starts)


def _duties() -> tuple[Array, Array]:
    """Shares of time: one for the first while, another from then on; nothing is worn by switching."""
    pairs = [(first, then, until) for first in _DUTIES for then in _DUTIES for until in (4, 12, 40)]
    plans = [np.where(until > _BEGIN, first, then) for first, then, until in pairs]
    return np.array(plans).T, np.zeros(len(pairs))


PULSES, DUTIES = _pulses(), _duties()


def _five(one: _Map) -> _Map:
    turn, push = one.turn, one.push
    for _ in range(4):
        turn, push = one.turn @ turn, one.turn @ push + one.push
    return _Map(turn, push)


class Optimiser:
    """For one chamber: every few minutes the best of some hundreds of plans, by the true model from the true state."""

    def __init__(self, programme: Programme, compressor: bool) -> None:
        self._programme = programme
        self._compressor = compressor
        self._plan = np.zeros(len(_BEGIN))
        self._mode = "cool"
        self._made_s = -1e9
        self._owed = 0.0

    def wish(self, chamber: Any, guard: Guard, elapsed_s: float, room_c: float, bath_c: float) -> Decision:
        """On or off for the next ten seconds."""
        if elapsed_s - self._made_s >= _REPLAN_S[self._compressor]:
            self._made_s = elapsed_s
            self._make(chamber, guard, elapsed_s, room_c, bath_c)
        self._owed += float(self._plan[int((elapsed_s - self._made_s) / 60.0)])
        on = float(self._owed >= 1.0 - 1e-9)
        self._owed -= on
        cool, heat = (on, 0.0) if self._mode == "cool" else (0.0, on)
        return Decision(cool, heat, max(cool, heat), 0.0, "", _UNKNOWN)

    def _make(self, chamber: Any, guard: Guard, elapsed_s: float, room_c: float, bath_c: float) -> None:
        now_c = setpoint(self._programme, elapsed_s)[0]
        ahead = np.array([setpoint(self._programme, elapsed_s + 60.0 * k)[0] for k in np.cumsum(_MINUTES)])
        ahead[np.abs(ahead - now_c) > 2.0] = now_c
        modes = {"off": (0.0, 0.0), "cool": (1.0, 0.0), "heat": (0.0, 1.0)}
        maps = {name: linear_map(chamber, mode, room_c, bath_c) for name, mode in modes.items()}
        best = (1e18, self._plan, self._mode)
        for name in ("cool", "heat"):
            levels, starts = PULSES if name == "cool" and self._compressor else DUTIES
            costs = _costs(chamber, maps["off"], maps[name], ahead, levels)
            costs = costs + _START_COST * (starts - (levels[0] > 0.0) * (guard.cooling and name == "cool"))
            index = int(np.argmin(costs))
            best = min(best, (float(costs[index]), levels[:, index], name), key=lambda found: found[0])
        if best[2] != self._mode:
            self._owed = 0.0
        _, self._plan, self._mode = best


def _costs(chamber: Any, off: _Map, on: _Map, ahead: Array, levels: Array) -> Array:
    """Mean squared error over the horizon, and what ice would cost, by plan."""
    state = np.repeat(_read(chamber)[:, None], levels.shape[1], axis=1)
    share = chamber.beer.model.outer_share
    frost_c = chamber.beer.fermentation.freezes_at_c() + _FROST_K
    total = np.zeros(levels.shape[1])
    single, five = (off, on), (_five(off), _five(on))
    for step, minutes in enumerate(_MINUTES):
        still, moved = single if minutes == 1 else five
        rest = still.turn @ state + still.push[:, None]
        state = rest + levels[step] * (moved.turn @ state + moved.push[:, None] - rest)
        mean = state[0] + share * (state[1] - state[0])
        total += minutes * ((mean - ahead[step]) ** 2 + 10.0 * np.maximum(0.0, frost_c - state[1]))
    return np.asarray(total / _MINUTES.sum())


class Bound(Predictive):
    """Every beer by its optimiser; the bath as usual, asked early for all it can give."""

    def act(self, now: datetime, elapsed_s: float, reads: Mapping[Key, float], plant: Plant) -> Mapping[Key, float]:
        """Same guards, same plant, other wishes."""
        if not hasattr(self, "_optimisers"):
            self._optimisers = {
                name: Optimiser(p, hasattr(plant.chambers[name], "compressor"))
                for name, p in self._case.programmes.items()
            }
        wants: list[Want] = []
        levels: dict[Key, float] = {}
        for name in self._order:
            guard, chamber = self._guards[name], plant.chambers[name]
            if "bath" in plant.chambers:
                decision = self.controllers[name].decide(self._sight(name, now, elapsed_s, reads, tuple(wants)))
                wants += [decision.want] if decision.want else []
            if name in self._optimisers:
                bath = plant.chambers.get("bath")
                bath_c = getattr(bath, "bath_c", 0.0)
                decision = self._optimisers[name].wish(chamber, guard, elapsed_s, plant.room_c, bath_c)
            self.decisions[name] = decision
            guard.apply(decision, elapsed_s)
            for output, drive in chamber.model.outputs.items():
                levels[name, output] = _level(drive, guard, decision)
        return levels


def _level(drive: str, guard: Guard, decision: Decision) -> float:
    if drive in ("compressor", "pump"):
        return float(guard.cooling)
    return float(guard.heating) if drive == "heater" else decision.fan


def compute(case_seed: tuple[Case, int]) -> dict[str, Any]:
    """The bound of one plant and seed."""
    case, seed = case_seed
    best = judge(case, run(case, seed, Bound))
    return {
        "case": case.name,
        "seed": seed,
        "hash": hash_of(case),
        "hold_rms_k": {name: judged.hold_rms_k for name, judged in best.chambers.items()},
        "starts_per_hour": best.starts_per_hour,
        "kwh": best.kwh,
    }


def load() -> dict[tuple[str, int], dict[str, Any]]:
    """The kept bounds of plants that are still what they were."""
    kept = json.loads(FILE.read_text(encoding="utf-8")) if FILE.exists() else []
    now = {case.name: hash_of(case) for case in CASES}
    return {(row["case"], row["seed"]): row for row in kept if now.get(row["case"]) == row["hash"]}


def _stale() -> Iterator[tuple[Case, int]]:
    kept = load()
    yield from ((case, seed) for case in CASES for seed in SEEDS[:1] if (case.name, seed) not in kept)


def main() -> None:
    """Computes what is missing or stale."""
    rows = list(load().values())
    with Pool() as pool:
        for row in pool.imap(compute, _stale()):
            rows.append(row)
            rows.sort(key=lambda row: (row["case"], row["seed"]))
            FILE.write_text(json.dumps(rows, indent=1) + "\n", encoding="utf-8")
            print(row["case"], row["seed"], row["hold_rms_k"], flush=True)


if __name__ == "__main__":
    main()
