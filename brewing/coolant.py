"""Glycol and water: how cold the bath may go, and how much heat it carries.

Melinder 2010, Properties of Secondary Working Fluids for Indirect Systems: polynomials in mass fraction and
temperature, as CoolProp's incompressible fluids MPG and MEG use them; the tests compare with that library over the
whole range, which is too heavy to load beside a controller. Freezing points of handbooks differ: propylene by 0.6 K
up to 40 % and 1.3 K at 50 % (ASHRAE, from memory), by 1.2 K (Lange's Handbook, Table 5.13, by volume); ethylene by
0.5 K to 30 % and 2.2 K at 50 %.

Caution: ethylene glycol is poisonous, a cup can kill and it tastes sweet. Never use it, or car antifreeze of any
kind, where a leak could reach beer: use food-grade propylene glycol. More glycol is not better: it flows worse and
carries less heat.
"""

import math
from typing import NamedTuple

from brewing import antifreeze
from brewing.antifreeze import Glycol as Glycol
from brewing.errors import OutOfRange, check
from brewing.water import density as water_density

HIGHEST_FRACTION = 0.6
HIGHEST_C = 100.0
SURFACE_MARGIN_K = 5.0  # below the coldest surface; habit 3 to 8 K, common practice, no source
TOXIC = "ethylene glycol is poisonous: never where a leak could reach beer; use food-grade propylene glycol"

_KELVIN = 273.15
_Rows = tuple[tuple[float, ...], ...]


class Fit(NamedTuple):
    """Coefficients: each row multiplies a power of (T - base_k), each column a power of (w - base_fraction)."""

    base_k: float
    base_fraction: float
    pure_density_20c: float
    freezing_spread_k: tuple[float, float]  # up to 40 %, above
    freezing: tuple[float, ...]
    density: _Rows
    specific_heat: _Rows
    conductivity: _Rows
    viscosity: _Rows  # of its logarithm


FITS = {
    Glycol.PROPYLENE: Fit(
        base_k=305.8583,
        base_fraction=0.307031,
        pure_density_20c=1036.1,
        freezing_spread_k=(1.2, 1.5),
        freezing=(259.9, -66.31, -109.4, -228.3, -340.9, 146.5),
        density=(
            (1018.0, 76.04, -24.98, -155.0, -113.1, 234.2),
            (-0.5406, -0.945, 0.27, 2.829, -2.221),
            (-0.002666, 0.005541, -0.004018, -0.007175),
            (1.347e-05, -1.343e-05, 3.376e-05),
        ),
        specific_heat=(
            (3882.0, -1304.0, -1598.0, 353.9, 5000.0, -4959.0),
            (2.699, 5.07, 0.9534, 31.02, -71.35),
            (-0.001659, -0.004752, 0.1167, -0.295),
            (-1.032e-05, 0.0001522, -0.000487),
        ),
        conductivity=(
            (0.4513, -0.4795, 0.2076, -0.09083, -0.05952, 0.2104),
            (0.0007955, -0.001678, 0.001563, -0.002518, -0.003605),
            (3.482e-08, 8.941e-06, -4.615e-05, 6.543e-05),
            (-5.966e-09, 1.493e-08, 9.897e-08),
        ),
        viscosity=(
            (-6.224055, 3.328, 0.5453, -3.9, -1.587, 35.64),
            (-0.03045, -0.03984, -0.00086, 0.1054, 0.04475),
            (0.0002525, 0.0004332, -0.0001593, -0.001589),
            (-1.399e-06, -1.86e-06, -4.465e-07),
        ),
    ),
    Glycol.ETHYLENE: Fit(
        base_k=304.878,
        base_fraction=0.308462,
        pure_density_20c=1113.5,
        freezing_spread_k=(2.5, 2.5),
        freezing=(257.9, -80.8, -133.4, -72.93, 100.6, 11.4),
        density=(
            (1034.0, 131.1, 0.749, -106.2, -96.23, 489.1),
            (-0.4781, -0.6876, 0.7855, 1.229, -7.211),
            (-0.002692, 0.004805, -0.003995, -0.01153),
            (4.725e-06, 1.69e-06, 4.982e-05),
        ),
        specific_heat=(
            (3737.0, -1799.0, -993.3, 2610.0, 1537.0, -16180.0),
            (2.93, 10.46, 3.516, -1.189, -42.72),
            (-0.004675, -0.04147, 0.05109, -0.1643),
            (-1.389e-05, 1.847e-05, -0.0007138),
        ),
        conductivity=(
            (0.472, -0.4286, 0.1747, 0.03017, -0.1322, 0.2678),
            (0.0008903, -0.001473, 0.0006814, -0.002412, 0.002555),
            (-1.058e-06, 1.059e-05, -3.612e-05, 4.004e-05),
            (-2.789e-09, -1.142e-08, 2.365e-08),
        ),
        viscosity=(
            (-6.437255, 2.471, 0.03328, 1.659, 3.089, -18.65),
            (-0.0255, -0.01171, 0.01086, 0.003157, 0.01831),
            (0.0001782, 0.0001052, 0.0001051, 0.0004063),
            (-7.669e-07, -1.634e-06, -6.475e-06),
        ),
    ),
}


