"""Evaluates the rows on coolants; the same quantities for both glycols."""

from collections.abc import Callable, Mapping
from typing import Any

from brewing import antifreeze, coolant
from brewing.antifreeze import Glycol

Evaluator = Callable[[Mapping[str, Any]], Any]
NAMES = {"propylene glycol-water": Glycol.PROPYLENE, "ethylene glycol-water": Glycol.ETHYLENE}


def of_state(function: Callable[[float, float, Glycol], float], glycol: Glycol, scale: float = 1.0) -> Evaluator:
    return lambda row: scale * function(row["w_mass_fraction"], row["T_C"], glycol)


def own_freezing(glycol: Glycol) -> Evaluator:
    return lambda row: coolant.freezing_point(row["w_mass_fraction"], glycol)


def handbook_freezing(glycol: Glycol) -> Evaluator:
    return lambda row: antifreeze.by_mass(row["w_pct"] / 100.0, glycol)


EVALUATORS: dict[str, Evaluator] = {
    "freezing point of propylene glycol-water (by volume)": lambda row: coolant.freezing_point(
        row["w_mass_fraction_from_SG"]
    ),
    "freezing point, CoolProp APG (behaves as VOLUME fraction)": lambda row: antifreeze.by_volume(row["fraction"]),
    "mass fraction from volume fraction (mixed from volumes)": lambda row: coolant.mass_fraction_from_volume(
        row["vol_fraction_PG"], Glycol.PROPYLENE, row["rho_PG_20C"], row["rho_water_20C"]
    ),
    "mass fraction from volume fraction, ethylene": lambda row: coolant.mass_fraction_from_volume(
        row["vol_fraction_EG"], Glycol.ETHYLENE, row["rho_EG_20C"], row["rho_water_20C"]
    ),
    "safety margin below coldest evaporator/bath surface": lambda row: coolant.SURFACE_MARGIN_K,
}
for name, glycol in NAMES.items():
    EVALUATORS[f"freezing point of {name}"] = own_freezing(glycol)
    EVALUATORS[f"freezing point of {name} (mass)"] = handbook_freezing(glycol)
    EVALUATORS[f"density {name}"] = of_state(coolant.density, glycol)
    EVALUATORS[f"specific heat {name}"] = of_state(coolant.specific_heat, glycol)
    EVALUATORS[f"thermal conductivity {name}"] = of_state(coolant.conductivity, glycol)
    EVALUATORS[f"dynamic viscosity {name}"] = of_state(coolant.viscosity, glycol, 1000.0)
