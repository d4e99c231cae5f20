"""History for other programs: CSV, JSON Lines or Parquet, with units and time zone stated in every row or column."""

import csv
import json
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from importlib import import_module
from pathlib import Path
from typing import Any, TextIO
from zoneinfo import ZoneInfo

from schemas.base import iso
from schemas.telemetry import Quality
from services.recorder.rows import GRADES, Series, moment
from services.recorder.store import ANY, Match, Source

QUALITIES = {grade: quality.value for quality, grade in GRADES.items()}
QUALITIES.setdefault(GRADES[Quality.BAD], Quality.BAD.value)
PARQUET_ROWS = 50_000


@dataclass(frozen=True, slots=True)
class Range:
    """What is to be exported: start included, end not. `zone` is that of the site, for the second time column."""

    start: datetime
    end: datetime
    zone: ZoneInfo
    match: Match = ANY


def columns(zone: ZoneInfo) -> tuple[str, ...]:
    """The columns, in order; both times are ISO 8601, the second in the site's zone with its offset."""
    return ("time_utc", f"time {zone.key}", "site", "chamber", "kind", "name", "value", "unit", "quality", "origin")


def rows(source: Source, wanted: Range) -> Iterator[tuple[Any, ...]]:
    """Every sample in the range, one series after the other, each in order of time."""
    for series in source.series(wanted.match):
        yield from _rows_of(source, series, wanted)


def to_csv(source: Source, wanted: Range, out: TextIO) -> int:
    """With a head line; returns how many samples were written. A missing value is an empty field."""
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns(wanted.zone))
    return _counted(rows(source, wanted), writer.writerow)


def to_json_lines(source: Source, wanted: Range, out: TextIO) -> int:
    """One object a line; a missing value is null."""
    names = columns(wanted.zone)

    def write(row: tuple[Any, ...]) -> None:
        out.write(json.dumps(dict(zip(names, row, strict=True)), ensure_ascii=False) + "\n")

    return _counted(rows(source, wanted), write)


def to_parquet(source: Source, wanted: Range, path: Path) -> int:
    """Times as timestamps in UTC, the site's zone in the file's metadata. Needs the `parquet` extra."""
    pa, pq = import_module("pyarrow"), import_module("pyarrow.parquet")  # an extra, and heavy
    names = [name for name in columns(wanted.zone) if not name.startswith("time ")]
    kinds = {"time_utc": pa.timestamp("ms", tz="UTC"), "value": pa.float64()}
    schema = pa.schema(
        [(name, kinds.get(name, pa.string())) for name in names],
        metadata={"site_time_zone": wanted.zone.key, "units": "the column 'unit' states the unit of 'value'"},
    )
    total = 0
    with pq.ParquetWriter(path, schema) as writer:
        for series in source.series(wanted.match):
            raw = source.raw(series, wanted.start, wanted.end)
            for first in range(0, len(raw), PARQUET_ROWS):
                part = slice(first, first + PARQUET_ROWS)
                at, value, grade = raw.at_ms[part], raw.value[part], raw.grade[part].tolist()
                fixed = {name: [getattr(series, name)] * len(at) for name in names if hasattr(series, name)}
                values = {
                    **fixed,
                    "time_utc": pa.array(at, type=kinds["time_utc"]),
                    "value": pa.array(value, from_pandas=True),
                    "quality": [QUALITIES[one] for one in grade],
                }
                writer.write_table(pa.table({name: values[name] for name in names}, schema=schema))
            total += len(raw)
    return total


def _rows_of(source: Source, series: Series, wanted: Range) -> Iterator[tuple[Any, ...]]:
    raw = source.raw(series, wanted.start, wanted.end)
    for at_ms, value, grade in zip(raw.at_ms.tolist(), raw.value.tolist(), raw.grade.tolist(), strict=True):
        at = moment(at_ms)
        local = at.astimezone(wanted.zone).isoformat(timespec="milliseconds")
        yield (
            iso(at), local, series.site, series.chamber, series.kind, series.name,
            None if value != value else value, series.unit, QUALITIES[grade], series.origin,
        )  # fmt: skip


def _counted(all_rows: Iterable[tuple[Any, ...]], write: Callable[[tuple[Any, ...]], object]) -> int:
    count = 0
    for row in all_rows:
        write(row)
        count += 1
    return count
