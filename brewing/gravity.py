"""Gravity, extract and alcohol: what the wort held, what the beer holds, and how far it has fermented.

The default for alcohol is Balling's pair: it is the mass balance that brewery laboratories work from, it needs nothing
but the two gravities, and five published brew sets (532 brews) lie within 0.11 % by mass of it. `tabarie` solves the
same balance on the gravities of alcohol and of extract, `short` is the hobby's rule of thumb, which falls behind in
strong beer.
"""

from collections.abc import Callable
from typing import NamedTuple

from brewing import solutions
from brewing.errors import OutOfRange, check

LEAST_SG, MOST_SG = 0.99, 1.13
"""0.99 is far below what the polynomial was made for (1.000): apparent extract below zero is a convention."""
LEAST_APPARENT_PLATO = -0.55
MOST_BALLING_PLATO = 25.95
"""Specific gravity 1.110, up to which Balling's pair is trusted."""

EXTRACT_PER_ALCOHOL = 2.0665
CO2_PER_ALCOHOL = 0.9565
YEAST_PER_ALCOHOL = 0.11
"""Balling 1865: 2.0665 g of extract become 1 g of alcohol, 0.9565 g of CO2 and 0.11 g of yeast, dry."""
REAL_SHARE = 0.8192
"""Of a fall of apparent extract, the share that is real extract (Balling)."""
ALCOHOL_GRAVITY = 0.79067

_ROUNDING = 1e-9
_ASBC = (-616.868, 1111.14, -630.272, 135.997)
_NBS = (-669.5622, 1262.7794, -775.6821, 182.4601)


class Strength(NamedTuple):
    """Apparent and real extract in degrees Plato, alcohol in % by mass and by volume at 20 degC."""

    original_extract: float
    apparent_extract: float
    real_extract: float
    alcohol_by_weight: float
    alcohol_by_volume: float


def plato(specific_gravity: float) -> float:
    """g of extract in 100 g of wort, from the specific gravity 20/20; 0.990 to 1.130.

    ASBC Table 1 polynomial, which gives -0.003 at 1.000: that is shown as 0. Below 1.000 it is extrapolated.
    """
    extract = _cubic(_ASBC, check("specific_gravity", specific_gravity, LEAST_SG, MOST_SG, ""))
    return extract if specific_gravity < 1.0 else max(0.0, extract)


def specific_gravity(plato: float) -> float:
    """20/20, from degrees Plato; the inverse of the ASBC polynomial, 0.990 to 1.130."""
    extract = check("plato", plato, _cubic(_ASBC, LEAST_SG), _cubic(_ASBC, MOST_SG), "degP")
    if _cubic(_ASBC, 1.0) <= extract <= 0.0:
        return 1.0
    gravity = 1.0 + extract / 258.6
    for _ in range(6):
        slope = _ASBC[1] + gravity * (2.0 * _ASBC[2] + gravity * 3.0 * _ASBC[3])
        gravity -= (_cubic(_ASBC, gravity) - extract) / slope
    return gravity


def brix(specific_gravity: float) -> float:
    """Mass per cent of sucrose from the apparent specific gravity 20/20, 1.000 to 1.180. NBS Circular C440, cubic."""
    return _cubic(_NBS, check("specific_gravity", specific_gravity, 1.0, 1.18, ""))


def real_extract(original_extract: float, apparent_extract: float) -> float:
    """degP truly left, alcohol's lightness taken out. Balling's quotient: 0.1808 OE + 0.8192 AE, AE >= -0.55."""
    original, apparent = _extracts(original_extract, apparent_extract)
    return (1.0 - REAL_SHARE) * original + REAL_SHARE * apparent


def alcohol_by_weight(original_extract: float, real_extract: float) -> float:
    """% by mass: (OE - RE) / (2.0665 - 0.010665 OE), Balling; up to 25.9 degP of original extract (1.110)."""
    original = check("original_extract", original_extract, 0.0, MOST_BALLING_PLATO, "degP")
    remaining = _left_of(original, "real_extract", real_extract, -1.0, "no beer gains extract as it ferments")
    return (original - remaining) / (EXTRACT_PER_ALCOHOL - 0.010665 * original)


