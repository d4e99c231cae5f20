"""What has been learnt of a chamber: logarithms of its parameters, kept within physical bounds, and the model they
give."""

from collections.abc import Mapping, Sequence
from math import exp, log

import numpy as np

from services.supervisor.model import (
    BATH,
    COAST,
    COOL,
    MEAN_ROW,
    ONE,
    OUTER_ROW,
    ROOM,
    STATES,
    TICK_S,
    YEAST,
    Array,
    Mode,
    Shape,
    air_row,
    exponential,
)

MOST_TICKS = 6
"""A filter's step is one to this many ticks of one mode."""
_BOUND = 3.0
"""A parameter stays within so many spreads of its guess."""
_NUDGE = 1e-4


class Learnt:
    """Parameters about which the model is linear, with every matrix that prediction and learning need.

    `theta` are natural logarithms in the order of `names`. `step[mode][k]` carries a state over k ticks,
    `slope[mode][k]` is its derivative by each parameter, `air[mode]` and `air_slope[mode]` the same for the air's row.
    `parameters` are in their units; `guessed` are the variances of the logarithms before anything was seen.
    """

    __slots__ = ("air", "air_slope", "guessed", "highest", "lowest", "names", "parameters", "shape", "slope", "step",
    "theta")  # fmt: skip

    def __init__(self, shape: Shape, theta: Array | None = None) -> None:
        self.shape = shape
        self.names = tuple(shape.guesses)
        middle = np.array([log(guess.median) for guess in shape.guesses.values()])
        reach = _BOUND * np.array([guess.spread for guess in shape.guesses.values()])
        self.guessed = guess_variance(shape)
        self.lowest, self.highest = middle - reach, middle + reach
        self.adopt(middle if theta is None else theta)

    def adopt(self, theta: Array) -> None:
        """Works out everything anew about these parameters, cut to their bounds."""
        self.theta = np.clip(theta, self.lowest, self.highest)
        nudged = [self.theta, *(self.theta + _NUDGE * row for row in np.eye(len(self.names)))]
        variants = [self._named(each) for each in nudged]
        self.parameters: Mapping[str, float] = variants[0]
        self.step: dict[Mode, list[Array]] = {}
        self.slope: dict[Mode, list[Array]] = {}
        self.air: dict[Mode, Array] = {}
        self.air_slope: dict[Mode, Array] = {}
        for mode in self.shape.modes:
            self._prepare(mode, variants)

    def _prepare(self, mode: Mode, variants: Sequence[Mapping[str, float]]) -> None:
        once = exponential(np.array([self.shape.rates(p, mode) for p in variants]), TICK_S)
        powers = [np.broadcast_to(np.eye(STATES), once.shape), once]
        while len(powers) <= MOST_TICKS:
            powers.append(powers[-1] @ once)
        self.step[mode] = [np.ascontiguousarray(power[0]) for power in powers]
        self.slope[mode] = [(power[1:] - power[0]) / _NUDGE for power in powers]
        if self.shape.is_cabinet:
            rows = np.array([air_row(p, mode) for p in variants])
            self.air[mode] = rows[0]
            self.air_slope[mode] = (rows[1:] - rows[0]) / _NUDGE

    def _named(self, theta: Array) -> dict[str, float]:
        return {name: exp(value) for name, value in zip(self.names, theta, strict=True)}


def guess_variance(shape: Shape) -> Array:
    """Variances of the logarithms before anything has been seen."""
    return np.array([guess.spread**2 for guess in shape.guesses.values()])


def sureness(guessed: Array, variance: Array) -> float:
    """0 while nothing has been learnt, towards 1 as the parameters' spreads shrink; the mean over parameters."""
    shrunk = 1.0 - np.sqrt(np.maximum(variance, 0.0) / guessed)
    return float(np.clip(shrunk, 0.0, 1.0).mean())


class Outlook:
    """Rows that read the beer of the coming hours off a state now: mean and outer layer, for staying in each mode.

    `pulse` is for the shortest run of the compressor and coasting from then on, with the fan on. `coldest` reads where
    the beer would come to rest if cooling never stopped, yeast, room and bath staying as they are; `coldest_slope` is
    its derivative by each parameter.
    """

    __slots__ = ("coldest", "coldest_slope", "mean", "outer", "pulse", "seconds")

    def __init__(self, learnt: Learnt, run_s: float, every_s: float = 240.0, count: int = 40) -> None:
        self.seconds = every_s * np.arange(1, count + 1)
        self.mean: dict[Mode, Array] = {}
        self.outer: dict[Mode, Array] = {}
        for mode in learnt.shape.modes:
            stride = np.linalg.matrix_power(learnt.step[mode][1], round(every_s / TICK_S))
            rows = np.array([MEAN_ROW, OUTER_ROW])
            found = []
            for _ in range(count):
                rows = rows @ stride
                found.append(rows)
            both = np.array(found)
            self.mean[mode] = np.ascontiguousarray(both[:, 0])
            self.outer[mode] = np.ascontiguousarray(both[:, 1])
        run = np.linalg.matrix_power(learnt.step[COOL][1], max(1, round(run_s / TICK_S)))
        self.pulse = self.mean[COAST] @ run
        cooling, change = learnt.step[COOL][MOST_TICKS], learnt.slope[COOL][MOST_TICKS]
        self.coldest, self.coldest_slope = _at_rest(cooling, change, learnt.shape.is_cabinet)


def _at_rest(step: Array, change: Array, is_cabinet: bool) -> tuple[Array, Array]:
    """x = A x + B u solved for the states that move: the row that reads the mean beer then, and its derivatives."""
    given = [YEAST, ROOM, ONE] if is_cabinet else [YEAST, ROOM, ONE, BATH]
    moving = [state for state in range(STATES) if state not in given]
    among, into = np.ix_(moving, moving), np.ix_(moving, given)
    solved = np.linalg.solve(np.eye(len(moving)) - step[among], step[into])
    row, slopes = np.zeros(STATES), np.zeros((len(change), STATES))
    row[given] = MEAN_ROW[moving] @ solved
    weights = np.linalg.solve((np.eye(len(moving)) - step[among]).T, MEAN_ROW[moving])
    slopes[:, given] = [weights @ (each[among] @ solved + each[into]) for each in change]
    return row, slopes
