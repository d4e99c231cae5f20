"""Evaluates the rows on moist air and open doors."""

from collections.abc import Mapping
from typing import Any

from brewing import door, psychrometrics
from brewing.door import Doorway
from brewing.psychrometrics import Air


def air(row: Mapping[str, Any]) -> Air:
    return Air(row["T_C"], row["RH_pct"] / 100.0, row["p_Pa"])


def sides(row: Mapping[str, Any]) -> tuple[Air, Air]:
    return Air(row["T_in_C"], row["RH_in"]), Air(row["T_out_C"], row["RH_out"])


EVALUATORS = {
    "saturation vapour pressure": lambda row: psychrometrics.saturation_pressure(row["T_C"]),
    "dew point": lambda row: psychrometrics.dew_point(row["T_C"], row["RH_pct"] / 100.0),
    "moist air enthalpy": lambda row: psychrometrics.enthalpy(air(row)) / 1000.0,
    "moist air density": lambda row: psychrometrics.density(air(row)),
    "humidity ratio": lambda row: psychrometrics.humidity_ratio(air(row)),
    "condensation on a surface": lambda row: psychrometrics.condenses(
        Air(row["T_air_C"], row["RH_pct"] / 100.0), row["T_surface_C"]
    ),
    "door-open air exchange (Gosney-Olama)": lambda row: door.exchange(Doorway(row["A_m2"], row["H_m"]), *sides(row)),
    "door-open heat gain rate": lambda row: door.heat_rate(Doorway(row["A_m2"], row["H_m"]), *sides(row)) / 1000.0,
    "heat gain of one complete air change": lambda row: door.air_change_heat(row["V_m3"], *sides(row)) / 1000.0,
}
