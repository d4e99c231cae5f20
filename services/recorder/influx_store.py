"""History in InfluxDB: a measurement for each kind of series, its roll-ups beside it, and one for annotations.

A roll-up's mean is its field `value`, so that one chart can draw either.

A missing value is written as 0 with `grade` raised by 4, because a field once written cannot be unset. An annotation's
time carries a fingerprint of its id below the millisecond, so that two of one moment do not overwrite each other.
"""

import json
import zlib
from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any

import numpy as np

from services.recorder.buckets import Buckets, even_edges, into_buckets, on_whole
from services.recorder.influx_server import InfluxQl, InfluxServer, LineWriter, writer_for
from services.recorder.line_protocol import field, head
from services.recorder.pages import DAY_MS, LEVELS, MINUTE_MS
from services.recorder.rows import Annotation, Sample, Series, SeriesKind, milliseconds
from services.recorder.samples import RawSamples, from_rows
from services.recorder.shelf import NO_SUMMARIES, ROLL_UPS_IN_A_BUCKET
from services.recorder.store import ANY, Match
from services.recorder.summaries import Summaries, grouped, overlaid

ANNOTATION = "annotation"
NO_VALUE = 4
LINES_AT_ONCE = 5000
_COUNTED = {0: "grade", **dict.fromkeys(LEVELS, "count")}
"""A field that every row of a level has, by level; 0 is the samples themselves."""
_TAGS = ("site", "chamber", "name", "unit", "origin")
_ANNOTATION_TAGS = ("site", "chamber", "kind", "batch", "origin")


