"""Evaluates the rows on dissolved carbon dioxide with the project's own functions."""

from collections.abc import Mapping
from typing import Any

from brewing import atmosphere, carbonation, solubility

PSI = carbonation.PSI_PA


def celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32.0) / 1.8


def beer_volumes(row: Mapping[str, Any]) -> float:
    return carbonation.volumes(celsius(row["T_F"]), row["p_psig"] * PSI, row["p_atm_psi"] * PSI)


def beer_gauge(row: Mapping[str, Any]) -> float:
    return carbonation.gauge_for(row["volumes"], celsius(row["T_F"]), row["p_atm_psi"] * PSI) / PSI


EVALUATORS = {
    "CO2 solubility constant K0 in pure water (fugacity)": lambda row: solubility.weiss_k0(row["T_C"]),
    "CO2 dissolved in pure water at 1 atm CO2 partial pressure": lambda row: solubility.volumes_in_water(
        row["T_C"], row["p_CO2_atm"] * atmosphere.STANDARD_PA
    ),
    "Henry's constant CO2 in water (mole fraction)": lambda row: solubility.carroll_henry_pa(row["T_C"]) / 1e6,
    "Henry's constant CO2 in water (IAPWS G7-04)": lambda row: solubility.iapws_henry_pa(row["T_C"]) / 1e6,
    "Henry solubility CO2 in water, 298.15 K literature row": lambda row: solubility.two_parameter_solubility(
        row["T_C"], row["Hcp"], row["dlnH_d1T_K"]
    ),
    "CO2 volumes in beer at equilibrium (trade chart)": beer_volumes,
    "altitude effect: same gauge pressure, lower absolute": beer_volumes,
    "gauge pressure for target volumes (inverse of the chart fit)": beer_gauge,
    "residual CO2 after fermentation at 1 atm": lambda row: carbonation.residual_volumes(
        celsius(row["T_F"]), atmosphere.absolute_pressure(row["p_psig"] * PSI)
    ),
    "standard atmosphere pressure": lambda row: atmosphere.pressure_at_altitude(row["altitude_m"]) / 1000.0,
    "molar volume of CO2 at 0 C, 1 atm (real)": lambda row: solubility.MOLAR_VOLUME_L,
    "Henry constant CO2 of a commercial lager": lambda row: carbonation.henry_constant(row["T_C"]),
    "unit: 1 psi": lambda row: PSI / 1000.0,
    "unit: 1 vol to g/L, real gas": lambda row: carbonation.grams_per_litre(row["volumes"]),
}