def alcohol_by_volume(alcohol_by_weight: float, final_gravity: float) -> float:
    """% by volume at 20 degC: ABW FG / 0.79067."""
    alcohol = check("alcohol_by_weight", alcohol_by_weight, 0.0, 20.0, "%")
    return alcohol * check("final_gravity", final_gravity, LEAST_SG, MOST_SG, "") / ALCOHOL_GRAVITY


def alcohol_by_volume_short(original_gravity: float, final_gravity: float) -> float:
    """% by volume: 131.25 (OG - FG), common practice; 0.03 below Balling at 1.040, 0.23 at 1.080."""
    original, final = _gravities(original_gravity, final_gravity)
    return 131.25 * (original - final)


def original_extract(alcohol_by_weight: float, real_extract: float) -> float:
    """degP that the wort had, from a beer's analysis: 100 (2.0665 A + RE) / (100 + 1.0665 A), Balling 1865."""
    alcohol = check("alcohol_by_weight", alcohol_by_weight, 0.0, 20.0, "%")
    remaining = check("real_extract", real_extract, -1.0, 30.0, "degP")
    lost = CO2_PER_ALCOHOL + YEAST_PER_ALCOHOL
    return 100.0 * (EXTRACT_PER_ALCOHOL * alcohol + remaining) / (100.0 + lost * alcohol)


def strength(original_gravity: float, final_gravity: float, method: str = "balling") -> Strength:
    """All of it from the two gravities; `method` is one of `STRENGTH_METHODS`."""
    original, final = _gravities(original_gravity, final_gravity)
    if method not in STRENGTH_METHODS:
        raise ValueError(f"method is {method!r}, none of {', '.join(STRENGTH_METHODS)}")
    return STRENGTH_METHODS[method](original, final)


def apparent_attenuation(original_gravity: float, final_gravity: float) -> float:
    """%: the fall of apparent extract, 1 - AE/OE. The same in points, (OG - FG)/(OG - 1), reads about 0.5 higher."""
    original, apparent = _fall(original_gravity, final_gravity)
    return 100.0 * (1.0 - apparent / original)


def apparent_attenuation_in_points(original_gravity: float, final_gravity: float) -> float:
    """%: (OG - FG)/(OG - 1), as the hobby counts it."""
    _fall(original_gravity, final_gravity)
    return 100.0 * (original_gravity - final_gravity) / (original_gravity - 1.0)


def real_degree_of_fermentation(original_gravity: float, final_gravity: float) -> float:
    """%: 100 (OE - RE)/OE / (1 - 0.005161 RE), ASBC Beer-6, with Balling's real extract."""
    original, apparent = _fall(original_gravity, final_gravity)
    remaining = real_extract(original, apparent)
    return 100.0 * (original - remaining) / original / (1.0 - 0.005161 * remaining)


def final_gravity_for(original_gravity: float, attenuation: float) -> float:
    """The gravity at which the apparent attenuation, in %, is reached; inverse of `apparent_attenuation`."""
    reached = check("attenuation", attenuation, 0.0, 110.0, "%")
    final = specific_gravity(plato(original_gravity) * (1.0 - reached / 100.0))
    return min(final, original_gravity)


def energy_kcal(original_gravity: float, final_gravity: float) -> float:
    """kcal in 100 mL: (6.9 ABW + 4.0 (RE - 0.1)) FG, 0.1 % being ash. ASBC Beer-33, from memory."""
    beer = strength(original_gravity, final_gravity)
    return (6.9 * beer.alcohol_by_weight + 4.0 * max(0.0, beer.real_extract - 0.1)) * final_gravity


