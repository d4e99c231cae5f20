"""A small heat model of a chamber, built from a handful of physical parameters; all of it is linear in the state.

A cabinet has beer (core and outer layer), inner wall and evaporator, with the air in balance between them; a vessel has
beer, jacket and bath. Both have a heater that lags, the probe's lag, the yeast's heat and the room as unknown
disturbances. Parameters are positive and known as a median with a spread of their logarithm: safe guesses by kind and
volume, until ordinary operation teaches better (see `identify`).
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from services.supervisor.control import Rules

Array = npt.NDArray[np.float64]
Mode = tuple[int, int, int]
"""Cooling, heating, fan: each 0 or 1."""
Parameters = Mapping[str, float]

OFF: Mode = (0, 0, 0)
COAST: Mode = (0, 0, 1)
COOL: Mode = (1, 0, 1)
HEAT: Mode = (0, 1, 1)

TICK_S = 10.0
BEER_J_L_K = 4230.0
"""Beer by the litre: 4050 J/(kg K) and 1.045 kg/L."""
OUTER_SHARE = 0.25
STILL_AIR = 0.68
"""What a stopped fan leaves of the conductances of vessel and evaporator."""
CAPACITY_PER_K = 0.03
"""A compressor's capacity falls by so much of its value at -10 degC per kelvin of colder evaporator."""
MOST_STRAP = 0.95

CORE, OUTER, ELEMENT, PROBE, YEAST, ROOM, ONE, WALL, EVAPORATOR = range(9)
JACKET, BATH = WALL, EVAPORATOR
STATES = 9
"""degC, but W for `ELEMENT` (heat given off) and `YEAST`; `ONE` is always 1. The last two depend on the kind."""

_EYE = np.eye(STATES)
MEAN_ROW: Array = (1.0 - OUTER_SHARE) * _EYE[CORE] + OUTER_SHARE * _EYE[OUTER]
"""Reads the mean beer off a state."""
OUTER_ROW: Array = _EYE[OUTER]


@dataclass(frozen=True, slots=True)
class Guess:
    """A positive parameter before anything has been seen: median, and standard deviation of its natural logarithm."""

    median: float
    spread: float


@dataclass(frozen=True, slots=True)
class Shape:
    """One chamber's kind of model: guesses, and the rates of change (1/s) that parameters give in a mode."""

    guesses: Mapping[str, Guess]
    rates: Callable[[Parameters, Mode], Array]
    volume_l: float
    is_cabinet: bool
    has_fan: bool

    @property
    def modes(self) -> tuple[Mode, ...]:
        """All that may be: off, coasting with the fan on, cooling, heating."""
        if self.is_cabinet and self.has_fan:
            return OFF, COAST, COOL, HEAT
        return COAST, COOL, HEAT


def shape_for(rules: Rules) -> Shape:
    """The model that suits these rules."""
    size = (rules.volume_l / 20.0) ** (2.0 / 3.0)
    guesses = {
        "mixing_w_k": Guess(60.0 * size, 0.4),
        "probe_s": Guess(85.0, 0.3),
        "heater_w": Guess(rules.heater_power_w or 60.0, 0.15 if rules.heater_power_w else 0.6),
        "heater_s": Guess(200.0, 0.4),
    }
    if rules.kind == "jacketed":
        guesses |= _VESSEL_GUESSES | {"jacket_w_k": Guess(13.0 * size, 0.5)}
        return Shape(guesses, _vessel(rules.volume_l, rules.strapped), rules.volume_l, False, False)
    electrical = rules.cooling_power_w
    machine = Guess(1.25 * electrical, 0.35) if electrical else Guess(120.0, 0.6)
    guesses |= _CABINET_GUESSES | {"vessel_w_k": Guess(5.0 * size, 0.4), "cooling_w": machine}
    return Shape(guesses, _cabinet(rules.volume_l, rules.strapped), rules.volume_l, True, rules.has_fan)


_CABINET_GUESSES = {
    "evaporator_w_k": Guess(11.0, 0.4),
    "wall_w_k": Guess(12.0, 0.4),
    "room_w_k": Guess(1.4, 0.35),
    "wall_j_k": Guess(15_000.0, 0.5),
    "evaporator_j_k": Guess(3200.0, 0.5),
    "strap": Guess(0.1, 1.0),
}
_VESSEL_GUESSES = {
    "flow_w_k": Guess(100.0, 0.4),
    "jacket_j_k": Guess(5000.0, 0.5),
    "room_w_k": Guess(1.2, 0.35),
}


