"""Where a batch's own gravity readings say it is going: fitted kinetics, a forecast with a band, the expected end."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, log
from typing import NamedTuple

from brewing import gravity
from brewing.attenuation import FermentedShare
from brewing.errors import OutOfRange, check
from brewing.estimation import Estimate, Prior, Vector, estimate
from brewing.kinetics import Programme, Strain, yeast_days

READING_SG = 0.0015
"""What one reading is trusted to: a hydrometer's division and its reader. One standard deviation."""
DONE_SG = 0.001
"""Fermentation counts as over when no more than this is left to fall."""
BAND = 1.645
"""Standard deviations to either side of a 90 % band."""

_ATTENUATION_DEVIATION = 0.05
_LOG_RATE_DEVIATION = 0.5
_LOG_LAG_DEVIATION = 0.5
_LOG_ORDER_DEVIATION = 0.15
_MOST_DAYS = 120
_A_DAY = 8


class Reading(NamedTuple):
    """Specific gravity, corrected for temperature, so many days after pitching."""

    day: float
    gravity: float


class Expectation(NamedTuple):
    """What is known before a reading is taken; readings soon outweigh all but the original gravity."""

    original_gravity: float
    final_gravity: float
    strain: Strain
    inoculum: float


class Forecast(NamedTuple):
    """Gravity on a day, and the ends of its 90 % band."""

    day: float
    gravity: float
    low: float
    high: float


class End(NamedTuple):
    """The day on which fermentation is expected to be over, with a 90 % band; None is not within 120 days."""

    day: float | None
    earliest: float | None
    latest: float | None


@dataclass(frozen=True, slots=True)
class Fit:
    """Kinetics fitted to readings: final apparent extract (degP), logarithms of rate (1/d), lag (d) and order."""

    expected: Expectation
    programme: Programme
    estimate: Estimate

    @property
    def final_gravity(self) -> float:
        """Where it will end."""
        return gravity.specific_gravity(self.estimate.values[0])

    @property
    def final_gravity_deviation(self) -> float:
        """One standard deviation of `final_gravity`."""
        return self.estimate.deviation(lambda values: gravity.specific_gravity(values[0]))

    @property
    def strain(self) -> Strain:
        """The strain as this batch shows it: rate, lag and order fitted, temperatures as expected."""
        rate, lag, order = _kinetics(self.estimate.values)
        return self.expected.strain._replace(rate=rate, lag_h=24.0 * lag, order=order)

    def at(self, day: float) -> Forecast:
        """The gravity of a day, 0 to 120."""
        return self.curve((day,))[0]

    def curve(self, days: Sequence[float]) -> tuple[Forecast, ...]:
        """The gravity of many days, 0 to 120 and in order, for the price of little more than one."""
        asked = tuple(check("day", day, 0.0, _MOST_DAYS, "d") for day in days)
        counted = yeast_days(self.programme, self.expected.strain, asked)

        def gravities(values: Vector) -> Vector:
            return _curve(values, self.expected, counted)

        spreads = zip(asked, gravities(self.estimate.values), self.estimate.deviations(gravities), strict=True)
        return tuple(self._banded(day, middle, BAND * deviation) for day, middle, deviation in spreads)

    def end(self) -> End:
        """When no more than 0.001 will be left to fall, if the programme goes on as it stands."""

        def counted(values: Vector) -> float:
            return _end(values, self.expected)

        middle, half = counted(self.estimate.values), BAND * self.estimate.deviation(counted)
        calendar = _Calendar(self.programme, self.expected.strain)
        return End(*(calendar.day(days) for days in (middle, middle - half, middle + half)))

    def _banded(self, day: float, middle: float, half: float) -> Forecast:
        highest = self.expected.original_gravity
        return Forecast(day, middle, max(gravity.LEAST_SG, middle - half), min(highest, middle + half))


def fit(
    readings: Sequence[Reading], expected: Expectation, programme: Programme, reading_sg: float = READING_SG
) -> Fit:
    """The likeliest kinetics given what was expected and what was read.

    `programme` holds the beer's temperatures so far and those intended, by day after pitching. Without readings the
    fit is the expectation. `reading_sg` is a reading's standard deviation. Raises OutOfRange for a reading that is no
    gravity of this beer.
    """
    ordered = sorted(_checked(one, expected) for one in readings)
    counted = yeast_days(programme, expected.strain, tuple(one.day for one in ordered))
    found = estimate(
        lambda values: _curve(values, expected, counted),
        [one.gravity for one in ordered],
        _prior(expected),
        check("reading_sg", reading_sg, 1e-5, 0.02, ""),
    )
    return Fit(expected, programme, found)


class _Calendar:
    """Turns days at the usual temperature back into days after pitching."""

    def __init__(self, programme: Programme, strain: Strain) -> None:
        self._days = tuple(n / _A_DAY for n in range(_MOST_DAYS * _A_DAY + 1))
        self._counted = yeast_days(programme, strain, self._days)

    def day(self, counted: float) -> float | None:
        after = next((n for n, days in enumerate(self._counted) if days >= counted), None)
        if not after:
            return None if after is None else 0.0
        low, high = self._counted[after - 1], self._counted[after]
        return self._days[after - 1] + (counted - low) / (high - low) / _A_DAY


def _prior(expected: Expectation) -> Prior:
    original = gravity.plato(check("original_gravity", expected.original_gravity, 1.01, gravity.MOST_SG, ""))
    remedy = "it cannot lie above the original gravity"
    check("final_gravity", expected.final_gravity, gravity.LEAST_SG, expected.original_gravity - 0.002, "", remedy)
    strain = expected.strain
    return Prior(
        [gravity.plato(expected.final_gravity), log(strain.rate), log(strain.lag_h / 24.0), log(strain.order)],
        [_ATTENUATION_DEVIATION * original, _LOG_RATE_DEVIATION, _LOG_LAG_DEVIATION, _LOG_ORDER_DEVIATION],
    )


def _curve(values: Vector, expected: Expectation, counted: tuple[float, ...]) -> Vector:
    original, final = gravity.plato(expected.original_gravity), _final(values, expected)
    share = _share(values, expected.inoculum)
    return [gravity.specific_gravity(original - (original - final) * share.at(days)) for days in counted]


def _end(values: Vector, expected: Expectation) -> float:
    fall = expected.original_gravity - gravity.specific_gravity(_final(values, expected))
    return _share(values, expected.inoculum).when(max(0.0, 1.0 - DONE_SG / max(DONE_SG, fall)))


def _share(values: Vector, inoculum: float) -> FermentedShare:
    rate, lag, order = _kinetics(values)
    return FermentedShare(rate, lag, inoculum, order)


def _kinetics(values: Vector) -> tuple[float, float, float]:
    """Rate, lag and order, kept to what yeast can do and `fermentation` can follow."""
    rate, lag, order = (exp(min(3.0, max(-4.0, value))) for value in values[1:])
    return min(8.0, rate), lag, min(3.0, max(0.3, order))


def _final(values: Vector, expected: Expectation) -> float:
    return min(gravity.plato(expected.original_gravity), max(-2.0, values[0]))


def _checked(reading: Reading, expected: Expectation) -> Reading:
    check("day", reading.day, 0.0, _MOST_DAYS, "d")
    highest = expected.original_gravity + 0.01
    if reading.gravity > highest:
        raise OutOfRange(
            "gravity", reading.gravity, gravity.LEAST_SG, highest, "", "it lies above the original gravity"
        )
    check("gravity", reading.gravity, gravity.LEAST_SG, highest, "")
    return reading
