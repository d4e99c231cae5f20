"""Raw samples as columns, and how two sets of them are put together and compared."""

import zlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from services.recorder.rows import Annotation, Grade
from services.recorder.summaries import Milliseconds, Summaries, Values, of_samples

NOTHING = np.float64(1e308)
"""Stands for a missing value in a checksum."""


@dataclass(frozen=True, slots=True, eq=False)
class RawSamples:
    """Columns in order of time; a value is NaN where there was none, `grade` is the quality (0 good, 2 bad)."""

    at_ms: Milliseconds
    value: Values
    grade: NDArray[np.int8]

    def __len__(self) -> int:
        return len(self.at_ms)

    def within(self, start_ms: int, end_ms: int) -> Self:
        """Those from a start up to an end."""
        first, end = np.searchsorted(self.at_ms, (start_ms, end_ms))
        return type(self)(self.at_ms[first:end], self.value[first:end], self.grade[first:end])

    @property
    def usable(self) -> Summaries:
        """Those that have a value and are not bad, for summing up."""
        good = (self.grade < Grade.BAD) & ~np.isnan(self.value)
        return of_samples(self.at_ms[good], self.value[good])


def from_rows(rows: Sequence[Sequence[Any]]) -> RawSamples:
    """From `(at_ms, value or None, grade)` in order of time."""
    table = np.array(rows, dtype=np.float64).reshape(len(rows), 3)
    value = np.ascontiguousarray(table[:, 1])
    return RawSamples(table[:, 0].astype(np.int64), value, table[:, 2].astype(np.int8))


def in_line(parts: Sequence[RawSamples]) -> RawSamples:
    """Parts that follow each other in time."""
    if not parts:
        return from_rows(())
    columns = zip(*((part.at_ms, part.value, part.grade) for part in parts), strict=True)
    return RawSamples(*(np.concatenate(column) for column in columns))


def overwritten(older: RawSamples, newer: RawSamples) -> RawSamples:
    """Both in order of time; where they have the same moment, the newer counts."""
    if not len(older) or not len(newer):
        return newer if len(newer) else older
    both = in_line((newer, older))
    order = np.argsort(both.at_ms, kind="stable")
    at_ms = both.at_ms[order]
    order = order[np.concatenate(([True], at_ms[1:] != at_ms[:-1]))]
    return RawSamples(both.at_ms[order], both.value[order], both.grade[order])


def checksum(samples: RawSamples) -> tuple[int, int]:
    """Count, and a sum that does not depend on order, for telling whether two stores have the same samples."""
    value = np.where(np.isnan(samples.value), NOTHING, samples.value + 0.0)
    mixed = _mix(samples.at_ms.view(np.uint64)) ^ _mix(value.view(np.uint64) ^ samples.grade.astype(np.uint64))
    return len(samples), int(np.add.reduce(_mix(mixed), dtype=np.uint64))


def summary_checksum(summaries: Summaries) -> tuple[int, int]:
    """The same for roll-ups; of a mean the seven digits count that the embedded store keeps."""
    at_ms, count, least, mean, greatest, last = summaries.columns
    mixed = _mix(at_ms.view(np.uint64)) ^ _mix(count.astype(np.uint64))
    for place, values in enumerate((least, mean.astype(np.float32).astype(np.float64), greatest, last), start=1):
        mixed = _mix(mixed + np.uint64(place)) ^ _mix((values + 0.0).view(np.uint64))
    return len(summaries), int(np.add.reduce(_mix(mixed), dtype=np.uint64))


def annotation_checksum(annotations: Iterable[Annotation]) -> tuple[int, int]:
    """The same for annotations, by id, time and text."""
    marks = [zlib.crc32(f"{one.id} {one.at_ms} {one.text}".encode()) for one in annotations]
    return len(marks), sum(marks)


def _mix(words: NDArray[np.uint64]) -> NDArray[np.uint64]:
    """Spreads every bit over all (the finaliser of splitmix64, from memory), so that sums of them tell much."""
    words = (words ^ (words >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    words = (words ^ (words >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return words ^ (words >> np.uint64(31))
