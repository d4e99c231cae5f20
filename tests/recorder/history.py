"""Invented history to write, read back and compare."""

import math
from datetime import UTC, datetime, timedelta

from services.recorder.rows import Annotation, AnnotationKind, Sample, Series, SeriesKind, milliseconds

DAY = datetime(2026, 3, 2, tzinfo=UTC)
BEER = Series("shed", "left", SeriesKind.READING.value, "beer", "degC")
COOL = Series("shed", "left", SeriesKind.REPORT.value, "cool", "level")
FOR_EVER = (datetime(2000, 1, 1, tzinfo=UTC), datetime(2100, 1, 1, tzinfo=UTC))


def after(**span: float) -> datetime:
    return DAY + timedelta(**span)


def sample(minute: float, value: float | None = 18.0, grade: int = 0, series: Series = BEER) -> Sample:
    return Sample(series, milliseconds(after(minutes=minute)), value, grade)


def a_day_of(series: Series = BEER, *, begins: datetime = DAY, hours: float = 24, every_s: int = 10) -> list[Sample]:
    """A smooth wave on a sensor's steps of 1/16 K."""
    count = int(hours * 3600 / every_s)
    start = milliseconds(begins)
    return [
        Sample(series, start + 1000 * every_s * n, round(16 * (18 + 2 * math.sin(n / 700))) / 16, 0)
        for n in range(count)
    ]


def note(minute: float, id_: str = "", kind: AnnotationKind = AnnotationKind.JOURNAL, **said: object) -> Annotation:
    fields = {"site": "shed", "name": "step-began", "chamber": "left", "text": "It was time.", **said}
    at_ms = milliseconds(after(minutes=minute))
    return Annotation(id=id_ or f"note-{minute}", at_ms=at_ms, kind=kind.value, **fields)  # type: ignore[arg-type]
