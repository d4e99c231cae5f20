"""How much carbon dioxide beer holds: temperature, gauge pressure and volumes, each from the other two.

The equilibrium is the trade's chart for a standard beer, as fitted by Hall 1995 (Zymurgy 18(2), from memory). Against
pure water (Weiss 1974) it holds 8.0 % less at 0 degC and 3.6 % less at 20 degC, which is what alcohol and extract do.
Charts are printed to 0.1 volume and differ by 0.05.

Caution: a keg, bottle or gas line under pressure can burst or fire its closure. Stay below the lowest pressure rating
in the line, keep a relief valve on every vessel, and ventilate: carbon dioxide suffocates.
"""

import math
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from brewing.atmosphere import STANDARD_PA, absolute_pressure
from brewing.carbon_dioxide import IDEAL_KG_PER_M3_PER_VOLUME, KG_PER_M3_PER_VOLUME
from brewing.errors import OutOfRange, check

if TYPE_CHECKING:
    import numpy
    from numpy.typing import NDArray

PSI_PA = 6_894.757293168
CHART_C = (-10 / 9, 190 / 9)  # 30 to 70 degF
CHART_GAUGE_PA = (0.0, 40.0 * PSI_PA)
VOLUMES_UNCERTAINTY = 0.05
GRAMS_PER_LITRE_PER_VOLUME = {"real": KG_PER_M3_PER_VOLUME, "ideal": IDEAL_KG_PER_M3_PER_VOLUME}

_OFFSET = 0.003342
_RESIDUAL_C = (0.0, 80 / 3)  # 32 to 80 degF


def volumes(temperature_c: float, gauge_pa: float, atmosphere_pa: float = STANDARD_PA) -> float:
    """Volumes of CO2 that beer holds at equilibrium, +/-0.05.

    -1.1 to 21.1 degC (30 to 70 degF) and 0 to 276 kPa (40 psi) gauge. The gauge counts from the local atmosphere, so
    the same reading means less gas at altitude.
    """
    temperature_c = check("temperature_c", temperature_c, *CHART_C, "degC")
    gauge_pa = check("gauge_pa", gauge_pa, *CHART_GAUGE_PA, "Pa")
    return absolute_pressure(gauge_pa, atmosphere_pa) * float(_volumes_per_pa(temperature_c)) - _OFFSET


def gauge_for(target_volumes: float, temperature_c: float, atmosphere_pa: float = STANDARD_PA) -> float:
    """Regulator setting in Pa gauge that holds those volumes, +/-3.4 kPa (0.5 psi).

    Raises OutOfRange naming `target_volumes` when the beer holds more at no pressure at all, or would need over 40
    psi.
    """
    temperature_c = check("temperature_c", temperature_c, *CHART_C, "degC")
    least, most = (volumes(temperature_c, gauge, atmosphere_pa) for gauge in CHART_GAUGE_PA)
    target = check("target_volumes", target_volumes, least, most, "vol", "cool or warm the beer, or aim elsewhere")
    gauge = (target + _OFFSET) / float(_volumes_per_pa(temperature_c)) - atmosphere_pa
    return min(max(gauge, CHART_GAUGE_PA[0]), CHART_GAUGE_PA[1])


def temperature_for(target_volumes: float, gauge_pa: float, atmosphere_pa: float = STANDARD_PA) -> float:
    """Beer temperature in degC at which that gauge holds those volumes; OutOfRange names `target_volumes` if none
    does.
    """
    warmest, coldest = volumes(CHART_C[1], gauge_pa, atmosphere_pa), volumes(CHART_C[0], gauge_pa, atmosphere_pa)
    target = check("target_volumes", target_volumes, warmest, coldest, "vol", "change the pressure")
    per_psi = (target + _OFFSET) / absolute_pressure(gauge_pa, atmosphere_pa) * PSI_PA
    fahrenheit_above_freezing = -43.11 * math.log((per_psi - 0.01821) / 0.090115)
    return min(max(fahrenheit_above_freezing / 1.8, CHART_C[0]), CHART_C[1])


