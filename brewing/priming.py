"""Sugar that carbonates beer in the bottle, and the pressure that the bottle must then bear.

Caution: glass bursts. Bottle only beer that has finished, weigh the sugar, use bottles made for the pressure, keep
them in a closed case and below the temperature that the pressure was worked out for, and open them away from the
face.
"""

from typing import NamedTuple

from brewing.atmosphere import STANDARD_PA
from brewing.carbon_dioxide import KG_PER_M3_PER_VOLUME
from brewing.errors import check
from brewing.solubility import volumes_in_water

_CO2, _GLUCOSE, _DISACCHARIDE, _WATER = 44.0095, 180.15588, 342.29648, 18.01528  # g/mol
_BEER_TO_WATER = 0.964  # chart fit against water at 20 degC, see carbonation


class Sugar(NamedTuple):
    """`co2_yield`: kg of CO2 per kg when all of it ferments; the real yield is 90 to 100 % of that."""

    co2_yield: float
    source: str


_STOICHIOMETRY = "stoichiometry: one hexose gives two ethanol and two CO2"
SUGARS = {
    "sucrose": Sugar(4 * _CO2 / _DISACCHARIDE, _STOICHIOMETRY),
    "glucose_anhydrous": Sugar(2 * _CO2 / _GLUCOSE, _STOICHIOMETRY),
    "dextrose_monohydrate": Sugar(2 * _CO2 / (_GLUCOSE + _WATER), _STOICHIOMETRY),
    "fructose": Sugar(2 * _CO2 / _GLUCOSE, _STOICHIOMETRY),
    "maltose_anhydrous": Sugar(4 * _CO2 / _DISACCHARIDE, _STOICHIOMETRY),
    "maltose_monohydrate": Sugar(4 * _CO2 / (_DISACCHARIDE + _WATER), _STOICHIOMETRY),
    "extract": Sugar(0.9565 / 2.0665, "Balling 1865, per kg of extract fermented, yeast growth taken off"),
    "dried_malt_extract": Sugar(
        0.75 * 0.96 * 0.9565 / 2.0665, "Balling, 4 % water, 75 % fermentable: common practice, no source"
    ),
    "honey": Sugar(0.95 * 0.82 * 2 * _CO2 / _GLUCOSE, "82 % sugars, 95 % fermentable: common practice, no source"),
}


class Vessel(NamedTuple):
    """`most_volumes`: customary upper limit of carbonation for such a vessel; the maker's rating comes first."""

    most_volumes: float
    source: str


VESSELS = {
    "standard bottle": Vessel(3.0, "common practice, no source"),
    "thick bottle": Vessel(4.0, "common practice, no source; from memory"),
    "sparkling wine bottle": Vessel(6.0, "common practice, no source; from memory"),
}


def co2_yield(sugar: str) -> float:
    """kg of CO2 per kg of that sugar, completely fermented; the names are those of `SUGARS`."""
    if sugar not in SUGARS:
        raise ValueError(f"sugar is {sugar!r}, which is none of {', '.join(SUGARS)}")
    return SUGARS[sugar].co2_yield


def sugar_mass(volume_l: float, target_volumes: float, residual_volumes: float, sugar: str = "sucrose") -> float:
    """kg of sugar that lifts the beer from its residual to its target volumes, 0 to -10 % (incomplete yield), +/-5 %.

    `residual_volumes` comes from `carbonation.residual_volumes`. Raises OutOfRange naming `target_volumes` when the
    beer already holds more.
    """
    volume_l = check("volume_l", volume_l, 0.0, 100_000.0, "L")
    residual = check("residual_volumes", residual_volumes, 0.0, 6.0, "vol")
    target = check(
        "target_volumes", target_volumes, residual, 6.0, "vol", "the beer holds more already: no sugar needed"
    )
    return (target - residual) * volume_l * 1e-3 * KG_PER_M3_PER_VOLUME / co2_yield(sugar)


def volumes_from_sugar(volume_l: float, mass_kg: float, residual_volumes: float, sugar: str = "sucrose") -> float:
    """Volumes reached when that sugar has fermented out; the check to make before closing the bottles."""
    volume_l = check("volume_l", volume_l, 1e-3, 100_000.0, "L")
    mass_kg = check("mass_kg", mass_kg, 0.0, 1e5, "kg")
    residual = check("residual_volumes", residual_volumes, 0.0, 6.0, "vol")
    return residual + mass_kg * co2_yield(sugar) / (volume_l * 1e-3 * KG_PER_M3_PER_VOLUME)


def bottle_gauge(volumes: float, warmest_c: float, atmosphere_pa: float = STANDARD_PA) -> float:
    """Pa gauge inside a closed bottle at the warmest it will see, 0 to 40 degC, +/-6 %.

    Counts no gas in the headspace, so it errs high. Weiss 1974 for water times 0.964 for beer.
    """
    volumes = check("volumes", volumes, 0.0, 6.0, "vol")
    atmosphere_pa = check("atmosphere_pa", atmosphere_pa, 20_000.0, 110_000.0, "Pa")
    return volumes / (_BEER_TO_WATER * volumes_in_water(warmest_c)) * STANDARD_PA - atmosphere_pa


def bottle_warning(volumes: float, vessel: str = "standard bottle") -> str:
    """What to say about that much gas in that vessel; empty when it lies within the customary limit."""
    if vessel not in VESSELS:
        raise ValueError(f"vessel is {vessel!r}, which is none of {', '.join(VESSELS)}")
    most = VESSELS[vessel].most_volumes
    if check("volumes", volumes, 0.0, 12.0, "vol") <= most:
        return ""
    return (
        f"{volumes:.1f} volumes is above the {most:.1f} customary for a {vessel}: it may burst; use a stronger vessel"
    )


def volumes_if_unfinished(gravity_drop: float, residual_volumes: float) -> float:
    """Volumes reached when the beer still loses that much apparent specific gravity (0 to 0.02) in the bottle, +/-5
    %.

    Each 0.001 too early adds half a volume: 0.258 degP apparent, times 0.8192 for real extract, times Balling's CO2
    yield.
    """
    drop = check("gravity_drop", gravity_drop, 0.0, 0.02, "SG")
    residual = check("residual_volumes", residual_volumes, 0.0, 6.0, "vol")
    return residual + drop * 2_580.0 * 0.8192 * SUGARS["extract"].co2_yield / KG_PER_M3_PER_VOLUME
