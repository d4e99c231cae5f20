"""An open door: air that falls out, heat that comes in.

Gosney & Olama 1975, as printed for refrigerated rooms: 0.221 A (1 - ro/ri)^0.5 (g H)^0.5 Fm. Within 20 %, and only
while cold air remains: a cabinet empties in seconds, so the heat is capped at one change of its air (and its walls,
which this leaves out). Tens of kilojoules against the megajoules of a crash: the air jumps, the beer hardly moves.
"""

import math
from typing import NamedTuple

from brewing import psychrometrics
from brewing.errors import OutOfRange, check
from brewing.psychrometrics import Air

GRAVITY = 9.80665


class Doorway(NamedTuple):
    """The opening: area in m2, height in m."""

    area_m2: float
    height_m: float


def exchange(doorway: Doorway, inside: Air, outside: Air) -> float:
    """m3/s of cold air that leaves through a fully open door. `inside` must be the denser, so colder, air."""
    area = check("area_m2", doorway.area_m2, 0.001, 50.0, "m2")
    height = check("height_m", doorway.height_m, 0.05, 10.0, "m")
    dense, light = psychrometrics.density(inside), psychrometrics.density(outside)
    if light > dense:
        limit = outside.temperature_c
        raise OutOfRange("inside", inside.temperature_c, -40.0, limit, "degC", "air falls out only of the colder side")
    shape = math.pow(2.0 / (1.0 + math.cbrt(dense / light)), 1.5)
    return 0.221 * area * math.sqrt((1.0 - light / dense) * GRAVITY * height) * shape


def heat_rate(doorway: Doorway, inside: Air, outside: Air) -> float:
    """W that enter while cold air still falls out."""
    carried = psychrometrics.enthalpy(outside) - psychrometrics.enthalpy(inside)
    return exchange(doorway, inside, outside) * psychrometrics.density(inside) * carried


def air_change_heat(volume_m3: float, inside: Air, outside: Air) -> float:
    """J that one complete change of the chamber's air brings in."""
    volume = check("volume_m3", volume_m3, 0.001, 10_000.0, "m3")
    carried = psychrometrics.enthalpy(outside) - psychrometrics.enthalpy(inside)
    return volume * psychrometrics.density(inside) * carried


def heat(open_s: float, volume_m3: float, doorway: Doorway, inside: Air, outside: Air) -> float:
    """J that one opening of that length brings in, never more than one change of air."""
    open_s = check("open_s", open_s, 0.0, 1e6, "s")
    return min(open_s * heat_rate(doorway, inside, outside), air_change_heat(volume_m3, inside, outside))