def residual_volumes(highest_temperature_c: float, absolute_pa: float = STANDARD_PA) -> float:
    """Volumes left dissolved by fermentation, +/-0.06; 0 to 26.7 degC (32 to 80 degF).

    `highest_temperature_c` is the warmest the beer has been since it stopped working hard, not what it is now:
    cooling adds no gas unless the headspace is fed. Common quadratic, from memory; scaled by pressure (Henry) for
    altitude or a closed vessel.
    """
    fahrenheit = 32.0 + 1.8 * check("highest_temperature_c", highest_temperature_c, *_RESIDUAL_C, "degC")
    pressure = check("absolute_pa", absolute_pa, 20_000.0, 400_000.0, "Pa")
    return (3.0378 - 0.050062 * fahrenheit + 0.00026555 * fahrenheit**2) * pressure / STANDARD_PA


def henry_constant(temperature_c: float) -> float:
    """kg/(m3 bar), the same as g/(L bar), of standard beer at 1 bar, in the trade's ideal-gas volumes; -1.1 to 21.1
    degC.

    A measured lager had 2.4 at 6 degC (ACS Omega 2021, PMC8047704); this gives 2.51, water 2.68.
    """
    temperature_c = check("temperature_c", temperature_c, *CHART_C, "degC")
    return (1e5 * float(_volumes_per_pa(temperature_c)) - _OFFSET) * IDEAL_KG_PER_M3_PER_VOLUME


def grams_per_litre(of_volumes: float, gas: str = "real") -> float:
    """Mass of dissolved gas; `gas` says what one volume weighs: "real" 1.9768 g/L, "ideal" 1.9635 g/L (0.7 %
    apart).
    """
    return check("of_volumes", of_volumes, 0.0, 12.0, "vol") * _grams_in_a_volume(gas)


def volumes_from_grams(grams_in_a_litre: float, gas: str = "real") -> float:
    """Inverse of `grams_per_litre`, up to 24 g/L."""
    return check("grams_in_a_litre", grams_in_a_litre, 0.0, 24.0, "g/L") / _grams_in_a_volume(gas)


def volumes_of_many(
    temperatures_c: "NDArray[numpy.float64]", gauges_pa: "NDArray[numpy.float64]", atmosphere_pa: float = STANDARD_PA
) -> "NDArray[numpy.float64]":
    """`volumes` for arrays of states, which broadcast; the first state outside the range is named in the
    OutOfRange.
    """
    import numpy

    _check_many("temperatures_c", temperatures_c, *CHART_C, "degC")
    _check_many("gauges_pa", gauges_pa, *CHART_GAUGE_PA, "Pa")
    per_pa = _volumes_per_pa(temperatures_c, numpy.exp)
    held: NDArray[numpy.float64] = (gauges_pa + absolute_pressure(0.0, atmosphere_pa)) * per_pa - _OFFSET
    return held


def gauges_for_many(
    target_volumes: "NDArray[numpy.float64]",
    temperatures_c: "NDArray[numpy.float64]",
    atmosphere_pa: float = STANDARD_PA,
) -> "NDArray[numpy.float64]":
    """`gauge_for` for arrays of states, which broadcast; raises OutOfRange for the first gauge that leaves 0 to 40
    psi.
    """
    import numpy

    _check_many("temperatures_c", temperatures_c, *CHART_C, "degC")
    _check_many("target_volumes", target_volumes, 0.0, 12.0, "vol")
    per_pa = _volumes_per_pa(temperatures_c, numpy.exp)
    gauges: NDArray[numpy.float64] = (target_volumes + _OFFSET) / per_pa - absolute_pressure(0.0, atmosphere_pa)
    _check_many("gauges for target_volumes", gauges, CHART_GAUGE_PA[0] - 1e-6, CHART_GAUGE_PA[1] + 1e-6, "Pa")
    return gauges


def _volumes_per_pa(temperature_c: Any, exp: Callable[[Any], Any] = math.exp) -> Any:
    """Hall's fit, written once for a number and for an array."""
    return (0.01821 + 0.090115 * exp(temperature_c * (-1.8 / 43.11))) / PSI_PA


def _grams_in_a_volume(gas: str) -> float:
    if gas not in GRAMS_PER_LITRE_PER_VOLUME:
        raise ValueError(f"gas is {gas!r}, which is none of {', '.join(GRAMS_PER_LITRE_PER_VOLUME)}")
    return GRAMS_PER_LITRE_PER_VOLUME[gas]


def _check_many(argument: str, values: "NDArray[numpy.float64]", low: float, high: float, unit: str) -> None:
    import numpy

    given = numpy.asarray(values)
    fits = (given >= low) & (given <= high)
    if not fits.all():
        worst = given[~fits].flat[0]
        raise OutOfRange(argument, float(worst), low, high, unit)
