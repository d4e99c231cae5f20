"""A fermentation from pitching to the end: extract, alcohol, gas, heat and diacetyl, with balances that close.

The rate is logistic, as in MacIntosh & Speers and in ASBC Yeast-14: yeast grows with what it eats and slows as the
extract runs out, dx/dt = k f(T) (x + i a)(1 - x)^n, with x the share of the fermentable extract that is gone, i the
pitched yeast as a share of what will grow, and a the share of it that has woken, da/dt = f(T)(1 - a)/lag. The order n
is 1 unless a batch's readings say that its end breaks off or drags on. Balling's balance turns 2.0665 g of extract into
1 g of alcohol, 0.9565 g of CO2 and 0.11 g of yeast; each gram of extract frees 587 J. Total diketones form with the
fermentation and go as fast as the slower of two things allows: the decay of their precursor, and yeast at work.
"""

from dataclasses import dataclass
from typing import NamedTuple

from brewing import gravity, yeast
from brewing.errors import OutOfRange, check
from brewing.fermentation_heat import BEER_J_KG_K, HEAT_J_KG, wort_mass
from brewing.fermentation_model import Model, State
from brewing.kinetics import Programme, Strain

DIKETONE_THRESHOLD_MG_L = 0.10
"""Where most people begin to taste butter. Common practice, no source."""

_DAY_S = 86_400.0
_STEPS_PER_DAY = 12
_MOST_DAYS = 120.0
_MOST_COUPLING_W = 40.0


class Wort(NamedTuple):
    """What is fermented, and the gravity at which this yeast will leave it."""

    volume_l: float
    original_gravity: float
    final_gravity: float

    @property
    def mass_kg(self) -> float:
        """At 20 degC."""
        return wort_mass(self.volume_l, self.original_gravity)

    @property
    def fermentable(self) -> float:
        """kg of extract, in a kg of wort, that will be fermented: Balling's balance between the two gravities."""
        alcohol = gravity.strength(self.original_gravity, self.final_gravity).alcohol_by_weight / 100.0
        wort_per_beer = 1.0 + (gravity.CO2_PER_ALCOHOL + gravity.YEAST_PER_ALCOHOL) * alcohol
        return gravity.EXTRACT_PER_ALCOHOL * alcohol / wort_per_beer


class Jacket(NamedTuple):
    """Beer whose temperature nobody commands: it starts somewhere and exchanges heat with what surrounds it."""

    start_c: float
    ua_w_k: float

    def coupling(self, mass_kg: float) -> float:
        """J exchanged for each day, K and kg of beer; up to 40 W/K a kg, where beer is as warm as what is around it."""
        return check("ua_w_k", self.ua_w_k, 0.0, _MOST_COUPLING_W * mass_kg, "W/K") * _DAY_S / mass_kg


class Moment(NamedTuple):
    """How things stand at one time; heat is what the whole vessel sets free."""

    day: float
    temperature_c: float
    gravity: float
    alcohol_by_volume: float
    attenuation: float
    co2_kg: float
    heat_w: float
    diketones_mg_l: float


class Balance(NamedTuple):
    """What went in less what came out, over what went in."""

    mass: float
    co2: float
    energy: float


