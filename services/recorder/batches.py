"""Rows on their way to a store: what was written together stays together, and old batches can be thinned to minutes."""

import json
from base64 import b64decode, b64encode
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from services.recorder.pages import MINUTE_MS
from services.recorder.rows import Annotation, Sample, Series
from services.recorder.samples import from_rows
from services.recorder.summaries import Summaries, grouped

Rolled = tuple[Series, Summaries]
"""Minutes of one series."""

COLUMNS = ("<u4", "<i8", "<f8", "<i1")
"""How a sample's series (its number in the batch), time, value and grade are written."""


class Unreadable(ValueError):
    """Bytes that are whole but no batch."""


@dataclass(frozen=True, slots=True, eq=False)
class Batch:
    """Samples, annotations, and minutes of samples that were given up for room."""

    samples: Sequence[Sample] = ()
    annotations: Sequence[Annotation] = ()
    rolled: Sequence[Rolled] = ()

    @property
    def rows(self) -> int:
        """How much there is of everything."""
        return len(self.samples) + len(self.annotations) + sum(len(minutes) for _, minutes in self.rolled)


def together(batches: Sequence[Batch]) -> Batch:
    """One of several, in their order."""
    return Batch(
        [one for batch in batches for one in batch.samples],
        [one for batch in batches for one in batch.annotations],
        [one for batch in batches for one in batch.rolled],
    )


def to_bytes(batch: Batch) -> bytes:
    """JSON in which every series is named once, and the columns of samples are little-endian numbers in base64."""
    numbers: dict[Series, int] = {}
    rolled = [
        (numbers.setdefault(series, len(numbers)), [column.tolist() for column in minutes.columns])
        for series, minutes in batch.rolled
    ]
    content = {
        "columns": _columns(batch.samples, numbers),
        "series": list(numbers),
        "annotations": [asdict(one) for one in batch.annotations],
        "minutes": rolled,
    }
    return json.dumps(content, ensure_ascii=False, separators=(",", ":")).encode()


def from_bytes(body: bytes) -> Batch:
    """Fields that this version does not know are ignored. Raises Unreadable for what no version wrote."""
    try:
        return _batch(json.loads(body))
    except (ValueError, LookupError, TypeError, AttributeError) as error:
        raise Unreadable(f"{len(body)} bytes are no batch: {error!r}") from error


def _batch(content: Any) -> Batch:
    series = [Series(*names[: len(Series._fields)]) for names in content["series"]]
    known = set(Annotation.__slots__)
    rows = _rows(content["columns"]) if "columns" in content else content["samples"]
    return Batch(
        [Sample(series[number], at, value, grade) for number, at, value, grade in rows],
        [Annotation(**{name: value for name, value in one.items() if name in known}) for one in content["annotations"]],
        [(series[number], _summaries(columns)) for number, columns in content.get("minutes", ())],
    )


def _columns(samples: Sequence[Sample], numbers: dict[Series, int]) -> list[str]:
    """One for each of COLUMNS; a value that is missing becomes NaN."""
    series, *rest = zip(*samples, strict=True) if samples else ((), (), (), ())
    columns = ([numbers.setdefault(one, len(numbers)) for one in series], *rest)
    packed = (np.array(column, dtype=kind).tobytes() for column, kind in zip(columns, COLUMNS, strict=True))
    return [b64encode(one).decode() for one in packed]


def _rows(columns: list[str]) -> Iterator[tuple[int, int, float | None, int]]:
    numbers, at_ms, values, grades = (
        np.frombuffer(b64decode(column), dtype=kind).tolist() for column, kind in zip(columns, COLUMNS, strict=True)
    )
    return zip(numbers, at_ms, [None if one != one else one for one in values], grades, strict=True)


def thinned(batches: Sequence[Batch]) -> Batch:
    """The same with samples summed up to minutes: far smaller, and nothing said in words is lost."""
    by_series: dict[Series, dict[int, Sample]] = defaultdict(dict)
    for batch in batches:
        for one in batch.samples:
            by_series[one.series][one.at_ms] = one
    rolled = [(series, _minutes(list(samples.values()))) for series, samples in by_series.items()]
    earlier = [pair for batch in batches for pair in batch.rolled]
    return Batch((), [one for batch in batches for one in batch.annotations], [*earlier, *rolled])


def _minutes(samples: list[Sample]) -> Summaries:
    rows = sorted((one.at_ms, one.value, one.grade) for one in samples)
    return grouped(from_rows(rows).usable, MINUTE_MS)


def _summaries(columns: list[list[Any]]) -> Summaries:
    at_ms, count, least, mean, greatest, last = columns
    values = [np.array(column, dtype=np.float64) for column in (least, mean, greatest, last)]
    return Summaries(np.array(at_ms, dtype=np.int64), np.array(count, dtype=np.int64), *values)
