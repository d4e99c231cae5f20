"""Water at ordinary pressure, 0 to 40 degC: the yardstick of every beer and coolant."""

import math

from brewing.errors import check

DENSEST_AT_C = 3.983035
ICE_LATENT_HEAT_J_KG = 333_550.0  # IAPWS-06 ice at 0 degC, from memory

_KELVIN = 273.15
_GAS_CONSTANT = 461.51805  # J/(kg K)
# IAPWS SR6-08(2011), liquid water at 0.1 MPa: (exponent, coefficient)
_HEAT_ALPHA = ((4, -1.661470539e5), (5, 2.708781640e6), (7, -1.557191544e8))
_HEAT_BETA = ((2, -8.237426256e-1), (3, 1.908956353), (4, -2.017597384), (5, 8.546361348e-1))
_HEAT_LEAD = -8.983025854
_VISCOSITY = ((-1.9, 280.68), (-7.7, 511.45), (-19.6, 61.131), (-40.0, 0.45903))


def density(temperature_c: float) -> float:
    """kg/m3 of air-free water at 101 325 Pa, 0 to 40 degC.

    Tanaka et al. 2001, Metrologia 38:301, Table 1; within 0.0012 kg/m3 of IAPWS-95.
    """
    t = check("temperature_c", temperature_c, 0.0, 40.0, "degC")
    return 999.974950 * (1.0 - (t - DENSEST_AT_C) ** 2 * (t + 301.797) / (522528.9 * (t + 69.34881)))


def specific_heat(temperature_c: float) -> float:
    """J/(kg K) at 0.1 MPa, 0 to 100 degC. IAPWS SR6-08(2011), supplementary release on liquid water at 0.1 MPa."""
    kelvin = check("temperature_c", temperature_c, 0.0, 100.0, "degC") + _KELVIN
    alpha, beta = 10.0 / (593.0 - kelvin), 10.0 / (kelvin - 232.0)
    curved = sum(n * (n + 1) * a * alpha ** (n + 2) for n, a in _HEAT_ALPHA)
    curved += sum(m * (m + 1) * b * beta ** (m + 2) for m, b in _HEAT_BETA)
    return -_GAS_CONSTANT * (_HEAT_LEAD + kelvin / 10.0 * curved)


def viscosity(temperature_c: float) -> float:
    """Dynamic viscosity in Pa s at 0.1 MPa, 0 to 100 degC, within 1 %. IAPWS SR6-08(2011)."""
    reduced = (check("temperature_c", temperature_c, 0.0, 100.0, "degC") + _KELVIN) / 300.0
    return 1e-6 * sum(a * math.pow(reduced, b) for b, a in _VISCOSITY)


def vapour_pressure(temperature_c: float) -> float:
    """Saturation pressure in Pa, 0 to 110 degC. Wagner & Pruss 1993, the equation that IAPWS uses."""
    kelvin = check("temperature_c", temperature_c, 0.0, 110.0, "degC") + _KELVIN
    theta = 1.0 - kelvin / 647.096
    terms = (
        (-7.85951783, 1.0),
        (1.84408259, 1.5),
        (-11.7866497, 3.0),
        (22.6807411, 3.5),
        (-15.9618719, 4.0),
        (1.80122502, 7.5),
    )
    return 22.064e6 * math.exp(647.096 / kelvin * sum(a * theta**n for a, n in terms))
