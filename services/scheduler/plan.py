"""What is expected of a batch: each step with real times where it has been and expected ones where it has not."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from schemas.batches import BatchPhase, PlannedStep
from schemas.profiles import Step
from services.scheduler.gravity_facts import GravityFacts
from services.scheduler.records import BatchRecord, PastStep, StepRun, target_c
from services.scheduler.triggers import View, due
from services.scheduler.words import says_end_of


def _nowhere(_batch: str, _step: str) -> datetime | None:
    return None


@dataclass(frozen=True, slots=True)
class Outlook:
    """What a plan may reckon with: the site's zone, gravity as measured and as foreseen, other batches."""

    zone: ZoneInfo
    measured: GravityFacts | None = None
    reached: Callable[[str, str], datetime | None] = _nowhere
    awake_since: datetime = datetime.min.replace(tzinfo=UTC)
    """Since when somebody has been there to notice what is due."""

    def view(self, run: StepRun) -> View:
        """The same for one step."""
        return View(run, self.zone, self.measured, self.reached)


@dataclass(frozen=True, slots=True)
class Expected:
    """A step that runs or is to come, with the end that is expected; None where it cannot be said."""

    step: Step
    run: StepRun
    ends: datetime | None


def expect(record: BatchRecord, outlook: Outlook, now: datetime) -> list[Expected]:
    """The running step and those after it, as far as they can be foreseen."""
    run = record.run or _first_run(record, now)
    found: list[Expected] = []
    while run is not None:
        step = record.profile.steps[run.index]
        ends = due(step, outlook.view(run))
        found.append(Expected(step, run, None if ends is None else max(ends, now)))
        run = _next_run(record, found[-1])
    return found


def planned_steps(record: BatchRecord, expected: list[Expected]) -> tuple[PlannedStep, ...]:
    """All steps of the profile, as told to everybody."""
    past = {one.index: one for one in record.past}
    coming = {one.run.index: one for one in expected}
    steps = record.profile.steps
    return tuple(_planned(index, step, past.get(index), coming.get(index)) for index, step in enumerate(steps))


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
