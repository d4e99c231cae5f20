"""Moist air: when a cold surface sweats, and what air carries in through a door.

ASHRAE Handbook Fundamentals 2017, chapter 1, equations 5 and 6: saturation over water above 0.01 degC and over ice
below, so that below freezing the dew point of these functions is the frost point. Magnus (WMO) stays over water:
within 0.04 K above 0 degC, about a tenth further from zero below it.
"""

import math
from typing import NamedTuple

from brewing.atmosphere import STANDARD_PA
from brewing.errors import OutOfRange, check

LOWEST_C, HIGHEST_C = -40.0, 60.0
_TRIPLE_C = 0.01
_KELVIN = 273.15
_MOLAR_RATIO = 0.621945
_DRY_AIR_GAS_CONSTANT = 287.042  # J/(kg K)
_MAGNUS_A, _MAGNUS_B, _MAGNUS_C = 17.62, 243.12, 611.2

_OVER_ICE = (-5.6745359e3, 6.3925247, -9.677843e-3, 6.2215701e-7, 2.0747825e-9, -9.484024e-13, 4.1635019)
_OVER_WATER = (-5.8002206e3, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 0.0, 6.5459673)


class Air(NamedTuple):
    """A state of moist air; `humidity` is relative, 0 to 1."""

    temperature_c: float
    humidity: float
    pressure_pa: float = STANDARD_PA


def saturation_pressure(temperature_c: float) -> float:
    """Pa of water vapour at saturation, -40 to 60 degC: over ice below 0.01 degC, over water above."""
    temperature = check("temperature_c", temperature_c, LOWEST_C, HIGHEST_C, "degC")
    kelvin = temperature + _KELVIN
    lead, *powers, logarithm = _OVER_ICE if temperature <= _TRIPLE_C else _OVER_WATER
    exponent = lead / kelvin + sum(c * kelvin**n for n, c in enumerate(powers)) + logarithm * math.log(kelvin)
    return math.exp(exponent)


def vapour_pressure(air: Air) -> float:
    """Pa of water vapour in that air; relative humidity 0 to 1."""
    check("pressure_pa", air.pressure_pa, 20_000.0, 110_000.0, "Pa")
    return check("humidity", air.humidity, 0.0, 1.0, "") * saturation_pressure(air.temperature_c)


def dew_point(temperature_c: float, humidity: float) -> float:
    """degC at which that air begins to drop water, or rime below 0 degC (frost point). Air -40 to 60 degC, humidity
    above 0.

    Raises OutOfRange when the dew point would lie below -40 degC.
    """
    vapour = vapour_pressure(Air(temperature_c, humidity))
    least = saturation_pressure(LOWEST_C)
    if vapour < least:
        raise OutOfRange(
            "humidity", humidity, least / saturation_pressure(temperature_c), 1.0, "", "drier than tabulated"
        )
    low, high = LOWEST_C, temperature_c
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if saturation_pressure(middle) < vapour else (low, middle)
    return (low + high) / 2


def dew_point_magnus(temperature_c: float, humidity: float) -> float:
    """Dew point over water in degC by Magnus with the WMO constants (from memory), 0 to 60 degC, humidity 0.01 to
    1.
    """
    temperature = check("temperature_c", temperature_c, 0.0, 60.0, "degC")
    share = check("humidity", humidity, 0.01, 1.0, "")
    g = math.log(share) + _MAGNUS_A * temperature / (_MAGNUS_B + temperature)
    return _MAGNUS_B * g / (_MAGNUS_A - g)


def humidity_ratio(air: Air) -> float:
    """kg of vapour per kg of dry air."""
    vapour = vapour_pressure(air)
    return _MOLAR_RATIO * vapour / (air.pressure_pa - vapour)


def enthalpy(air: Air) -> float:
    """J per kg of dry air, zero for dry air at 0 degC."""
    return 1000.0 * (1.006 * air.temperature_c + humidity_ratio(air) * (2501.0 + 1.86 * air.temperature_c))


def density(air: Air) -> float:
    """kg of moist air per m3."""
    ratio = humidity_ratio(air)
    kelvin = air.temperature_c + _KELVIN
    specific_volume = _DRY_AIR_GAS_CONSTANT * kelvin * (1.0 + 1.607858 * ratio) / air.pressure_pa
    return (1.0 + ratio) / specific_volume


def condenses(air: Air, surface_c: float) -> bool:
    """Whether a surface that cold gets wet, or frosted below 0 degC."""
    surface = check("surface_c", surface_c, LOWEST_C, HIGHEST_C, "degC")
    return saturation_pressure(surface) < vapour_pressure(air)


def driest_surface(air: Air, margin_k: float = 1.0) -> float:
    """Coldest surface in degC that stays dry with that margin (0 to 10 K) for uneven temperatures and sensor error."""
    vapour_pressure(air)  # refuses a state that is none
    return dew_point(air.temperature_c, air.humidity) + check("margin_k", margin_k, 0.0, 10.0, "K")
