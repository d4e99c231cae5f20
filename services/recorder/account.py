"""The account of one batch: what was planned, what happened, what it cost. Facts only; `report` puts them on a page."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from services.recorder.buckets import Buckets, carried
from services.recorder.rows import Annotation, AnnotationKind, Series, SeriesKind, milliseconds, moment
from services.recorder.store import Match, Source
from services.recorder.stretches import Levels, levels_of
from services.recorder.translation import SETPOINT, TOLERANCE

ALL_TIME = (moment(0), moment(milliseconds(datetime(2200, 1, 1, tzinfo=ZoneInfo("UTC")))))
CURVE_POINTS = 1200
TOLD = frozenset({"note-written", "beer-tasted"})
"""Journal lines that people wrote about the beer itself."""


class NoSuchBatch(LookupError):
    """History has nothing of it; the text names what it has."""


@dataclass(frozen=True, slots=True)
class StepTold:
    """One step: when it was expected to begin and end at first, and when it did. None where it cannot be said."""

    name: str
    planned: tuple[datetime | None, datetime | None]
    real: tuple[datetime | None, datetime | None]
    ends_when: str
    done: bool


@dataclass(frozen=True, slots=True)
class OutputUse:
    """What one output did: hours on, kWh by its rated power, and how often it was started."""

    name: str
    drives: str
    hours: float
    energy_kwh: float
    starts: int


@dataclass(frozen=True, slots=True)
class Foreseen:
    """When the end was expected, as it was thought at a moment."""

    at: datetime
    ends: datetime


@dataclass(frozen=True, slots=True, eq=False)
class Curves:
    """What the chart draws, in buckets of equal length; None where there is no such series."""

    beer: Buckets | None
    air: Buckets | None
    setpoint: Buckets | None
    tolerance: Buckets | None


@dataclass(frozen=True, slots=True, eq=False)
class Account:
    """Everything about one batch. `out_of_band` is None where beer or setpoint were not recorded."""

    batch: str
    title: str
    chamber: str
    profile: str
    phase: str
    origin: str
    zone: ZoneInfo
    start: datetime
    end: datetime
    steps: tuple[StepTold, ...]
    curves: Curves
    gravity: tuple[tuple[datetime, float], ...]
    original_gravity_sg: float | None
    foreseen: tuple[Foreseen, ...]
    out_of_band: timedelta | None
    alarms: tuple[Annotation, ...]
    journal: tuple[Annotation, ...]
    outputs: tuple[OutputUse, ...]

    @property
    def energy_kwh(self) -> float:
        """Of all outputs, by rated power."""
        return sum(one.energy_kwh for one in self.outputs)

    @property
    def compressor_starts(self) -> int:
        """Of all its compressors."""
        return sum(one.starts for one in self.outputs if one.drives == "compressor")

    @property
    def notes(self) -> tuple[Annotation, ...]:
        """What people wrote about the beer."""
        return tuple(one for one in self.journal if one.name in TOLD)

    @property
    def scores(self) -> dict[str, float]:
        """Tasting scores, each the mean of all that were given."""
        given: dict[str, list[float]] = {}
        for one in self.notes:
            for name, value in one.facts.items():
                if isinstance(value, int | float) and not isinstance(value, bool):
                    given.setdefault(name, []).append(float(value))
        return {name: sum(values) / len(values) for name, values in given.items()}


def account_of(source: Source, batch: str, site: str | None = None) -> Account:
    """Gathers it from history. Raises NoSuchBatch."""
    told = source.annotations(*ALL_TIME, Match(site=site, kind=AnnotationKind.BATCH, batch=batch))
    if not told:
        known = ", ".join(batches_in(source, site)) or "none"
        raise NoSuchBatch(f"nothing is recorded of batch {batch!r}; recorded are: {known}")
    first, last = told[0], told[-1]
    start, end = moment(first.at_ms), _end_of(source, told)
    chamber = _Chamber(source, last.site, last.chamber, last.origin, _plant_at(source, last))
    curves = chamber.curves(start, end)
    return Account(
        batch=batch,
        title=last.facts.get("title") or batch,
        chamber=last.chamber,
        profile=last.facts.get("profile", ""),
        phase=last.name,
        origin=last.origin,
        zone=ZoneInfo(chamber.plant.get("timezone", "UTC")),
        start=start,
        end=end,
        steps=tuple(_steps(first, last)),
        curves=curves,
        gravity=tuple(_gravity(told)),
        original_gravity_sg=last.facts.get("original_gravity_sg"),
        foreseen=tuple(_foreseen(told)),
        out_of_band=_out_of_band(curves),
        alarms=tuple(chamber.alarms(start, end)),
        journal=tuple(source.annotations(*ALL_TIME, Match(site=last.site, kind=AnnotationKind.JOURNAL, batch=batch))),
        outputs=tuple(chamber.uses(start, end)),
    )


def batches_in(source: Source, site: str | None = None) -> list[str]:
    """Every batch of which something is recorded, oldest first."""
    told = source.annotations(*ALL_TIME, Match(site=site, kind=AnnotationKind.BATCH))
    return list(dict.fromkeys(one.batch for one in told))


def earlier_than(source: Source, account: Account, most: int) -> list[Account]:
    """Accounts of the batches that began before it, newest first."""
    others = [name for name in batches_in(source) if name != account.batch]
    accounts = [account_of(source, name) for name in others]
    before = [one for one in accounts if one.start < account.start and one.origin == account.origin]
    return sorted(before, key=lambda one: one.start, reverse=True)[:most]


@dataclass(frozen=True, slots=True)
class _Chamber:
    """What history has of one chamber."""

    source: Source
    site: str
    name: str
    origin: str
    plant: dict[str, Any]

    def series(self, kind: SeriesKind, name: str) -> Series | None:
        found = self.source.series(Match(self.site, self.name, kind, name, self.origin))
        return found[0] if found else None

    def curves(self, start: datetime, end: datetime) -> Curves:
        return Curves(
            beer=self._curve(self.series(SeriesKind.READING, self._probe_at("beer")), start, end),
            air=self._curve(self.series(SeriesKind.READING, self._probe_at("air")), start, end),
            setpoint=self._held(SETPOINT, start, end),
            tolerance=self._held(TOLERANCE, start, end),
        )

    def alarms(self, start: datetime, end: datetime) -> list[Annotation]:
        told = self.source.annotations(
            start, end, Match(self.site, self.name, AnnotationKind.ALARM, origin=self.origin)
        )
        return [one for one in told if one.facts.get("phase") == "unacknowledged"]

    def uses(self, start: datetime, end: datetime) -> Iterator[OutputUse]:
        for name, facts in self._described("outputs").items():
            series = self.series(SeriesKind.REPORT, name)
            if series is not None:
                yield _use(levels_of(self.source, series, start, end), name, facts)

    def _described(self, what: str) -> dict[str, Any]:
        described: dict[str, Any] = self.plant.get("chambers", {}).get(self.name, {}).get(what, {})
        return described

    def _probe_at(self, point: str) -> str:
        probes = self._described("probes").items()
        return next((name for name, facts in probes if facts.get("at") == point), point)

    def _curve(self, series: Series | None, start: datetime, end: datetime) -> Buckets | None:
        return None if series is None else self.source.buckets(series, start, end, CURVE_POINTS)

    def _held(self, name: str, start: datetime, end: datetime) -> Buckets | None:
        series = self.series(SeriesKind.SETPOINT, name)
        if series is None:
            return None
        before = self.source.last_before(series, start)
        return carried(self.source.buckets(series, start, end, CURVE_POINTS), before.value if before else None)


def _end_of(source: Source, told: list[Annotation]) -> datetime:
    """When it ended; for one that goes on, the newest that is recorded of its chamber."""
    last = told[-1]
    if last.name not in ("running", "held"):
        return moment(last.at_ms + 1)
    match = Match(last.site, last.chamber, SeriesKind.READING, origin=last.origin)
    newest = [source.last_before(series, ALL_TIME[1]) for series in source.series(match)]
    return moment(max([last.at_ms, *(one.at_ms for one in newest if one is not None)]) + 1)


def _plant_at(source: Source, last: Annotation) -> dict[str, Any]:
    """The plant as it was written down last before the batch's last word, or first after it."""
    told = source.annotations(*ALL_TIME, Match(site=last.site, kind=AnnotationKind.PLANT))
    before = [one for one in told if one.at_ms <= last.at_ms]
    return (before[-1:] or told[:1] or [last])[0].facts


