"""The air above the brewery: what a gauge leaves out."""

import math

from brewing.errors import check

STANDARD_PA = 101_325.0

_EARTH_M = 6_356_766.0


def pressure_at_altitude(altitude_m: float) -> float:
    """Mean atmospheric pressure in Pa for -500 to 11 000 m.

    US Standard Atmosphere 1976, closed form of its lowest layer; weather moves the real value by about 2 kPa either
    way.
    """
    altitude_m = check("altitude_m", altitude_m, -500.0, 11_000.0, "m")
    geopotential_m = altitude_m * _EARTH_M / (_EARTH_M + altitude_m)
    return STANDARD_PA * math.pow(1.0 - 2.25577e-5 * geopotential_m, 5.25588)


def absolute_pressure(gauge_pa: float, atmosphere_pa: float = STANDARD_PA) -> float:
    """Pressure above vacuum in Pa; solubility and gas density need this one, never the gauge reading."""
    atmosphere_pa = check("atmosphere_pa", atmosphere_pa, 20_000.0, 110_000.0, "Pa")
    return atmosphere_pa + check("gauge_pa", gauge_pa, -atmosphere_pa, 40e6, "Pa")


def gauge_pressure(absolute_pa: float, atmosphere_pa: float = STANDARD_PA) -> float:
    """What a gauge standing in that atmosphere shows, in Pa."""
    atmosphere_pa = check("atmosphere_pa", atmosphere_pa, 20_000.0, 110_000.0, "Pa")
    return check("absolute_pa", absolute_pa, 0.0, 40e6, "Pa") - atmosphere_pa


def gauge_to_add(atmosphere_pa: float) -> float:
    """Pa to add to a sea-level gauge setting so that the beer holds the same volumes of CO2 in thinner air."""
    return STANDARD_PA - check("atmosphere_pa", atmosphere_pa, 20_000.0, 110_000.0, "Pa")
