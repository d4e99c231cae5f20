"""Pages: many samples or summaries of one series packed into one compressed record, column by column.

A page holds whole days. Bytes of equal weight lie together before compression: neighbours differ little.
"""

import zlib
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from services.recorder.samples import RawSamples
from services.recorder.summaries import Summaries

DAY_MS = 86_400_000
MINUTE_MS, QUARTER_MS, HOUR_MS = 60_000, 900_000, 3_600_000
RAW = 0
"""The level of pages that hold samples; the other levels are the length of their stretches."""

SPAN_DAYS = {RAW: 1, MINUTE_MS: 1, QUARTER_MS: 8, HOUR_MS: 16}
LEVELS = (MINUTE_MS, QUARTER_MS, HOUR_MS)
_EFFORT = 6


@dataclass(frozen=True, slots=True)
class PageKey:
    """One page: `slot` counts spans since 1970."""

    series_id: int
    level: int
    slot: int

    @property
    def begins_ms(self) -> int:
        """Where its span begins."""
        return self.slot * SPAN_DAYS[self.level] * DAY_MS


def slot_of(level: int, at_ms: int) -> int:
    """The slot that a moment falls into."""
    return at_ms // (SPAN_DAYS[level] * DAY_MS)


def pack_samples(samples: RawSamples, begins_ms: int) -> bytes:
    """Samples of one page."""
    return _packed(_steps(samples.at_ms, begins_ms), samples.value, samples.grade)


def unpack_samples(body: bytes, rows: int, begins_ms: int) -> RawSamples:
    """The same samples, bit by bit."""
    steps, value, grade = _unpacked(body, rows, np.int32, np.float64, np.int8)
    return RawSamples(_moments(steps, begins_ms), value, grade)


def pack_summaries(summaries: Summaries, begins_ms: int) -> bytes:
    """Summaries of one page; means are kept to seven digits."""
    at_ms, count, least, mean, greatest, last = summaries.columns
    steps = _steps(at_ms, begins_ms)
    return _packed(steps, count.astype(np.int32), least, mean.astype(np.float32), greatest, last)


def unpack_summaries(body: bytes, rows: int, begins_ms: int) -> Summaries:
    """The summaries of a page."""
    kinds = (np.int32, np.int32, np.float64, np.float32, np.float64, np.float64)
    steps, count, least, mean, greatest, last = _unpacked(body, rows, *kinds)
    at_ms = _moments(steps, begins_ms)
    return Summaries(at_ms, count.astype(np.int64), least, mean.astype(np.float64), greatest, last)


def _steps(at_ms: NDArray[np.int64], begins_ms: int) -> NDArray[np.int32]:
    return np.diff(at_ms, prepend=np.int64(begins_ms)).astype(np.int32)


def _moments(steps: NDArray[np.int32], begins_ms: int) -> NDArray[np.int64]:
    return np.cumsum(steps, dtype=np.int64) + begins_ms


def _packed(*columns: NDArray[Any]) -> bytes:
    planes = (column.view(np.uint8).reshape(len(column), column.itemsize).T.tobytes() for column in columns)
    return zlib.compress(b"".join(planes), _EFFORT)


def _unpacked(body: bytes, rows: int, *kinds: type[Any]) -> list[NDArray[Any]]:
    flat = np.frombuffer(zlib.decompress(body), dtype=np.uint8)
    columns, begin = [], 0
    for kind in kinds:
        width = np.dtype(kind).itemsize
        planes = flat[begin : begin + rows * width].reshape(width, rows)
        columns.append(np.ascontiguousarray(planes.T).view(kind).reshape(rows))
        begin += rows * width
    return columns
