"""The rates at which wort becomes beer, and the step that carries them forward."""

from math import ceil, pow
from typing import NamedTuple

from brewing.errors import check
from brewing.fermentation_heat import BEER_J_KG_K, HEAT_J_KG
from brewing.gravity import CO2_PER_ALCOHOL, EXTRACT_PER_ALCOHOL, YEAST_PER_ALCOHOL
from brewing.kinetics import Programme, Strain, arrhenius, pace

DIKETONES_MG_PER_G = 0.012
"""mg of diacetyl and its precursor for each g of extract fermented: about 1 mg/L in all from 12 degP. From memory."""

_PRECURSOR_PER_DAY, _PRECURSOR_J_MOL = 0.9, 85_000.0
_REDUCTION_PER_DAY, _REDUCTION_J_MOL = 12.0, 60_000.0
_FASTEST_PER_DAY, _SOONEST_PER_DAY = 8.0, 24.0  # what steps of two hours still carry
_DIKETONES_PER_EXTRACT = 1000.0 * DIKETONES_MG_PER_G
_CO2_PER_EXTRACT = CO2_PER_ALCOHOL / EXTRACT_PER_ALCOHOL
_YEAST_PER_EXTRACT = YEAST_PER_ALCOHOL / EXTRACT_PER_ALCOHOL


class State(NamedTuple):
    """For each kg of wort: kg of fermentable extract left, of alcohol, CO2 and new yeast; J set free and J lost.

    `awake` is the share of the pitched yeast at work, `diketones` mg for each kg of wort.
    """

    extract: float
    alcohol: float
    co2: float
    growth: float
    awake: float
    diketones: float
    temperature_c: float
    heat: float
    lost: float


class Model:
    """The rates of change, each for a day and a kg of wort, with what does not change.

    `coupling` is the heat exchanged with the surroundings in J for a day, K and kg; None where the beer follows the
    programme and whatever heat does not stay in it is carried away.
    """

    __slots__ = ("_rate", "_order", "_pace", "_inoculum", "_extract", "_around", "_coupling", "_waking")

    def __init__(
        self, strain: Strain, inoculum: float, extract: float, programme: Programme, coupling: float | None
    ) -> None:
        self._order = check("order", strain.order, 0.2, 4.0, "")
        self._rate = check("rate", strain.rate, 0.01, _FASTEST_PER_DAY, "1/d")
        self._inoculum, self._extract = inoculum, extract
        self._pace, self._around, self._coupling = pace(strain), programme.at, coupling
        self._waking = 24.0 / check("lag_h", strain.lag_h, 0.1, 500.0, "h")

    def start(self, temperature_c: float) -> State:
        """At pitching."""
        return State(self._extract, 0.0, 0.0, 0.0, 0.0, 0.0, temperature_c, 0.0, 0.0)

    def uptake(self, state: State) -> float:
        """kg of extract that a kg of wort loses in a day."""
        left = max(0.0, state.extract / self._extract)
        at_work = 1.0 - left + self._inoculum * state.awake
        return self._rate * self._pace(state.temperature_c) * at_work * pow(left, self._order) * self._extract

    def advanced(self, day: float, step: float, state: State) -> State:
        """The state `step` days later, in as many parts as a fast exchange of heat asks for."""
        parts = 1 if self._coupling is None else max(1, ceil(self._coupling / BEER_J_KG_K * step))
        width = step / parts
        for part in range(parts):
            state = self.after(day + part * width, width, state)
        return state

    def after(self, day: float, step: float, state: State) -> State:
        """One Runge-Kutta step of fourth order; balances, being linear in the state, are kept to rounding."""
        half, middle, end = step / 2.0, self._around(day + step / 2.0), self._around(day + step)
        extract, _, _, _, awake, diketones, beer_c, _, _ = state
        u1, a1, d1, t1, l1 = self._slopes(self._around(day), extract, awake, diketones, beer_c)
        u2, a2, d2, t2, l2 = self._slopes(
            middle, extract - half * u1, awake + half * a1, diketones + half * d1, beer_c + half * t1
        )
        u3, a3, d3, t3, l3 = self._slopes(
            middle, extract - half * u2, awake + half * a2, diketones + half * d2, beer_c + half * t2
        )
        u4, a4, d4, t4, l4 = self._slopes(
            end, extract - step * u3, awake + step * a3, diketones + step * d3, beer_c + step * t3
        )
        sixth = step / 6.0
        moved = _moved(
            state,
            sixth * (u1 + 2.0 * (u2 + u3) + u4),
            sixth * (a1 + 2.0 * (a2 + a3) + a4),
            sixth * (d1 + 2.0 * (d2 + d3) + d4),
            sixth * (t1 + 2.0 * (t2 + t3) + t4),
            sixth * (l1 + 2.0 * (l2 + l3) + l4),
        )
        return moved if self._coupling is not None else _obeying(end, state, moved)

    def _slopes(
        self, around: float, extract: float, awake: float, diketones: float, beer_c: float
    ) -> tuple[float, float, float, float, float]:
        """Of the extract taken up, of waking, of diketones, of temperature, and of heat lost."""
        coupling = self._coupling
        lost = 0.0 if coupling is None else coupling * (beer_c - around)
        temperature = around if coupling is None else beer_c
        speed = self._pace(temperature)
        left = max(0.0, extract / self._extract)
        at_work = 1.0 - left + self._inoculum * awake
        uptake = self._rate * speed * at_work * pow(left, self._order) * self._extract
        return (
            uptake,
            min(_SOONEST_PER_DAY, self._waking * speed) * (1.0 - awake),
            _DIKETONES_PER_EXTRACT * uptake - _removal(temperature, at_work) * diketones,
            (HEAT_J_KG * uptake - lost) / BEER_J_KG_K,
            lost,
        )


def _moved(state: State, uptake: float, awake: float, diketones: float, warmed: float, lost: float) -> State:
    return State(
        state.extract - uptake,
        state.alcohol + uptake / EXTRACT_PER_ALCOHOL,
        state.co2 + _CO2_PER_EXTRACT * uptake,
        state.growth + _YEAST_PER_EXTRACT * uptake,
        state.awake + awake,
        state.diketones + diketones,
        state.temperature_c + warmed,
        state.heat + HEAT_J_KG * uptake,
        state.lost + lost,
    )


def _obeying(temperature_c: float, before: State, after: State) -> State:
    warmed = BEER_J_KG_K * (temperature_c - before.temperature_c)
    return after._replace(temperature_c=temperature_c, lost=before.lost + after.heat - before.heat - warmed)


def _removal(beer_c: float, at_work: float) -> float:
    """The slower of the precursor's decay and yeast's reduction, 1/d."""
    decay = _PRECURSOR_PER_DAY * arrhenius(beer_c, _PRECURSOR_J_MOL)
    reduction = _REDUCTION_PER_DAY * arrhenius(beer_c, _REDUCTION_J_MOL) * at_work
    return decay * reduction / (decay + reduction)