@dataclass(frozen=True, slots=True)
class Course:
    """A worked-out fermentation, every two hours."""

    wort: Wort
    model: Model
    days: tuple[float, ...]
    states: tuple[State, ...]

    @property
    def total_heat_j(self) -> float:
        """J that the whole vessel sets free."""
        return self.wort.mass_kg * self.states[-1].heat

    def peak_heat(self) -> tuple[float, float]:
        """The day of the greatest heat, and its W."""
        powers = [self._heat_w(state) for state in self.states]
        greatest = max(range(len(powers)), key=powers.__getitem__)
        return self.days[greatest], powers[greatest]

    def at(self, day: float) -> Moment:
        """How things stand on that day, between the worked-out times by straight lines. Raises OutOfRange."""
        check("day", day, self.days[0], self.days[-1], "d")
        later = min(len(self.days) - 1, max(1, -int(-day * _STEPS_PER_DAY // 1)))
        share = (day - self.days[later - 1]) / (self.days[later] - self.days[later - 1])
        pairs = zip(self.states[later - 1], self.states[later], strict=True)
        return self._moment(day, State(*(one + share * (other - one) for one, other in pairs)))

    def moments(self) -> tuple[Moment, ...]:
        """Every worked-out time."""
        return tuple(self._moment(day, state) for day, state in zip(self.days, self.states, strict=True))

    def day_when_fermented(self, share: float = 0.99) -> float | None:
        """The first day on which this share of the fermentable extract is gone; None when that is never."""
        left = (1.0 - check("share", share, 0.0, 0.9999, "")) * self.states[0].extract
        return next((day for day, state in zip(self.days, self.states, strict=True) if state.extract <= left), None)

    def day_when_clean(self, threshold_mg_l: float = DIKETONE_THRESHOLD_MG_L) -> float | None:
        """The day after which total diketones stay below the threshold; None when they do not by the end."""
        limit = threshold_mg_l * self.wort.volume_l / self.wort.mass_kg
        above = [day for day, state in zip(self.days, self.states, strict=True) if state.diketones >= limit]
        if not above:
            return self.days[0]
        return None if above[-1] == self.days[-1] else above[-1] + 1.0 / _STEPS_PER_DAY

    def balance(self) -> Balance:
        """How far mass, CO2 and energy fail to close, relative; energy is 0 in size only where nothing is fermented."""
        first, last = self.states[0], self.states[-1]
        gone = first.extract - last.extract
        made = last.alcohol + last.co2 + last.growth
        warmed = BEER_J_KG_K * (last.temperature_c - first.temperature_c)
        carbon_share = gravity.CO2_PER_ALCOHOL / gravity.EXTRACT_PER_ALCOHOL
        return Balance(
            (gone - made) / first.extract,
            (last.co2 - carbon_share * gone) / first.extract,
            (last.heat - warmed - last.lost) / (HEAT_J_KG * first.extract),
        )

    def _moment(self, day: float, state: State) -> Moment:
        apparent = self._apparent(state)
        now = gravity.specific_gravity(apparent)
        return Moment(
            day,
            state.temperature_c,
            now,
            gravity.alcohol_by_volume(100.0 * state.alcohol / _beer(state), now),
            100.0 * (1.0 - apparent / gravity.plato(self.wort.original_gravity)),
            state.co2 * self.wort.mass_kg,
            self._heat_w(state),
            state.diketones * self.wort.mass_kg / self.wort.volume_l,
        )

    def _apparent(self, state: State) -> float:
        original = gravity.plato(self.wort.original_gravity)
        fermented = self.states[0].extract - state.extract
        real = (original - 100.0 * fermented) / _beer(state)
        return (real - (1.0 - gravity.REAL_SHARE) * original) / gravity.REAL_SHARE

    def _heat_w(self, state: State) -> float:
        return self.model.uptake(state) * HEAT_J_KG * self.wort.mass_kg / _DAY_S


def course(
    wort: Wort, strain: Strain, cells: float, programme: Programme, days: float = 21.0, jacket: Jacket | None = None
) -> Course:
    """Works the fermentation out by Runge-Kutta steps of two hours, from pitching so many living cells.

    Without a jacket the beer follows the programme; with one the programme is the temperature around it.
    """
    until = check("days", days, 1.0 / _STEPS_PER_DAY, _MOST_DAYS, "d")
    coupling = jacket.coupling(wort.mass_kg) if jacket else None
    model = Model(strain, inoculum_share(wort, cells), wort.fermentable, programme, coupling)
    step = 1.0 / _STEPS_PER_DAY
    steps = max(1, round(until * _STEPS_PER_DAY))
    states = [model.start(jacket.start_c if jacket else programme.at(0.0))]
    for n in range(steps):
        states.append(model.advanced(n * step, step, states[-1]))
    return Course(wort, model, tuple(n * step for n in range(steps + 1)), tuple(states))


def inoculum_share(wort: Wort, cells: float) -> float:
    """Pitched dry yeast over the dry yeast that Balling's balance lets grow; cells are living ones."""
    pitched = check("cells", cells, 1e8, 1e16, "cells") * yeast.CELL_G / 1000.0
    if wort.fermentable <= 0.0:
        raise OutOfRange("final_gravity", wort.final_gravity, None, wort.original_gravity, "", "nothing would ferment")
    growth = gravity.YEAST_PER_ALCOHOL / gravity.EXTRACT_PER_ALCOHOL * wort.fermentable * wort.mass_kg
    return pitched / growth


def _beer(state: State) -> float:
    """kg of beer from a kg of wort: gas and yeast have left it."""
    return 1.0 - state.co2 - state.growth
