"""When beer begins to freeze, how near it is, and how much of it would be ice.

The alarm and the lowest setpoint use the ethanol-water curve alone, because whatever else is dissolved only lowers the
freezing point: that is the safe side. Keg walls, jackets and coils are colder than the beer, and ice forms there first.
"""

from bisect import bisect_left
from typing import NamedTuple

from brewing import gravity
from brewing.errors import check

MOST_ALCOHOL = 30.0
CRYOSCOPIC_CONSTANT = 8.314462618 * 273.15**2 * 0.018015268 / 6009.5
"""K kg/mol: R Tf^2 M / heat of fusion of water."""
SUCROSE_G_MOL = 342.297
DEXTRIN_G_MOL = 600.0
"""Mean molar mass of what is left in beer, between maltotriose and the larger dextrins; an estimate."""
SLUSH_MARGIN_K = 0.5
"""Habit, no source: how far above the safe freezing point beer may be driven."""

# Melinder 2010 as in CoolProp's INCOMP::MEA: degC in powers of the mass fraction; it gives -0.047 at 0
_MELINDER = (-0.0473283115, -39.3153734085, 38.4234616411, -1008.90902764, 2412.63435, -1670.0)
# Lange's Handbook of Chemistry, 15th edition, Table 5.13: ethanol, % by mass and degC
_LANGE = (
    (0.0, 0.0),
    (2.5, -1.0),
    (4.8, -2.0),
    (6.8, -3.0),
    (11.3, -5.0),
    (13.8, -6.1),
    (18.8, -9.4),
    (22.1, -12.2),
    (26.7, -16.0),
)


class FreezingPoints(NamedTuple):
    """degC: the safe side for limits and alarms, the likely temperature of the first ice, the trade's estimate."""

    safe: float
    likely: float
    trade: float


def of_alcohol(alcohol_by_weight: float) -> float:
    """degC at which ethanol in water begins to freeze, 0-30 % by mass.

    Melinder 2010 (CoolProp), within 0.2 K of Lange up to 11 %, up to 1 K colder beyond; straight to 0 below 1 %.
    """
    alcohol = check("alcohol_by_weight", alcohol_by_weight, 0.0, MOST_ALCOHOL, "%")
    return min(0.0, alcohol * _melinder(0.01) if alcohol < 1.0 else _melinder(alcohol / 100.0))


def of_alcohol_by_lange(alcohol_by_weight: float) -> float:
    """The same from Lange's table (15th edition, 5.13), 0-26.7 %, straight lines between its rows."""
    alcohol = check("alcohol_by_weight", alcohol_by_weight, 0.0, _LANGE[-1][0], "%")
    above = max(1, bisect_left(_LANGE, (alcohol,)))
    (x0, y0), (x1, y1) = _LANGE[above - 1], _LANGE[above]
    return y0 + (alcohol - x0) * (y1 - y0) / (x1 - x0)


def safe_limit(alcohol_by_weight: float) -> float:
    """degC above which no beer of this strength freezes, whatever else it holds: the warmer of two sources."""
    return max(of_alcohol(alcohol_by_weight), of_alcohol_by_lange(min(alcohol_by_weight, _LANGE[-1][0])))


def likely(alcohol_by_weight: float, real_extract: float) -> float:
    """degC of the first ice: the ethanol curve, lowered by extract as an ideal solute of 600 g/mol; RE 0-15 degP."""
    extract = check("real_extract", real_extract, 0.0, 15.0, "degP")
    return of_alcohol(alcohol_by_weight) - _lowered_by(extract, DEXTRIN_G_MOL, 100.0 - extract - alcohol_by_weight)


def of_beer(alcohol_by_weight: float, original_extract: float) -> float:
    """degC by `trade_estimate` within its range: A 3-8.5 %, OE 5-25 degP, and +/-0.7 K even there."""
    alcohol = check("alcohol_by_weight", alcohol_by_weight, 3.0, 8.5, "%", "use the ethanol curve")
    return trade_estimate(alcohol, check("original_extract", original_extract, 5.0, 25.0, "degP"))


def trade_estimate(alcohol_by_weight: float, original_extract: float) -> float:
    """-(0.42 A + 0.04 OE + 0.2) degC, from memory; -0.2 where there is neither, so not to be trusted outside `of_beer`.

    Copies that print + signs for the last two terms are wrong: they lie above the ethanol curve.
    """
    alcohol = check("alcohol_by_weight", alcohol_by_weight, 0.0, 20.0, "%")
    extract = check("original_extract", original_extract, 0.0, 35.0, "degP")
    return -(0.42 * alcohol + 0.04 * extract + 0.2)


def of_wort(sugar: float) -> float:
    """degC at which a sucrose solution freezes as an ideal solution, 0-30 % by mass; real ones 2-8 % lower to 20 %."""
    percent = check("sugar", sugar, 0.0, 30.0, "%")
    return -_lowered_by(percent, SUCROSE_G_MOL, 100.0 - percent)


def points(original_gravity: float, final_gravity: float) -> FreezingPoints:
    """All three from the gravities; the trade's estimate is shown outside its range too, for comparison."""
    beer = gravity.strength(original_gravity, final_gravity)
    first_ice = likely(beer.alcohol_by_weight, max(0.0, beer.real_extract))
    trade = trade_estimate(beer.alcohol_by_weight, beer.original_extract)
    return FreezingPoints(safe_limit(beer.alcohol_by_weight), first_ice, trade)


def slush_margin(temperature_c: float, alcohol_by_weight: float) -> float:
    """K between the beer and its safe limit; below 0 there may be ice."""
    return check("temperature_c", temperature_c, -30.0, 50.0, "degC") - safe_limit(alcohol_by_weight)


def ice_fraction(temperature_c: float, alcohol_by_weight: float, real_extract: float) -> float:
    """Share of the beer's mass that is ice at rest at this temperature: the rest is concentrated until it stays liquid.

    0 to 0.6, from `likely` and a mass balance; OutOfRange where more would freeze.
    """
    check("temperature_c", temperature_c, -30.0, 50.0, "degC")
    if likely(alcohol_by_weight, real_extract) <= temperature_c:
        return 0.0
    low, high = 0.0, 0.6
    coldest = _concentrated(high, alcohol_by_weight, real_extract)
    check("temperature_c", temperature_c, coldest, None, "degC", "most of the beer would be ice")
    for _ in range(50):
        middle = (low + high) / 2.0
        too_warm = _concentrated(middle, alcohol_by_weight, real_extract) > temperature_c
        low, high = (middle, high) if too_warm else (low, middle)
    return (low + high) / 2.0


def _concentrated(ice: float, alcohol: float, extract: float) -> float:
    liquid = 1.0 - ice
    strong, rich = min(MOST_ALCOHOL, alcohol / liquid), extract / liquid
    return of_alcohol(strong) - _lowered_by(rich, DEXTRIN_G_MOL, 100.0 - rich - strong)


def _lowered_by(grams: float, molar_mass: float, water_grams: float) -> float:
    return CRYOSCOPIC_CONSTANT * 1000.0 * grams / molar_mass / water_grams


def _melinder(fraction: float) -> float:
    total = 0.0
    for coefficient in reversed(_MELINDER):
        total = total * fraction + coefficient
    return total