def alcohol_factor(original_extract: float, attenuation: float = 80.0) -> float:
    """Alcohol, % by mass, for each degP of apparent fall, by `tabarie`; 1-30 degP, apparent attenuation 5-100 %."""
    original = check("original_extract", original_extract, 1.0, 30.0, "degP")
    fall = original * check("attenuation", attenuation, 5.0, 100.0, "%") / 100.0
    return _tabarie_alcohol(original, specific_gravity(original - fall)) / fall


def _balling(original: float, final: float) -> Strength:
    wort, apparent = plato(original), plato(final)
    remaining = real_extract(wort, apparent)
    alcohol = alcohol_by_weight(wort, remaining)
    return Strength(wort, apparent, remaining, alcohol, alcohol_by_volume(alcohol, final))


def _tabarie(original: float, final: float) -> Strength:
    wort = plato(original)
    alcohol = _tabarie_alcohol(wort, final)
    return Strength(wort, plato(final), _left(wort, alcohol), alcohol, alcohol_by_volume(alcohol, final))


def _short(original: float, final: float) -> Strength:
    wort, apparent = plato(original), plato(final)
    by_volume = alcohol_by_volume_short(original, final)
    by_weight = by_volume * ALCOHOL_GRAVITY / final
    return Strength(wort, apparent, real_extract(wort, apparent), by_weight, by_volume)


STRENGTH_METHODS: dict[str, Callable[[float, float], Strength]] = {
    "balling": _balling,
    "tabarie": _tabarie,
    "short": _short,
}


def _tabarie_alcohol(original: float, final_gravity: float) -> float:
    """Tabarie: beer's gravity is that of its alcohol plus that of its extract less one; the balance is Balling's."""
    water = solutions.ethanol_density(0.0)

    def excess(alcohol: float) -> float:
        of_alcohol = solutions.ethanol_density(alcohol / 100.0) / water
        return of_alcohol + specific_gravity(_left(original, alcohol)) - 1.0 - final_gravity

    low, high = 0.0, original / EXTRACT_PER_ALCOHOL
    for _ in range(50):
        middle = (low + high) / 2.0
        low, high = (middle, high) if excess(middle) > 0.0 else (low, middle)
    return (low + high) / 2.0


def _left(original: float, alcohol: float) -> float:
    lost = CO2_PER_ALCOHOL + YEAST_PER_ALCOHOL
    return original * (1.0 + lost / 100.0 * alcohol) - EXTRACT_PER_ALCOHOL * alcohol


def _gravities(original_gravity: float, final_gravity: float) -> tuple[float, float]:
    original = check("original_gravity", original_gravity, 1.0, MOST_SG, "")
    check("final_gravity", final_gravity, LEAST_SG, MOST_SG, "")
    if final_gravity > original:
        raise OutOfRange(
            "final_gravity", final_gravity, LEAST_SG, original, "", "it cannot lie above the original gravity"
        )
    return original, final_gravity


def _fall(original_gravity: float, final_gravity: float) -> tuple[float, float]:
    original, final = _gravities(original_gravity, final_gravity)
    check("original_gravity", original, 1.001, MOST_SG, "", "water has nothing to attenuate")
    return plato(original), plato(final)


def _extracts(original_extract: float, apparent_extract: float) -> tuple[float, float]:
    original = check("original_extract", original_extract, 0.0, 30.0, "degP")
    remedy = (
        "it cannot lie above the original extract" if apparent_extract > original else "drier beer needs a laboratory"
    )
    return original, _left_of(original, "apparent_extract", apparent_extract, LEAST_APPARENT_PLATO, remedy)


def _left_of(original: float, argument: str, extract: float, least: float, remedy: str) -> float:
    """The extract, checked to be no more than the original; what rounding alone put above it is the original."""
    return (
        original
        if original < extract < original + _ROUNDING
        else check(argument, extract, least, original, "degP", remedy)
    )


def _cubic(coefficients: tuple[float, float, float, float], x: float) -> float:
    c0, c1, c2, c3 = coefficients
    return c0 + x * (c1 + x * (c2 + x * c3))
