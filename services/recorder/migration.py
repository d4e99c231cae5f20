"""Copies one store's content into another, day by day, each checked by count and checksum; takes up where it left off.

Writing is idempotent, so source and target may be in use meanwhile, and a copy over what is there already is harmless.
"""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np

from services.recorder.pages import DAY_MS, LEVELS
from services.recorder.rows import Sample, Series, moment
from services.recorder.samples import RawSamples, annotation_checksum, checksum, summary_checksum
from services.recorder.store import Store, StoreError
from services.recorder.summaries import Summaries
from services.runtime.durable import write_durably

DAYS_AT_ONCE = 7
ANNOTATION_DAYS_AT_ONCE = 90


class NotTheSame(StoreError):
    """The target does not hold what the source does, though it took it without complaint."""


@dataclass(frozen=True, slots=True)
class Step:
    """How far a migration has come."""

    done: int
    total: int
    about: str


@dataclass(frozen=True, slots=True)
class Task:
    """One stretch of one series, or of the annotations."""

    series: Series | None
    start_ms: int
    end_ms: int

    @property
    def mark(self) -> str:
        """Stands for it in the ledger."""
        return "|".join((*(self.series or ("annotations",)), str(self.start_ms), str(self.end_ms)))

    @property
    def about(self) -> str:
        """For people."""
        what = f"{self.series.chamber} {self.series.name}" if self.series else "annotations"
        return f"{what} {moment(self.start_ms):%Y-%m-%d}"


def migrate(source: Store, target: Store, ledger: Path) -> Iterator[Step]:
    """Yields after each stretch. Raises NotTheSame at the first that differs; the ledger knows those that are done."""
    tasks = list(_tasks(source))
    done = _read(ledger)
    for number, task in enumerate(tasks, start=1):
        if task.mark not in done:
            _copy(source, target, task)
            done.append(task.mark)
            write_durably(ledger, json.dumps(done).encode())
        yield Step(number, len(tasks), task.about)


def _tasks(source: Store) -> Iterator[Task]:
    spans = []
    for series in source.series():
        extent = source.extent(series)
        if extent is not None:
            spans.append(extent)
            yield from (Task(series, *stretch) for stretch in _stretches(*extent, DAYS_AT_ONCE))
    now_and_ever = (min((low for low, _ in spans), default=0), max((high for _, high in spans), default=0))
    span = _annotation_extent(source) or now_and_ever
    yield from (Task(None, *stretch) for stretch in _stretches(*span, ANNOTATION_DAYS_AT_ONCE))


def _annotation_extent(source: Store) -> tuple[int, int] | None:
    times = [one.at_ms for one in source.annotations(moment(0), moment(DAY_MS * 365 * 200))]
    return (min(times), max(times) + 1) if times else None


def _stretches(start_ms: int, end_ms: int, days: int) -> Iterator[tuple[int, int]]:
    length = days * DAY_MS
    first, last = start_ms // length, -(-end_ms // length)
    return pairwise(range(first * length, last * length + 1, length))


def _copy(source: Store, target: Store, task: Task) -> None:
    if task.series is None:
        _copy_annotations(source, target, task)
    else:
        _copy_series(source, target, task.series, task.start_ms, task.end_ms)


def _copy_annotations(source: Store, target: Store, task: Task) -> None:
    span = (moment(task.start_ms), moment(task.end_ms))
    wanted = source.annotations(*span)
    target.write((), wanted)
    ids = {one.id for one in wanted}
    _same(
        task,
        annotation_checksum(wanted),
        annotation_checksum(one for one in target.annotations(*span) if one.id in ids),
    )


def _copy_series(source: Store, target: Store, series: Series, start_ms: int, end_ms: int) -> None:
    span, task = (moment(start_ms), moment(end_ms)), Task(series, start_ms, end_ms)
    raw = source.raw(series, *span)
    target.write(_samples(series, raw))
    _same(task, checksum(raw), checksum(_those_of(target.raw(series, *span), raw)))
    known = raw.at_ms // DAY_MS
    for level in LEVELS:
        summed = source.summaries(series, level, start_ms, end_ms)
        days = summed.at_ms // DAY_MS
        _copy_summaries(target, task, level, summed.where(~np.isin(days, known)))
        known = np.union1d(known, days)


def _copy_summaries(target: Store, task: Task, level: int, gone: Summaries) -> None:
    """Roll-ups of days of which nothing finer is left."""
    if len(gone) and task.series is not None:
        target.write_summaries(task.series, level, gone)
        found = target.summaries(task.series, level, task.start_ms, task.end_ms)
        _same(task, summary_checksum(gone), summary_checksum(_at_times_of(found, gone)))


def _samples(series: Series, raw: RawSamples) -> list[Sample]:
    rows = zip(raw.at_ms.tolist(), raw.value.tolist(), raw.grade.tolist(), strict=True)
    return [Sample(series, at, None if value != value else value, grade) for at, value, grade in rows]


def _those_of(found: RawSamples, wanted: RawSamples) -> RawSamples:
    both = np.isin(found.at_ms, wanted.at_ms)
    return RawSamples(found.at_ms[both], found.value[both], found.grade[both])


def _at_times_of(found: Summaries, wanted: Summaries) -> Summaries:
    return found.where(np.isin(found.at_ms, wanted.at_ms))


def _same(task: Task, wanted: tuple[int, int], found: tuple[int, int]) -> None:
    if wanted != found:
        raise NotTheSame(
            f"{task.about}: the target holds {found[0]} of {wanted[0]} (checksum {found[1]}, not {wanted[1]}); "
            "run it again, and if it says the same, look at the target's log"
        )


def _read(ledger: Path) -> list[str]:
    try:
        return list(json.loads(ledger.read_text(encoding="utf-8")))
    except (OSError, ValueError):
        return []