def _steps(first: Annotation, last: Annotation) -> Iterator[StepTold]:
    planned = {step["name"]: step for step in first.facts.get("steps", ())}
    for step in last.facts.get("steps", ()):
        plan = planned.get(step["name"], {})
        reached = step["done"] or step.get("begins") is not None and _time(step["begins"]) <= moment(last.at_ms)  # type: ignore[operator]
        yield StepTold(
            name=step["name"],
            planned=(_time(plan.get("begins")), _time(plan.get("ends"))),
            real=(_time(step["begins"]) if reached else None, _time(step["ends"]) if step["done"] else None),
            ends_when=step.get("ends_when", ""),
            done=step["done"],
        )


def _gravity(told: Iterable[Annotation]) -> Iterator[tuple[datetime, float]]:
    before = None
    for one in told:
        value = one.facts.get("gravity_sg")
        if value is not None and value != before:
            yield moment(one.at_ms), float(value)
            before = value


def _foreseen(told: Iterable[Annotation]) -> Iterator[Foreseen]:
    for one in told:
        ends = [_time(step.get("ends")) for step in one.facts.get("steps", ())]
        known = [end for end in ends if end is not None]
        if known:
            yield Foreseen(moment(one.at_ms), known[-1])


def _out_of_band(curves: Curves) -> timedelta | None:
    if curves.beer is None or curves.setpoint is None:
        return None
    width_s = float(curves.beer.edges_ms[-1] - curves.beer.edges_ms[0]) / len(curves.beer) / 1000
    band = 0.5 if curves.tolerance is None else curves.tolerance.last
    outside = np.abs(curves.beer.mean - curves.setpoint.last) > band
    return timedelta(seconds=round(width_s * int(np.count_nonzero(outside))))


def _use(levels: Levels, name: str, facts: dict[str, Any]) -> OutputUse:
    hours = levels.full_hours()
    return OutputUse(name, facts.get("drives", ""), hours, hours * facts.get("power_w", 0.0) / 1000, levels.starts())


def _time(written: str | None) -> datetime | None:
    return None if written is None else datetime.fromisoformat(written)
