"""How fast yeast works: its strain, its temperature, and the time that counts for it."""

from bisect import bisect_right
from collections.abc import Callable
from functools import lru_cache
from math import exp
from typing import NamedTuple

from brewing.errors import OutOfRange, check

COLDEST_C, HOTTEST_C = -5.0, 45.0
_GAS_CONSTANT = 8.314462618
_AT_20_C = 1.0 / (_GAS_CONSTANT * 293.15)
_STEP_DAYS = 1.0 / 24.0


class Strain(NamedTuple):
    """How one kind of yeast behaves.

    `rate` (1/d) and `lag_h` hold at `usual_c`; fermentation stops at `lowest_c` and `highest_c`, where the cardinal
    temperature model puts its ends, and is fastest at `best_c`. `order` says how the end goes: below 1 it breaks off,
    above 1 it drags on. Rates are habits of the trade, the cardinal temperatures typical of the species; both from
    memory, and a batch's own readings replace them.
    """

    rate: float
    lag_h: float
    usual_c: float
    lowest_c: float
    best_c: float
    highest_c: float
    cells_per_ml_plato: float
    order: float = 1.0


STRAINS = {
    "ale": Strain(1.8, 10.0, 20.0, 5.0, 31.0, 40.0, 0.75e6),
    "lager": Strain(1.0, 18.0, 11.0, 0.0, 27.0, 34.5, 1.5e6),
    "warm ale": Strain(2.4, 6.0, 30.0, 10.0, 36.0, 42.0, 0.5e6),
}


class Programme:
    """A course of temperature: straight lines between (day, degC), held before the first and after the last."""

    __slots__ = ("_days", "_temperatures")

    def __init__(self, points: tuple[tuple[float, float], ...]) -> None:
        if not points:
            raise ValueError("a programme needs at least one (day, degC)")
        self._days = tuple(check("day", day, -1000.0, 1000.0, "d") for day, _ in points)
        self._temperatures = tuple(check("temperature_c", at, COLDEST_C, HOTTEST_C, "degC") for _, at in points)
        for earlier, later in zip(self._days, self._days[1:], strict=False):
            if later < earlier:
                raise OutOfRange("day", later, earlier, None, "d", "give the programme in order of time")

    @classmethod
    def steady(cls, temperature_c: float) -> "Programme":
        """One temperature throughout."""
        return cls(((0.0, temperature_c),))

    def at(self, day: float) -> float:
        """degC."""
        days, temperatures = self._days, self._temperatures
        after = bisect_right(days, day)
        if after == 0 or after == len(days):
            return temperatures[max(0, after - 1)]
        before = after - 1
        share = (day - days[before]) / (days[after] - days[before])
        return temperatures[before] + share * (temperatures[after] - temperatures[before])


def speed(temperature_c: float, strain: Strain) -> float:
    """Rate relative to the strain's usual temperature: 1 there, 0 at and beyond the ends.

    Cardinal temperature model with inflection, Rosso, Lobry & Flandrois 1993, J. Theor. Biol. 162:447.
    """
    return pace(strain)(temperature_c)


@lru_cache(maxsize=64)
def pace(strain: Strain) -> Callable[[float], float]:
    """`speed` for one strain, for those who ask it a thousand times."""
    low, best, high, span = strain.lowest_c, strain.best_c, strain.highest_c, strain.best_c - strain.lowest_c

    def cardinal(at: float) -> float:
        if not low < at < high:
            return 0.0
        return (at - high) * (at - low) ** 2 / (span * (span * (at - best) - (best - high) * (best + low - 2.0 * at)))

    usual = cardinal(strain.usual_c)
    check("usual_c", strain.usual_c, low, high, "degC", "the strain's usual temperature must let it work")
    return lambda at: cardinal(at) / usual


def arrhenius(temperature_c: float, activation_j_mol: float) -> float:
    """Rate relative to 20 degC, exp(-(E/R)(1/T - 1/T20))."""
    return exp(activation_j_mol * (_AT_20_C - 1.0 / (_GAS_CONSTANT * (temperature_c + 273.15))))


def yeast_days(programme: Programme, strain: Strain, days: tuple[float, ...]) -> tuple[float, ...]:
    """For each of the days, in order, the days at the usual temperature that come to the same; from day 0."""
    speed_at, at, counted, results = pace(strain), 0.0, 0.0, list[float]()
    for day in days:
        steps = max(1, round((day - at) / _STEP_DAYS))
        width = (day - at) / steps
        middles = (at + (n + 0.5) * width for n in range(steps))
        counted += width * sum(speed_at(programme.at(middle)) for middle in middles)
        at = day
        results.append(counted)
    return tuple(results)
