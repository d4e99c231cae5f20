"""What follows from a gravity log: where gravity is, since when it is low enough, whether it has come to rest."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property
from math import sqrt
from statistics import median

from brewing import freezing, gravity
from brewing.errors import OutOfRange
from schemas.ends import GravityStable, Stability
from services.scheduler.gravity_log import GravityLog, GravityPoint

SURE = 1.28
"""Standard deviations: stable is said only when gravity is stable with nine chances in ten."""
SPAN = 0.9
"""The share of a window that points must span."""
FALLEN_SG = 0.003
"""A fall of so much shows that fermentation has begun."""


@dataclass(frozen=True)
class GravityFacts:
    """Answers from one log. Moments are those of the measurements, so they lie in the past."""

    log: GravityLog
    original_gravity_sg: float | None

    @cached_property
    def points(self) -> tuple[GravityPoint, ...]:
        """What counts, in order of time."""
        return self.log.counted()

    @cached_property
    def _levels(self) -> list[tuple[datetime, float]]:
        """By hand as measured; by instrument the median of the last three, which one odd point does not move."""
        points = self.points
        recent = [points[max(0, n - 2) : n + 1] for n in range(len(points))]
        return [(few[-1].at, few[-1].sg if few[-1].hand else median(one.sg for one in few)) for few in recent]

    @property
    def level_sg(self) -> float | None:
        """Where gravity is; None before the first measurement."""
        return self._levels[-1][1] if self._levels else None

    @property
    def attenuation_percent(self) -> float | None:
        """Apparent attenuation; None while either gravity is unknown."""
        if self.level_sg is None or self.original_gravity_sg is None or self.original_gravity_sg <= 1.001:
            return None
        return gravity.apparent_attenuation(self.original_gravity_sg, min(self.level_sg, self.original_gravity_sg))

    @property
    def strength(self) -> gravity.Strength | None:
        """Extract and alcohol; None while either gravity is unknown, or out of the formulas' range."""
        if self.level_sg is None or self.original_gravity_sg is None:
            return None
        try:
            return gravity.strength(self.original_gravity_sg, min(self.level_sg, self.original_gravity_sg))
        except OutOfRange:
            return None

    @property
    def freezes_at_c(self) -> float | None:
        """Where the beer may begin to freeze, on the safe side."""
        strength = self.strength
        return None if strength is None else round(freezing.safe_limit(max(0.0, strength.alcohol_by_weight)), 1)

    def at_most(self, gravity_sg: float) -> datetime | None:
        """Since when gravity is at this or below."""
        since = None
        for at, level in reversed(self._levels):
            if level > gravity_sg:
                break
            since = at
        return since

    def attenuated(self, percent: float) -> datetime | None:
        """Since when apparent attenuation is at this or above."""
        if self.original_gravity_sg is None:
            return None
        try:
            return self.at_most(gravity.final_gravity_for(self.original_gravity_sg, percent))
        except OutOfRange:
            return None

    def stable(self, trigger: GravityStable) -> datetime | None:
        """When last measured stable; None while it moves, is too little known, or has merely stalled."""
        attenuation = self.attenuation_percent
        if attenuation is not None and attenuation < trigger.least_attenuation_percent:
            return None
        return self.at_rest(trigger.gravity_stable)

    def at_rest(self, asked: Stability) -> datetime | None:
        """When last measured at rest, whatever the attenuation."""
        if not self.points:
            return None
        last = self.points[-1].at
        window = self._since(last - timedelta(seconds=asked.over_s))
        if last - window[0].at < SPAN * timedelta(seconds=asked.over_s):
            return None
        return last if change_at_most(window, asked.over_s) < asked.within_sg else None

    def begun(self) -> bool | None:
        """Whether gravity has fallen at all; None while nothing is known."""
        if self.level_sg is None:
            return None
        first = self.original_gravity_sg or self.points[0].sg
        return first - self.level_sg > FALLEN_SG

    def _since(self, moment: datetime) -> Sequence[GravityPoint]:
        """The points after a moment and the one just before."""
        first = next(n for n, one in enumerate(self.points) if one.at >= moment)
        before = first > 0 and self.points[first].at > moment
        return self.points[first - 1 if before else first :]


def change_at_most(points: Sequence[GravityPoint], over_s: float) -> float:
    """SG by which gravity changes in so many seconds, at most with nine chances in ten.

    By weighted least squares; the noise is what the points are trusted to, or their scatter where that is larger.
    """
    if len(points) < 2:
        return 1.0
    hours = [(one.at - points[0].at).total_seconds() / 3600 for one in points]
    weights = [one.sd**-2 for one in points]
    total = sum(weights)
    middle_h = sum(w * h for w, h in zip(weights, hours, strict=True)) / total
    middle = sum(w * one.sg for w, one in zip(weights, points, strict=True)) / total
    spread = sum(w * (h - middle_h) ** 2 for w, h in zip(weights, hours, strict=True))
    if spread <= 0:
        return 1.0
    rows = list(zip(weights, hours, (one.sg for one in points), strict=True))
    slope = sum(w * (h - middle_h) * (sg - middle) for w, h, sg in rows) / spread
    squares = sum(w * (sg - middle - slope * (h - middle_h)) ** 2 for w, h, sg in rows)
    scatter = max(1.0, sqrt(squares / (len(rows) - 2))) if len(rows) > 2 else 1.0
    return (abs(slope) + SURE * scatter / sqrt(spread)) * over_s / 3600
