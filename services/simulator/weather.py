"""The room's temperature over time, from a real hourly series, damped as a garage damps it."""

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from importlib.util import find_spec
from pathlib import Path

HOUR_S = 3600.0
YEAR_H = 8760
_YEAR_START = datetime(2010, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Spell:
    """A heat wave (or cold snap): `extra_k` more from `begin_h` after the start for `length_h`, with 12 h of slope."""

    begin_h: float
    length_h: float
    extra_k: float

    def extra(self, hour: float) -> float:
        """Kelvin to add at this hour after the start."""
        inside = min(hour - self.begin_h, self.begin_h + self.length_h - hour)
        return self.extra_k * min(1.0, max(0.0, inside / 12.0))


class Weather:
    """Temperature in degC by seconds after the start, interpolated between hours; the series repeats when it ends."""

    __slots__ = ("_hourly", "_count")

    def __init__(self, hourly: Sequence[float]) -> None:
        self._hourly = tuple(hourly)
        self._count = len(self._hourly)

    def at(self, elapsed_s: float) -> float:
        """degC, `elapsed_s` after the start."""
        hour = elapsed_s / HOUR_S
        whole = int(hour)
        first = self._hourly[whole % self._count]
        return first + (hour - whole) * (self._hourly[(whole + 1) % self._count] - first)


def constant(room_c: float) -> Weather:
    """A room that never changes."""
    return Weather((room_c,))


def seattle_hourly() -> tuple[float, ...]:
    """A year of hourly temperatures in degC: Seattle, NOAA climate normals 1981-2010, public domain.

    Read from the data that the package `vega_datasets` (BSD) ships; one hour is missing there and is filled by its
    predecessor, so that there are 8760.
    """
    path = _folder_of("vega_datasets") / "_data" / "seattle-temps.csv"
    found: dict[int, float] = {}
    for row in csv.DictReader(path.read_text(encoding="utf-8").splitlines()):
        moment = datetime.strptime(row["date"], "%Y/%m/%d %H:%M").replace(tzinfo=UTC)
        found[round((moment - _YEAR_START) / timedelta(hours=1))] = (float(row["temp"]) - 32.0) / 1.8
    filled, last = [], found[0]
    for hour in range(YEAR_H):
        last = found.get(hour, last)
        filled.append(last)
    return tuple(filled)


def _folder_of(package: str) -> Path:
    """Where a package is, without importing it: this one would bring a data frame library along."""
    spec = find_spec(package)
    if spec is None or spec.origin is None:
        raise ModuleNotFoundError(f"the simulator's weather comes with '{package}': install coldside[simulator]")
    return Path(spec.origin).parent


def garage(
    start: datetime,
    hourly: Sequence[float] | None = None,
    hours: int = 24 * 60,
    offset_k: float = 4.0,
    swing: float = 0.8,
    damping_h: float = 4.0,
    spells: Sequence[Spell] = (),
) -> Weather:
    """A garage for `hours` from `start` on: warmer by `offset_k`, swings about the year's mean scaled and damped."""
    outside = seattle_hourly() if hourly is None else tuple(hourly)
    mean = sum(outside) / len(outside)
    first = int((start - datetime(start.year, 1, 1, tzinfo=start.tzinfo)).total_seconds() // HOUR_S)
    inside = outside[first % len(outside)]
    series = []
    for hour in range(hours):
        inside += (outside[(first + hour) % len(outside)] - inside) / max(1.0, damping_h)
        extra = sum(spell.extra(hour) for spell in spells)
        series.append(mean + offset_k + swing * (inside - mean) + extra)
    return Weather(series)
