"""What is expected of a batch: each step with real times where it has been and expected ones where it has not."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Protocol
from zoneinfo import ZoneInfo

from schemas.batches import BatchPhase, PlannedStep
from schemas.ends import GravityStable
from schemas.profiles import Step
from services.scheduler.gravity_facts import GravityFacts
from services.scheduler.records import BatchRecord, PastStep, StepRun, target_c
from services.scheduler.triggers import GravityAnswers, View, due
from services.scheduler.words import says_end_of


class Foreseen(GravityAnswers, Protocol):
    """What is foreseen of gravity, at one quantile."""

    def at(self, quantile: float) -> GravityAnswers:
        """At another."""
        ...


def _nowhere(_batch: str, _step: str) -> datetime | None:
    return None


@dataclass(frozen=True, slots=True)
class KnownOrForeseen:
    """Gravity as measured where that is enough, else as foreseen."""

    measured: GravityFacts | None
    foreseen: GravityAnswers

    def at_most(self, gravity_sg: float) -> datetime | None:
        """Since when, or when."""
        known = self.measured.at_most(gravity_sg) if self.measured else None
        return known or self.foreseen.at_most(gravity_sg)

    def attenuated(self, percent: float) -> datetime | None:
        """Since when, or when."""
        known = self.measured.attenuated(percent) if self.measured else None
        return known or self.foreseen.attenuated(percent)

    def stable(self, trigger: GravityStable) -> datetime | None:
        """Since when, or when."""
        known = self.measured.stable(trigger) if self.measured else None
        return known or self.foreseen.stable(trigger)


@dataclass(frozen=True, slots=True)
class Outlook:
    """What a plan may reckon with: the site's zone, gravity as measured and as foreseen, other batches."""

    zone: ZoneInfo
    measured: GravityFacts | None = None
    foreseen: Foreseen | None = None
    reached: Callable[[str, str], datetime | None] = _nowhere
    awake_since: datetime = datetime.min.replace(tzinfo=UTC)
    """Since when somebody has been there to notice what is due."""

    def view(self, run: StepRun) -> View:
        """What is known, for one step."""
        return View(run, self.zone, self.measured, self.reached)

    def outlook_on(self, run: StepRun, quantile: float) -> View:
        """What is known, and what is foreseen where nothing is."""
        if self.foreseen is None:
            return self.view(run)
        return View(run, self.zone, KnownOrForeseen(self.measured, self.foreseen.at(quantile)), self.reached)


@dataclass(frozen=True, slots=True)
class Expected:
    """A step that runs or is to come, with the end that is expected; None where it cannot be said."""

    step: Step
    run: StepRun
    ends: datetime | None


@dataclass(frozen=True, slots=True)
class Plan:
    """What is likely, and the ends of the 80 % intervals around it; all the same where nothing is uncertain."""

    likely: list[Expected]
    early: list[Expected]
    late: list[Expected]


def plan(record: BatchRecord, outlook: Outlook, now: datetime) -> Plan:
    """The whole of it."""
    likely = expect(record, outlook, now)
    if outlook.foreseen is None:
        return Plan(likely, likely, likely)
    return Plan(likely, expect(record, outlook, now, 0.1), expect(record, outlook, now, 0.9))


def expect(record: BatchRecord, outlook: Outlook, now: datetime, quantile: float = 0.5) -> list[Expected]:
    """The running step and those after it, as far as they can be foreseen.

    0.5 gives the likely times; 0.1 and 0.9 give the ends of their 80 % intervals.
    """
    run = record.run or _first_run(record, now)
    found: list[Expected] = []
    while run is not None:
        step = record.profile.steps[run.index]
        ends = due(step, outlook.outlook_on(run, quantile))
        found.append(Expected(step, run, None if ends is None else max(ends, now)))
        run = _next_run(record, found[-1])
    return found


def planned_steps(record: BatchRecord, plan: Plan) -> tuple[PlannedStep, ...]:
    """All steps of the profile, as told to everybody."""
    past = {one.index: one for one in record.past}
    coming = {one.run.index: one for one in plan.likely}
    early = {one.run.index: one.ends for one in plan.early}
    late = {one.run.index: one.ends for one in plan.late}
    steps = record.profile.steps
    told = (_planned(index, step, past.get(index), coming.get(index)) for index, step in enumerate(steps))
    return tuple(_with_interval(one, early.get(index), late.get(index)) for index, one in enumerate(told))


def _with_interval(step: PlannedStep, earliest: datetime | None, latest: datetime | None) -> PlannedStep:
    if step.done or step.ends is None or earliest is None or earliest == latest:
        return step
    return step.model_copy(update={"ends_earliest": earliest, "ends_latest": latest})


def _planned(index: int, step: Step, past: PastStep | None, coming: Expected | None) -> PlannedStep:
    if coming is not None:
        return _told(step, coming.run.from_c, coming.run.began, coming.ends, late=coming.run.late)
    if past is not None:
        return _told(step, past.from_c, past.began, past.ended, done=True, late=past.late)
    return _told(step, target_c(step), None, None)


def _told(
    step: Step, from_c: float, begins: datetime | None, ends: datetime | None, *, done: bool = False, late: bool = False
) -> PlannedStep:
    return PlannedStep(
        name=step.name,
        does=step.does,
        from_c=from_c,
        to_c=target_c(step),
        begins=begins,
        ends=ends,
        ends_when=says_end_of(step),
        done=done,
        late=late,
        instruction=step.instruction,
        pressure_bar=step.pressure_bar,
    )


def _first_run(record: BatchRecord, now: datetime) -> StepRun | None:
    if record.phase is not BatchPhase.IDLE:
        return None
    return StepRun(index=0, began=max(record.begins, now), from_c=target_c(record.profile.steps[0]))


def _next_run(record: BatchRecord, done: Expected) -> StepRun | None:
    index = done.run.index + 1
    if done.ends is None or index >= len(record.profile.steps):
        return None
    return StepRun(index=index, began=done.ends, from_c=target_c(done.step))
