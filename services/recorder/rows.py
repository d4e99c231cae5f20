"""What history is made of: series of samples, and annotations."""

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from enum import IntEnum, StrEnum
from typing import Any, NamedTuple

from schemas.telemetry import Quality

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
MILLISECOND = timedelta(milliseconds=1)


class SeriesKind(StrEnum):
    """What a series tells of."""

    READING = "reading"
    REPORT = "report"
    COMMAND = "command"
    SETPOINT = "setpoint"
    STATUS = "status"
    HEALTH = "health"


HELD = frozenset({SeriesKind.REPORT, SeriesKind.COMMAND, SeriesKind.SETPOINT})
"""Kinds that are told on change: between two samples the earlier one holds."""


class Origin(StrEnum):
    """Whether it happened, was rehearsed, or comes from elsewhere; never mixed in one series."""

    LIFE = "life"
    SIMULATED = "simulated"
    IMPORTED = "imported"


class Series(NamedTuple):
    """One line through time. `name` is the probe, the output, or what the kind tells of."""

    site: str
    chamber: str
    kind: str
    name: str
    unit: str = ""
    origin: str = Origin.LIFE.value


class Grade(IntEnum):
    """Quality as it is kept: the lower the better."""

    GOOD = 0
    UNCERTAIN = 1
    BAD = 2


GRADES = {Quality.GOOD: Grade.GOOD.value, Quality.UNCERTAIN: Grade.UNCERTAIN.value, Quality.BAD: Grade.BAD.value}


class Sample(NamedTuple):
    """One value at one time; None when nothing could be made of what the device sent."""

    series: Series
    at_ms: int
    value: float | None
    grade: int = 0


class AnnotationKind(StrEnum):
    """What an annotation is about."""

    JOURNAL = "journal"
    ALARM = "alarm"
    CONDITION = "condition"
    BATCH = "batch"
    STATUS = "status"
    QUALITY = "quality"
    HEALTH = "health"
    PLANT = "plant"


@dataclass(frozen=True, slots=True)
class Annotation:
    """Something said at one time. The same `id` is the same annotation, however often it comes."""

    id: str
    at_ms: int
    site: str
    kind: str
    name: str
    chamber: str = ""
    batch: str = ""
    who: str = ""
    text: str = ""
    facts: dict[str, Any] = field(default_factory=dict)
    origin: str = Origin.LIFE.value


def milliseconds(moment: datetime) -> int:
    """Milliseconds since 1970 in UTC, rounded down."""
    return (moment - EPOCH) // MILLISECOND


def moment(at_ms: int) -> datetime:
    """The moment, aware and in UTC."""
    return EPOCH + at_ms * MILLISECOND
