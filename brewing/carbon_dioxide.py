"""Carbon dioxide itself: equation of state, saturation line, one volume of gas.

Span & Wagner 1996, J. Phys. Chem. Ref. Data 25:1509, without the three terms that serve the critical point alone.
Light enough for a small computer, and compared in the tests with a full implementation.
"""

import math
from typing import NamedTuple

from brewing.errors import check

CRITICAL_C = 30.9782
CRITICAL_PA = 7_377_300.0
TRIPLE_C = -56.558
MOLAR_MASS = 0.0440098  # kg/mol, the equation's own
KG_PER_M3_PER_VOLUME = 1.9768  # real gas at 0 degC and 1 atm
IDEAL_KG_PER_M3_PER_VOLUME = 1.9635

_KELVIN = 273.15
_CRITICAL_K = 304.1282
_CRITICAL_DENSITY = 467.6  # kg/m3
_GAS_CONSTANT = 188.9241  # J/(kg K)
_HIGHEST_DENSITY = 1200.0

# coefficient, power of density, power of temperature, power of density in the exponential (0: none)
_POWERS = (
    (0.38856823203161, 1, 0.0, 0),
    (2.938547594274, 1, 0.75, 0),
    (-5.5867188534934, 1, 1.0, 0),
    (-0.76753199592477, 1, 2.0, 0),
    (0.31729005580416, 2, 0.75, 0),
    (0.54803315897767, 2, 2.0, 0),
    (0.12279411220335, 3, 0.75, 0),
    (2.165896154322, 1, 1.5, 1),
    (1.5841735109724, 2, 1.5, 1),
    (-0.23132705405503, 4, 2.5, 1),
    (0.058116916431436, 5, 0.0, 1),
    (-0.55369137205382, 5, 1.5, 1),
    (0.48946615909422, 5, 2.0, 1),
    (-0.024275739843501, 6, 0.0, 1),
    (0.062494790501678, 6, 1.0, 1),
    (-0.12175860225246, 6, 2.0, 1),
    (-0.37055685270086, 1, 3.0, 2),
    (-0.016775879700426, 1, 6.0, 2),
    (-0.11960736637987, 4, 3.0, 2),
    (-0.045619362508778, 4, 6.0, 2),
    (0.035612789270346, 4, 8.0, 2),
    (-0.0074427727132052, 7, 6.0, 2),
    (-0.0017395704902432, 8, 0.0, 2),
    (-0.021810121289527, 2, 7.0, 3),
    (0.024332166559236, 3, 12.0, 3),
    (-0.037440133423463, 3, 16.0, 3),
    (0.14338715756878, 5, 22.0, 4),
    (-0.13491969083286, 5, 24.0, 4),
    (-0.02315122505348, 6, 16.0, 4),
    (0.012363125492901, 7, 24.0, 4),
    (0.002105832197294, 8, 8.0, 4),
    (-0.00033958519026368, 10, 2.0, 4),
    (0.0055993651771592, 4, 28.0, 5),
    (-0.00030335118055646, 8, 14.0, 6),
)
# coefficient, power of density, power of temperature, alpha, beta, gamma
_BELLS = (
    (-213.65488688320, 2, 1.0, 25.0, 325.0, 1.16),
    (26641.569149272, 2, 0.0, 25.0, 300.0, 1.19),
    (-24027.212204557, 2, 1.0, 25.0, 300.0, 1.19),
    (-283.41603423999, 3, 3.0, 15.0, 275.0, 1.25),
    (212.47284400179, 3, 3.0, 20.0, 275.0, 1.22),
)


class Saturation(NamedTuple):
    """Liquid and vapour in balance in a closed cylinder."""

    pressure_pa: float
    liquid_kg_m3: float
    vapour_kg_m3: float


def saturation(temperature_c: float) -> Saturation:
    """Pressure and densities while liquid remains, -56.5 to 30.9 degC.

    Span & Wagner 1996, equations 3.13 to 3.15; within 0.01 % in pressure and 0.2 % in density of the full one.
    """
    kelvin = check("temperature_c", temperature_c, TRIPLE_C, CRITICAL_C, "degC") + _KELVIN
    theta = max(1.0 - kelvin / _CRITICAL_K, 0.0)
    rise = -7.0602087 * theta + 1.9391218 * theta**1.5 - 1.6463597 * theta**2 - 3.2995634 * theta**4
    liquid = 1.9245108 * theta**0.34 - 0.62385555 * theta**0.5
    liquid += -0.32731127 * theta ** (10 / 6) + 0.39245142 * theta ** (11 / 6)
    vapour = -1.7074879 * theta**0.34 - 0.82274670 * theta**0.5 - 4.6008549 * theta
    vapour += -10.111178 * theta ** (7 / 3) - 29.742252 * theta ** (14 / 3)
    return Saturation(
        CRITICAL_PA * math.exp(_CRITICAL_K / kelvin * rise),
        _CRITICAL_DENSITY * math.exp(liquid),
        _CRITICAL_DENSITY * math.exp(vapour),
    )


def pressure_of(density_kg_m3: float, temperature_c: float) -> float:
    """Pa of a single phase, 0 to 1200 kg/m3 and -56 to 100 degC, within 0.25 % of the full equation.

    Between the two saturation densities there is no single phase: use `saturation`.
    """
    density = check("density_kg_m3", density_kg_m3, 0.0, _HIGHEST_DENSITY, "kg/m3")
    kelvin = check("temperature_c", temperature_c, TRIPLE_C, 100.0, "degC") + _KELVIN
    delta, tau = density / _CRITICAL_DENSITY, _CRITICAL_K / kelvin
    return density * _GAS_CONSTANT * kelvin * (1.0 + delta * _residual_slope(delta, tau))


def gas_density(pressure_pa: float, temperature_c: float) -> float:
    """kg/m3 of the gas at an absolute pressure up to 4 MPa and below saturation, -20 to 100 degC."""
    temperature = check("temperature_c", temperature_c, -20.0, 100.0, "degC")
    most = 4e6 if temperature >= CRITICAL_C else min(4e6, saturation(temperature).pressure_pa)
    pressure = check("pressure_pa", pressure_pa, 0.0, most, "Pa", "above this the gas turns liquid")
    thermal = _GAS_CONSTANT * (temperature + _KELVIN)
    density = pressure / thermal
    for _ in range(8):
        nudge = max(density, 1e-3) * 1e-6
        slope = (pressure_of(density + nudge, temperature) - pressure_of(density, temperature)) / nudge
        density += (pressure - pressure_of(density, temperature)) / slope
    return density


def _residual_slope(delta: float, tau: float) -> float:
    """First derivative of the residual Helmholtz energy with respect to the reduced density."""
    total = 0.0
    for n, d, t, c in _POWERS:
        term = n * delta ** (d - 1) * tau**t
        total += term * d if c == 0 else term * (d - c * delta**c) * math.exp(-(delta**c))
    for n, d, t, alpha, beta, gamma in _BELLS:
        bell = math.exp(-alpha * (delta - 1.0) ** 2 - beta * (tau - gamma) ** 2)
        total += n * tau**t * bell * (d * delta ** (d - 1) - 2.0 * alpha * delta**d * (delta - 1.0))
    return total
