"""Old records from elsewhere, as CSV: checked whole before anything is kept, and kept apart from our own."""

import csv
import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TextIO
from zoneinfo import ZoneInfo

from schemas.quantities import QuantityError, magnitude
from services.recorder.rows import Grade, Origin, Sample, Series, SeriesKind, milliseconds
from services.recorder.translation import UNITS

OURS = frozenset(UNITS.values())
CONVERTED = {"degC": "degC", "bar": "bar", "kg": "kilogram", "W": "watt"}
"""Units that others are converted to, ours and as `schemas.quantities` calls them."""


@dataclass(frozen=True, slots=True)
class Layout:
    """Which columns say what. A file of our own export needs nothing but the defaults.

    `chamber`, `name` and `unit` are columns, or, where the file has no such column, the value for all rows.
    `zone` is that of times that carry no offset.
    """

    site: str
    time: str = "time_utc"
    value: str = "value"
    chamber: str = "chamber"
    name: str = "name"
    unit: str = "unit"
    zone: ZoneInfo = ZoneInfo("UTC")


class ImportRefused(ValueError):
    """Nothing was imported; the text names line, column, value and remedy."""


def samples_in(text: TextIO, layout: Layout) -> list[Sample]:
    """Every reading in the file; raises ImportRefused at the first line that cannot be read."""
    reader = csv.DictReader(text)
    missing = {layout.time, layout.value} - set(reader.fieldnames or ())
    if missing:
        have = ", ".join(reader.fieldnames or ()) or "none"
        raise ImportRefused(
            f"line 1: no column {sorted(missing)}; columns are: {have}. Name them with --time and --value"
        )
    return list(_samples(reader, layout))


def _samples(reader: "csv.DictReader[str]", layout: Layout) -> Iterator[Sample]:
    for row in reader:
        if row.get("kind", SeriesKind.READING) != SeriesKind.READING:
            continue
        value, unit = _value(row, layout, reader.line_num)
        series = Series(
            layout.site,
            _said(row, layout.chamber),
            SeriesKind.READING.value,
            _said(row, layout.name),
            unit,
            Origin.IMPORTED.value,
        )
        grade = Grade.GOOD if value is not None else Grade.BAD
        yield Sample(series, milliseconds(_time(row, layout, reader.line_num)), value, grade.value)


def _said(row: dict[str, str], column: str) -> str:
    return row.get(column, column).strip()


def _time(row: dict[str, str], layout: Layout, line: int) -> datetime:
    written = (row[layout.time] or "").strip()
    try:
        at = datetime.fromisoformat(written)
    except ValueError as error:
        raise ImportRefused(
            f"line {line}, column {layout.time!r}: {written!r} is no time; write it like '2026-03-02T18:00:00+01:00'"
        ) from error
    return (at if at.tzinfo else at.replace(tzinfo=layout.zone)).astimezone(UTC)


def _value(row: dict[str, str], layout: Layout, line: int) -> tuple[float | None, str]:
    written, unit = (row[layout.value] or "").strip(), _said(row, layout.unit)
    if not written:
        return None, _unit_of(unit, layout, line)
    try:
        number = float(written)
    except ValueError as error:
        raise ImportRefused(
            f"line {line}, column {layout.value!r}: {written!r} is no number; use a decimal point"
        ) from error
    if not math.isfinite(number):
        raise ImportRefused(f"line {line}, column {layout.value!r}: {written!r} is not finite; leave the field empty")
    ours = _unit_of(unit, layout, line)
    return (number if unit == ours else magnitude(f"{number} {unit}", CONVERTED[ours])), ours


def _unit_of(unit: str, layout: Layout, line: int) -> str:
    """The unit that we keep such values in."""
    if unit in OURS:
        return unit
    for ours, known_as in CONVERTED.items():
        try:
            magnitude(f"1 {unit}", known_as)
        except QuantityError:
            continue
        return ours
    raise ImportRefused(f"line {line}, unit {unit!r}: not one of {', '.join(sorted(OURS))} or convertible; use --unit")
