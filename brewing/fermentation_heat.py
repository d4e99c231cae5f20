"""The heat that yeast sets free: what a chamber must carry away, and how warm beer grows where nothing does."""

from brewing import gravity
from brewing.errors import check

HEAT_J_KG = 587_000.0
"""Per kg of extract fermented; 252 Btu/lb. Published values run from 2 % below to 11 % above (652.4 kJ/kg)."""
HEAT_SPREAD = (0.98, 1.11)
REFUSED_HEAT_J_KG = 1_217_000.0
"""Quoted per kg of glucose; twice what calorimeters find, so not used."""
BEER_J_KG_K = 4050.0

_DAY_S = 86_400.0
_GLUCOSE_KJ_MOL, _ETHANOL_KJ_MOL, _CO2_KJ_MOL = -1273.3, -277.03, -393.474


def wort_mass(volume_l: float, original_gravity: float) -> float:
    """kg of wort at 20 degC."""
    litres = check("volume_l", volume_l, 0.1, 1e6, "L")
    return litres * check("original_gravity", original_gravity, 1.0, gravity.MOST_SG, "") * 0.998206746


def heat_rate(
    volume_l: float, original_gravity: float, real_fall_per_day: float, heat_j_kg: float = HEAT_J_KG
) -> float:
    """W while real extract falls by so many degP a day; an apparent fall is to be multiplied by 0.8192 first.

    Known to -2/+11 %.
    """
    fall = check("real_fall_per_day", real_fall_per_day, 0.0, 20.0, "degP/d") / 100.0
    heat = check("heat_j_kg", heat_j_kg, 4e5, 1.3e6, "J/kg")
    return wort_mass(volume_l, original_gravity) * fall * heat / _DAY_S


def adiabatic_rise(
    original_extract: float, real_extract: float, heat_j_kg: float = HEAT_J_KG, specific_heat: float = BEER_J_KG_K
) -> float:
    """K by which beer that loses no heat warms as it ferments between the two extracts, in degP."""
    original = check("original_extract", original_extract, 0.0, 35.0, "degP")
    left = check("real_extract", real_extract, -1.0, original, "degP", "it cannot lie above the original extract")
    return (original - left) / 100.0 * heat_j_kg / check("specific_heat", specific_heat, 3000.0, 4300.0, "J/(kg K)")


def glucose_enthalpy() -> float:
    """kJ/mol set free by glucose(s) -> 2 ethanol(l) + 2 CO2(g): a lower bound, growth and solution add to it."""
    return _GLUCOSE_KJ_MOL - 2.0 * (_ETHANOL_KJ_MOL + _CO2_KJ_MOL)
