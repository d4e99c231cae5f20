"""The published kinetics of one industrial lager yeast, 8-14 degC: the shape and the timing, never the alcohol.

de Andres-Toro et al. 1998, Mathematics and Computers in Simulation 48, parameters as in six of seven public copies.
It is not mass consistent: it makes 0.30 g of ethanol from a gram of sugar at 8 degC and 0.46 g at 14 degC, and 1.24 g
at 20 degC, where 0.511 g is all there can be. `fermentation` keeps its balances; this is a second opinion on when.
"""

from math import exp
from typing import NamedTuple

from brewing.errors import check

LOWEST_C, HIGHEST_C = 8.0, 14.0
_STEP_H = 0.1
_DIACETYL_FORMED, _DIACETYL_REDUCED = 0.000127672, 0.00113864

# rates as exp(a + b / kelvin), per hour
_ARRHENIUS = {
    "growth": (108.31, -31934.09),
    "ester": (89.92, -26589.0),
    "uptake": (-41.92, 11654.64),
    "wake": (30.72, -9501.54),
    "death": (130.16, -38313.0),
    "settle": (33.82, -10033.28),
    "ethanol": (3.27, -1267.24),
    "affinity": (-119.63, 34203.95),
}


class State(NamedTuple):
    """g/L of yeast (active, lagging, dead and not settled), sugar and ethanol; mg/L of diacetyl and ethyl acetate."""

    active: float
    lagging: float
    dead: float
    sugar: float
    ethanol: float
    diacetyl: float = 0.0
    ethyl_acetate: float = 0.0


PITCHED = State(active=0.08, lagging=1.92, dead=2.0, sugar=130.0, ethanol=0.0)
"""The published run: 4 g/L of yeast, half of it dead and most of the rest asleep, in wort with 130 g/L of sugar."""


def after(time_h: float, temperature_c: float, start: State = PITCHED, *, extrapolate: bool = False) -> State:
    """The state after so many hours at a steady temperature, by Runge-Kutta steps of 0.1 h.

    8-14 degC; `extrapolate` allows 4-24 degC, where the ethanol is nonsense. Diacetyl is total vicinal diketones.
    """
    hours = check("time_h", time_h, 0.0, 2000.0, "h")
    low, high = (4.0, 24.0) if extrapolate else (LOWEST_C, HIGHEST_C)
    kelvin = check("temperature_c", temperature_c, low, high, "degC", "use fermentation.course") + 273.15
    rates = {name: exp(a + b / kelvin) for name, (a, b) in _ARRHENIUS.items()}
    half = 0.5 * check("sugar", start.sugar, 1.0, 300.0, "g/L")
    steps = max(1, round(hours / _STEP_H)) if hours else 0
    state: tuple[float, ...] = start
    for _ in range(steps):
        state = _runge_kutta(state, hours / steps, rates, half)
    return State(*state)


def _runge_kutta(state: tuple[float, ...], step: float, rates: dict[str, float], half: float) -> tuple[float, ...]:
    k1 = _slopes(state, rates, half)
    k2 = _slopes(_moved(state, k1, step / 2.0), rates, half)
    k3 = _slopes(_moved(state, k2, step / 2.0), rates, half)
    k4 = _slopes(_moved(state, k3, step), rates, half)
    return tuple(x + step / 6.0 * (a + 2.0 * (b + c) + d) for x, a, b, c, d in zip(state, k1, k2, k3, k4, strict=True))


def _moved(state: tuple[float, ...], slopes: tuple[float, ...], step: float) -> tuple[float, ...]:
    return tuple(x + step * slope for x, slope in zip(state, slopes, strict=True))


def _slopes(state: tuple[float, ...], rates: dict[str, float], half: float) -> tuple[float, ...]:
    active, lagging, dead, sugar, ethanol, diacetyl, _ = state
    growth = rates["growth"] * sugar / (half + ethanol) * active
    feeding = sugar / (rates["affinity"] + sugar) * active
    dying, waking = rates["death"] * active, rates["wake"] * lagging
    return (
        growth - dying + waking,
        -waking,
        dying - rates["settle"] * half / (half + ethanol) * dead,
        -rates["uptake"] * feeding,
        (1.0 - ethanol / half) * rates["ethanol"] * feeding,
        _DIACETYL_FORMED * sugar * active - _DIACETYL_REDUCED * diacetyl * ethanol,
        rates["ester"] * growth,
    )
