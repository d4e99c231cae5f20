"""Carbon dioxide in pure water: several published laws side by side, because they differ most where beer is served.

Against the first of them, at 0, 4 and 20 degC: the 1991 Henry fit is 2.3 % and 1.1 % lower, then 1.7 % higher; the
IAPWS guideline 4 % lower at 2 degC and 0.8 % lower at 20 degC; the two-parameter form 10 % lower at 0 degC.
"""

import math

from brewing import water
from brewing.errors import check

MOLAR_MASS = 0.0440095  # kg/mol
MOLAR_VOLUME_L = 22.263  # one mole of the real gas at 0 degC and 1 atm: Span & Wagner 1996
ATMOSPHERE_PA = 101_325.0
_KELVIN = 273.15
_GAS_CONSTANT = 8.314462618


def weiss_k0(temperature_c: float) -> float:
    """Solubility constant in mol/(L atm of fugacity), 0 to 40 degC, within 0.2 %.

    Weiss 1974, Marine Chemistry 2:203, equation 12, salinity 0.
    """
    kelvin = _kelvin(temperature_c, 0.0, 40.0)
    return math.exp(-58.0931 + 90.5069 * (100.0 / kelvin) + 22.2940 * math.log(kelvin / 100.0))


def volumes_in_water(temperature_c: float, partial_pressure_pa: float = ATMOSPHERE_PA) -> float:
    """Volumes of gas (0 degC, 1 atm) in one volume of water under that partial pressure of CO2, by Weiss.

    0 to 40 degC, up to 1 MPa. Takes fugacity for pressure: 0.6 % high at 1 atm, 2 % at 3 bar.
    """
    partial = check("partial_pressure_pa", partial_pressure_pa, 0.0, 1e6, "Pa")
    return weiss_k0(temperature_c) * MOLAR_VOLUME_L * partial / ATMOSPHERE_PA


def carroll_henry_pa(temperature_c: float) -> float:
    """Henry's constant in Pa per mole fraction, 0 to 160 degC, for pressures below 1 MPa.

    Carroll, Slupsky & Mather 1991, J. Phys. Chem. Ref. Data 20:1201.
    """
    kelvin = _kelvin(temperature_c, 0.0, 159.85)
    return 1e6 * math.exp(-6.8346 + 1.2817e4 / kelvin - 3.7668e6 / kelvin**2 + 2.997e8 / kelvin**3)


def iapws_henry_pa(temperature_c: float) -> float:
    """Henry's constant in Pa per mole fraction, 1.04 to 100 degC. IAPWS guideline G7-04."""
    kelvin = _kelvin(temperature_c, 1.04, 100.0)
    reduced = kelvin / 647.096
    exponent = -8.55445 / reduced + 4.01195 * (1.0 - reduced) ** 0.355 / reduced
    exponent += 9.52345 * reduced**-0.41 * math.exp(1.0 - reduced)
    return water.vapour_pressure(temperature_c) * math.exp(exponent)


def two_parameter_solubility(temperature_c: float, at_25_c: float = 3.3e-4, slope_k: float = 2400.0) -> float:
    """mol/(m3 Pa) from a compilation's value at 25 degC and its temperature slope; 0 to 40 degC.

    Form and figures of Sander 2023, Atmos. Chem. Phys. 23:10901. Good near 25 degC; 7 to 10 % low at 0 to 4 degC,
    so it is here for comparison and must not set a serving pressure.
    """
    kelvin = _kelvin(temperature_c, 0.0, 40.0)
    at_25_c = check("at_25_c", at_25_c, 1e-6, 1.0, "mol/(m3 Pa)")
    slope_k = check("slope_k", slope_k, -10_000.0, 10_000.0, "K")
    return at_25_c * math.exp(slope_k * (1.0 / kelvin - 1.0 / 298.15))


def from_henry(henry_pa: float, temperature_c: float) -> float:
    """Turn Pa per mole fraction into mol/L dissolved under 1 atm of CO2, so that the laws can be compared."""
    fraction = ATMOSPHERE_PA / check("henry_pa", henry_pa, 1e6, 1e10, "Pa")
    moles_of_water_per_litre = water.density(temperature_c) / 18.01528
    return fraction / (1.0 - fraction) * moles_of_water_per_litre


def diffusivity(temperature_c: float) -> float:
    """Diffusion coefficient of CO2 in water, m2/s, 0 to 40 degC, within 8 %.

    Versteeg & van Swaaij 1988, J. Chem. Eng. Data 33:29, from memory; 6.4 % above Jaehne at 4 degC.
    """
    return 2.35e-6 * math.exp(-2119.0 / _kelvin(temperature_c, 0.0, 40.0))


def diffusivity_jaehne(temperature_c: float) -> float:
    """The second opinion on diffusion, m2/s, 0 to 40 degC. Jaehne et al. 1987, J. Geophys. Res. 92:10767, from
    memory.
    """
    return 5.019e-6 * math.exp(-19_510.0 / (_GAS_CONSTANT * _kelvin(temperature_c, 0.0, 40.0)))


def _kelvin(temperature_c: float, low: float, high: float) -> float:
    return check("temperature_c", temperature_c, low, high, "degC") + _KELVIN
