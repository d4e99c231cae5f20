"""Evaluates the rows on how far methods differ, for the beer half of the arithmetic."""

from collections.abc import Callable, Mapping
from typing import Any

from brewing import freezing, gravity, hydrometer, lager_kinetics, solutions

AIR_KG_M3 = 1.2
GRAVITIES = [1.001 + 0.001 * n for n in range(120)]


def inverted(density: Callable[[float], float], wanted: float) -> float:
    low, high = -1.0, 40.0
    for _ in range(60):
        middle = (low + high) / 2.0
        low, high = (middle, high) if density(middle) < wanted else (low, middle)
    return low


def by_density(air: float) -> Callable[[float], float]:
    water = solutions.sugar_water_density(0.0, 20.0)

    def ratio(plato: float) -> float:
        return (solutions.sugar_water_density(plato / 100.0, 20.0) - air) / (water - air)

    return lambda sg: inverted(ratio, sg)


PLATO_METHODS: dict[str, Callable[[float], float]] = {
    "NBS cubic": gravity.brix,
    "ICUMSA density, apparent SG": by_density(AIR_KG_M3),
    "ICUMSA density, true SG": by_density(0.0),
    "de Clerck quadratic": lambda sg: 668.72 * sg - 463.37 - 205.347 * sg**2,
    "Lincoln": lambda sg: (463.0 - 205.0 * sg) * (sg - 1.0),
}


def largest_plato_difference(row: Mapping[str, Any]) -> float:
    method = PLATO_METHODS[row["method"]]
    return max(abs(method(sg) - gravity.plato(sg)) for sg in GRAVITIES)


def alcohol(row: Mapping[str, Any], method: str) -> float:
    return gravity.strength(row["OG"], row["FG"], method).alcohol_by_volume


def water_cubic(reading: float, temperature_c: float) -> float:
    """The hobby's cubic, made for water and degrees Fahrenheit, from 60 degF; here brought to 20 degC."""

    def factor(celsius: float) -> float:
        f = celsius * 1.8 + 32.0
        return 1.00130346 - 1.34722124e-4 * f + 2.04052596e-6 * f**2 - 2.32820948e-9 * f**3

    return reading * factor(temperature_c) / factor(20.0)


def largest_hydrometer_difference(row: Mapping[str, Any]) -> float:
    readings = [1.0 + 0.01 * n for n in range(11)]
    pairs = [(reading, float(t)) for reading in readings for t in range(2, 31)]
    return max(abs(hydrometer.corrected_gravity(*pair) - water_cubic(*pair)) for pair in pairs)


def final_ethanol_yield(row: Mapping[str, Any]) -> float:
    end = lager_kinetics.after(1000.0, row["T_C"], extrapolate=True)
    return end.ethanol / (lager_kinetics.PITCHED.sugar - end.sugar)


EVALUATORS = {
    "largest difference from ASBC polynomial, SG 1.001-1.120": largest_plato_difference,
    "ethanol freezing CoolProp MEA minus Lange": lambda row: (
        freezing.of_alcohol(row["w_pct"]) - freezing.of_alcohol_by_lange(row["w_pct"])
    ),
    "Balling minus Tabarie/mass balance: ABV": lambda row: alcohol(row, "balling") - alcohol(row, "tabarie"),
    "131.25 formula minus Balling": lambda row: alcohol(row, "short") - alcohol(row, "balling"),
    "largest hydrometer correction difference physical vs cubic, 2-30 C": largest_hydrometer_difference,
    "DAT model final ethanol yield": final_ethanol_yield,
}
TOLERANCES = {
    "largest difference from ASBC polynomial, SG 1.001-1.120": 0.0005,
    "131.25 formula minus Balling": 0.0006,
    "largest hydrometer correction difference physical vs cubic, 2-30 C": 0.0001,
    "DAT model final ethanol yield": 0.001,
    "water density Tanaka minus IAPWS-95": 0.001,
    "PG freezing CoolProp MPG minus Lange": 0.01,
}
