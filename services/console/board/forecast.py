"""How warm the beer will likely be: it follows what is wanted as fast as this chamber has shown it can.

The band is an 80 % interval: it begins with how well the beer is known now, widens to how far from wanted it has been
while holding, and takes in the earliest and latest times of the steps ahead.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp

import numpy as np

from services.console.board.curve import Curve
from services.console.board.programme import Corner, value_at
from services.console.board.window import HOUR_MS, Window

POINTS = 160
Z_80 = 1.2816
"""Half the width of a normal 80 % interval, in standard deviations."""
WIDENS_OVER_H = 6.0
LEAST_SD_K = 0.05
USUAL_RATE_K_PER_H = 0.8
"""Of a full carboy in a fridge, until the chamber has shown its own (common practice, no source)."""
_RATE_OVER_MS = 3 * HOUR_MS
_SLOW = 0.15


@dataclass(frozen=True, slots=True)
class Pace:
    """How fast a chamber falls and rises, kelvins an hour, and how far from wanted it strays while holding."""

    fall: float = USUAL_RATE_K_PER_H
    rise: float = USUAL_RATE_K_PER_H
    stray_k: float = 0.1


@dataclass(frozen=True, slots=True)
class Forecast:
    """Points in time with the likely value and its range, degC."""

    at_ms: list[int]
    likely: list[float]
    low: list[float]
    high: list[float]


Paths = tuple[Sequence[Corner], Sequence[Corner], Sequence[Corner]]
"""What is wanted by likely, earliest and latest times."""


def pace(beer: Curve, wanted: Curve) -> Pace:
    """Learnt from what is in view; what has not been seen keeps its usual value."""
    if len(beer) < 8:
        return Pace()
    step = max(1, round(_RATE_OVER_MS / max(1, beer.bucket_ms)))
    if step >= len(beer):
        return Pace(stray_k=_stray(beer, wanted))
    hours = (beer.at_ms[step:] - beer.at_ms[:-step]) / HOUR_MS
    rates = (beer.mean[step:] - beer.mean[:-step]) / hours
    fall, rise = -float(np.min(rates)), float(np.max(rates))
    return Pace(
        fall if fall > _SLOW else USUAL_RATE_K_PER_H, rise if rise > _SLOW else USUAL_RATE_K_PER_H, _stray(beer, wanted)
    )


def foresee(beer_c: float, sd_k: float, paths: Paths, chamber: Pace, window: Window, now_ms: int) -> Forecast:
    """From now to the window's end; nothing when that is past."""
    times = _times(paths[0], window, now_ms)
    walks = [_walk(beer_c, corners, chamber, times) for corners in paths]
    likely = walks[0]
    low, high = np.min(walks, axis=0), np.max(walks, axis=0)
    spread = [Z_80 * _spread(sd_k, chamber.stray_k, (at - now_ms) / HOUR_MS) for at in times]
    return Forecast(times, list(likely), (low - spread).tolist(), (high + spread).tolist())


def _stray(beer: Curve, wanted: Curve) -> float:
    off = beer.minus(wanted)
    if len(off) < 8:
        return 0.1
    near = off.mean[np.abs(off.mean) < 1.0]
    return max(LEAST_SD_K, float(np.sqrt(np.mean(near**2)))) if len(near) else 0.1


def _times(corners: Sequence[Corner], window: Window, now_ms: int) -> list[int]:
    if window.end_ms <= now_ms:
        return []
    even = np.linspace(now_ms, window.end_ms, POINTS).round().astype(np.int64).tolist()
    return sorted({*even, *(at for at, _ in corners if now_ms < at < window.end_ms)})


def _walk(beer_c: float, corners: Sequence[Corner], chamber: Pace, times: Sequence[int]) -> list[float]:
    """Towards what is wanted at each moment, no faster than the chamber goes."""
    found, value = [], beer_c
    for before, at in zip([times[0], *times] if times else [], times, strict=False):
        hours = (at - before) / HOUR_MS
        target = value_at(corners, at) if corners else beer_c
        value = min(max(target, value - chamber.fall * hours), value + chamber.rise * hours)
        found.append(value)
    return found


def _spread(now_k: float, later_k: float, hours: float) -> float:
    share = 1.0 - exp(-hours / WIDENS_OVER_H)
    return float(np.hypot(now_k, later_k * share) * (1.0 + 0.02 * max(0.0, hours / 24.0)))
