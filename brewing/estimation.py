"""The likeliest few parameters, from readings and from what was expected, and how sure they are.

Plain Python on purpose: three parameters and a few dozen readings do not pay for a numerical library's start.
"""

from collections.abc import Callable, Sequence
from math import sqrt
from typing import NamedTuple

_NUDGE = 1e-4
_OUTLIER = 2.5
_MOST_STEPS = 40
_STIFF = 1e9
"""Damping beyond which no step is worth taking."""
_ENOUGH = 6

Vector = list[float]
Model = Callable[[Vector], Vector]


class Prior(NamedTuple):
    """What is expected of each parameter, and its standard deviation."""

    centre: Vector
    deviation: Vector


class Estimate(NamedTuple):
    """Values and covariance of the parameters, and the standard deviation of a reading that the residuals support."""

    values: Vector
    covariance: list[Vector]
    scatter: float

    def deviation(self, function: Callable[[Vector], float]) -> float:
        """Standard deviation of a function of the parameters, to first order."""
        return self.deviations(lambda values: [function(values)])[0]

    def deviations(self, model: Model) -> Vector:
        """The same for many functions at once."""
        return [self._spread(slopes) for slopes in zip(*_transposed_slopes(model, self.values), strict=True)]

    def _spread(self, slopes: tuple[float, ...]) -> float:
        pairs = range(len(slopes))
        return sqrt(max(0.0, sum(slopes[i] * slopes[j] * self.covariance[i][j] for i in pairs for j in pairs)))


def estimate(model: Model, read: Sequence[float], prior: Prior, sigma: float) -> Estimate:
    """Minimises the squares of (read - model) / sigma and of the pull of the prior, by Levenberg-Marquardt steps.

    Readings further off than 2.5 sigma count linearly (Huber). Where six readings or more scatter beyond `sigma`, their
    own scatter, from the median residual, takes its place.
    """
    values = _minimised(model, read, prior, sigma)
    scatter = _scatter(model(values), read, sigma)
    if scatter > sigma:
        values = _minimised(model, read, prior, scatter)
    normal, _ = _normal(model, read, values, prior, scatter)
    return Estimate(values, inverse(normal), scatter)


def inverse(matrix: list[Vector]) -> list[Vector]:
    """Of a small positive definite matrix, by Gauss-Jordan elimination."""
    size = len(matrix)
    work = [[*row, *(float(i == j) for j in range(size))] for i, row in enumerate(matrix)]
    for i in range(size):
        pivot = work[i][i]
        work[i] = [one / pivot for one in work[i]]
        for j in range(size):
            if j != i:
                factor = work[j][i]
                work[j] = [one - factor * other for one, other in zip(work[j], work[i], strict=True)]
    return [row[size:] for row in work]


def _minimised(model: Model, read: Sequence[float], prior: Prior, sigma: float) -> Vector:
    values, damping = list(prior.centre), 1e-3
    cost = _cost(model, read, values, prior, sigma)
    normal, right = _normal(model, read, values, prior, sigma)
    for _ in range(_MOST_STEPS):
        damped = [[one * (1.0 + damping * (i == j)) for j, one in enumerate(row)] for i, row in enumerate(normal)]
        step = [sum(a * b for a, b in zip(row, right, strict=True)) for row in inverse(damped)]
        tried = [value + change for value, change in zip(values, step, strict=True)]
        new_cost = _cost(model, read, tried, prior, sigma)
        if new_cost <= cost:
            settled = cost - new_cost < 1e-6 * (1.0 + cost)
            values, cost, damping = tried, new_cost, damping / 5.0
            if settled:
                break
            normal, right = _normal(model, read, values, prior, sigma)
        elif damping > _STIFF:
            break
        else:
            damping *= 8.0
    return values


def _cost(model: Model, read: Sequence[float], values: Vector, prior: Prior, sigma: float) -> float:
    """Huber's, and the prior's squares."""
    offs = (abs(one - said) / sigma for one, said in zip(read, model(values), strict=True))
    of_readings = sum(off * off if off <= _OUTLIER else _OUTLIER * (2.0 * off - _OUTLIER) for off in offs)
    pulls = zip(values, prior.centre, prior.deviation, strict=True)
    return of_readings + sum(((value - centre) / spread) ** 2 for value, centre, spread in pulls)


def _normal(
    model: Model, read: Sequence[float], values: Vector, prior: Prior, sigma: float
) -> tuple[list[Vector], Vector]:
    slopes = _transposed_slopes(model, values)
    residuals = [one - said for one, said in zip(read, model(values), strict=True)]
    weights = [min(1.0, _OUTLIER * sigma / max(1e-12, abs(one))) / sigma**2 for one in residuals]
    trust = [spread**-2.0 for spread in prior.deviation]
    normal = [
        [_weighted(weights, a, b) + (i == j) * trust[i] for j, b in enumerate(slopes)] for i, a in enumerate(slopes)
    ]
    pulls = [t * (centre - value) for t, centre, value in zip(trust, prior.centre, values, strict=True)]
    return normal, [_weighted(weights, a, residuals) + pull for a, pull in zip(slopes, pulls, strict=True)]


def _transposed_slopes(model: Model, values: Vector) -> list[Vector]:
    """For each parameter, how every reading moves with it; by central differences."""
    rows = []
    for index in range(len(values)):
        up, down = list(values), list(values)
        up[index] += _NUDGE
        down[index] -= _NUDGE
        rows.append([(a - b) / (2.0 * _NUDGE) for a, b in zip(model(up), model(down), strict=True)])
    return rows


def _weighted(weights: Vector, one: Vector, other: Vector) -> float:
    return sum(w * a * b for w, a, b in zip(weights, one, other, strict=True))


def _scatter(said: Vector, read: Sequence[float], sigma: float) -> float:
    if len(said) < _ENOUGH:
        return sigma
    offs = sorted(abs(one - other) for one, other in zip(read, said, strict=True))
    return max(sigma, 1.4826 * offs[len(offs) // 2])
