"""What is asked of a chamber, and how far its limits let it go."""

from datetime import datetime
from typing import NamedTuple

from brewing.coolant import Glycol, freezing_point
from schemas.control import Setpoint
from schemas.plant import Chamber, Coolant, Plant
from services.supervisor.gauges import FROM_THE_FUTURE

WATER_FREEZES_C = 0.0
COOLANT_MARGIN_K = 2.0
"""A bath's floor above its coolant's freezing point; the evaporator is colder than the bath by more than that."""
AIM_ABOVE_FLOOR_K = {"reservoir": 1.0}
AIM_ABOVE_BEER_FLOOR_K = 0.3
"""Control swings about its setpoint; with a setpoint on the floor itself it would trip the interlock at every turn."""
HOLDS_C = {"reservoir": 12.0}
"""A bath that nobody asks anything of may idle this warm."""


class Bounds(NamedTuple):
    """Temperatures in degC: where the contents freeze, where cooling is cut, and between which setpoints are held."""

    freezes_at_c: float
    floor_c: float
    lowest_setpoint_c: float
    ceiling_c: float


class Asked:
    """The setpoint in force. A person's own lapses at its time, and what was programmed before holds again."""

    def __init__(self, setpoint: Setpoint | None = None, programmed: Setpoint | None = None) -> None:
        self.setpoint = setpoint
        self.programmed = programmed

    def take(self, setpoint: Setpoint, now: datetime) -> bool:
        """Takes a setpoint in, unless it is from the future or older than the one in force; says whether it did."""
        latest, held = now + FROM_THE_FUTURE, self.setpoint
        if setpoint.at > latest or (held is not None and setpoint.at < held.at <= latest):
            return False
        self.setpoint = setpoint
        if setpoint.expires is None:
            self.programmed = setpoint
        return True

    def current(self, now: datetime) -> Setpoint | None:
        """What holds now; held on to for as long as nobody says otherwise."""
        held = self.setpoint
        if held is not None and held.expires is not None and held.expires <= now:
            return self.programmed
        return held


def temperature(asked: Setpoint | None, chamber: Chamber) -> float | None:
    """What is asked for in degC: by the scheduler, else by the plant file; None when by nobody."""
    if asked is not None:
        return asked.temperature_c
    return chamber.hold_c if chamber.hold_c is not None else HOLDS_C.get(chamber.kind)


def bounds(chamber: Chamber, asked: Setpoint | None) -> Bounds:
    """How far this chamber may go. Beer whose freezing point nobody has said is taken to freeze at the lowest allowed.

    Never above 0 degC, whatever a setpoint says of it.
    """
    limits = chamber.limits
    if chamber.kind == "reservoir":
        freezes_c, margin_k = coolant_freezes_at(chamber), max(COOLANT_MARGIN_K, limits.freezing_margin_k)
    else:
        said_c = asked.freezes_at_c if asked is not None and asked.freezes_at_c is not None else limits.lowest_c
        freezes_c, margin_k = min(said_c, WATER_FREEZES_C), limits.freezing_margin_k
    floor_c = max(limits.lowest_c, freezes_c + margin_k)
    aim_k = AIM_ABOVE_FLOOR_K.get(chamber.kind, AIM_ABOVE_BEER_FLOOR_K)
    return Bounds(floor_c - margin_k, floor_c, floor_c + aim_k, limits.highest_c)


def coolant_freezes_at(chamber: Chamber) -> float:
    """degC; a bath of which the plant file does not say what is in it is taken to be water."""
    coolant = chamber.contents.coolant or Coolant()
    if coolant.ethylene_glycol_percent > 0.0:
        return freezing_point(coolant.ethylene_glycol_percent / 100.0, Glycol.ETHYLENE)
    return freezing_point(coolant.propylene_glycol_percent / 100.0) if coolant.propylene_glycol_percent else 0.0


def source_of(plant: Plant, chamber: Chamber) -> str | None:
    """The name of the reservoir that a jacketed vessel draws on; None for the other kinds."""
    return chamber.cooled_by if chamber.kind == "jacketed" else None
