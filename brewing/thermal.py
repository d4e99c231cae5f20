"""Heat in and out of chambers and beer: balances, cooling loads, and how long a crash takes.

Lumped: one temperature for the whole vessel, right when it is stirred or small and within 10 to 20 % for a still one
(colder at the wall, and below 4 degC colder at the top). Two nodes: a bath and a beer that warm each other. Sensible
heat only: no ice.
"""

import math
from typing import NamedTuple

from brewing.errors import OutOfRange, check

BEER_SPECIFIC_HEAT = 4_050.0  # J/(kg K), widely quoted, +/-3 %
POLYURETHANE_CONDUCTIVITY = 0.024  # W/(m K); 0.020 fresh to 0.028 aged
CRASH_C = 0.5  # near freezing, 0 to 2 degC: common practice, no source
CRASH_HOLD_S = 24 * 3600.0  # common practice, no source
STILL_AIR_FILM = 8.0  # W/(m2 K)
_COLDEST, _WARMEST = -60.0, 120.0


class Mass(NamedTuple):
    """Something that holds heat: kg and J/(kg K)."""

    kg: float
    specific_heat: float = BEER_SPECIFIC_HEAT

    @property
    def capacity(self) -> float:
        """J/K; raises OutOfRange outside 1 g to 100 t and 100 to 10 000 J/(kg K)."""
        kg = check("kg", self.kg, 0.001, 1e5, "kg")
        return kg * check("specific_heat", self.specific_heat, 100.0, 10_000.0, "J/(kg K)")


def sugar_solution_specific_heat(extract: float, temperature_c: float, purity: float = 1.0) -> float:
    """J/(kg K) of wort as a sucrose solution; extract as mass fraction 0 to 0.6, 0 to 100 degC, purity 0 to 1.

    4184 - 2971 B + 460 B P + 7.5 B T, sugar technology's formula (Llano 2005).
    """
    b = check("extract", extract, 0.0, 0.6, "")
    t = check("temperature_c", temperature_c, 0.0, 100.0, "degC")
    return 4184.0 + b * (-2971.0 + 460.0 * check("purity", purity, 0.0, 1.0, "") + 7.5 * t)


def sensible_heat(mass: Mass, from_c: float, to_c: float) -> float:
    """J to remove (positive) or add (negative) between two temperatures, no ice."""
    return mass.capacity * (_celsius("from_c", from_c) - _celsius("to_c", to_c))


def cooling_load(mass: Mass, from_c: float, to_c: float, duration_s: float) -> float:
    """Mean W that a crash of that length takes out of the beer, beside whatever leaks in."""
    return sensible_heat(mass, from_c, to_c) / check("duration_s", duration_s, 1.0, 1e8, "s")


def time_constant(mass: Mass, ua_w_k: float) -> float:
    """s in which a gap in temperature shrinks to 37 %."""
    return mass.capacity / _ua("ua_w_k", ua_w_k)


def time_to_reach(target_c: float, start_c: float, settles_at_c: float, constant_s: float) -> float:
    """s to the target on the way to where it settles; OutOfRange names `target_c` when it is not between start and
    there.
    """
    start, end = _celsius("start_c", start_c), _asymptote(settles_at_c)
    constant = check("constant_s", constant_s, 1e-3, 1e12, "s")
    target = check("target_c", target_c, min(start, end), max(start, end), "degC", "it is never reached")
    if target == start:
        return 0.0
    if target == end:
        raise OutOfRange("target_c", target, min(start, end), max(start, end), "degC", "it settles there, never quite")
    return constant * math.log((start - end) / (target - end))


def temperature_after(time_s: float, start_c: float, settles_at_c: float, constant_s: float) -> float:
    """degC after a time of lumped cooling or warming (Newton)."""
    start, end = _celsius("start_c", start_c), _asymptote(settles_at_c)
    constant = check("constant_s", constant_s, 1e-3, 1e12, "s")
    return end + (start - end) * math.exp(-check("time_s", time_s, 0.0, 1e10, "s") / constant)


def settles_at(ambient_c: float, ua_w_k: float, cooling_w: float = 0.0, heating_w: float = 0.0) -> float:
    """degC at which constant powers balance what leaks through the walls; may lie below freezing, where beer stops
    it.
    """
    net = check("cooling_w", cooling_w, 0.0, 1e6, "W") - check("heating_w", heating_w, 0.0, 1e6, "W")
    return _celsius("ambient_c", ambient_c) - net / _ua("ua_w_k", ua_w_k)


