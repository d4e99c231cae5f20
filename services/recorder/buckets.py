"""A long series in a few buckets, each with its count, least, mean, greatest and last; a gap stays a gap."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from services.recorder.rows import moment
from services.recorder.summaries import Counts, Milliseconds, Summaries, Values, of_groups


@dataclass(frozen=True, slots=True)
class Bucket:
    """A stretch of time and what was in it; the four values are None in a gap."""

    begins: datetime
    ends: datetime
    count: int
    least: float | None
    mean: float | None
    greatest: float | None
    last: float | None


@dataclass(frozen=True, slots=True, eq=False)
class Buckets:
    """Columns, one entry a bucket; `edges_ms` has one more. Where `count` is 0 the values are NaN."""

    edges_ms: Milliseconds
    count: Counts
    least: Values
    mean: Values
    greatest: Values
    last: Values

    def __len__(self) -> int:
        return len(self.count)

    def __iter__(self) -> Iterator[Bucket]:
        edges = [moment(edge) for edge in self.edges_ms.tolist()]
        columns = (self.least, self.mean, self.greatest, self.last)
        rows = zip(*(column.tolist() for column in columns), strict=True)
        for begins, ends, count, row in zip(edges, edges[1:], self.count.tolist(), rows, strict=False):
            yield Bucket(begins, ends, count, *(row if count else (None, None, None, None)))


def even_edges(start_ms: int, end_ms: int, count: int) -> Milliseconds:
    """`count` equal stretches from start to end; raises ValueError when there is no time or no bucket."""
    if end_ms <= start_ms or count < 1:
        raise ValueError(
            f"{count} buckets from {moment(start_ms)} to {moment(end_ms)}: need one at least, and some time"
        )
    steps = np.arange(count + 1, dtype=np.int64)
    return np.int64(start_ms) + steps * (end_ms - start_ms) // count


def on_whole(edges_ms: Milliseconds, level_ms: int) -> Milliseconds:
    """The edges moved to whole multiples, so that what was summed up in such stretches is not cut.

    Inner edges move to the nearest, the outer ones outwards: whatever was asked for is still in a bucket.
    """
    moved = (edges_ms + level_ms // 2) // level_ms * level_ms
    moved[0] = edges_ms[0] // level_ms * level_ms
    moved[-1] = -(-edges_ms[-1] // level_ms) * level_ms
    return moved


def into_buckets(edges_ms: Milliseconds, summaries: Summaries) -> Buckets:
    """Each summary into the bucket where it begins; buckets include their beginning and not their end."""
    bounds = np.searchsorted(summaries.at_ms, edges_ms)
    filled = np.flatnonzero(bounds[1:] > bounds[:-1])
    result = empty(edges_ms)
    if len(filled):
        groups = of_groups(summaries.between(0, int(bounds[-1])), bounds[filled])
        for name in ("count", "least", "mean", "greatest", "last"):
            getattr(result, name)[filled] = getattr(groups, name)
    return result


def empty(edges_ms: Milliseconds) -> Buckets:
    """Nothing but gaps."""
    size = len(edges_ms) - 1
    least, mean, greatest, last = (np.full(size, np.nan) for _ in range(4))
    return Buckets(edges_ms, np.zeros(size, dtype=np.int64), least, mean, greatest, last)


def carried(buckets: Buckets, before: float | None) -> Buckets:
    """Fills gaps with the last value before them, for what holds until it is told otherwise; counts stay 0 there."""
    last = np.concatenate(([np.nan if before is None else before], buckets.last))
    source = np.maximum.accumulate(np.where(np.isnan(last), 0, np.arange(len(last))))
    held: NDArray[np.float64] = last[source][1:]
    gap = buckets.count == 0
    least, mean, greatest = (np.where(gap, held, one) for one in (buckets.least, buckets.mean, buckets.greatest))
    return Buckets(buckets.edges_ms, buckets.count, least, mean, greatest, held)
