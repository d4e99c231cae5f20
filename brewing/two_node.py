"""A bath and the beer it cools, exchanging heat with each other and with the room: the linear model solved in closed
form.
"""

import math
from typing import NamedTuple

from brewing.errors import OutOfRange, check
from brewing.thermal import Mass


class Pair(NamedTuple):
    """Two masses and what joins them, in W/K, and constant powers in W (`chill_w` out of the bath, `beer_heat_w` into
    the beer).
    """

    bath: Mass
    beer: Mass
    ua_bath_beer: float
    ua_bath_room: float = 0.0
    ua_beer_room: float = 0.0
    room_c: float = 20.0
    chill_w: float = 0.0
    beer_heat_w: float = 0.0


class Temperatures(NamedTuple):
    """degC of both."""

    bath_c: float
    beer_c: float


def after(pair: Pair, start: Temperatures, time_s: float) -> Temperatures:
    """Both temperatures after a time of constant powers, no ice: eigen solution, exact for the model."""
    time_s = check("time_s", time_s, 0.0, 1e9, "s")
    (a11, a12, a21, a22), drive = _system(pair)
    room = check("room_c", pair.room_c, -60.0, 120.0, "degC")
    bath = check("bath_c", start.bath_c, -60.0, 120.0, "degC")
    beer = check("beer_c", start.beer_c, -60.0, 120.0, "degC")
    x = (bath - room, beer - room)
    mean, half = (a11 + a22) / 2.0, (a11 - a22) / 2.0
    spread = math.sqrt(half * half + a12 * a21)
    bath = beer = room
    for rate, sign in ((mean + spread, 1.0), (mean - spread, -1.0)):
        grow, gather = _decay(rate, time_s)
        for_x, for_drive = (
            _project((half, a12, a21), spread * sign, x),
            _project((half, a12, a21), spread * sign, drive),
        )
        bath += grow * for_x[0] + gather * for_drive[0]
        beer += grow * for_x[1] + gather * for_drive[1]
    return Temperatures(bath, beer)


def time_to_reach(pair: Pair, start: Temperatures, beer_c: float, most_s: float = 14 * 86_400.0) -> float:
    """s until the beer first is as cold as `beer_c`; OutOfRange names `beer_c`, with the coldest it gets, when it
    never is.

    Looked for within `most_s` (two weeks), to a second.
    """
    target = check("beer_c", beer_c, -60.0, 120.0, "degC")
    if after(pair, start, 0.0).beer_c <= target:
        return 0.0
    steps = 400
    marks = [most_s * (n / steps) ** 3 for n in range(steps + 1)]
    coldest = start.beer_c
    for early, late in zip(marks, marks[1:], strict=False):
        reached = after(pair, start, late).beer_c
        coldest = min(coldest, reached)
        if reached <= target:
            return _crossing(pair, start, target, early, late)
    raise OutOfRange(
        "beer_c", target, coldest, start.beer_c, "degC", "it is never reached: more chill, colder bath, less room"
    )


def _system(pair: Pair) -> tuple[tuple[float, float, float, float], tuple[float, float]]:
    """Rates in 1/s about the room temperature, and the powers' push in K/s."""
    joint = check("ua_bath_beer", pair.ua_bath_beer, 1e-4, 1e6, "W/K")
    bath, beer = pair.bath.capacity, pair.beer.capacity
    bath_loss = joint + check("ua_bath_room", pair.ua_bath_room, 0.0, 1e6, "W/K")
    beer_loss = joint + check("ua_beer_room", pair.ua_beer_room, 0.0, 1e6, "W/K")
    rates = (-bath_loss / bath, joint / bath, joint / beer, -beer_loss / beer)
    chill, heat = check("chill_w", pair.chill_w, -1e6, 1e6, "W"), check("beer_heat_w", pair.beer_heat_w, -1e6, 1e6, "W")
    return rates, (-chill / bath, heat / beer)


def _project(form: tuple[float, float, float], root: float, x: tuple[float, float]) -> tuple[float, float]:
    """The part of x along the eigenvector of mean + root."""
    half, a12, a21 = form
    return (
        ((root + half) * x[0] + a12 * x[1]) / (2.0 * root),
        (a21 * x[0] + (root - half) * x[1]) / (2.0 * root),
    )


def _decay(rate: float, time_s: float) -> tuple[float, float]:
    """e^(rt) and its integral from 0 to t, sound for a rate of zero."""
    exponent = rate * time_s
    gather = time_s if abs(exponent) < 1e-12 else math.expm1(exponent) / rate
    return math.exp(exponent), gather


def _crossing(pair: Pair, start: Temperatures, target: float, early: float, late: float) -> float:
    while late - early > 0.5:
        middle = (early + late) / 2.0
        early, late = (early, middle) if after(pair, start, middle).beer_c <= target else (middle, late)
    return late
