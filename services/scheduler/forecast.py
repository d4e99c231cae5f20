"""Where a batch's gravity is going, as an ensemble of likely courses, and how earlier forecasts have turned out.

A logistic is fitted to the batch so far; courses are drawn from what the fit leaves open. A moment
is then the quantile of the moments in all courses, so that every later step gets its interval from the same courses.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import cached_property
from math import exp, log, sqrt
from random import Random

from brewing import gravity
from brewing.errors import OutOfRange, check
from brewing.estimation import Estimate, Prior, Vector, estimate
from brewing.kinetics import STRAINS, Programme, Strain, yeast_days
from schemas.ends import GravityStable
from services.scheduler.gravity_facts import SURE, GravityFacts

COURSES = 60
STEP_DAYS = 1.0 / 12.0
HORIZON_DAYS = 45.0
_GRID = tuple(n * STEP_DAYS for n in range(int(HORIZON_DAYS / STEP_DAYS) + 1))
MOST_READINGS = 40
READING_SD = 0.001
"""SG: what a reading is trusted to here; an instrument's errors hang together, so more than its noise."""
USUAL_ATTENUATION_PERCENT = 76.0
BELOW_BEST_PERCENT = 4.0
"""A batch usually ends so far below the most that its yeast can reach. Common practice, no source."""
STEEPNESS_OF_RATE, MIDDLE_OF_STEEPNESS = 0.9, 3.0
"""A strain's logistic beforehand: 1.6 /d, half way after 1.9 d for ale. Common practice, no source."""
COOL_C, WARM_C = 14.0, 27.0
"""Setpoints below and above which another kind of yeast is expected. Common practice, no source."""


@dataclass(frozen=True)
class Course:
    """One likely course: apparent extract in degP at each step of `STEP_DAYS`."""

    extract: tuple[float, ...]

    @cached_property
    def gravity_sg(self) -> tuple[float, ...]:
        """By the short formula SG = 1 + P / (258.6 - 0.88 P), which is all that differences need."""
        return tuple(_short_gravity(one) for one in self.extract)

    def day_at_most(self, extract: float) -> float | None:
        """The first day with so little extract left."""
        return next((n * STEP_DAYS for n, one in enumerate(self.extract) if one <= extract), None)

    def day_stable(self, within_sg: float, over_days: float) -> float | None:
        """The first day up to which gravity has fallen by less than so much in so many days."""
        lag = round(over_days / STEP_DAYS)
        levels = self.gravity_sg
        fastest = max(range(1, len(levels)), key=lambda n: levels[n - 1] - levels[n])
        later = range(max(lag, fastest), len(levels))
        return next((n * STEP_DAYS for n in later if levels[n - lag] - levels[n] < within_sg), None)


@dataclass(frozen=True)
class Foreseen:
    """Answers about gravity to come at one quantile of the courses: 0.5 is the likely moment, 0.1 an early one."""

    courses: Sequence[Course]
    pitched: datetime
    original_gravity_sg: float
    points_a_day: float
    quantile: float = 0.5

    def at(self, quantile: float) -> "Foreseen":
        """The same at another quantile."""
        return replace(self, quantile=quantile)

    def at_most(self, gravity_sg: float) -> datetime | None:
        """When gravity will be at this or below; None when that is not likely within 45 days of pitching."""
        extract = _plato(gravity_sg)
        return None if extract is None else self._moment(lambda course: course.day_at_most(extract))

    def attenuated(self, percent: float) -> datetime | None:
        """When apparent attenuation will be at this or above."""
        extract = gravity.plato(self.original_gravity_sg) * (1.0 - percent / 100.0)
        return self._moment(lambda course: course.day_at_most(extract))

    def stable(self, trigger: GravityStable) -> datetime | None:
        """When gravity will be said to be stable: measurements must show it beyond their noise."""
        over_days = trigger.gravity_stable.over_s / 86400.0
        within_sg = max(0.0001, trigger.gravity_stable.within_sg - self.noise_of_change(over_days))
        return self._moment(lambda course: course.day_stable(within_sg, over_days))

    def noise_of_change(self, over_days: float) -> float:
        """SG that measurements at the present rate leave open of a change over so many days."""
        count = max(2.0, self.points_a_day * over_days)
        return SURE * 0.0008 * sqrt(12.0 / count)

    def _moment(self, day: Callable[[Course], float | None]) -> datetime | None:
        days = sorted(found if (found := day(course)) is not None else HORIZON_DAYS * 2 for course in self.courses)
        chosen = days[min(len(days) - 1, int(self.quantile * len(days)))]
        return None if chosen > HORIZON_DAYS else self.pitched + timedelta(days=chosen)


