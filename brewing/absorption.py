"""How long beer takes to take up gas, and what the quick ways risk.

Caution: never exceed the pressure rating of the keg, its relief valve or the fittings, and never carbonate in glass.
"""

import math
from typing import NamedTuple

from brewing import solubility
from brewing.errors import OutOfRange, check

_DAY = 86_400.0


class Method(NamedTuple):
    """A way to carbonate: how much of the gap to equilibrium closes in a day, and how long it customarily takes.

    Rates and customs are common practice without a source.
    """

    slowest_per_day: float
    fastest_per_day: float
    customary: str
    how: str
    risk: str


METHODS = {
    "set and wait": Method(
        0.30, 0.45, "7-14 d", "hold the serving pressure at serving temperature", "none: it cannot overshoot"
    ),
    "high pressure start": Method(
        0.30,
        0.45,
        "2-4 d",
        "hold a higher pressure for a time, then the serving pressure",
        "overshoots when left too long",
    ),
    "shaken keg": Method(
        12.0, 36.0, "1-6 h", "rock the keg under pressure", "foam in the gas line, overshoots within minutes"
    ),
    "porous stone": Method(
        2.0, 12.0, "6-36 h", "bubble the gas through a sintered stone", "foam, lost aroma; the stone must be sterile"
    ),
}


def slab_saturation(fourier: float) -> float:
    """Mean saturation, 0 to 1, of still liquid fed from one face; `fourier` is diffusivity x time / depth squared.

    Crank, The Mathematics of Diffusion, plane sheet: the series from 0.05 upwards, its short-time limit below.
    """
    fourier = check("fourier", fourier, 0.0, 1e6, "")
    if fourier < 0.05:
        return 2.0 * math.sqrt(fourier / math.pi)
    odd = [(2 * k + 1) * math.pi / 2 for k in range(12)]
    return 1.0 - sum(2.0 / root**2 * math.exp(-(root**2) * fourier) for root in odd)


def diffusion_time(depth_m: float, temperature_c: float, saturation: float = 0.9) -> float:
    """Seconds for diffusion alone to bring still beer of that depth to that mean saturation (0.001 to 0.999), +/-10 %.

    Years for a keg: practice is faster because liquid that has taken up gas is denser and sinks.
    """
    depth_m = check("depth_m", depth_m, 1e-4, 10.0, "m")
    wanted = check("saturation", saturation, 0.001, 0.999, "")
    low, high = 0.0, 4.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if slab_saturation(middle) < wanted else (low, middle)
    return high * depth_m**2 / solubility.diffusivity(temperature_c)


def volumes_after(time_s: float, rate_per_day: float, start_volumes: float, equilibrium_volumes: float) -> float:
    """Volumes after a time at constant pressure and temperature: the gap closes exponentially (two-film absorption).

    `rate_per_day` is fitted, 0.3 to 0.45 for a keg left alone, about 24 when shaken (see METHODS). Works for loss as
    well.
    """
    time_s = check("time_s", time_s, 0.0, 1e9, "s")
    rate = check("rate_per_day", rate_per_day, 0.0, 1000.0, "1/d")
    start, end = _gas("start_volumes", start_volumes), _gas("equilibrium_volumes", equilibrium_volumes)
    return end - (end - start) * math.exp(-rate * time_s / _DAY)


def time_to_close(fraction: float, rate_per_day: float) -> float:
    """Seconds until that fraction (0 to below 1) of the gap to equilibrium is closed."""
    fraction = check("fraction", fraction, 0.0, 1.0 - 1e-9, "", "equilibrium itself is never quite reached")
    return -math.log1p(-fraction) / check("rate_per_day", rate_per_day, 1e-3, 1000.0, "1/d") * _DAY


def time_to_volumes(
    target_volumes: float, rate_per_day: float, start_volumes: float, equilibrium_volumes: float
) -> float:
    """Seconds until the beer holds the target; OutOfRange names `target_volumes` unless it lies before equilibrium."""
    start, end = _gas("start_volumes", start_volumes), _gas("equilibrium_volumes", equilibrium_volumes)
    target = check("target_volumes", target_volumes, min(start, end), max(start, end), "vol")
    if target == start:
        return 0.0
    if target == end:
        raise OutOfRange(
            "target_volumes", target, min(start, end), max(start, end), "vol", "equilibrium is never reached"
        )
    return time_to_close((target - start) / (end - start), rate_per_day)


def overshoot_per_hour(rate_per_day: float, start_volumes: float, equilibrium_volumes: float) -> float:
    """Volumes an hour by which a quick method goes on past a target of `start_volumes`: how costly forgetting it
    is.
    """
    return volumes_after(3600.0, rate_per_day, start_volumes, equilibrium_volumes) - start_volumes


def _gas(argument: str, volumes: float) -> float:
    return check(argument, volumes, 0.0, 12.0, "vol")
