"""Where a batch's gravity is going, as an ensemble of likely courses, and how earlier forecasts have turned out.

Kinetics are fitted to the batch so far (`brewing.forecast`); courses are drawn from what the fit leaves open. A moment
is then the quantile of the moments in all courses, so that every later step gets its interval from the same courses.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import cached_property
from math import sqrt
from random import Random

from brewing import gravity
from brewing.attenuation import FermentedShare
from brewing.errors import OutOfRange
from brewing.estimation import Vector
from brewing.fermentation import Wort, inoculum_share
from brewing.forecast import Expectation, Fit, Reading, fit
from brewing.kinetics import STRAINS, Programme, Strain, yeast_days
from schemas.ends import GravityStable
from services.scheduler.gravity_facts import SURE, GravityFacts

COURSES = 60
STEP_DAYS = 1.0 / 12.0
HORIZON_DAYS = 45.0
MOST_READINGS = 40
READING_SD = 0.001
"""SG: what a reading is trusted to here; an instrument's errors hang together, so more than its noise."""
USUAL_ATTENUATION_PERCENT = 76.0
BELOW_BEST_PERCENT = 4.0
"""A batch usually ends so far below the most that its yeast can reach. Common practice, no source."""
COOL_C, WARM_C = 14.0, 27.0
"""Setpoints below and above which another kind of yeast is expected. Common practice, no source."""


@dataclass(frozen=True)
class Course:
    """One likely course: apparent extract in degP at each step of `STEP_DAYS`."""

    extract: tuple[float, ...]

    @cached_property
    def gravity_sg(self) -> tuple[float, ...]:
        """By the short formula SG = 1 + P / (258.6 - 0.88 P), which is all that differences need."""
        return tuple(1.0 + p / (258.6 - 0.88 * p) for p in self.extract)

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
        expected = _expectation(original, programme, most_percent)
        fitted = fit(_readings(facts, pitched), expected, programme, READING_SD)
        courses = _courses(fitted, programme)
    except OutOfRange:
        return None
    return Foreseen(courses, pitched, original, _points_a_day(facts))


def _expectation(original: float, programme: Programme, most_percent: float | None) -> Expectation:
    likely = USUAL_ATTENUATION_PERCENT if most_percent is None else most_percent - BELOW_BEST_PERCENT
    final = gravity.final_gravity_for(original, likely)
    strain = _strain(programme.at(0.0))
    cells = strain.cells_per_ml_plato * gravity.plato(original) * 1000.0
    return Expectation(original, final, strain, inoculum_share(Wort(1.0, original, final), cells))


def _strain(begins_c: float) -> Strain:
    if begins_c < COOL_C:
        return STRAINS["lager"]
    return STRAINS["warm ale" if begins_c > WARM_C else "ale"]


def _readings(facts: GravityFacts, pitched: datetime) -> list[Reading]:
    """Thinned to what a fit can use; the latest is always among them."""
    points = [one for one in facts.points if one.at >= pitched]
    stride = max(1, len(points) // MOST_READINGS)
    kept = points[::-1][::stride][::-1]
    return [Reading((one.at - pitched).total_seconds() / 86400.0, one.sg) for one in kept]


def _points_a_day(facts: GravityFacts) -> float:
    last = facts.points[-1].at
    recent = [one for one in facts.points if last - one.at <= timedelta(days=2)]
    return max(0.5, len(recent) / 2.0)


def _courses(fitted: Fit, programme: Programme) -> list[Course]:
    days = tuple(n * STEP_DAYS for n in range(int(HORIZON_DAYS / STEP_DAYS) + 1))
    counted = yeast_days(programme, fitted.expected.strain, days)
    random = Random(0)
    roots = _root(fitted.estimate.covariance)
    return [_course(_drawn(fitted, roots, random), counted) for _ in range(COURSES)]


def _course(drawn: Fit, counted: tuple[float, ...]) -> Course:
    original = gravity.plato(drawn.expected.original_gravity)
    final = min(original, drawn.estimate.values[0])
    strain = drawn.strain
    share = FermentedShare(
        min(20.0, max(0.02, strain.rate)),
        min(20.0, max(0.02, strain.lag_h / 24.0)),
        drawn.expected.inoculum,
        min(3.0, max(0.3, strain.order)),
    )
    return Course(tuple(original - (original - final) * share.at(days) for days in counted))


def _drawn(fitted: Fit, roots: list[Vector], random: Random) -> Fit:
    normals = [random.gauss(0.0, 1.0) for _ in roots]
    shifts = (sum(a * b for a, b in zip(row, normals, strict=True)) for row in roots)
    values = [value + shift for value, shift in zip(fitted.estimate.values, shifts, strict=True)]
    return replace(fitted, estimate=fitted.estimate._replace(values=values))


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
