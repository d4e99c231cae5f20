"""A stretch of history as it is drawn: thinned to what the screen can show, with its extremes and its gaps kept."""

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.float64]
Times = NDArray[np.int64]


class Buckets(Protocol):
    """What history answers with: one more edge than values, NaN for a gap."""

    @property
    def edges_ms(self) -> Times: ...
    @property
    def min(self) -> Numbers: ...
    @property
    def mean(self) -> Numbers: ...
    @property
    def max(self) -> Numbers: ...
    @property
    def last(self) -> Numbers: ...


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """Points at `at_ms`, each with its least, mean, greatest and last value; nothing is kept of empty buckets."""

    at_ms: Times
    low: Numbers
    mean: Numbers
    high: Numbers
    last: Numbers
    bucket_ms: int

    def __len__(self) -> int:
        return len(self.at_ms)

    @property
    def values(self) -> tuple[Numbers, Numbers, Numbers, Numbers]:
        """Least, mean, greatest, last."""
        return self.low, self.mean, self.high, self.last

    def value_at(self, at_ms: int) -> float | None:
        """The last that was known at a moment; None before all."""
        index = int(np.searchsorted(self.at_ms, at_ms, side="right")) - 1
        return float(self.last[index]) if index >= 0 else None

    def minus(self, other: "Curve") -> "Curve":
        """The difference, where the other one has a value by then."""
        index = np.searchsorted(other.at_ms, self.at_ms, side="right") - 1
        kept = index >= 0
        base = other.last[index[kept]]
        low, mean, high, last = (column[kept] - base for column in self.values)
        return Curve(self.at_ms[kept], low, mean, high, last, self.bucket_ms)

    def scaled(self, per: float, zero: float) -> "Curve":
        """On another unit's scale."""
        low, mean, high, last = (column * per + zero for column in self.values)
        return Curve(self.at_ms, low, mean, high, last, self.bucket_ms)

    def stretches(self, gap_ms: int) -> list["Curve"]:
        """Cut where for longer than `gap_ms` nothing is known."""
        breaks = np.flatnonzero(np.diff(self.at_ms) > max(gap_ms, 2 * self.bucket_ms)) + 1
        bounds = [0, *breaks.tolist(), len(self)]
        return [self._part(begin, end) for begin, end in zip(bounds, bounds[1:], strict=False) if end > begin]

    def _part(self, begin: int, end: int) -> "Curve":
        low, mean, high, last = (column[begin:end] for column in self.values)
        return Curve(self.at_ms[begin:end], low, mean, high, last, self.bucket_ms)


def nothing() -> Curve:
    """A curve without a point."""
    empty = np.empty(0)
    return Curve(np.empty(0, dtype=np.int64), empty, empty, empty, empty, 1)


def curve(buckets: Buckets, count: int) -> Curve:
    """At most `count` points: neighbouring buckets together where there are more, never losing an extreme."""
    edges, size = buckets.edges_ms, len(buckets.mean)
    if size == 0:
        return nothing()
    group = -(-size // max(1, count))
    starts = np.arange(0, size, group)
    filled = ~np.isnan(buckets.mean)
    some = np.logical_or.reduceat(filled, starts)
    ends = np.minimum(starts + group, size)
    at = (edges[starts] + edges[ends]) // 2
    low, high = np.fmin.reduceat(buckets.min, starts), np.fmax.reduceat(buckets.max, starts)
    mean, last = _means(buckets.mean, starts), _lasts(buckets.last, starts, ends)
    length = int(edges[-1] - edges[0]) // len(starts)
    return Curve(at[some], low[some], mean[some], high[some], last[some], length)


def _means(values: Numbers, starts: NDArray[np.intp]) -> Numbers:
    known = ~np.isnan(values)
    counts = np.add.reduceat(known.astype(float), starts)
    return np.add.reduceat(np.where(known, values, 0.0), starts) / np.where(counts == 0, np.nan, counts)


def _lasts(values: Numbers, starts: NDArray[np.intp], ends: NDArray[np.intp]) -> Numbers:
    """The last known value of each group."""
    known = np.where(np.isnan(values), -1, np.arange(len(values)))
    newest = np.maximum.accumulate(known)[ends - 1]
    return np.where(newest >= starts, values[np.maximum(newest, 0)], np.nan)
