"""One series in the embedded store: fresh samples one by one, packed days in pages, roll-ups of them."""

from collections.abc import Iterator, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from functools import reduce
from sqlite3 import Connection
from typing import Any, Protocol

import numpy as np

from services.recorder.buckets import Buckets, into_buckets, on_whole
from services.recorder.pages import (
    DAY_MS,
    LEVELS,
    MINUTE_MS,
    RAW,
    PageKey,
    pack_samples,
    pack_summaries,
    slot_of,
    unpack_samples,
    unpack_summaries,
)
from services.recorder.rows import Sample, Series
from services.recorder.samples import RawSamples, from_rows, in_line, overwritten
from services.recorder.summaries import Milliseconds, Summaries, grouped, of_samples, overlaid

ROLL_UPS_IN_A_BUCKET = 8
"""A roll-up answers when a bucket holds at least so many of it, so that moved edges matter little."""

NO_SUMMARIES = of_samples(np.zeros(0, dtype=np.int64), np.zeros(0))

_FRESH_EXTENT = "SELECT MIN(at), MAX(at) FROM sample WHERE series = ?"
_PAGE_EXTENT = "SELECT level, MIN(slot), MAX(slot) FROM page WHERE series = ? GROUP BY level"


class File(Protocol):
    """What a shelf needs of the store's file."""

    def query(self, text: str, values: Sequence[Any] = ()) -> list[Any]:
        """Every row of an answer."""
        ...

    def transaction(self) -> AbstractContextManager[Connection]:
        """All or nothing."""
        ...


