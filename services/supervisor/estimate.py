"""A Kalman filter of a chamber's state and, with it, of the logarithms of its parameters."""

from collections.abc import Mapping, Sequence
from math import isfinite, sqrt

import numpy as np

from services.supervisor.identify import MOST_TICKS, Learnt, guess_variance, sureness
from services.supervisor.model import (
    BATH,
    CORE,
    ELEMENT,
    EVAPORATOR,
    MEAN_ROW,
    ONE,
    OUTER,
    PROBE,
    ROOM,
    STATES,
    WALL,
    YEAST,
    Array,
    Mode,
    Shape,
)

_BEER_VARIANCE = 0.03**2
"""Of the mean of a minute's readings: steps of 0.0625 K, partly blurred by noise."""
_AIR_VARIANCE = 0.25**2
_ROOM_VARIANCE = 0.5**2
_NO_HEAT_VARIANCE = 0.5**2
"""Yeast never cools: a negative heat is pulled back to nothing, and the room takes the blame."""
_BATH_C = 4.0
"""A bath that nobody measures is thought to be about here."""
_SLOW = 25.0
"""Innovations beyond so many variances are cut down to it: a door, a hand on the probe."""
_RELEARN_TICKS = 180
_RELEARN_MOVE = 0.02


class Estimator:
    """State (see `model`) and parameters together. Feed it with `pass_time` and `see`; read `state` and `spread`."""

    __slots__ = (
        "covariance", "fresh", "learnt", "state", "_air", "_beer", "_beer_sd_k", "_drift", "_known", "_mode", "_room",
        "_since", "_start", "_theta", "_ticks",
    )  # fmt: skip

    def __init__(self, shape: Shape) -> None:
        self.learnt = Learnt(shape)
        self.state = np.zeros(STATES)
        self.fresh = True
        self._drift = _drift(shape)
        self._theta = self.learnt.theta.copy()
        self._known = guess_variance(shape)
        self.covariance = np.zeros((STATES + len(self._theta),) * 2)
        self._mode: Mode = shape.modes[0]
        self._beer: list[float] = []
        self._air: float | None = None
        self._room: float | None = None
        self._ticks = self._since = 0
        self._beer_sd_k: float | None = None
        self._start = self.state

    def begin(self, beer_c: float, air_c: float | None, room_c: float | None) -> None:
        """Sets the state from the first good readings, with a spread that admits how little they say."""
        near = beer_c if air_c is None else air_c
        self.state[:] = beer_c
        self.state[[ELEMENT, YEAST]] = 0.0
        self.state[ONE] = 1.0
        self.state[ROOM] = 18.0 if room_c is None else room_c
        self.state[[WALL, EVAPORATOR]] = near
        spread = np.zeros(STATES)
        spread[[CORE, OUTER, PROBE, WALL, EVAPORATOR]] = (0.15, 0.25, 0.1, 1.5, 2.0)
        spread[[ELEMENT, YEAST, ROOM]] = (1.0, 0.15 * self.learnt.shape.volume_l, 5.0 if room_c is None else 0.5)
        if not self.learnt.shape.is_cabinet:
            self.state[BATH], spread[BATH] = _BATH_C, 4.0
        known = self.covariance[STATES:, STATES:].copy()
        if self.fresh or not np.isfinite(known).all():
            self.learnt = Learnt(self.learnt.shape, self.learnt.theta if self.fresh else None)
            self._theta = self.learnt.theta.copy()
            known = np.diag(self._known if self.fresh else guess_variance(self.learnt.shape))
        self.covariance[:] = 0.0
        self.covariance[STATES:, STATES:] = known
        self.covariance[range(STATES), range(STATES)] = spread**2
        self._start = self.state.copy()
        self._beer_sd_k = None
        self._ticks = 0
        self._beer.clear()
        self.fresh = False

    def pass_time(self, mode: Mode, ticks: int) -> None:
        """So many ticks went by in this mode."""
        if mode != self._mode:
            self._close()
            self._mode = mode
        while ticks > 0:
            now = min(ticks, MOST_TICKS - self._ticks)
            self.state = self.learnt.step[mode][now] @ self.state
            self._ticks += now
            ticks -= now
            if self._ticks >= MOST_TICKS:
                self._close()

    def see(self, beer_c: float | None, air_c: float | None, room_c: float | None, bath_c: float | None) -> None:
        """Good readings of now; they take effect when the minute, or the mode, ends."""
        if beer_c is not None:
            self._beer.append(beer_c)
        self._air, self._room = air_c, room_c
        if bath_c is not None and not self.learnt.shape.is_cabinet:
            self.state[BATH] = bath_c
            self.covariance[BATH, BATH] = 0.01

    def _close(self) -> None:
        """Ends the present stretch: spreads the uncertainty over it, then weighs what was read."""
        if self._ticks:
            self._spread_out()
        if self._beer:
            self._weigh(_EYE[PROBE], sum(self._beer) / len(self._beer), _BEER_VARIANCE)
            self._beer.clear()
        if self._air is not None and self.learnt.shape.is_cabinet:
            row = np.concatenate((self.learnt.air[self._mode], self.learnt.air_slope[self._mode] @ self.state))
            self._weigh(row, self._air, _AIR_VARIANCE)
        if self._room is not None:
            self._weigh(_EYE[ROOM], self._room, _ROOM_VARIANCE)
        if self.state[YEAST] < 0.0:
            self._weigh(_EYE[YEAST], 0.0, _NO_HEAT_VARIANCE)
        self._start = self.state.copy()
        self._beer_sd_k = None
        self._since += self._ticks
        self._ticks = 0
        if self._since >= _RELEARN_TICKS:
            self._relearn()

    def _spread_out(self) -> None:
        slope = self.learnt.slope[self._mode][self._ticks] @ self._start
        self.state = self.state + (self._theta - self.learnt.theta) @ slope
        carry = np.eye(len(self.covariance))
        carry[:STATES, :STATES] = self.learnt.step[self._mode][self._ticks]
        carry[:STATES, STATES:] = slope.T
        self.covariance = carry @ self.covariance @ carry.T
        self.covariance[range(len(carry)), range(len(carry))] += self._drift * self._ticks

    def _weigh(self, row: Array, value: float, variance: float) -> None:
        seen = np.zeros(len(self.covariance))
        seen[: len(row)] = row
        side = self.covariance @ seen
        total = float(seen @ side) + variance
        excess = value - float(row[:STATES] @ self.state)
        if len(row) > STATES:
            excess -= float(row[STATES:] @ (self._theta - self.learnt.theta))
        limit = sqrt(_SLOW * total)
        shift = side * (max(-limit, min(limit, excess)) / total)
        self.state = self.state + shift[:STATES]
        self._theta = np.clip(self._theta + shift[STATES:], self.learnt.lowest, self.learnt.highest)
        self.covariance -= np.outer(side, side / total)

    def _relearn(self) -> None:
        """Makes the model linear about what is believed now, when that has moved."""
        self._since = 0
        if np.abs(self._theta - self.learnt.theta).max() > _RELEARN_MOVE:
            self.learnt.adopt(self._theta)

    def lesson(self) -> dict[str, list[float]]:
        """What has been learnt, by parameter: natural logarithm, and its standard deviation."""
        variance = self._known if self.fresh else np.minimum(self._known, np.diagonal(self.covariance)[STATES:])
        pairs = zip(self._theta, np.sqrt(np.maximum(variance, 0.0)), strict=True)
        return {
            name: [float(middle), float(spread)]
            for name, (middle, spread) in zip(self.learnt.names, pairs, strict=True)
        }

    def recall(self, lesson: Mapping[str, Sequence[float]]) -> None:
        """Takes up a `lesson`; what it does not name stays a guess. Raises ValueError for what is no number."""
        for index, name in enumerate(self.learnt.names):
            middle, spread = lesson.get(name, (self._theta[index], self._known[index] ** 0.5))
            if not (isfinite(middle) and isfinite(spread)):
                raise ValueError(f"{name} was kept as {middle} +- {spread}, which is no number")
            self._theta[index], self._known[index] = middle, min(self._known[index], max(1e-4, spread**2))
        self.learnt.adopt(self._theta)
        self._theta = self.learnt.theta.copy()
        self.fresh = True

    @property
    def beer_c(self) -> float:
        """Mean beer."""
        return float(MEAN_ROW @ self.state)

    @property
    def beer_sd_k(self) -> float:
        """Standard deviation of the mean beer."""
        if self._beer_sd_k is None:
            self._beer_sd_k = sqrt(max(0.0, float(MEAN_ROW @ self.covariance[:STATES, :STATES] @ MEAN_ROW)))
        return self._beer_sd_k

    @property
    def sureness(self) -> float:
        """0 (safe guesses) to 1."""
        return sureness(self.learnt.guessed, np.diagonal(self.covariance)[STATES:])


_EYE = np.eye(STATES)


def _drift(shape: Shape) -> Array:
    """Variance that a tick adds to each state and parameter."""
    drift = np.zeros(STATES)
    drift[[CORE, OUTER, WALL, ELEMENT]] = (2e-4, 6e-4, 4e-3, 0.1)
    drift[EVAPORATOR] = 0.15 if shape.is_cabinet else 0.01
    drift[YEAST] = 0.0012 * shape.volume_l
    drift[ROOM] = 0.02
    return np.concatenate((drift**2, np.full(len(shape.guesses), 5e-4**2)))