def freezing_point(mass_fraction: float, glycol: Glycol = Glycol.PROPYLENE) -> float:
    """degC at which the first ice forms; mass fraction 0 to 0.6. See `freezing_spread` for how sure that is."""
    fraction = _fraction(mass_fraction)
    fit = FITS[Glycol(glycol)]
    return _polynomial(fit.freezing, fraction - fit.base_fraction) - _KELVIN


def freezing_spread(mass_fraction: float, glycol: Glycol = Glycol.PROPYLENE) -> float:
    """K by which published freezing points of that mixture differ from `freezing_point`, either way."""
    spread = FITS[Glycol(glycol)].freezing_spread_k
    return spread[0] if _fraction(mass_fraction) <= 0.4 else spread[1]


def density(mass_fraction: float, temperature_c: float, glycol: Glycol = Glycol.PROPYLENE) -> float:
    """kg/m3 from the freezing point to 100 degC, within 0.3 % of handbooks."""
    return _surface(FITS[Glycol(glycol)].density, mass_fraction, temperature_c, glycol)


def specific_heat(mass_fraction: float, temperature_c: float, glycol: Glycol = Glycol.PROPYLENE) -> float:
    """J/(kg K) from the freezing point to 100 degC, within 2 % of handbooks."""
    return _surface(FITS[Glycol(glycol)].specific_heat, mass_fraction, temperature_c, glycol)


def conductivity(mass_fraction: float, temperature_c: float, glycol: Glycol = Glycol.PROPYLENE) -> float:
    """W/(m K) from the freezing point to 100 degC, within 3 % of handbooks."""
    return _surface(FITS[Glycol(glycol)].conductivity, mass_fraction, temperature_c, glycol)


def viscosity(mass_fraction: float, temperature_c: float, glycol: Glycol = Glycol.PROPYLENE) -> float:
    """Dynamic viscosity in Pa s from the freezing point to 100 degC, within 10 %: inhibitors change it."""
    return math.exp(_surface(FITS[Glycol(glycol)].viscosity, mass_fraction, temperature_c, glycol))


def mass_fraction_from_volume(
    volume_fraction: float,
    glycol: Glycol = Glycol.PROPYLENE,
    pure_density: float | None = None,
    pure_water_density: float | None = None,
) -> float:
    """Mass fraction of what was mixed by volume at 20 degC: 30 % by volume is 30.8 % (propylene) or 32.3 % (ethylene)
    by mass.

    Densities in kg/m3 default to the pure liquids at 20 degC. OutOfRange names `volume_fraction` beyond 0.6 by mass.
    """
    heavy = check("pure_density", pure_density or FITS[Glycol(glycol)].pure_density_20c, 900.0, 1300.0, "kg/m3")
    light = check("pure_water_density", pure_water_density or water_density(20.0), 900.0, 1100.0, "kg/m3")
    most = HIGHEST_FRACTION * light / (HIGHEST_FRACTION * light + (1 - HIGHEST_FRACTION) * heavy)
    part = check("volume_fraction", volume_fraction, 0.0, most, "", "no data beyond 60 % by mass")
    return part * heavy / (part * heavy + (1.0 - part) * light)


def volume_fraction_from_mass(mass_fraction: float, glycol: Glycol = Glycol.PROPYLENE) -> float:
    """Share of the volumes to measure out at 20 degC; the mixture shrinks a little, which this does not count."""
    fraction = _fraction(mass_fraction)
    heavy, light = FITS[Glycol(glycol)].pure_density_20c, water_density(20.0)
    return fraction * light / (fraction * light + (1.0 - fraction) * heavy)


def fraction_for(freezing_c: float, glycol: Glycol = Glycol.PROPYLENE) -> float:
    """Mass fraction that freezes at that temperature; from that of 60 % up to 0 degC."""
    coldest = freezing_point(HIGHEST_FRACTION, glycol)
    wanted = check("freezing_c", freezing_c, coldest, 0.0, "degC", "no data beyond 60 % by mass")
    low, high = 0.0, HIGHEST_FRACTION
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if freezing_point(middle, glycol) > wanted else (low, middle)
    return high


def warmest_freezing_point(mass_fraction: float, glycol: Glycol = Glycol.PROPYLENE) -> float:
    """The safe side, degC: the warmer of `freezing_point` and the handbook's table, 0 to 0.6, never above 0."""
    own = freezing_point(mass_fraction, glycol)
    return min(0.0, max(own, antifreeze.by_mass(mass_fraction, glycol)))


