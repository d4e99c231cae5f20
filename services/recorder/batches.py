"""Rows on their way to a store: what was written together stays together, and old batches can be thinned to minutes."""

import json
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from services.recorder.pages import MINUTE_MS
from services.recorder.rows import Annotation, Sample, Series
from services.recorder.samples import from_rows
from services.recorder.summaries import Summaries, grouped

Rolled = tuple[Series, Summaries]
"""Minutes of one series."""


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
    """JSON; every series is named once."""
    numbers: dict[Series, int] = {}
    samples = [(numbers.setdefault(one[0], len(numbers)), one[1], one[2], one[3]) for one in batch.samples]
    rolled = [
        (numbers.setdefault(series, len(numbers)), [column.tolist() for column in minutes.columns])
        for series, minutes in batch.rolled
    ]
    content = {
        "series": list(numbers),
        "samples": samples,
        "annotations": [asdict(one) for one in batch.annotations],
        "minutes": rolled,
    }
    return json.dumps(content, ensure_ascii=False, separators=(",", ":")).encode()


def from_bytes(body: bytes) -> Batch:
    """Fields that this version does not know are ignored. Raises Unreadable for what no version wrote."""
    try:
        return _batch(json.loads(body))
    except (ValueError, LookupError, TypeError) as error:
        raise Unreadable(f"{len(body)} bytes are no batch: {error!r}") from error


def _batch(content: Any) -> Batch:
    series = [Series(*names[: len(Series._fields)]) for names in content["series"]]
    known = set(Annotation.__slots__)
    return Batch(
        [Sample(series[number], at, value, grade) for number, at, value, grade in content["samples"]],
        [Annotation(**{name: value for name, value in one.items() if name in known}) for one in content["annotations"]],
        [(series[number], _summaries(columns)) for number, columns in content.get("minutes", ())],
    )


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
