"""What any store of history must do. Every implementation passes one contract suite."""

import zlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from services.recorder.buckets import Buckets, Milliseconds, Values
from services.recorder.rows import Annotation, Sample, Series

NOTHING = np.float64(1e308)
"""Stands for a missing value in a checksum."""


class StoreError(RuntimeError):
    """The store did not take it or cannot tell; nothing was half done. The text says which store and why."""


class StoreUnreachable(StoreError):
    """It does not answer now; the same may work later."""


class DiskFull(StoreError):
    """There is no room left."""


class StoreDamaged(StoreError):
    """What is on disk is no store of ours, or not any more."""


class NewerStore(StoreError):
    """Written by a later version of this program, which must not be undone by this one."""


@dataclass(frozen=True, slots=True, eq=False)
class RawSamples:
    """Columns in order of time; a value is NaN where there was none, `grade` is the quality (0 good, 2 bad)."""

    at_ms: Milliseconds
    value: Values
    grade: NDArray[np.int8]

    def __len__(self) -> int:
        return len(self.at_ms)


@dataclass(frozen=True, slots=True)
class Match:
    """Which series, or annotations; None means any."""

    site: str | None = None
    chamber: str | None = None
    kind: str | None = None
    name: str | None = None
    origin: str | None = None
    batch: str | None = None


ANY = Match()


class Sink(Protocol):
    """Takes history in."""

    def write(self, samples: Sequence[Sample], annotations: Sequence[Annotation] = ()) -> None:
        """All on disk when it returns; the same series and time, or the same id, overwrites. Raises StoreError."""
        ...


class Source(Protocol):
    """Gives history out. Ranges include their start and not their end."""

    def series(self, match: Match = ANY) -> list[Series]:
        """Those that it has something of."""
        ...

    def buckets(self, series: Series, start: datetime, end: datetime, count: int) -> Buckets:
        """Down-sampled to `count` buckets. Bad samples do not count. Long ranges may be answered from roll-ups."""
        ...

    def raw(self, series: Series, start: datetime, end: datetime) -> RawSamples:
        """Every sample that is still kept in full."""
        ...

    def last_before(self, series: Series, moment: datetime) -> Sample | None:
        """The newest sample that is older than a moment."""
        ...

    def annotations(self, start: datetime, end: datetime, match: Match = ANY) -> list[Annotation]:
        """In order of time."""
        ...


class Store(Sink, Source, Protocol):
    """Both."""

    def close(self) -> None:
        """Lets go of files and connections; nothing may be asked of it afterwards."""
        ...


def checksum(samples: RawSamples) -> tuple[int, int]:
    """Count, and a sum that does not depend on order, for telling whether two stores have the same samples."""
    value = np.where(np.isnan(samples.value), NOTHING, samples.value + 0.0)
    mixed = _mix(samples.at_ms.view(np.uint64)) ^ _mix(value.view(np.uint64) ^ samples.grade.astype(np.uint64))
    return len(samples), int(np.add.reduce(_mix(mixed), dtype=np.uint64))


def annotation_checksum(annotations: Iterable[Annotation]) -> tuple[int, int]:
    """The same for annotations, by id and time."""
    marks = [zlib.crc32(f"{one.id} {one.at_ms} {one.text}".encode()) for one in annotations]
    return len(marks), sum(marks)


def _mix(words: NDArray[np.uint64]) -> NDArray[np.uint64]:
    """Spreads every bit over all (the finaliser of splitmix64, from memory), so that sums of them tell much."""
    words = (words ^ (words >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    words = (words ^ (words >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return words ^ (words >> np.uint64(31))
