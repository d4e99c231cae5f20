"""What a refractometer says of wort, and of beer, where alcohol bends the light too."""

from brewing import gravity
from brewing.errors import check

WORT_CORRECTION = 1.04
"""Reading divided by true Plato: 1.00-1.06 between instruments and worts. Common practice, no source."""
PER_K = 0.07
"""Brix per kelvin away from 20 degC, near 10-15 Brix; tables say 0.06-0.08. OIV-MA-AS2-02, from memory."""
FINAL_GRAVITY_UNCERTAINTY = 0.003
"""Spread of the published equations, and why final gravity wants a hydrometer."""

# quintic fit to the ICUMSA SPS-3 table, nD at 20 degC
_BRIX = (-99127.4536, 318417.95, -413145.8, 270177.93, -88885.21, 11758.74)
_WATER_INDEX = 1.3330
# fitted to the CRC Handbook's concentrative properties of ethanol in water at 20 degC, 2-10 % by mass, from memory
_ETHANOL = (5.74e-4, 7.7e-6)


def brix(refractive_index: float) -> float:
    """Mass per cent of sucrose from nD at 20 degC, 1.333-1.42. Fit to ICUMSA SPS-3, 0.02 Brix low."""
    return _quintic(check("refractive_index", refractive_index, 1.3329, 1.42, ""))


def refractive_index(brix: float) -> float:
    """nD at 20 degC of a sucrose solution, 0-49.9 Brix; the inverse of `brix`."""
    wanted = check("brix", brix, 0.0, 49.9, "Brix")
    low, high = 1.3325, 1.4225
    for _ in range(50):
        middle = (low + high) / 2.0
        low, high = (middle, high) if _quintic(middle) < wanted else (low, middle)
    return (low + high) / 2.0


def ethanol_refractive_index(alcohol_by_weight: float) -> float:
    """nD at 20 degC of ethanol in water, 0-10 % by mass. CRC Handbook, from memory, within 2e-4."""
    return _WATER_INDEX + _by_alcohol(check("alcohol_by_weight", alcohol_by_weight, 0.0, 10.0, "%"))


def at_20_c(reading: float, temperature_c: float) -> float:
    """Brix, from a reading at 10-30 degC on an instrument that does not correct for temperature itself."""
    warmer = check("temperature_c", temperature_c, 10.0, 30.0, "degC") - 20.0
    return check("reading", reading, 0.0, 40.0, "Brix") + PER_K * warmer


def wort_plato(reading: float, wort_correction: float = WORT_CORRECTION) -> float:
    """True Plato of unfermented wort: the reading over the instrument's factor for wort."""
    return check("reading", reading, 0.0, 40.0, "Brix") / _factor(wort_correction)


def final_gravity(initial: float, final: float, wort_correction: float = WORT_CORRECTION) -> float:
    """Specific gravity of beer from the readings before and after fermentation, in Brix; uncertain by 0.003.

    Cubic of Terrill 2011, from memory; initial reading below 25.
    """
    before, after = _readings(initial, final, wort_correction)
    of_wort = -0.0044993 * before + 2.7581e-4 * before**2 - 7.28e-6 * before**3
    of_beer = 0.011774 * after - 1.2717e-3 * after**2 + 6.3293e-5 * after**3
    return 1.0 + of_wort + of_beer


def final_gravity_by_index(initial: float, final: float, wort_correction: float = WORT_CORRECTION) -> float:
    """The same by adding what extract and alcohol each do to the refractive index, alcohol by Balling.

    ICUMSA SPS-3 and the CRC Handbook; for up to 10 % of alcohol by mass.
    """
    before, after = _readings(initial, final, wort_correction)
    check("initial", before, 0.0, 20.0, "degP", "stronger beer than 10 % by mass is outside the alcohol's table")
    low, high = gravity.LEAST_APPARENT_PLATO, before
    for _ in range(50):
        middle = (low + high) / 2.0
        low, high = (middle, high) if reading_of_beer(before, middle) < after else (low, middle)
    return gravity.specific_gravity((low + high) / 2.0)


def reading_of_beer(original: float, apparent: float) -> float:
    """Brix that a refractometer with a factor of 1 shows for beer of this original and apparent extract, in degP.

    Up to 10 % of alcohol by mass, by Balling.
    """
    left = gravity.real_extract(original, apparent)
    alcohol = check("alcohol_by_weight", gravity.alcohol_by_weight(original, left), 0.0, 10.0, "%")
    return _quintic(refractive_index(max(0.0, left)) + _by_alcohol(alcohol))


def _readings(initial: float, final: float, wort_correction: float) -> tuple[float, float]:
    factor = _factor(wort_correction)
    before = check("initial", initial, 0.0, 25.0 * factor, "Brix") / factor
    return before, check("final", final, 0.0, initial, "Brix", "it cannot lie above the initial reading") / factor


def _factor(wort_correction: float) -> float:
    return check("wort_correction", wort_correction, 0.9, 1.2, "", "habit is 1.00 to 1.06; calibrate your own")


def _by_alcohol(percent: float) -> float:
    return percent * (_ETHANOL[0] + percent * _ETHANOL[1])


def _quintic(index: float) -> float:
    total = 0.0
    for coefficient in reversed(_BRIX):
        total = total * index + coefficient
    return total
