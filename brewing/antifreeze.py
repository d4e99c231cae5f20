"""What handbooks print about the freezing of glycol in water: second opinions beside the coolant's own equation.

They differ by a kelvin at 50 %, because samples, inhibitors and the meaning of the first ice differ. Where ice
would do harm, the warmest opinion counts.
"""

import math
from bisect import bisect_left
from enum import StrEnum

from brewing.errors import check


class Glycol(StrEnum):
    """The solute; values as the plant file spells them."""

    PROPYLENE = "propylene_glycol"
    ETHYLENE = "ethylene_glycol"


# ASHRAE Handbook Fundamentals, freezing points by mass at each 5 %, from memory; degC
BY_MASS = {
    Glycol.PROPYLENE: (0.0, -1.6, -3.3, -5.1, -7.1, -9.6, -12.7, -16.4, -21.1, -26.7, -33.5, -41.6, -51.1),
    Glycol.ETHYLENE: (0.0, -1.4, -3.2, -5.4, -7.8, -10.7, -14.1, -17.9, -22.3, -27.5, -33.8, -41.1, -48.3),
}
# Lange's Handbook of Chemistry, 15th edition, Table 5.13: propylene glycol by volume; percent and degC
LANGE_BY_VOLUME = (
    (0.0, 0.0),
    (5.0, -1.1),
    (10.0, -2.2),
    (15.0, -3.9),
    (20.0, -6.7),
    (25.0, -8.9),
    (30.0, -12.8),
    (35.0, -16.1),
    (40.0, -20.6),
    (45.0, -26.7),
    (50.0, -33.3),
)
# Logarithm of kelvin in powers of (volume fraction - 0.35), a fit of ASHRAE 2001 in CoolProp's APG and AEG
_BY_VOLUME = {
    Glycol.PROPYLENE: (5.546103, -0.326277, -0.6666873, -0.8800598, -1.071417, -1.875782),
    Glycol.ETHYLENE: (5.534468, -0.3574293, -0.6535113, -0.9039166, 1.048048, 4.622116),
}


def by_mass(mass_fraction: float, glycol: Glycol = Glycol.PROPYLENE) -> float:
    """degC at which ice forms, mass fraction 0 to 0.6, straight lines between the ASHRAE table's steps (from
    memory).
    """
    steps = check("mass_fraction", mass_fraction, 0.0, 0.6, "", "no data beyond 60 % by mass") * 20.0
    table = BY_MASS[Glycol(glycol)]
    low = min(int(steps), len(table) - 2)
    return table[low] + (steps - low) * (table[low + 1] - table[low])


def by_volume(volume_fraction: float, glycol: Glycol = Glycol.PROPYLENE) -> float:
    """degC at which ice forms by volume fraction, 0.1 to 0.6: the fit of ASHRAE 2001 that CoolProp calls APG and AEG.

    Giving it a mass fraction is the usual mistake: 0.3 K too warm at 30 %.
    """
    x = check("volume_fraction", volume_fraction, 0.1, 0.6, "") - 0.35
    return math.exp(sum(c * x**n for n, c in enumerate(_BY_VOLUME[Glycol(glycol)]))) - 273.15


def lange_by_volume(volume_fraction: float) -> float:
    """degC at which propylene glycol and water freeze by volume fraction, 0 to 0.5, straight lines between Lange's
    steps.
    """
    percent = check("volume_fraction", volume_fraction, 0.0, 0.5, "") * 100.0
    after = max(1, bisect_left(LANGE_BY_VOLUME, (percent, -math.inf)))
    (low, cold), (high, colder) = LANGE_BY_VOLUME[after - 1], LANGE_BY_VOLUME[min(after, len(LANGE_BY_VOLUME) - 1)]
    return cold + (percent - low) / (high - low) * (colder - cold)