def air_row(p: Parameters, mode: Mode) -> Array:
    """Reads a cabinet's air off a state: the mean of what it touches, by conductance."""
    moved = 1.0 if mode[2] else STILL_AIR
    vessel, coil, wall = p["vessel_w_k"] * moved, p["evaporator_w_k"] * moved, p["wall_w_k"]
    loose = 1.0 - min(MOST_STRAP, p["strap"])
    row = vessel * _EYE[OUTER] + wall * _EYE[WALL] + coil * _EYE[EVAPORATOR] + loose * _EYE[ELEMENT]
    return np.asarray(row / (vessel + coil + wall))


def _cabinet(volume_l: float, strapped: bool) -> Callable[[Parameters, Mode], Array]:
    def rates(p: Parameters, mode: Mode) -> Array:
        air, moved = air_row(p, mode), 1.0 if mode[2] else STILL_AIR
        out = _common(p, mode, volume_l, 0.85 * _EYE[OUTER] + 0.15 * air if strapped else _EYE[CORE])
        outer_j_k = volume_l * BEER_J_L_K * OUTER_SHARE
        out[OUTER] += p["vessel_w_k"] * moved / outer_j_k * (air - _EYE[OUTER])
        out[OUTER, ELEMENT] += min(MOST_STRAP, p["strap"]) / outer_j_k
        into_wall = p["wall_w_k"] * (air - _EYE[WALL]) + p["room_w_k"] * (_EYE[ROOM] - _EYE[WALL])
        out[WALL] = into_wall / p["wall_j_k"]
        drawn = mode[0] * p["cooling_w"] * (_EYE[ONE] + CAPACITY_PER_K * (_EYE[EVAPORATOR] + 10.0 * _EYE[ONE]))
        out[EVAPORATOR] = (p["evaporator_w_k"] * moved * (air - _EYE[EVAPORATOR]) - drawn) / p["evaporator_j_k"]
        return out

    return rates


def _vessel(volume_l: float, strapped: bool) -> Callable[[Parameters, Mode], Array]:
    wall = 0.8 * _EYE[OUTER] + 0.1 * _EYE[JACKET] + 0.1 * _EYE[ROOM]

    def rates(p: Parameters, mode: Mode) -> Array:
        out = _common(p, mode, volume_l, wall if strapped else _EYE[CORE])
        from_jacket = p["jacket_w_k"] * (_EYE[JACKET] - _EYE[OUTER])
        into_outer = from_jacket + p["room_w_k"] * (_EYE[ROOM] - _EYE[OUTER]) + _EYE[ELEMENT]
        out[OUTER] += into_outer / (volume_l * BEER_J_L_K * OUTER_SHARE)
        flow = mode[0] * p["flow_w_k"] * (_EYE[BATH] - _EYE[JACKET])
        out[JACKET] = (flow - from_jacket) / p["jacket_j_k"]
        return out

    return rates


def _common(p: Parameters, mode: Mode, volume_l: float, seen: Array) -> Array:
    """Beer, heater and probe, which every kind has; `seen` is what the beer probe touches."""
    rates = np.zeros((STATES, STATES))
    whole = volume_l * BEER_J_L_K
    across = p["mixing_w_k"] * (_EYE[OUTER] - _EYE[CORE])
    rates[CORE] = (across + _EYE[YEAST]) / (whole * (1.0 - OUTER_SHARE))
    rates[OUTER] = -across / (whole * OUTER_SHARE)
    rates[ELEMENT] = (mode[1] * p["heater_w"] * _EYE[ONE] - _EYE[ELEMENT]) / p["heater_s"]
    rates[PROBE] = (seen - _EYE[PROBE]) / p["probe_s"]
    return rates


def exponential(rates: Array, seconds: float) -> Array:
    """exp(rates * seconds) of one matrix or a stack, where the fastest rate times `seconds` is about one or less."""
    scaled = rates * (seconds / 8.0)
    eye = np.eye(rates.shape[-1])
    term = eye + scaled / 4.0
    for order in (3.0, 2.0, 1.0):
        term = eye + scaled @ term / order
    for _ in range(3):
        term = term @ term
    return np.asarray(term)