def lowest_bath(mass_fraction: float, glycol: Glycol = Glycol.PROPYLENE, margin_k: float = SURFACE_MARGIN_K) -> float:
    """Coldest safe bath setting in degC: warmest freezing point plus a margin, since the evaporator is colder than
    the bath.

    Margin 1 to 20 K; the default of 5 is habit (3 to 8 K).
    """
    return warmest_freezing_point(mass_fraction, glycol) + check("margin_k", margin_k, 1.0, 20.0, "K")


def fraction_for_bath(bath_c: float, glycol: Glycol = Glycol.PROPYLENE, margin_k: float = SURFACE_MARGIN_K) -> float:
    """Mass fraction that a bath set to `bath_c` needs; 0 where water alone does. OutOfRange names `bath_c` beyond
    60 %.
    """
    coldest = lowest_bath(HIGHEST_FRACTION, glycol, margin_k)
    wanted = check("bath_c", bath_c, coldest, 40.0, "degC", "no glycol solution is safe at that") - margin_k
    low, high = 0.0, HIGHEST_FRACTION
    if wanted >= 0.0:
        return low
    for _ in range(50):
        middle = (low + high) / 2
        low, high = (middle, high) if warmest_freezing_point(middle, glycol) > wanted else (low, middle)
    return high


class Recipe(NamedTuple):
    """What to weigh out."""

    glycol_kg: float
    water_kg: float


def mix(volume_l: float, mass_fraction: float, glycol: Glycol = Glycol.PROPYLENE) -> Recipe:
    """Masses that make that volume of coolant at 20 degC; 0.1 to 10 000 L."""
    volume_l = check("volume_l", volume_l, 0.1, 10_000.0, "L")
    total = volume_l * 1e-3 * density(mass_fraction, 20.0, glycol)
    return Recipe(glycol_kg=total * mass_fraction, water_kg=total * (1.0 - mass_fraction))


def diluted(mass_kg: float, mass_fraction: float, water_added_kg: float) -> float:
    """Mass fraction after water got in: rain, condensation, or topping up with the hose."""
    mass_kg = check("mass_kg", mass_kg, 0.01, 1e5, "kg")
    return _fraction(mass_fraction) * mass_kg / (mass_kg + check("water_added_kg", water_added_kg, 0.0, 1e5, "kg"))


def top_up(mass_kg: float, mass_fraction: float, target_fraction: float) -> float:
    """kg of pure glycol to add to a bath that got too weak; OutOfRange names `target_fraction` when it is no
    stronger.
    """
    mass_kg = check("mass_kg", mass_kg, 0.01, 1e5, "kg")
    weak, strong = _weak_and_strong(mass_fraction, target_fraction)
    return mass_kg * (strong - weak) / (1.0 - strong)


def exchange(mass_kg: float, mass_fraction: float, target_fraction: float) -> float:
    """kg of weak coolant to drain and replace by as much pure glycol, when the bath is full."""
    mass_kg = check("mass_kg", mass_kg, 0.01, 1e5, "kg")
    weak, strong = _weak_and_strong(mass_fraction, target_fraction)
    return mass_kg * (strong - weak) / (1.0 - weak)


def warning(glycol: Glycol) -> str:
    """What must be said whenever this coolant is spoken of; empty for food-grade propylene glycol."""
    return TOXIC if Glycol(glycol) is Glycol.ETHYLENE else ""


def _fraction(mass_fraction: float) -> float:
    return check("mass_fraction", mass_fraction, 0.0, HIGHEST_FRACTION, "", "no data beyond 60 % by mass")


def _weak_and_strong(mass_fraction: float, target_fraction: float) -> tuple[float, float]:
    """Both fractions in order; a target that is weaker by a rounding error alone counts as equal."""
    weak = _fraction(mass_fraction)
    strong = check("target_fraction", target_fraction, weak - 1e-9, HIGHEST_FRACTION, "", "to thin a bath, add water")
    return weak, max(weak, strong)


def _surface(rows: _Rows, mass_fraction: float, temperature_c: float, glycol: Glycol) -> float:
    fit = FITS[Glycol(glycol)]
    ice = freezing_point(mass_fraction, glycol)
    if temperature_c < ice:
        raise OutOfRange("temperature_c", temperature_c, ice, HIGHEST_C, "degC", "it freezes: take more glycol")
    warm = check("temperature_c", temperature_c, ice, HIGHEST_C, "degC") + _KELVIN - fit.base_k
    return _polynomial([_polynomial(row, mass_fraction - fit.base_fraction) for row in rows], warm)


def _polynomial(coefficients: tuple[float, ...] | list[float], x: float) -> float:
    total = 0.0
    for coefficient in reversed(coefficients):
        total = total * x + coefficient
    return total