class InfluxStore:
    """A store behind the same contract as the embedded one. `write` returns when the server has everything."""

    def __init__(self, server: InfluxServer, writer: LineWriter | None = None) -> None:
        self._writer = writer_for(server) if writer is None else writer
        self._ql = InfluxQl(server)
        self._heads = _Heads()

    def write(self, samples: Sequence[Sample], annotations: Sequence[Annotation] = ()) -> None:
        """Samples in one request for every 5,000, annotations in another; a repetition overwrites."""
        heads = self._heads
        self._send(
            [
                f"{heads[series]} value={float(value)!r},grade={grade}i {at_ms}"
                if value is not None
                else f"{heads[series]} value=0.0,grade={grade + NO_VALUE}i {at_ms}"
                for series, at_ms, value, grade in samples
            ],
            "ms",
        )
        self._send(map(annotation_line, annotations), "ns")

    def write_summaries(self, series: Series, level_ms: int, summaries: Summaries) -> None:
        """One level, and the coarser ones, which are made of it."""
        for level in (one for one in LEVELS if one >= level_ms):
            begins = head(rolled(series.kind, level), _tags(series))
            columns = (column.tolist() for column in grouped(summaries, level).columns)
            self._send((_summary_line(begins, *row) for row in zip(*columns, strict=True)), "ms")

    def series(self, match: Match = ANY) -> list[Series]:
        """In order of site, chamber, kind and name."""
        kinds = [match.kind] if match.kind else [kind.value for kind in SeriesKind]
        where = " AND ".join(_tag_is(name, getattr(match, name)) for name in _TAGS if getattr(match, name, None))
        found = set()
        for level, what in _COUNTED.items():
            sources = ", ".join(f'"{rolled(kind, level)}"' for kind in kinds)
            statement = f"SELECT LAST({what}) FROM {sources}{' WHERE ' + where if where else ''} GROUP BY *"
            found |= {_series(one["name"], one["tags"], level) for one in self._ql.ask(statement)}
        return sorted(found, key=lambda one: (one.site, one.chamber, one.kind, one.name))

    def buckets(self, series: Series, start: datetime, end: datetime, count: int) -> Buckets:
        """From roll-ups where a bucket holds many of them, else summed up by the server."""
        edges = even_edges(milliseconds(start), milliseconds(end), count)
        width_ms = int(edges[-1] - edges[0]) / count
        fitting = [level for level in LEVELS if level * ROLL_UPS_IN_A_BUCKET <= width_ms]
        if fitting:
            edges = on_whole(edges, fitting[-1])
            return into_buckets(edges, self.summaries(series, fitting[-1], int(edges[0]), int(edges[-1])))
        return into_buckets(edges, self.raw(series, start, end).usable)

    def raw(self, series: Series, start: datetime, end: datetime) -> RawSamples:
        """As they came."""
        range_ = _range(milliseconds(start), milliseconds(end))
        rows = self._rows(f'SELECT value, grade FROM "{series.kind}" WHERE {_is(series)} AND {range_}')
        return from_rows([(at, *_value(value, grade)) for at, value, grade in rows])

    def last_before(self, series: Series, moment: datetime) -> Sample | None:
        """By the server's index."""
        where = f"{_is(series)} AND time < {milliseconds(moment)}ms"
        rows = self._rows(f'SELECT value, grade FROM "{series.kind}" WHERE {where} ORDER BY time DESC LIMIT 1')
        return Sample(series, rows[0][0], *_value(*rows[0][1:])) if rows else None

    def summaries(self, series: Series, level_ms: int, start_ms: int, end_ms: int) -> Summaries:
        """Roll-ups as far as there are any, and after them what the server sums up on the spot."""
        statement = f'SELECT count, least, value, greatest, last FROM "{rolled(series.kind, level_ms)}"'
        stored = _summaries(self._rows(f"{statement} WHERE {_is(series)} AND {_range(start_ms, end_ms)}"))
        since_ms = int(stored.at_ms[-1]) // DAY_MS * DAY_MS + DAY_MS if len(stored) else start_ms
        return overlaid(stored, self._summed_now(series, level_ms, max(start_ms, since_ms), end_ms))

    def extent(self, series: Series) -> tuple[int, int] | None:
        """In milliseconds, end not included."""
        found = []
        for level, what in _COUNTED.items():
            for order in ("ASC", "DESC"):
                source, where = rolled(series.kind, level), f"{_is(series)} ORDER BY time {order} LIMIT 1"
                found += [row[0] for row in self._rows(f'SELECT {what} FROM "{source}" WHERE {where}')]
        return (min(found), max(found) + 1) if found else None

    def roll_up(self, series: Series, day: int) -> None:
        """Sums one day up at every level; minutes of which only the sum is known stay."""
        start_ms, end_ms = day * DAY_MS, (day + 1) * DAY_MS
        statement = f'SELECT count, least, value, greatest, last FROM "{rolled(series.kind, MINUTE_MS)}"'
        known = _summaries(self._rows(f"{statement} WHERE {_is(series)} AND {_range(start_ms, end_ms)}"))
        minutes = overlaid(known, self._summed_now(series, MINUTE_MS, start_ms, end_ms))
        self.write_summaries(series, MINUTE_MS, minutes)

    def drop_before(self, level_ms: int, moment: datetime) -> None:
        """Deletes what is older, of samples (level 0) or of one level of roll-ups."""
        for kind in SeriesKind:
            self._writer.drop_before(rolled(kind.value, level_ms), moment)

    def annotations(self, start: datetime, end: datetime, match: Match = ANY) -> list[Annotation]:
        """In order of time, then of id."""
        wanted = [
            _tag_is(name, value) for name in _ANNOTATION_TAGS if (value := getattr(match, name, None)) is not None
        ]
        if match.name is not None:
            wanted.append(f"\"name\" = '{_quoted(match.name)}'")
        where = " AND ".join([_range(milliseconds(start), milliseconds(end)), *wanted])
        found: dict[str, Annotation] = {}
        for one in self._ql.ask(f'SELECT * FROM "{ANNOTATION}" WHERE {where}', "ns"):
            for row in one["values"]:
                annotation = _annotation(dict(zip(one["columns"], row, strict=True)))
                found[annotation.id] = annotation
        return sorted(found.values(), key=lambda one: (one.at_ms, one.id))

    def close(self) -> None:
        """Closes connections."""
        self._writer.close()
        self._ql.close()

    def _send(self, lines: Iterable[str], precision: Any) -> None:
        waiting = list(lines)
        for first in range(0, len(waiting), LINES_AT_ONCE):
            self._writer.write("\n".join(waiting[first : first + LINES_AT_ONCE]), precision)

    def _summed_now(self, series: Series, level_ms: int, start_ms: int, end_ms: int) -> Summaries:
        if start_ms >= end_ms:
            return NO_SUMMARIES
        where = f"{_is(series)} AND {_range(start_ms, end_ms)} AND grade < 2"
        what = "COUNT(value), MIN(value), MEAN(value), MAX(value), LAST(value)"
        group = f"GROUP BY time({level_ms}ms) fill(none)"
        return _summaries(self._rows(f'SELECT {what} FROM "{series.kind}" WHERE {where} {group}'))

    def _rows(self, statement: str) -> list[list[Any]]:
        return [row for one in self._ql.ask(statement) for row in one["values"]]


