"""Evaluates the rows on how far methods differ, for the cold half of the arithmetic."""

from collections.abc import Mapping
from typing import Any

from brewing import antifreeze, carbonation, coolant, psychrometrics, solubility, water
from brewing.antifreeze import Glycol

METHODS = {
    "Carroll 1991": lambda t: solubility.from_henry(solubility.carroll_henry_pa(t), t),
    "IAPWS G7-04": lambda t: solubility.from_henry(solubility.iapws_henry_pa(t), t),
    "Sander 3.3e-4, 2400 K": lambda t: solubility.two_parameter_solubility(t) * solubility.ATMOSPHERE_PA / 1000.0,
}


def against_weiss(row: Mapping[str, Any]) -> float:
    return percent(METHODS[row["method"]](row["T_C"]), solubility.weiss_k0(row["T_C"]))


def chart_against_water(row: Mapping[str, Any]) -> float:
    return percent(carbonation.volumes(row["T_C"], 0.0), solubility.volumes_in_water(row["T_C"]))


def residual_against_chart(row: Mapping[str, Any]) -> float:
    """The chart's own range ends at 70 degF; this comparison goes on to 75 degF, so it asks the bare fit."""
    celsius = (row["T_F"] - 32.0) / 1.8
    fit = carbonation._volumes_per_pa(celsius) * carbonation.STANDARD_PA - carbonation._OFFSET
    return carbonation.residual_volumes(celsius) - float(fit)


def against_lange(row: Mapping[str, Any]) -> float:
    return coolant.freezing_point(row["w"]) - antifreeze.lange_by_volume(row["vol_pct"] / 100.0)


def against_table(row: Mapping[str, Any], glycol: Glycol) -> float:
    fraction = row["w_pct"] / 100.0
    return coolant.freezing_point(fraction, glycol) - antifreeze.by_mass(fraction, glycol)


def water_against_iapws(row: Mapping[str, Any]) -> float:
    """The library begins at the melting line, so 0 degC is held against water at 0.01 degC, as in the table."""
    from CoolProp.CoolProp import PropsSI

    kelvin = max(row["T_C"] + 273.15, 273.16)
    return water.density(row["T_C"]) - float(PropsSI("D", "T", kelvin, "P", 101_325.0, "Water"))


def largest_dew_point_difference(row: Mapping[str, Any]) -> float:
    states = [(float(t), humidity / 100.0) for t in range(1, 41) for humidity in range(20, 101, 5)]
    pairs = [(psychrometrics.dew_point(*state), psychrometrics.dew_point_magnus(*state)) for state in states]
    return max(abs(ours - magnus) for ours, magnus in pairs if ours > 0.0)


def percent(value: float, yardstick: float) -> float:
    return 100.0 * (value / yardstick - 1.0)


EVALUATORS = {
    "CO2 in water, relative to Weiss": against_weiss,
    "beer chart fit, relative to water (Weiss), 0 psig": chart_against_water,
    "residual quadratic minus chart fit at 0 psig": residual_against_chart,
    "PG freezing CoolProp MPG minus Lange": against_lange,
    "PG freezing CoolProp MPG minus ASHRAE (memory)": lambda row: against_table(row, Glycol.PROPYLENE),
    "EG freezing CoolProp MEG minus ASHRAE (memory)": lambda row: against_table(row, Glycol.ETHYLENE),
    "water density Tanaka minus IAPWS-95": water_against_iapws,
    "largest dew point difference Magnus WMO vs PsychroLib, 1-40 C, RH 20-100, dew point > 0": (
        largest_dew_point_difference
    ),
    "CO2 diffusivity Versteeg minus Jaehne": lambda row: percent(
        solubility.diffusivity(row["T_C"]), solubility.diffusivity_jaehne(row["T_C"])
    ),
}

TOLERANCES = {  # the tables print few digits of small differences, and of the mass fraction they are taken at
    "water density Tanaka minus IAPWS-95": 5.1e-5,
    "PG freezing CoolProp MPG minus Lange": 0.01,
    "PG freezing CoolProp MPG minus ASHRAE (memory)": 0.005,
    "EG freezing CoolProp MEG minus ASHRAE (memory)": 0.005,
    "residual quadratic minus chart fit at 0 psig": 2e-4,
    "CO2 diffusivity Versteeg minus Jaehne": 0.01,
}