@dataclass(frozen=True, slots=True)
class Shelf:
    """Reads and packs the samples of one series, by its number in the file."""

    file: File
    series_id: int

    def buckets(self, edges_ms: Milliseconds) -> Buckets:
        """From the coarsest level that is still much finer than a bucket."""
        width_ms = int(edges_ms[-1] - edges_ms[0]) / (len(edges_ms) - 1)
        fitting = [level for level in LEVELS if level * ROLL_UPS_IN_A_BUCKET <= width_ms]
        if not fitting:
            return into_buckets(edges_ms, self._finest(int(edges_ms[0]), int(edges_ms[-1])))
        edges_ms = on_whole(edges_ms, fitting[-1])
        return into_buckets(edges_ms, self.summaries(fitting[-1], int(edges_ms[0]), int(edges_ms[-1])))

    def raw(self, start_ms: int, end_ms: int) -> RawSamples:
        """Packed and fresh, the fresh counting where both have a moment."""
        packed = in_line([samples for _, samples in self._sample_pages(start_ms, end_ms)])
        return overwritten(packed, self.fresh(start_ms, end_ms)).within(start_ms, end_ms)

    def fresh(self, start_ms: int, end_ms: int) -> RawSamples:
        """Those that are not packed yet."""
        query = "SELECT at, value, grade FROM sample WHERE series = ? AND at >= ? AND at < ?"
        return from_rows(self.file.query(query, (self.series_id, start_ms, end_ms)))

    def last_before(self, series: Series, at_ms: int) -> Sample | None:
        """The newest of packed and fresh."""
        query = "SELECT at, value, grade FROM sample WHERE series = ? AND at < ? ORDER BY at DESC LIMIT 1"
        found = [Sample(series, *row) for row in self.file.query(query, (self.series_id, at_ms))]
        packed = self._last_packed(at_ms)
        if packed is not None and not (found and found[0].at_ms >= packed[0]):
            value = None if np.isnan(packed[1]) else packed[1]
            return Sample(series, packed[0], value, packed[2])
        return found[0] if found else None

    def summaries(self, level_ms: int, start_ms: int, end_ms: int) -> Summaries:
        """Roll-ups of one level; days with fresh samples are summed up on the spot."""
        stored = self._summary_pages(level_ms, start_ms, end_ms)
        for day in self.fresh_days(start_ms, end_ms):
            today = (stored.at_ms >= day * DAY_MS) & (stored.at_ms < (day + 1) * DAY_MS)
            stored = overlaid(stored.where(~today), grouped(self.minutes_of(day), level_ms))
        first, end = np.searchsorted(stored.at_ms, (start_ms, end_ms))
        return stored.between(int(first), int(end))

    def fresh_days(self, start_ms: int, end_ms: int) -> list[int]:
        """Days since 1970 that have samples not packed yet."""
        query = "SELECT DISTINCT at / ? FROM sample WHERE series = ? AND at >= ? AND at < ? ORDER BY 1"
        begins = start_ms // DAY_MS * DAY_MS
        return [row[0] for row in self.file.query(query, (DAY_MS, self.series_id, begins, end_ms))]

    def minutes_of(self, day: int) -> Summaries:
        """One day in minutes. Where its samples were dropped, fresh ones only fill minutes that have none."""
        start_ms, end_ms = day * DAY_MS, (day + 1) * DAY_MS
        raw = grouped(self.raw(start_ms, end_ms).usable, MINUTE_MS)
        if self._has_page(RAW, day):
            return raw
        return overlaid(raw, self._summary_pages(MINUTE_MS, start_ms, end_ms))

    def pack(self, day: int) -> None:
        """Moves one day's fresh samples into pages, and sums the day up; all of it or nothing."""
        start_ms, end_ms = day * DAY_MS, (day + 1) * DAY_MS
        with self.file.transaction() as connection:
            samples, minutes = self.raw(start_ms, end_ms), self.minutes_of(day)
            if self._has_page(RAW, day) or not self._has_page(MINUTE_MS, day):
                self._put(connection, PageKey(self.series_id, RAW, day), samples)
            self._put_levels(connection, day, minutes)
            clear = "DELETE FROM sample WHERE series = ? AND at >= ? AND at < ?"
            connection.execute(clear, (self.series_id, start_ms, end_ms))

    def take(self, level: int, summaries: Summaries) -> None:
        """Takes in one level of days of which nothing finer is known here; what is known here already stays."""
        start_ms, end_ms = _whole_days(summaries)
        known = np.unique(np.concatenate([one // DAY_MS for one in self._finer(level, start_ms, end_ms)]))
        days = summaries.at_ms // DAY_MS
        for day in np.setdiff1d(days, known).tolist():
            self._take_day(level, day, summaries.where(days == day))

    def extent(self) -> tuple[int, int] | None:
        """From the first to just after the last moment of which there may be anything; None when there is nothing."""
        spans = [(int(low), int(high) + 1) for low, high in self.file.query(_FRESH_EXTENT, (self.series_id,)) if low]
        for level, low, high in self.file.query(_PAGE_EXTENT, (self.series_id,)):
            first, after = PageKey(self.series_id, level, low), PageKey(self.series_id, level, high + 1)
            spans.append((first.begins_ms, after.begins_ms))
        return (min(low for low, _ in spans), max(high for _, high in spans)) if spans else None

    def _finer(self, level: int, start_ms: int, end_ms: int) -> Iterator[Milliseconds]:
        """Moments of samples and of roll-ups below a level."""
        yield np.array(
            [key.begins_ms for key, _, _ in self._pages(RAW, start_ms // DAY_MS, end_ms // DAY_MS)], np.int64
        )
        for one in LEVELS:
            if one < level:
                yield self._summary_pages(one, start_ms, end_ms).at_ms

    def _take_day(self, level: int, day: int, summaries: Summaries) -> None:
        with self.file.transaction() as connection:
            page = self._summary_pages(level, day * DAY_MS, (day + 1) * DAY_MS)
            whole = overlaid(summaries, page.where(page.at_ms // DAY_MS == day))
            self._put_levels(connection, day, whole, level)

    def _put_levels(self, connection: Connection, day: int, summed: Summaries, finest: int = MINUTE_MS) -> None:
        for level in LEVELS:
            if level >= finest:
                key = PageKey(self.series_id, level, slot_of(level, day * DAY_MS))
                self._put(connection, key, self._with_day(key, day, grouped(summed, level)))

    def _finest(self, start_ms: int, end_ms: int) -> Summaries:
        """Samples where there are any, minutes for days whose samples were dropped."""
        samples = self.raw(start_ms, end_ms).usable
        minutes = self._summary_pages(MINUTE_MS, start_ms, end_ms)
        whole = [key.slot for key, _ in self._sample_pages(start_ms, end_ms)]
        dropped = minutes.where(~np.isin(minutes.at_ms // DAY_MS, whole))
        return overlaid(dropped, samples) if len(dropped) else samples

    def _with_day(self, key: PageKey, day: int, summed: Summaries) -> Summaries:
        page = reduce(
            overlaid, (summaries for _, summaries in self._summaries_in(key.level, key.slot, key.slot)), NO_SUMMARIES
        )
        return overlaid(page.where(page.at_ms // DAY_MS != day), summed)

    def _last_packed(self, at_ms: int) -> tuple[int, float, int] | None:
        query = (
            "SELECT level, slot, rows, body FROM page WHERE series = ? AND rows > 0 AND level <= ? AND slot <= ? "
            "ORDER BY slot DESC, level LIMIT 3"
        )
        for level, slot, rows, body in self.file.query(query, (self.series_id, MINUTE_MS, at_ms // DAY_MS)):
            begins_ms = PageKey(self.series_id, level, slot).begins_ms
            unpack = unpack_samples if level == RAW else _lasts
            samples = unpack(body, rows, begins_ms)
            end = int(np.searchsorted(samples.at_ms, at_ms))
            if end:
                return int(samples.at_ms[end - 1]), float(samples.value[end - 1]), int(samples.grade[end - 1])
        return None

    def _sample_pages(self, start_ms: int, end_ms: int) -> Iterator[tuple[PageKey, RawSamples]]:
        for key, rows, body in self._pages(RAW, slot_of(RAW, start_ms), slot_of(RAW, end_ms - 1)):
            yield key, unpack_samples(body, rows, key.begins_ms)

    def _summary_pages(self, level: int, start_ms: int, end_ms: int) -> Summaries:
        pages = [page for _, page in self._summaries_in(level, slot_of(level, start_ms), slot_of(level, end_ms - 1))]
        if not pages:
            return NO_SUMMARIES
        return Summaries(*(np.concatenate(column) for column in zip(*(page.columns for page in pages), strict=True)))

    def _summaries_in(self, level: int, first: int, last: int) -> Iterator[tuple[PageKey, Summaries]]:
        for key, rows, body in self._pages(level, first, last):
            yield key, unpack_summaries(body, rows, key.begins_ms)

    def _pages(self, level: int, first: int, last: int) -> Iterator[tuple[PageKey, int, bytes]]:
        query = (
            "SELECT slot, rows, body FROM page WHERE series = ? AND level = ? AND slot BETWEEN ? AND ? ORDER BY slot"
        )
        for slot, rows, body in self.file.query(query, (self.series_id, level, first, last)):
            yield PageKey(self.series_id, level, slot), rows, body

    def _has_page(self, level: int, day: int) -> bool:
        query = "SELECT 1 FROM page WHERE series = ? AND level = ? AND slot = ?"
        return bool(self.file.query(query, (self.series_id, level, slot_of(level, day * DAY_MS))))

    def _put(self, connection: Connection, key: PageKey, content: RawSamples | Summaries) -> None:
        if isinstance(content, RawSamples):
            body = pack_samples(content, key.begins_ms)
        else:
            body = pack_summaries(content, key.begins_ms)
        row = (key.series_id, key.level, key.slot, len(content), body)
        connection.execute("INSERT OR REPLACE INTO page VALUES (?, ?, ?, ?, ?)", row)


def _lasts(body: bytes, rows: int, begins_ms: int) -> RawSamples:
    summed = unpack_summaries(body, rows, begins_ms)
    return RawSamples(summed.at_ms, summed.last, np.zeros(len(summed), dtype=np.int8))


def _whole_days(summaries: Summaries) -> tuple[int, int]:
    return int(summaries.at_ms[0]) // DAY_MS * DAY_MS, int(summaries.at_ms[-1]) // DAY_MS * DAY_MS + DAY_MS