class _Heads(dict[Series, str]):
    """What the lines of each series begin with."""

    def __missing__(self, series: Series) -> str:
        self[series] = begins = head(series.kind, _tags(series))
        return begins


def rolled(kind: str, level_ms: int) -> str:
    """The measurement that holds roll-ups of a kind; level 0 is the samples themselves."""
    return f"{kind}_{level_ms // 1000}s" if level_ms else kind


def _series(measurement: str, tags: dict[str, str], level_ms: int) -> Series:
    return Series(kind=measurement.removesuffix(rolled("", level_ms)), **tags)


def annotation_line(one: Annotation) -> str:
    """One annotation; its text's line breaks are written as `\\n`."""
    tags = {name: getattr(one, name) for name in _ANNOTATION_TAGS}
    facts = json.dumps(one.facts, ensure_ascii=False, separators=(",", ":"))
    fields = {"id": one.id, "name": one.name, "who": one.who, "text": one.text, "facts": facts}
    written = ",".join(f"{name}={field(_folded(value))}" for name, value in fields.items())
    return f"{head(ANNOTATION, tags)} {written} {one.at_ms * 1_000_000 + zlib.crc32(one.id.encode()) % 1_000_000}"


def _annotation(row: dict[str, Any]) -> Annotation:
    texts = {name: _unfolded(row.get(name) or "") for name in ("id", "name", "who", "text", "facts")}
    tags = {name: row.get(name) or "" for name in _ANNOTATION_TAGS}
    facts = json.loads(texts.pop("facts") or "{}")
    return Annotation(at_ms=row["time"] // 1_000_000, facts=facts, **texts, **tags)


def _folded(text: str) -> str:
    return text.replace("\\", "\\\\").replace("\n", "\\n")


def _unfolded(text: str) -> str:
    return "\\".join(part.replace("\\n", "\n") for part in text.split("\\\\"))


def _summary_line(begins: str, at: int, count: int, least: float, mean: float, greatest: float, last: float) -> str:
    return f"{begins} count={count}i,least={least!r},value={mean!r},greatest={greatest!r},last={last!r} {at}"


def _summaries(rows: list[list[Any]]) -> Summaries:
    if not rows:
        return NO_SUMMARIES
    at, count, least, mean, greatest, last = np.array(rows, dtype=np.float64).T.copy()
    return Summaries(at.astype(np.int64), count.astype(np.int64), least, mean, greatest, last)


def _tags(series: Series) -> dict[str, str]:
    return {name: getattr(series, name) for name in _TAGS}


def _is(series: Series) -> str:
    return " AND ".join(_tag_is(name, value) for name, value in _tags(series).items())


def _tag_is(name: str, value: str) -> str:
    return f"\"{name}\" = '{_quoted(value)}'"


def _quoted(text: str) -> str:
    return text.replace("\\", "\\\\").replace("'", "\\'")


def _range(start_ms: int, end_ms: int) -> str:
    return f"time >= {start_ms}ms AND time < {end_ms}ms"


def _value(value: float, grade: int) -> tuple[float | None, int]:
    return (None, int(grade) - NO_VALUE) if grade >= NO_VALUE else (value, int(grade))
