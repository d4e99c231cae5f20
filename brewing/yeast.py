"""How much yeast a wort wants, how much is alive, and how to grow the rest; by custom where no source is named."""

from typing import NamedTuple

from brewing import gravity
from brewing.errors import check

DRY_CELLS_PER_G = 10e9
"""Living cells in a gram of dried yeast: labels promise 5-6e9, counts find up to 20e9. Common practice, no source."""
SLURRY_CELLS_PER_ML = 1.2e9
"""Cells in a mL of settled slurry, 0.8-2e9. Common practice, no source."""
CELL_G = 40e-12
"""Dry mass of a cell, 30-50 pg. From memory."""
CELLS_PER_G_EXTRACT = gravity.YEAST_PER_ALCOHOL / gravity.EXTRACT_PER_ALCOHOL / CELL_G
"""Balling's 0.11 g of dry yeast from 2.0665 g of extract: 1.33e9 cells from a gram."""
CROWDED_CELLS_PER_ML = 200e6
"""A stirred starter stops growing about here. Common practice, no source."""
STARTER_EXTRACT_SHARE = 0.65
"""Share of a starter wort's extract that yeast takes up (real attenuation)."""
STEP_FACTOR = 8.0
"""Habit: no step of a starter is asked to multiply the cells more than about 5-10 times."""

_CLOSE = 1.0 - 1e-9
_LEAST_GAIN = 1.02


class Rate(NamedTuple):
    """Cells for each mL and degree Plato: the customary figure and its customary range."""

    usual: float
    least: float
    most: float


RATES = {
    "ale": Rate(0.75e6, 0.35e6, 1.0e6),
    "lager": Rate(1.5e6, 1.0e6, 2.0e6),
    "hybrid": Rate(1.0e6, 0.75e6, 1.5e6),
    "high gravity": Rate(1.0e6, 0.75e6, 2.0e6),
}
"""Common practice, no source; textbooks often say 1e6."""


class Keeping(NamedTuple):
    """How yeast is kept: living share when fresh, and the share of the living that dies in a day."""

    fresh: float
    loss_per_day: float
    most_days: float


KEEPING = {
    "liquid": Keeping(0.97, 0.0070, 365.0),
    "slurry": Keeping(0.90, 0.0200, 60.0),
    "dry": Keeping(1.00, 0.0002, 1100.0),
}
"""In the cold, about 4 degC. Common practice, no source: liquid packs lose 20 % a month, dried yeast 7 % a year."""


class Step(NamedTuple):
    """One step of a starter: its volume, what goes in, and the cells before and after."""

    volume_l: float
    extract_g: float
    cells_before: float
    cells_after: float


def cells_needed(volume_l: float, plato: float, rate: float) -> float:
    """Cells to pitch: rate x Plato x mL, the rate in cells for each mL and degree Plato."""
    litres = check("volume_l", volume_l, 0.0, 1e6, "L")
    extract = check("plato", plato, 0.0, 35.0, "degP")
    return check("rate", rate, 1e4, 1e8, "cells/(mL degP)") * extract * litres * 1000.0


def dry_mass(cells: float, cells_per_g: float = DRY_CELLS_PER_G) -> float:
    """g of dried yeast that hold so many living cells."""
    return _cells(cells) / check("cells_per_g", cells_per_g, 1e8, 1e11, "cells/g")


def slurry_volume(cells: float, viability: float = 1.0, cells_per_ml: float = SLURRY_CELLS_PER_ML) -> float:
    """mL of settled slurry for so many living cells; viability 0.05-1."""
    alive = check("viability", viability, 0.05, 1.0, "", "grow or buy fresh yeast")
    return _cells(cells) / alive / check("cells_per_ml", cells_per_ml, 1e7, 1e10, "cells/mL")


def viability(age_days: float, kept_as: str = "liquid") -> float:
    """Living share of the cells after cold storage, 0-1, dying by a fixed share each day; a count is better."""
    if kept_as not in KEEPING:
        raise ValueError(f"kept_as is {kept_as!r}, none of {', '.join(KEEPING)}")
    keeping = KEEPING[kept_as]
    days = check("age_days", age_days, 0.0, keeping.most_days, "d", "count the cells instead")
    return float(keeping.fresh * (1.0 - keeping.loss_per_day) ** days)


def pitched_rate(cells: float, volume_l: float, plato: float) -> float:
    """Cells for each mL and degree Plato that a pitch comes to."""
    millilitres = check("volume_l", volume_l, 0.1, 1e6, "L") * 1000.0
    return _cells(cells) / millilitres / check("plato", plato, 0.5, 35.0, "degP")


def dry_grams_per_litre(cells: float, volume_l: float) -> float:
    """g/L of dry yeast that a pitch comes to, at 40 pg a cell."""
    return _cells(cells) * CELL_G / check("volume_l", volume_l, 0.1, 1e6, "L")


def grown(cells: float, volume_l: float, plato: float = 9.0) -> float:
    """Cells after one stirred starter: Balling's yield on the extract taken up, until the starter is crowded."""
    before = _cells(cells)
    litres = check("volume_l", volume_l, 0.05, 1000.0, "L")
    extract = check("plato", plato, 2.0, 15.0, "degP", "a starter is kept weak, about 9 degP or 1.036")
    by_food = CELLS_PER_G_EXTRACT * STARTER_EXTRACT_SHARE * extract_mass(litres, extract)
    by_room = max(0.0, CROWDED_CELLS_PER_ML * litres * 1000.0 - before)
    return before + min(by_food, by_room)


def starter(cells: float, wanted: float, largest_l: float, plato: float = 9.0) -> tuple[Step, ...]:
    """The steps that grow `cells` to at least `wanted`, the last one reaching it; none when there are enough.

    Each step is as large as it needs to be, multiplies by at most 8, and fits in `largest_l`. Raises OutOfRange when
    the vessel is too small even when filled again and again.
    """
    have, steps = _cells(cells), list[Step]()
    check("wanted", wanted, 0.0, CROWDED_CELLS_PER_ML * largest_l * 900.0, "cells", "use a larger vessel")
    while have < wanted * _CLOSE:
        goal = min(wanted, have * STEP_FACTOR)
        volume = min(largest_l, _volume_to_grow(have, goal, plato))
        after = min(grown(have, volume, plato), have * STEP_FACTOR)
        if after < goal * _CLOSE and after < have * _LEAST_GAIN:
            check("wanted", wanted, 0.0, after, "cells", "use a larger vessel")
        steps.append(Step(volume, extract_mass(volume, plato), have, after))
        have = after
    return tuple(steps)


def extract_mass(volume_l: float, plato: float) -> float:
    """g of extract in so many litres of wort at 20 degC."""
    return volume_l * gravity.specific_gravity(plato) * 998.2 * plato / 100.0


def _volume_to_grow(cells: float, goal: float, plato: float) -> float:
    food_per_l = CELLS_PER_G_EXTRACT * STARTER_EXTRACT_SHARE * extract_mass(1.0, plato)
    room_per_l = CROWDED_CELLS_PER_ML * 1000.0
    return max(0.05, (goal - cells) / food_per_l, goal / room_per_l)


def _cells(cells: float) -> float:
    return check("cells", cells, 1e6, 1e17, "cells")
