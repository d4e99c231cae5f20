"""One probe as the supervisor knows it: its last good value, how old that is, and what would make it urgent."""

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from math import inf

from schemas.plant import Chamber, Measure, Point, Probe
from schemas.telemetry import VALUE_FIELDS, Quality, ReadingBase

FROM_THE_FUTURE = timedelta(seconds=5)
"""Clocks of two processes may differ by so much; a reading from later than that steers nothing."""


class Gauge:
    """Only good readings have a value here. `low` and `high` bound what can wait for the next regular look."""

    __slots__ = ("value", "at", "newest_at", "good", "low", "high", "_field", "_stale_after")

    def __init__(self, probe: Probe) -> None:
        self.value = 0.0
        self.at: datetime | None = None
        self.newest_at: datetime | None = None
        self.good = True
        self.low, self.high = -inf, inf
        if probe.measures is Measure.CONTACT:
            self.low, self.high = 0.5, 0.5
        self._field = VALUE_FIELDS[probe.measures]
        self._stale_after = probe.stale_after

    def take(self, reading: ReadingBase, now: datetime) -> bool:
        """Takes a reading in; returns whether it must be acted on at once. Late and future ones are passed over."""
        at, newest, latest = reading.at, self.newest_at, now + FROM_THE_FUTURE
        if at > latest or (newest is not None and at < newest <= latest):
            return False
        self.newest_at = at
        raw: float | None = getattr(reading, self._field, None)
        self.good = reading.quality is Quality.GOOD and raw is not None
        if not self.good or raw is None:
            return False
        before, self.value, self.at = self.value, float(raw), at
        return not self.low < self.value < self.high and (self.low != self.high or before != self.value)

    def reading(self, now: datetime) -> float | None:
        """The value, if it is good, neither stale nor from the future."""
        at = self.at
        if at is None or now - at > self._stale_after or at > now + FROM_THE_FUTURE:
            return None
        return self.value


def gauges_of(chamber: Chamber) -> dict[str, Gauge]:
    """A gauge for each probe."""
    return {name: Gauge(probe) for name, probe in chamber.probes.items()}


def at_point(chamber: Chamber, gauges: Mapping[str, Gauge], point: Point) -> Gauge | None:
    """The gauge of the temperature probe at a point, or None."""
    name = chamber.probe_at(point)
    return gauges[name] if name is not None else None


def measuring(chamber: Chamber, gauges: Mapping[str, Gauge], measure: Measure) -> tuple[Gauge, ...]:
    """All gauges that measure such a thing."""
    return tuple(gauges[name] for name, probe in chamber.probes.items() if probe.measures is measure)


def highest(gauges: Iterable[Gauge], now: datetime) -> float | None:
    """The highest of their readings, None when there is none."""
    found = [value for gauge in gauges if (value := gauge.reading(now)) is not None]
    return max(found, default=None)
