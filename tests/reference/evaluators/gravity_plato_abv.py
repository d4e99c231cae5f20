"""Evaluates the rows on gravity, extract, alcohol and the densities that they rest on."""

from collections.abc import Mapping
from typing import Any

from brewing import gravity, solutions


def strength(row: Mapping[str, Any]) -> gravity.Strength:
    return gravity.strength(row["OG"], row["FG"])


def measured_real_extract(row: Mapping[str, Any]) -> float:
    return gravity.real_extract(row["OE_P"], row["AE_P"])


EVALUATORS = {
    "Plato from SG 20/20 (ASBC polynomial)": lambda row: gravity.plato(row["SG"]),
    "Brix from apparent SG 20/20 (NBS)": lambda row: gravity.brix(row["SG"]),
    "density of sucrose solution": lambda row: solutions.sucrose_density(row["w_mass_fraction"], row["T_C"]),
    "density of ethanol-water": lambda row: solutions.ethanol_density(row["w_mass_fraction"], row["T_C"]),
    "alcohol by volume from by mass (ethanol-water)": lambda row: solutions.alcohol_by_volume(row["w_mass_fraction"]),
    "specific gravity 20/20 of ethanol": lambda row: solutions.ethanol_density(1.0) / solutions.ethanol_density(0.0),
    "real extract": lambda row: strength(row).real_extract,
    "alcohol by mass": lambda row: strength(row).alcohol_by_weight,
    "alcohol by volume": lambda row: strength(row).alcohol_by_volume,
    "alcohol by volume, short formula": lambda row: gravity.alcohol_by_volume_short(row["OG"], row["FG"]),
    "apparent attenuation (extract basis)": lambda row: gravity.apparent_attenuation(row["OG"], row["FG"]),
    "real degree of fermentation (ASBC)": lambda row: gravity.real_degree_of_fermentation(row["OG"], row["FG"]),
    "measured mean real extract of a brew set": measured_real_extract,
    "measured mean alcohol of a brew set": lambda row: gravity.alcohol_by_weight(
        row["OE_P"], measured_real_extract(row)
    ),
    "Balling apparent-attenuation alcohol factor a: A=(OE-AE)*a": lambda row: gravity.alcohol_factor(row["OE_P"]),
    "Balling mass balance": lambda row: gravity.original_extract(row["A_pct"], row["RE_P"]),
}
