"""Evaluates the rows on heat and kinetics of fermentation."""

from collections.abc import Callable, Mapping
from functools import lru_cache
from typing import Any

from brewing import attenuation, fermentation_heat, lager_kinetics, units


@lru_cache(maxsize=256)
def lager(temperature_c: float, time_h: float) -> lager_kinetics.State:
    return lager_kinetics.after(time_h, temperature_c, extrapolate=True)


def of_lager(name: str) -> Callable[[Mapping[str, Any]], float]:
    return lambda row: float(getattr(lager(row["T_C_const"], row["t_h"]), name))


EVALUATORS = {
    "heat of fermentation per kg extract fermented": lambda row: fermentation_heat.HEAT_J_KG / 1000.0,
    "unit check 252 Btu/lb": lambda row: units.convert(252.0, "Btu/lb", "kJ/kg"),
    "Briggs et al. value per kg glucose (upper outlier)": lambda row: fermentation_heat.REFUSED_HEAT_J_KG / 1000.0,
    "thermochemical enthalpy glucose(s) -> 2 EtOH(l)+2 CO2(g)": lambda row: fermentation_heat.glucose_enthalpy(),
    "heat release rate": lambda row: fermentation_heat.heat_rate(
        row["V_L"], row["OG"], row["RE_drop_P_per_day"], 1000.0 * row["dH_kJ_kg"]
    ),
    "adiabatic rise, OE 12.39 to RE 4.34": lambda row: fermentation_heat.adiabatic_rise(
        12.39, 4.34, specific_heat=1000.0 * row["cp"]
    ),
    "DAT model: active biomass": of_lager("active"),
    "DAT model: sugar": of_lager("sugar"),
    "DAT model: ethanol": of_lager("ethanol"),
    "DAT model: diacetyl": of_lager("diacetyl"),
    "logistic attenuation AE(t)=AEf+(OE-AEf)/(1+exp(k(t-tm)))": lambda row: attenuation.logistic_extract(
        row["OE"], row["AEf"], row["k_per_d"], row["tm_d"], row["t_d"]
    ),
    "max rate of the logistic": lambda row: attenuation.logistic_peak_rate(row["OE"], row["AEf"], row["k_per_d"]),
}
