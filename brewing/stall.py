"""Whether gravity is falling, has come to rest where it should, or has come to rest too soon."""

from collections.abc import Sequence
from enum import StrEnum
from math import sqrt
from typing import NamedTuple

from brewing.errors import check
from brewing.forecast import READING_SG, Expectation, Reading

WINDOW_DAYS = 2.0
"""Gravity at rest for two days counts as over or stalled. Common practice, no source."""
RESTING_PER_DAY = 0.0007
"""SG a day: a slower fall than this is rest."""
NEAR_FINAL = 0.003
"""SG: at rest within this of the expected final gravity is over, further above it is stalled."""
STARTED = 0.003
"""SG: a fall of more than this from the original gravity shows that fermentation has begun."""
LONGEST_LAG_DAYS = 2.0
"""Without a sign of fermentation for longer than this, the batch is stalled. Common practice, no source: 1-3 days."""


_TELLING_PER_DAY = 0.003
"""SG a day: a fall that could still be as fast as this cannot be called rest."""


class Pace(StrEnum):
    """What the gravity is doing; `unknown` until the readings can tell."""

    UNKNOWN = "unknown"
    LAGGING = "lagging"
    FERMENTING = "fermenting"
    STALLED = "stalled"
    OVER = "over"


class Progress(NamedTuple):
    """The pace with its grounds: the fall in SG a day and its standard deviation, the latest gravity, and why."""

    pace: Pace
    fall_per_day: float
    deviation: float
    gravity: float
    why: str


class _Trend(NamedTuple):
    fall_per_day: float
    deviation: float
    gravity: float


def progress(
    readings: Sequence[Reading],
    expected: Expectation,
    day: float,
    window_days: float = WINDOW_DAYS,
    reading_sg: float = READING_SG,
) -> Progress:
    """Judges the readings of the last `window_days` before `day`, days after pitching.

    It takes three readings over at least half of the window, and a fall known well enough to tell rest from falling;
    until then the pace is `unknown`.
    """
    until = check("day", day, 0.0, 120.0, "d")
    since = until - check("window_days", window_days, 0.25, 14.0, "d")
    recent = sorted(one for one in readings if since <= one.day <= until)
    if len(recent) < 3 or recent[-1].day - recent[0].day < window_days / 2.0:
        return Progress(Pace.UNKNOWN, 0.0, 0.0, recent[-1].gravity if recent else 0.0, "too few recent readings")
    trend = _trend(recent, reading_sg)
    pace, why = _judged(trend, expected, until)
    return Progress(pace, *trend, why)


def _judged(trend: _Trend, expected: Expectation, day: float) -> tuple[Pace, str]:
    begun = expected.original_gravity - trend.gravity > STARTED
    above = trend.gravity - expected.final_gravity
    if trend.fall_per_day > max(RESTING_PER_DAY, 2.0 * trend.deviation):
        return Pace.FERMENTING, f"falling by {trend.fall_per_day:.4f} a day"
    if above <= NEAR_FINAL:
        return Pace.OVER, f"at rest at {trend.gravity:.4f}, expected {expected.final_gravity:.3f}"
    if not begun and day <= LONGEST_LAG_DAYS:
        return Pace.LAGGING, "no fall yet"
    if trend.fall_per_day + trend.deviation > _TELLING_PER_DAY:
        return Pace.UNKNOWN, "the readings scatter too much to tell rest from a slow fall"
    if not begun:
        return Pace.STALLED, f"no fall within {day:.1f} days of pitching"
    return Pace.STALLED, f"at rest at {trend.gravity:.4f}, {above:.3f} above the expected {expected.final_gravity:.3f}"


def _trend(recent: Sequence[Reading], reading_sg: float) -> _Trend:
    """Straight line by least squares; the deviation is that of the readings or of the residuals, the larger."""
    count = len(recent)
    middle_day = sum(one.day for one in recent) / count
    middle = sum(one.gravity for one in recent) / count
    spread = sum((one.day - middle_day) ** 2 for one in recent)
    slope = sum((one.day - middle_day) * (one.gravity - middle) for one in recent) / spread
    squares = sum((one.gravity - middle - slope * (one.day - middle_day)) ** 2 for one in recent)
    scatter = max(reading_sg, sqrt(squares / (count - 2)))
    latest = middle + slope * (recent[-1].day - middle_day)
    return _Trend(-slope, scatter / sqrt(spread), latest)