def crash_time(mass: Mass, start_c: float, target_c: float, ambient_c: float, ua_w_k: float, cooling_w: float) -> float:
    """s to crash with constant cooling power against a warm room; OutOfRange names `target_c` when the power is too
    small.
    """
    end = settles_at(ambient_c, ua_w_k, cooling_w)
    return time_to_reach(target_c, start_c, end, time_constant(mass, ua_w_k))


def between(bath_c: float, room_c: float, room_to_jacket: float) -> float:
    """degC of an idle vessel between its jacket and its room; `room_to_jacket` is UA(room) over UA(jacket), 0 to
    100.
    """
    ratio = check("room_to_jacket", room_to_jacket, 0.0, 100.0, "")
    return (_celsius("bath_c", bath_c) + ratio * _celsius("room_c", room_c)) / (1.0 + ratio)


def mixed_temperature(one: Mass, one_c: float, other: Mass, other_c: float) -> float:
    """degC at which two bodies meet without losses."""
    total = one.capacity + other.capacity
    return (one.capacity * _celsius("one_c", one_c) + other.capacity * _celsius("other_c", other_c)) / total


def wall_transmittance(
    thickness_m: float,
    conductivity: float = POLYURETHANE_CONDUCTIVITY,
    inside_film: float = STILL_AIR_FILM,
    outside_film: float = STILL_AIR_FILM,
) -> float:
    """U in W/(m2 K) of an insulated wall between two air films; real cabinets leak 20 to 50 % more at door and
    edges.
    """
    wall = check("thickness_m", thickness_m, 1e-4, 1.0, "m") / check(
        "conductivity", conductivity, 1e-3, 500.0, "W/(m K)"
    )
    inside = check("inside_film", inside_film, 0.1, 1e5, "W/(m2 K)")
    return 1.0 / (1.0 / inside + wall + 1.0 / check("outside_film", outside_film, 0.1, 1e5, "W/(m2 K)"))


class Balance(NamedTuple):
    """Where a chamber's heat comes from, in W; `spare_w` is cooling power left, negative when it cannot hold."""

    walls_w: float
    fermentation_w: float
    fans_w: float
    doors_w: float
    cooling_w: float

    @property
    def gain_w(self) -> float:
        """All that must be taken out to stand still."""
        return self.walls_w + self.fermentation_w + self.fans_w + self.doors_w

    @property
    def spare_w(self) -> float:
        """Cooling power left for pulling the temperature down."""
        return self.cooling_w - self.gain_w

    @property
    def duty(self) -> float:
        """Share of time that the compressor runs to hold; above 1 it cannot."""
        return self.gain_w / self.cooling_w if self.cooling_w > 0.0 else math.inf


def chamber_balance(
    inside_c: float,
    ambient_c: float,
    ua_w_k: float,
    cooling_w: float,
    fermentation_w: float = 0.0,
    fans_w: float = 0.0,
    door_j_per_hour: float = 0.0,
) -> Balance:
    """Heat balance of a chamber that holds `inside_c`; powers 0 to 1 MW, door heat as in the `door` module."""
    leak = _ua("ua_w_k", ua_w_k) * (_celsius("ambient_c", ambient_c) - _celsius("inside_c", inside_c))
    return Balance(
        walls_w=leak,
        fermentation_w=check("fermentation_w", fermentation_w, 0.0, 1e6, "W"),
        fans_w=check("fans_w", fans_w, 0.0, 1e6, "W"),
        doors_w=check("door_j_per_hour", door_j_per_hour, 0.0, 1e9, "J/h") / 3600.0,
        cooling_w=check("cooling_w", cooling_w, 0.0, 1e6, "W"),
    )


def _celsius(argument: str, temperature_c: float) -> float:
    return check(argument, temperature_c, _COLDEST, _WARMEST, "degC")


def _asymptote(settles_at_c: float) -> float:
    """Where a strong cooler would drive a small mass in the end; far below any real temperature, and never reached."""
    return check("settles_at_c", settles_at_c, -1e9, 1e9, "degC")


def _ua(argument: str, ua_w_k: float) -> float:
    return check(argument, ua_w_k, 1e-4, 1e6, "W/K")
