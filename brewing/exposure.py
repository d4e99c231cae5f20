"""Carbon dioxide in the room: limits, and what a leak or a fermentation adds.

Caution: it suffocates and poisons without warning. It is 1.53 times as dense as air, so cellars, pits and cold rooms
fill from the floor: measure low, ventilate low, keep an independent alarm, and never go in after somebody who has
collapsed. Local limits rule. Nothing computed here is a safety device.
"""

import math
from typing import NamedTuple

from brewing.atmosphere import STANDARD_PA
from brewing.carbon_dioxide import gas_density
from brewing.errors import check


class Limit(NamedTuple):
    """ppm by volume, and who says so."""

    ppm: float
    meaning: str
    source: str


_PAGE = "NIOSH IDLH documentation for carbon dioxide (1994)"
LIMITS = {
    "background": Limit(420.0, "outdoor air", "from memory"),
    "osha_pel": Limit(5_000.0, "8 h average, enforceable in the US", f"{_PAGE}; 29 CFR 1910.1000 Table Z-1"),
    "niosh_rel": Limit(5_000.0, "10 h average", _PAGE),
    "acgih_twa": Limit(5_000.0, "8 h average", _PAGE),
    "osha_1989": Limit(10_000.0, "8 h average, vacated, not in force", _PAGE),
    "niosh_stel": Limit(30_000.0, "15 min", _PAGE),
    "acgih_stel": Limit(30_000.0, "15 min", _PAGE),
    "idlh": Limit(40_000.0, "immediately dangerous to life or health", _PAGE),
    "unconsciousness": Limit(100_000.0, "unconscious within minutes (70 000 to 100 000)", _PAGE),
}
LOWEST_OXYGEN_PERCENT = 19.5  # OSHA
DENSITY_RATIO_TO_AIR = 1.527

_LIVED_THROUGH = ("unconsciousness", "idlh", "niosh_stel", "osha_pel")


def milligrams_per_m3(ppm: float) -> float:
    """mg/m3 at 25 degC and 1 atm: 44.01 g/mol in 24.45 L."""
    return check("ppm", ppm, 0.0, 1e6, "ppm") * 44.01 / 24.45


def release(mass_kg: float, room_m3: float, temperature_c: float = 20.0) -> float:
    """ppm added when that much gas escapes into a closed room, well mixed while the excess air leaves.

    Near the floor it is worse. 1 - exp(-V/room), with V by the Span & Wagner density at 1 atm.
    """
    mass = check("mass_kg", mass_kg, 0.0, 1_000.0, "kg")
    room = check("room_m3", room_m3, 0.1, 1e5, "m3")
    return 1e6 * -math.expm1(-mass / gas_density(STANDARD_PA, temperature_c) / room)


def steady_rise(source_kg_s: float, air_changes_per_hour: float, room_m3: float, temperature_c: float = 20.0) -> float:
    """ppm added in the long run by a constant source in a well-mixed, ventilated room: G / (G + Q)."""
    gas = check("source_kg_s", source_kg_s, 0.0, 10.0, "kg/s") / gas_density(STANDARD_PA, temperature_c)
    return 1e6 * gas / (gas + _fresh_air(air_changes_per_hour, room_m3))


def rise_after(
    time_s: float, source_kg_s: float, air_changes_per_hour: float, room_m3: float, temperature_c: float = 20.0
) -> float:
    """ppm added after a time; tends to `steady_rise`. Well mixed: the floor sees more and sooner."""
    gas = check("source_kg_s", source_kg_s, 0.0, 10.0, "kg/s") / gas_density(STANDARD_PA, temperature_c)
    turnover = (gas + _fresh_air(air_changes_per_hour, room_m3)) / room_m3
    settled = -math.expm1(-turnover * check("time_s", time_s, 0.0, 1e9, "s"))
    return steady_rise(source_kg_s, air_changes_per_hour, room_m3, temperature_c) * settled


def air_changes_for(most_ppm: float, source_kg_s: float, room_m3: float, temperature_c: float = 20.0) -> float:
    """Air changes an hour that keep the rise at or below `most_ppm` in the long run."""
    share = check("most_ppm", most_ppm, 1.0, 999_999.0, "ppm") * 1e-6
    gas = check("source_kg_s", source_kg_s, 0.0, 10.0, "kg/s") / gas_density(STANDARD_PA, temperature_c)
    return gas * (1.0 - share) / share / check("room_m3", room_m3, 0.1, 1e5, "m3") * 3600.0


def verdict(ppm: float) -> str:
    """The gravest limit that a concentration reaches, in words; empty below all of them."""
    ppm = check("ppm", ppm, 0.0, 1e6, "ppm")
    for name in _LIVED_THROUGH:
        if ppm >= LIMITS[name].ppm:
            return LIMITS[name].meaning
    return ""


def _fresh_air(air_changes_per_hour: float, room_m3: float) -> float:
    changes = check("air_changes_per_hour", air_changes_per_hour, 0.0, 100.0, "1/h")
    return check("room_m3", room_m3, 0.1, 1e5, "m3") * changes / 3600.0
