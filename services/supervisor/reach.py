"""How cold a bath can be held as things are: what its chiller takes out of it, learnt from ordinary operation."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from math import sqrt

import numpy as np

from services.supervisor.model import Array

COOLANT_J_L_K = 3900.0
"""30 % propylene glycol by the litre; water has 4190."""
_FIRST_S, _WINDOW_S = 900.0, 1200.0
"""A machine's beginning is not its steady work; a domestic fridge's own thermostat takes turns of some minutes."""
_USUAL_C = 5.0
_PER_ELECTRICAL_W = 1.1
_SPREADS = (0.6, 0.7)
"""Of the heat taken out at 5 degC, and of its slope, as shares of the first guess."""
_LEAST_SLOPE = 0.3
"""Of the first guess: a stronger chiller at a colder bath there is not."""
_FORGETS = 0.002
"""So much of the first guess's variance comes back with every window: rooms, ice and condensers change."""
_MOST_SD_K = 15.0
"""Between ice and a warm room there is no more to be unsure of."""
SURELY = 2.0
"""Standard deviations."""


@dataclass(frozen=True, slots=True)
class BathReach:
    """A chiller that runs all the time takes `at_5_w + slope_w_k * (bath - 5)` out of the bath, in W and degC.

    `spread` is the covariance of the two; the bath is never held below `floor_c`. `certainty` is 0 for first guesses.
    """

    at_5_w: float
    slope_w_k: float
    spread: tuple[tuple[float, float], tuple[float, float]]
    floor_c: float
    certainty: float

    def rests_at(self, load_w: float) -> float:
        """degC of the bath with so much heat coming in; not cut at the floor."""
        return _USUAL_C + (load_w - self.at_5_w) / self.slope_w_k

    def sd_k(self, load_w: float) -> float:
        """One standard deviation of that; 0 where the floor is surely what holds it."""
        below_k = self.rests_at(load_w) - _USUAL_C
        (of_power, both), (_, of_slope) = self.spread
        variance = of_power + 2.0 * below_k * both + below_k * below_k * of_slope
        sd_k = min(_MOST_SD_K, sqrt(max(0.0, variance)) / self.slope_w_k)
        return 0.0 if below_k + _USUAL_C + SURELY * sd_k <= self.floor_c else sd_k


class Chiller:
    """Learns from ordinary operation what a chiller takes out of its bath: hand it every look."""

    def __init__(self, volume_l: float, power_w: float | None, floor_c: float) -> None:
        guess = _PER_ELECTRICAL_W * (power_w or 150.0)
        self._bath_j_k = volume_l * COOLANT_J_L_K
        self._floor_c = floor_c
        self._known: Array = np.array([guess, 0.03 * guess])
        self._first = self._covariance = np.diag((np.array(_SPREADS) * self._known) ** 2)
        self._least_w_k = _LEAST_SLOPE * 0.03 * guess
        self._on_since: datetime | None = None
        self._begun: tuple[datetime, float] | None = None
        self._last: datetime | None = None
        self._load_j = self._bath_k_s = 0.0
        self._reach: BathReach | None = None

    def see(self, now: datetime, bath_c: float, on: bool, load_w: float) -> None:
        """One look: the bath, whether the machine runs, and the heat that vessels put in."""
        seconds = (now - self._last).total_seconds() if self._last is not None else 0.0
        self._last = now
        if not on or not 0.0 <= seconds <= 120.0:
            self._on_since = self._begun = None
            return
        self._on_since = self._on_since or now
        if self._begun is None:
            if (now - self._on_since).total_seconds() >= _FIRST_S:
                self._begin(now, bath_c)
            return
        self._load_j += load_w * seconds
        self._bath_k_s += bath_c * seconds
        if (now - self._begun[0]).total_seconds() >= _WINDOW_S:
            self._weigh(now, bath_c)
            self._begin(now, bath_c)

    def _begin(self, now: datetime, bath_c: float) -> None:
        self._begun = now, bath_c
        self._load_j = self._bath_k_s = 0.0

    def _weigh(self, now: datetime, bath_c: float) -> None:
        assert self._begun is not None
        seconds = (now - self._begun[0]).total_seconds()
        taken_w = (self._load_j + self._bath_j_k * (self._begun[1] - bath_c)) / seconds
        row = np.array([1.0, self._bath_k_s / seconds - _USUAL_C])
        doubt_w = self._bath_j_k * 0.05 / seconds + 0.1 * abs(taken_w)
        covariance = self._covariance + _FORGETS * self._first
        side = covariance @ row
        total = float(row @ side) + doubt_w * doubt_w
        known = self._known + side * ((taken_w - float(row @ self._known)) / total)
        self._known = np.array([known[0], max(self._least_w_k, known[1])])
        self._covariance = covariance - np.outer(side, side / total)
        self._reach = None

    def reach(self) -> BathReach:
        """What is known now."""
        if self._reach is None:
            self._reach = self._made()
        return self._reach

    def _made(self) -> BathReach:
        (of_power, both), (_, of_slope) = self._covariance.tolist()
        first = self._first.diagonal()
        shrunk = 1.0 - np.sqrt(np.clip(self._covariance.diagonal() / first, 0.0, 1.0))
        return BathReach(
            float(self._known[0]),
            float(self._known[1]),
            ((of_power, both), (both, of_slope)),
            self._floor_c,
            float(shrunk.mean()),
        )

    def kept(self) -> dict[str, list[float]]:
        """What must survive."""
        return {"takes": [*self._known.tolist(), *self._covariance.ravel().tolist()]}

    def recall(self, kept: Mapping[str, Sequence[float]]) -> None:
        """Goes on from `kept`. Raises ValueError for what makes no sense."""
        numbers = np.array(kept.get("takes", [*self._known, *self._covariance.ravel()]), dtype=float)
        if numbers.shape != (6,) or not np.isfinite(numbers).all() or numbers[1] < self._least_w_k:
            raise ValueError(f"what was kept of a chiller, {numbers.tolist()}, makes no sense")
        self._known, self._covariance = numbers[:2], numbers[2:].reshape(2, 2)
        self._reach = None
