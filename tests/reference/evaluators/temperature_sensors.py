"""Evaluates the rows on platinum and thermistors."""

from collections.abc import Mapping
from typing import Any

from brewing import probes
from brewing.probes import SteinhartHart


def curve(row: Mapping[str, Any]) -> SteinhartHart:
    return SteinhartHart(row["A"], row["B"], row["C"])


def tolerances(row: Mapping[str, Any]) -> str:
    return "/".join(f"{probes.platinum_tolerance(row['T_C'], grade):g}" for grade in "AB")


EVALUATORS = {
    "Pt100 resistance": lambda row: probes.platinum_resistance(row["T_C"]),
    "Pt100 inverse": lambda row: probes.platinum(row["R_ohm"]),
    "Pt100 tolerance class A / B": tolerances,
    "2-wire lead error": lambda row: probes.lead_error(row["lead_ohm_total"], row["T_C"]),
    "NTC Steinhart-Hart fitted at 0, 25, 50 C": lambda row: probes.thermistor(row["R_ohm"], curve(row)),
    "NTC Steinhart-Hart with given coefficients": lambda row: probes.thermistor(row["R_ohm"], curve(row)),
    "NTC inverse Steinhart-Hart": lambda row: probes.thermistor_resistance(row["T_C"], curve(row)),
    "NTC beta equation": lambda row: probes.thermistor_by_beta(row["R_ohm"], row["R0"], row["beta"], row["T0_C"]),
}
