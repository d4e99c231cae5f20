"""What outputs are for, and so what an interlock can keep off."""

from collections.abc import Iterable
from enum import IntFlag
from functools import reduce
from operator import or_

from schemas.plant import Drive


class Bars(IntFlag):
    """What an interlock keeps off. `GAS` is a valve outside a jacketed chamber: the shut-off of the gas."""

    NOTHING = 0
    COOL = 1
    HEAT = 2
    MOVE = 4
    GAS = 8
    STEER = COOL | HEAT
    ALL = COOL | HEAT | MOVE | GAS


def role_of(drive: Drive, kind: str) -> Bars:
    """What an output is for, in a chamber of that kind."""
    if drive in (Drive.PUMP, Drive.VALVE) and kind == "jacketed":
        return Bars.COOL
    return _ROLES[drive]


_ROLES = {
    Drive.COMPRESSOR: Bars.COOL,
    Drive.HEATER: Bars.HEAT,
    Drive.FAN: Bars.MOVE,
    Drive.PUMP: Bars.MOVE,
    Drive.VALVE: Bars.GAS,
}


def all_of(bars: Iterable[Bars]) -> Bars:
    """What they bar together."""
    return reduce(or_, bars, Bars.NOTHING)
