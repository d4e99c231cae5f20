"""Keeps each batch's forecast, makes it anew when enough has been measured, and scores it against what happened."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from brewing.kinetics import Programme
from schemas.base import Model
from schemas.ends import AttenuationAtLeast, GravityAtMost, GravityStable
from schemas.profiles import Step
from services.scheduler.forecast import Foreseen, foresee
from services.scheduler.gravity_facts import GravityFacts
from services.scheduler.plan import Plan
from services.scheduler.records import Arrival, BatchRecord, Foretold, PastStep, target_c

ANEW_AFTER = timedelta(hours=6)
KEEP_EACH = timedelta(hours=12)
KEPT = 60
_OF_GRAVITY = (AttenuationAtLeast, GravityAtMost, GravityStable)


class Scores(Model):
    """How forecasts of step ends have turned out: how many, how many held the truth, and how wide all were together."""

    made: int = 0
    held: int = 0
    width_h: float = 0.0

    @property
    def coverage(self) -> float | None:
        """The share that held the truth; 0.8 is what is promised."""
        return self.held / self.made if self.made else None

    @property
    def mean_width_h(self) -> float | None:
        """How wide they were, hours."""
        return self.width_h / self.made if self.made else None


@dataclass(frozen=True, slots=True)
class _Kept:
    at: datetime
    by_hand: int
    profile: object
    foreseen: Foreseen | None

    def holds_for(self, record: BatchRecord, by_hand: int, now: datetime) -> bool:
        """Whether nothing has come that is worth another fit."""
        return self.profile is record.profile and self.by_hand == by_hand and now < self.at + ANEW_AFTER


class Foresight:
    """Forecasts by batch; worked out again after any restart, so nothing of them needs to survive one."""

    def __init__(self) -> None:
        self._kept: dict[str, _Kept] = {}

    def of(self, record: BatchRecord, facts: GravityFacts, now: datetime) -> Foreseen | None:
        """The forecast of a batch that still waits for its gravity; None for others, or when too little is known."""
        if record.started is None or not facts.points or not any(map(waits_for_gravity, coming(record))):
            return None
        kept, by_hand = self._kept.get(record.batch), sum(one.hand for one in facts.points)
        if (
            kept is not None
            and kept.profile is record.profile
            and kept.by_hand == by_hand
            and now < kept.at + ANEW_AFTER
        ):
            return kept.foreseen
        foreseen = foresee(facts, record.started, programme_of(record), record.profile.yeast_attenuation_percent)
        self._kept[record.batch] = _Kept(now, by_hand, record.profile, foreseen)
        return foreseen


def coming(record: BatchRecord) -> tuple[Step, ...]:
    """The running step and those after it."""
    return () if record.run is None else record.profile.steps[record.run.index :]


def waits_for_gravity(step: Step) -> bool:
    """Whether what is foreseen of gravity says anything about its end."""
    return step.ends is not None and any(isinstance(one, _OF_GRAVITY) for one in step.ends.triggers)


def programme_of(record: BatchRecord) -> Programme:
    """The beer's temperatures by day after pitching: as they were asked for, and the running step's from now on."""
    started = record.started or record.begins
    points = [(_days(started, at), celsius) for at, celsius in _corners(record)]
    return Programme(tuple(points)) if points else Programme.steady(target_c(record.profile.steps[0]))


def with_foretold(record: BatchRecord, found: Plan, now: datetime) -> BatchRecord:
    """Keeps what is foretold of uncertain ends, twice a day at the most, to be scored when they have come."""
    if record.foretold and now < record.foretold[-1].made + KEEP_EACH:
        return record
    fresh = [
        Foretold(made=now, index=likely.run.index, earliest=early.ends, likely=likely.ends, latest=late.ends)
        for early, likely, late in zip(found.early, found.likely, found.late, strict=False)
        if early.ends is not None and likely.ends is not None and late.ends is not None and early.ends < late.ends
    ]
    return record.but(foretold=(*record.foretold, *fresh)[-KEPT:]) if fresh else record


def score(foretold: Iterable[Foretold], past: PastStep) -> Scores:
    """How the forecasts of a step's end look now that it has ended."""
    spans = [one for one in foretold if one.index == past.index and one.made > past.began]
    held = [one for one in spans if one.earliest <= past.ended <= one.latest]
    width = sum(((one.latest - one.earliest) for one in spans), timedelta())
    return Scores(made=len(spans), held=len(held), width_h=width.total_seconds() / 3600)


def score_arrivals(foretold: Iterable[Arrival], arrived: datetime) -> Scores:
    """How the forecasts of a beer's arrival look now that it is there."""
    spans = [one for one in foretold if one.made < arrived]
    held = [one for one in spans if one.earliest <= arrived <= one.latest]
    width = sum(((one.latest - one.earliest) for one in spans), timedelta())
    return Scores(made=len(spans), held=len(held), width_h=width.total_seconds() / 3600)


def together(one: Scores, other: Scores) -> Scores:
    """Both."""
    return Scores(made=one.made + other.made, held=one.held + other.held, width_h=one.width_h + other.width_h)


def _corners(record: BatchRecord) -> Iterator[tuple[datetime, float]]:
    for past in record.past:
        yield past.began, past.from_c if past.does == "ramp" else past.to_c
        yield past.ended, past.to_c
    if record.run is not None and record.step is not None:
        yield record.run.began, target_c(record.step)


def _days(started: datetime, at: datetime) -> float:
    return max(0.0, (at - started).total_seconds() / 86400.0)
