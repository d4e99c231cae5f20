"""The recorded past as the console asks for it: read in a thread, from whichever store the plant file names."""

import asyncio
from collections.abc import Callable, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import TypeVar

import numpy as np

from schemas.plant import Plant
from services.console import sources
from services.recorder.__main__ import reading_store
from services.recorder.account import ALL_TIME
from services.recorder.buckets import Buckets, carried, empty, even_edges
from services.recorder.rows import HELD, Annotation, AnnotationKind, Origin, Series, SeriesKind, milliseconds
from services.recorder.store import Match, Store, StoreError
from services.recorder.stretches import Levels, levels_of
from services.runtime.clock import Clock

T = TypeVar("T")
AWAY = "What was recorded cannot be read now ({}). What is live goes on."
ORIGINS = tuple(Origin)
"""The earlier wins where several have something: what happened before what was rehearsed or came from elsewhere."""
KINDS = tuple(kind for kind in SeriesKind if kind is not SeriesKind.COMMAND)
"""Of two series with one name the earlier kind is meant; what an output was asked is not what it did."""


@dataclass(slots=True)
class Recorded:
    """`plant` answers with the plant as it is now. The store is opened for each question, so that one that was away,
    or was begun anew, is found again."""

    plant: Callable[[], Plant]
    state_folder: Path
    clock: Clock
    _reading: asyncio.Semaphore = field(default_factory=lambda: asyncio.Semaphore(2))

    async def names(self) -> Sequence[sources.SeriesName]:
        """Every series of this site, whatever its origin."""
        return await self._ask(
            lambda store, site: sorted(
                {sources.SeriesName(one.chamber, one.kind, one.name, one.unit) for one in store.series(Match(site))}
            )
        )

    async def series(self, chamber: str, item: str, start: datetime, end: datetime, count: int) -> sources.Series:
        """One item's buckets, of all origins together; nothing is held on into the future."""
        now_ms = milliseconds(self.clock.now())

        def read(store: Store, site: str) -> sources.Series:
            found = _meant(store.series(Match(site, chamber, name=item)))
            if not found:
                edges = even_edges(milliseconds(start), milliseconds(end), count)
                return _shown(empty(edges), "", now_ms)
            parts = [_buckets(store, one, start, end, count) for one in found]
            return _shown(_over(parts), found[0].unit, now_ms)

        return await self._ask(read)

    async def annotations(
        self, start: datetime, end: datetime, chamber: str | None = None, kind: str | None = None
    ) -> list[sources.Annotation]:
        """In order of time."""
        return await self._ask(
            lambda store, site: list(map(_told, store.annotations(start, end, Match(site, chamber, kind))))
        )

    async def runs(self, chamber: str, output: str, start: datetime, end: datetime) -> list[tuple[int, int]]:
        """From the output's own reports; the last goes on to now at the latest."""
        until = min(end, self.clock.now())

        def read(store: Store, site: str) -> list[tuple[int, int]]:
            if until <= start:
                return []
            found = store.series(Match(site, chamber, SeriesKind.REPORT, output))
            runs = [run for one in found for run in _stretches(levels_of(store, one, start, until))]
            return sorted(runs)

        return await self._ask(read)

    async def earlier_batches(self) -> Sequence[sources.Annotation]:
        """The last word on each, the newest first."""

        def read(store: Store, site: str) -> list[sources.Annotation]:
            said = store.annotations(*ALL_TIME, Match(site, kind=AnnotationKind.BATCH))
            last = {one.batch: one for one in said}
            return [_told(one) for one in sorted(last.values(), key=lambda one: -one.at_ms)]

        return await self._ask(read)

    async def knows_batch(self, batch: str) -> bool:
        """Whether history has anything of a batch."""
        return await self._ask(
            lambda store, site: bool(store.annotations(*ALL_TIME, Match(site, kind=AnnotationKind.BATCH, batch=batch)))
        )

    async def _ask(self, question: Callable[[Store, str], T]) -> T:
        plant = self.plant()

        def answer() -> T:
            with closing(reading_store(plant, self.state_folder)) as store:
                return question(store, plant.site.name)

        async with self._reading:
            try:
                return await asyncio.to_thread(answer)
            except (StoreError, OSError) as error:
                raise sources.Unavailable(AWAY.format(error)) from error


def _meant(found: Sequence[Series]) -> list[Series]:
    ranked = [one for one in found if one.kind in KINDS]
    if not ranked:
        return []
    kind = min((SeriesKind(one.kind) for one in ranked), key=KINDS.index)
    return sorted((one for one in ranked if one.kind == kind), key=lambda one: ORIGINS.index(Origin(one.origin)))


def _buckets(store: Store, series: Series, start: datetime, end: datetime, count: int) -> Buckets:
    buckets = store.buckets(series, start, end, count)
    if series.kind not in HELD:
        return buckets
    before = store.last_before(series, start)
    return carried(buckets, None if before is None else before.value)


def _over(parts: Sequence[Buckets]) -> Buckets:
    """What the first lacks is taken from the next."""
    whole = parts[0]
    for part in parts[1:]:
        if len(part) != len(whole):
            continue
        gap = np.isnan(whole.last)
        columns = (np.where(gap, getattr(part, name), getattr(whole, name)) for name in _COLUMNS)
        whole = Buckets(whole.edges_ms, *columns)
    return whole


_COLUMNS = ("count", "least", "mean", "greatest", "last")


def _shown(buckets: Buckets, unit: str, now_ms: int) -> sources.Series:
    yet_to_come = buckets.edges_ms[:-1] > now_ms
    least, mean, greatest, last = (np.where(yet_to_come, np.nan, getattr(buckets, name)) for name in _COLUMNS[1:])
    return sources.Series(buckets.edges_ms, least, mean, greatest, last, unit)


def _told(one: Annotation) -> sources.Annotation:
    return sources.Annotation(
        one.id, one.at_ms, one.kind, one.name, one.chamber, one.batch, one.who, one.text, one.facts
    )


def _stretches(levels: Levels) -> list[tuple[int, int]]:
    on = np.concatenate(([False], levels.level > 0, [False])).astype(np.int8)
    changes = np.flatnonzero(np.diff(on))
    edges = np.append(levels.begins_ms, np.int64(levels.end_ms))[changes]
    return [(int(begins), int(ends)) for begins, ends in edges.reshape(-1, 2) if ends > begins]