def foresee(
    facts: GravityFacts, pitched: datetime, programme: Programme, most_percent: float | None
) -> Foreseen | None:
    """The courses that are likely after what was measured; None where the original gravity is unknown or unusual.

    `most_percent` is the apparent attenuation that the yeast reaches at most, where that is known.
    """
    original = facts.original_gravity_sg
    if original is None or not facts.points:
        return None
    try:
        extract = gravity.plato(check("original_gravity", original, 1.015, gravity.MOST_SG, ""))
        strain = _strain(programme.at(0.0))
        days, said = _readings(facts, pitched)
        counted = yeast_days(programme, strain, days)
        prior = _prior(extract, strain, most_percent)
        found = estimate(lambda values: _gravities(values, extract, counted), said, prior, READING_SD)
        courses = _courses(found, extract, yeast_days(programme, strain, _GRID))
    except OutOfRange:
        return None
    return Foreseen(courses, pitched, original, _points_a_day(facts))


def _prior(extract: float, strain: Strain, most_percent: float | None) -> Prior:
    """Of final extract (degP), and the logarithms of steepness (1/d), middle (d) and skewness."""
    likely = USUAL_ATTENUATION_PERCENT if most_percent is None else most_percent - BELOW_BEST_PERCENT
    steepness = strain.rate * STEEPNESS_OF_RATE
    middle = MIDDLE_OF_STEEPNESS / steepness
    return Prior([extract * (1.0 - likely / 100.0), log(steepness), log(middle), 0.0], [0.05 * extract, 0.5, 0.5, 0.4])


def _strain(begins_c: float) -> Strain:
    if begins_c < COOL_C:
        return STRAINS["lager"]
    return STRAINS["warm ale" if begins_c > WARM_C else "ale"]


def _extracts(values: Vector, original: float, counted: Sequence[float]) -> list[float]:
    """degP: AEf + (OE - AEf) (1 + exp(k (t - tm)))^-s, the logistic of ASBC Yeast-14 made lopsided by s.

    Time is counted in days at the yeast's usual temperature.
    """
    final = min(original - 0.5, values[0])
    k, middle, skew = (exp(min(4.0, max(-4.0, value))) for value in values[1:])
    fall = original - final
    return [final + fall * (1.0 + exp(min(60.0, k * (t - middle)))) ** -skew for t in counted]


def _gravities(values: Vector, original: float, counted: Sequence[float]) -> list[float]:
    return [_short_gravity(extract) for extract in _extracts(values, original, counted)]


def _short_gravity(extract: float) -> float:
    return 1.0 + extract / (258.6 - 0.88 * extract)


def _readings(facts: GravityFacts, pitched: datetime) -> tuple[tuple[float, ...], list[float]]:
    """Days and gravities, thinned to what a fit can use; the wort itself and the latest are always among them."""
    points = [one for one in facts.points if one.at >= pitched]
    kept = points[::-1][:: max(1, len(points) // MOST_READINGS)][::-1]
    original = facts.original_gravity_sg or 1.0
    days = (0.0, *((one.at - pitched).total_seconds() / 86400.0 for one in kept))
    return days, [_short_gravity(gravity.plato(sg)) for sg in (original, *(one.sg for one in kept))]


def _points_a_day(facts: GravityFacts) -> float:
    last = facts.points[-1].at
    recent = [one for one in facts.points if last - one.at <= timedelta(days=2)]
    return max(0.5, len(recent) / 2.0)


def _courses(found: Estimate, original: float, counted: tuple[float, ...]) -> list[Course]:
    random, root = Random(0), _root(found.covariance)
    return [Course(tuple(_extracts(_drawn(found, root, random), original, counted))) for _ in range(COURSES)]


def _drawn(found: Estimate, root: list[Vector], random: Random) -> Vector:
    normals = [random.gauss(0.0, 1.0) for _ in root]
    shifts = (sum(a * b for a, b in zip(row, normals, strict=True)) for row in root)
    return [value + shift for value, shift in zip(found.values, shifts, strict=True)]


def _root(matrix: list[Vector]) -> list[Vector]:
    """Cholesky's lower triangle of a small covariance."""
    size = len(matrix)
    root = [[0.0] * size for _ in range(size)]
    for i in range(size):
        for j in range(i + 1):
            rest = matrix[i][j] - sum(root[i][k] * root[j][k] for k in range(j))
            root[i][j] = sqrt(max(0.0, rest)) if i == j else rest / root[j][j] if root[j][j] > 0.0 else 0.0
    return root


def _plato(gravity_sg: float) -> float | None:
    try:
        return gravity.plato(gravity_sg)
    except OutOfRange:
        return None
