"""How sure forecasts are of themselves: `gravity stable` over fifty simulated batches, and the arrival of crashes."""

from collections.abc import Iterable, Iterator
from datetime import UTC, datetime, timedelta
from functools import cache
from math import exp
from random import Random
from statistics import mean, median
from typing import NamedTuple

from benchmarks import crash_arrival
from benchmarks.rows import Row, at_most, between
from brewing import gravity
from brewing.attenuation import logistic_extract
from brewing.fermentation import Wort, course
from brewing.kinetics import STRAINS, Programme
from services.scheduler.forecast import Foreseen, foresee
from services.scheduler.gravity_facts import GravityFacts
from services.scheduler.gravity_log import GravityLog, GravityPoint

NAME = "forecast"

BATCHES = 50
NOISE_SG = 0.0008
WITHIN_SG, OVER_DAYS = 0.001, 2.0
PITCHED = datetime(2026, 3, 2, 8, tzinfo=UTC)
_HOUR = 1 / 24


class Batch(NamedTuple):
    """One invented fermentation, hour by hour, and what an instrument made of it."""

    original: float
    truth: list[float]
    said: list[float]
    temperature_c: float

    @property
    def stable_day(self) -> float:
        """When gravity has truly changed by less than 0.001 in 48 h, after it fell fastest."""
        levels, lag = self.truth, round(OVER_DAYS * 24)
        fastest = max(range(1, len(levels)), key=lambda n: levels[n - 1] - levels[n])
        later = range(max(lag, fastest), len(levels))
        return next(n for n in later if levels[n - lag] - levels[n] < WITHIN_SG) * _HOUR

    @property
    def half_way_day(self) -> float:
        """When half of what will be gone is gone."""
        half = (self.original + self.truth[-1]) / 2
        return next(n for n, level in enumerate(self.truth) if level <= half) * _HOUR


def run() -> Iterable[Row]:
    """Coverage and width of the 80 % intervals, from mid-fermentation on, twice a day until gravity is stable."""
    held, widths = zip(*[(low <= truth <= high, 24 * (high - low)) for low, truth, high in _intervals()], strict=True)
    yield between(NAME, "stable_interval_coverage", sum(held) / len(held), "", 0.70, 0.90)
    yield at_most(NAME, "stable_interval_hours", median(widths), "h", 36.0)
    yield from _arrivals()


def _arrivals() -> Iterator[Row]:
    """Means over all forecasts from the crash's begin until the beer is there, hour by hour."""
    crashes = list(crash_arrival.foretold())
    known = [one for one in crashes if one.crash == "second crash"]
    at_once = [one.error for one in crashes if one.crash == "first crash" and one.share == 0.0]
    yield at_most(NAME, "crash_arrival_error", mean(one.error for one in known), "of its duration", 0.10)
    yield Row(NAME, "crash_arrival_held", mean(one.held for one in known), "")
    yield Row(NAME, "crash_arrival_error_of_unknown_chamber_at_begin", mean(at_once), "of its duration")


def _intervals() -> Iterator[tuple[float, float, float]]:
    for seed in range(BATCHES):
        batch = simulated(seed)
        truth, day = batch.stable_day, batch.half_way_day
        while day < truth:
            found = _foreseen(batch, day)
            low, high = (_stable_day(found, quantile) for quantile in (0.1, 0.9))
            yield low, truth, high
            day += 0.5


@cache
def simulated(seed: int) -> Batch:
    """Every other batch follows the logistic of ASBC Yeast-14, the others our own kinetics.

    Steepness, lag and final gravity are drawn about common values; no published table of their spread was at hand, so
    the spreads (30 % in rate, 35 % in lag, 4 points in attenuation) are common practice, no source.
    """
    random = Random(seed)
    original, attenuation = random.uniform(1.040, 1.070), min(86.0, max(66.0, random.gauss(77.0, 4.0)))
    final, temperature_c = gravity.final_gravity_for(original, attenuation), random.uniform(17.0, 21.0)
    make = _logistic if seed % 2 else _by_kinetics
    truth = make(random, original, final, temperature_c)
    return Batch(original, truth, [level + random.gauss(0.0, NOISE_SG) for level in truth], temperature_c)


def _logistic(random: Random, original: float, final: float, _temperature_c: float) -> list[float]:
    wort, beer = gravity.plato(original), gravity.plato(final)
    steepness, middle = 1.5 * exp(random.gauss(0.0, 0.3)), random.uniform(1.3, 3.0)
    extracts = (logistic_extract(wort, beer, steepness, middle, n * _HOUR) for n in range(24 * 28))
    return [gravity.specific_gravity(extract) for extract in extracts]


def _by_kinetics(random: Random, original: float, final: float, temperature_c: float) -> list[float]:
    usual = STRAINS["ale"]
    strain = usual._replace(
        rate=usual.rate * exp(random.gauss(0.0, 0.3)), lag_h=usual.lag_h * exp(random.gauss(0.0, 0.35))
    )
    cells = usual.cells_per_ml_plato * gravity.plato(original) * 23_000 * exp(random.gauss(0.0, 0.2))
    season = course(Wort(23.0, original, final), strain, cells, Programme.steady(temperature_c), 28.0)
    return [season.at(n * _HOUR).gravity for n in range(24 * 28)]


def _foreseen(batch: Batch, day: float) -> Foreseen:
    points = tuple(
        GravityPoint(at=PITCHED + timedelta(hours=n), sg=batch.said[n], sd=NOISE_SG, by="float")
        for n in range(1, int(day * 24) + 1)
    )
    facts = GravityFacts(GravityLog(points=points), batch.original)
    found = foresee(facts, PITCHED, Programme.steady(batch.temperature_c), None)
    if found is None:
        raise RuntimeError(f"no forecast on day {day:.1f} of a batch with {len(points)} measurements")
    return found


def _stable_day(found: Foreseen, quantile: float) -> float:
    """Of true stability: the noise of measurements is no part of it."""
    days = sorted(course.day_stable(WITHIN_SG, OVER_DAYS) or 45.0 for course in found.courses)
    return days[min(len(days) - 1, int(quantile * len(days)))]
