"""Evaluates the rows on heat; kJ, hours and kJ/(kg K) as the rows have them."""

from collections.abc import Mapping
from typing import Any

from brewing import thermal, two_node, water
from brewing.thermal import Mass

HOUR = 3600.0


def lumped(row: Mapping[str, Any]) -> float:
    return thermal.time_constant(Mass(row["m_kg"], row["cp_J"]), row["UA_W_K"])


def crash(row: Mapping[str, Any]) -> float:
    return thermal.time_to_reach(row["T_target_C"], row["T0_C"], row["T_bath_C"], lumped(row)) / HOUR


def powered_crash(row: Mapping[str, Any]) -> float:
    beer = Mass(row["m_kg"], row["cp_J"])
    target, start, ambient = row["T_target_C"], row["T0_C"], row["T_amb_C"]
    return thermal.crash_time(beer, start, target, ambient, row["UA_amb_W_K"], row["Q_W"]) / HOUR


def beer_and_bath(row: Mapping[str, Any]) -> float:
    bath, beer = Mass(row["m_bath"], row["c_bath"]), Mass(row["m_beer"], row["c_beer"])
    pair = two_node.Pair(bath, beer, row["UA_bath_beer"], row["UA_bath_room"], room_c=row["T_room"])
    start = two_node.Temperatures(row["T0_bath"], row["T0_beer"])
    return two_node.after(pair, start, row["t_h"] * HOUR).beer_c


EVALUATORS = {
    "specific heat of water 20 C": lambda row: water.specific_heat(20.0) / 1000.0,
    "specific heat of water 2 C": lambda row: water.specific_heat(2.0) / 1000.0,
    "specific heat of beer": lambda row: thermal.BEER_SPECIFIC_HEAT / 1000.0,
    "specific heat of sucrose solution": lambda row: (
        thermal.sugar_solution_specific_heat(row["w"], row["T_C"], row["purity"]) / 1000.0
    ),
    "sensible heat to remove": lambda row: (
        thermal.sensible_heat(Mass(row["m_kg"], row["cp"] * 1000.0), row["from_C"], row["to_C"]) / 1000.0
    ),
    "lumped time constant": lambda row: lumped(row) / HOUR,
    "time to crash (constant bath)": crash,
    "temperature after 2 h": lambda row: thermal.temperature_after(2 * HOUR, row["T0_C"], row["T_bath_C"], lumped(row)),
    "time to crash with constant cooling power and ambient gain": powered_crash,
    "steady fermenter temperature between bath and room": lambda row: thermal.between(
        row["T_bath_C"], row["T_room_C"], row["UA_room_over_UA_jacket"]
    ),
    "cold crash temperature": lambda row: thermal.CRASH_C,
    "cold crash hold": lambda row: thermal.CRASH_HOLD_S / HOUR,
    "U of a 40 mm PU wall": lambda row: thermal.wall_transmittance(
        row["thickness_m"], row["k_W_mK"], row["h_in"], row["h_out"]
    ),
    "latent heat of fusion of water": lambda row: water.ICE_LATENT_HEAT_J_KG / 1000.0,
    "two-node model (bath, beer) no compressor: beer temperature": beer_and_bath,
    "mixed temperature of bath and beer (no losses)": lambda row: thermal.mixed_temperature(
        Mass(row["m1"], row["c1"]), row["T1"], Mass(row["m2"], row["c2"]), row["T2"]
    ),
}
