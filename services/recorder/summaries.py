"""Samples summed up in stretches of time: how many, the least, mean, greatest and last. Arithmetic on columns only."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Milliseconds = NDArray[np.int64]
Counts = NDArray[np.int64]
Values = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Summaries:
    """Columns in order of time; `at_ms` is where each stretch begins. There is none for an empty stretch."""

    at_ms: Milliseconds
    count: Counts
    least: Values
    mean: Values
    greatest: Values
    last: Values

    def __len__(self) -> int:
        return len(self.at_ms)

    def between(self, first: int, end: int) -> "Summaries":
        """Those from one index up to another."""
        return self._picked(slice(first, end))

    def where(self, wanted: NDArray[np.bool_]) -> "Summaries":
        """Those that are wanted."""
        return self._picked(wanted)

    def _picked(self, which: slice | NDArray[np.bool_]) -> "Summaries":
        at_ms, count, least, mean, greatest, last = self.columns
        return Summaries(at_ms[which], count[which], least[which], mean[which], greatest[which], last[which])

    @property
    def columns(self) -> tuple[Milliseconds, Counts, Values, Values, Values, Values]:
        """All six."""
        return self.at_ms, self.count, self.least, self.mean, self.greatest, self.last


def of_samples(at_ms: Milliseconds, value: Values) -> Summaries:
    """Each sample a summary of itself."""
    return Summaries(at_ms, np.ones(len(at_ms), dtype=np.int64), value, value, value, value)


def grouped(summaries: Summaries, level_ms: int) -> Summaries:
    """Summed up in stretches of `level_ms` that begin at its whole multiples."""
    if not len(summaries):
        return summaries
    stretch = summaries.at_ms // level_ms
    begins = np.flatnonzero(np.concatenate(([True], stretch[1:] != stretch[:-1])))
    groups = of_groups(summaries, begins)
    return Summaries(stretch[begins] * level_ms, *groups.columns[1:])


def of_groups(summaries: Summaries, begins: NDArray[np.intp]) -> Summaries:
    """One summary for each group of neighbours; a group goes up to where the next begins, the last to the end."""
    count = np.add.reduceat(summaries.count, begins)
    ends = np.append(begins[1:], len(summaries))
    return Summaries(
        summaries.at_ms[begins],
        count,
        np.minimum.reduceat(summaries.least, begins),
        np.add.reduceat(summaries.mean * summaries.count, begins) / count,
        np.maximum.reduceat(summaries.greatest, begins),
        summaries.last[ends - 1],
    )


def joined(first: Summaries, second: Summaries) -> Summaries:
    """Both in order of time; where two begin at the same moment, the second's comes first."""
    pairs = zip(second.columns, first.columns, strict=True)
    at_ms, count, least, mean, greatest, last = (np.concatenate(pair) for pair in pairs)
    order = np.argsort(at_ms, kind="stable")
    return Summaries(at_ms[order], count[order], least[order], mean[order], greatest[order], last[order])


def overlaid(older: Summaries, newer: Summaries) -> Summaries:
    """Both in order of time; of two that begin at the same moment, only the newer stays."""
    both = joined(older, newer)
    first = np.concatenate(([True], both.at_ms[1:] != both.at_ms[:-1])) if len(both) else np.zeros(0, dtype=bool)
    return both.where(first)
