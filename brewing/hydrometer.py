"""What a hydrometer truly says when the sample is not at the temperature that it was made for."""

from brewing import solutions, water
from brewing.errors import check

GLASS_PER_K = 25e-6
"""Cubic expansion of the glass, as in OIML R 22."""


def corrected_gravity(
    reading: float, temperature_c: float, calibrated_c: float = 20.0, glass_per_k: float = GLASS_PER_K
) -> float:
    """Specific gravity at the hydrometer's own temperature, from its reading at another; 0.99-1.17 and 0-40 degC.

    The reading gives the density at the sample's temperature, glass expansion taken out; the sugar solution of that
    density (ICUMSA SPS-4) is then brought to the calibration temperature. Fermented beer expands more, by up to
    0.0003 at 30 degC; the scale itself is divided to 0.001.
    """
    shown = check("reading", reading, 0.99, 1.17, "")
    shown *= water.density(check("calibrated_c", calibrated_c, 0.0, 40.0, "degC"))
    return _at(shown, temperature_c, calibrated_c, glass_per_k) / water.density(calibrated_c)


def corrected_brix(
    reading: float, temperature_c: float, calibrated_c: float = 20.0, glass_per_k: float = GLASS_PER_K
) -> float:
    """Mass per cent of sugar, from the reading of a saccharometer, 0-60, at another temperature; 0-40 degC."""
    shown = solutions.sucrose_density(check("reading", reading, 0.0, 60.0, "degP") / 100.0, calibrated_c)
    true = _at(shown, temperature_c, calibrated_c, glass_per_k)
    return 100.0 * solutions.sucrose_fraction(true, calibrated_c)


def gravity_on_scale(specific_gravity: float, from_c: float, to_c: float) -> float:
    """The same wort's specific gravity where sample and water are both at `to_c`, such as 15.56 degC for 60/60 degF."""
    density = check("specific_gravity", specific_gravity, 0.99, 1.17, "") * water.density(from_c)
    fraction = solutions.sucrose_fraction(density, from_c)
    return solutions.sugar_water_density(fraction, to_c) / water.density(to_c)


def _at(shown_density: float, temperature_c: float, calibrated_c: float, glass_per_k: float) -> float:
    check("temperature_c", temperature_c, 0.0, 40.0, "degC", "let the sample cool or warm first")
    check("glass_per_k", glass_per_k, 0.0, 2e-4, "1/K")
    density = shown_density * (1.0 - glass_per_k * (temperature_c - calibrated_c))
    return solutions.sugar_water_density(solutions.sucrose_fraction(density, temperature_c), calibrated_c)
