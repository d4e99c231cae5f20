"""What any store of history must do. Every implementation passes one contract suite."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol, runtime_checkable

from services.recorder.buckets import Buckets
from services.recorder.rows import Annotation, Sample, Series
from services.recorder.samples import RawSamples
from services.recorder.summaries import Summaries


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


@runtime_checkable
class Summed(Protocol):
    """Has roll-ups, which outlive the samples that they are made of."""

    def summaries(self, series: Series, level_ms: int, start_ms: int, end_ms: int) -> Summaries:
        """Roll-ups of one level."""
        ...


class Store(Sink, Source, Summed, Protocol):
    """Both, and what is needed to move a store's whole content into another."""

    def write_summaries(self, series: Series, level_ms: int, summaries: Summaries) -> None:
        """Takes in roll-ups of days whose samples are gone."""
        ...

    def extent(self, series: Series) -> tuple[int, int] | None:
        """The stretch, in milliseconds, end not included, outside which there is nothing; None for nothing at all."""
        ...

    def close(self) -> None:
        """Lets go of files and connections; nothing may be asked of it afterwards."""
        ...
