"""When a step ends. Each trigger answers with the moment at which it becomes or became true, None while unknown.

So all of several is the latest of their moments, any of several the earliest, and something holds when its moment is
not in the future. Nothing here reads a clock.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Protocol
from zoneinfo import ZoneInfo

from schemas.ends import (
    AtMoment,
    AttenuationAtLeast,
    Elapsed,
    Ends,
    GravityAtMost,
    GravityStable,
    Next,
    NotBefore,
    Reached,
    Trigger,
    WithinTolerance,
    Word,
)
from schemas.profiles import HoldStep, RampStep, Step
from services.scheduler import calendar
from services.scheduler.records import StepRun


class GravityAnswers(Protocol):
    """What is known of a batch's gravity, or foreseen of it."""

    def at_most(self, gravity_sg: float) -> datetime | None:
        """Since when gravity is at this or below."""
        ...

    def attenuated(self, percent: float) -> datetime | None:
        """Since when apparent attenuation is at this or above."""
        ...

    def stable(self, trigger: GravityStable) -> datetime | None:
        """Since when gravity is stable and not stalled."""
        ...


@dataclass(frozen=True, slots=True)
class View:
    """What the triggers of a running, or of an imagined future, step may know."""

    run: StepRun
    zone: ZoneInfo
    gravity: GravityAnswers | None = None
    reached: Callable[[str, str], datetime | None] = lambda _batch, _step: None


def due(step: Step, view: View) -> datetime | None:
    """The moment at which the step ends or ought to have ended; None while it cannot be known, or while it is held."""
    run = view.run
    if run.held_since is not None:
        return None
    moment = _natural_end(step, view)
    if moment is not None and step.earliest_s is not None:
        moment = max(moment, _after(run, step.earliest_s))
    if step.when_late == "go-on":
        moment = _earliest(moment, overdue(step, run))
    return moment if moment is None or run.floor is None else max(moment, run.floor)


def overdue(step: Step, run: StepRun) -> datetime | None:
    """The moment after which the step has lasted too long."""
    return None if step.latest_s is None or run.held_since is not None else _after(run, step.latest_s)


def end_of(ends: Ends, view: View) -> datetime | None:
    """The moment at which all of `all` and any of `any` hold."""
    base = all_but_next(ends, view)
    if base is None:
        return None
    waited_from = view.run.ready or base
    nexts = [_next(one, view, waited_from) for one in ends.all_of if isinstance(one, Next)]
    return max([base, *nexts])


def all_but_next(ends: Ends, view: View) -> datetime | None:
    """The moment at which everything holds but the local times that are waited for after it."""
    moments = [moment_of(one, view) for one in ends.all_of if not isinstance(one, Next)]
    if ends.any_of:
        moments.append(_earliest(*(moment_of(one, view) for one in ends.any_of)))
    known = [moment for moment in moments if moment is not None]
    return None if len(known) < len(moments) else max([view.run.began, *known])


def moment_of(trigger: Trigger, view: View) -> datetime | None:
    """When one trigger becomes or became true; None while unknown."""
    return _MOMENTS[type(trigger)](trigger, view)


def ramp_end(step: RampStep, run: StepRun) -> datetime:
    """When a ramp's setpoint arrives."""
    return ramp_begin(step, run) + timedelta(seconds=run.held_s + step.seconds_from(run.from_c))


def ramp_begin(step: RampStep, run: StepRun) -> datetime:
    """When a ramp's setpoint begins to move, had it never been held."""
    return run.began if step.not_before is None else max(run.began, step.not_before)


def _natural_end(step: Step, view: View) -> datetime | None:
    if isinstance(step, RampStep):
        there = ramp_end(step, view.run)
        if step.ends is None:
            return there
        ended = end_of(step.ends, view)
        return None if ended is None else max(there, ended)
    if isinstance(step, HoldStep):
        if step.for_s is not None:
            return _after(view.run, step.for_s)
        if step.until is not None:
            return step.until
    return None if step.ends is None else end_of(step.ends, view)


def _after(run: StepRun, seconds: float) -> datetime:
    return run.active_from + timedelta(seconds=seconds)


def _earliest(*moments: datetime | None) -> datetime | None:
    return min((moment for moment in moments if moment is not None), default=None)


def _within_tolerance(trigger: WithinTolerance, view: View) -> datetime | None:
    run = view.run
    if run.seen is None or run.in_band_s < trigger.within_tolerance_s:
        return None
    return max(run.began, run.seen - timedelta(seconds=run.in_band_s - trigger.within_tolerance_s))


def _next(trigger: Next, view: View, moment: datetime) -> datetime:
    """A step that began at such a time, as one that follows another of the kind does, waits for the next."""
    find = calendar.at_or_after if moment > view.run.began else calendar.after
    return find(trigger.next, view.zone, moment)


def _by_gravity(ask: Callable[[GravityAnswers, Any], datetime | None]) -> Callable[[Any, View], datetime | None]:
    return lambda trigger, view: None if view.gravity is None else ask(view.gravity, trigger)


_MOMENTS: dict[type, Callable[[Any, View], datetime | None]] = {
    Elapsed: lambda one, view: _after(view.run, one.elapsed_s),
    WithinTolerance: _within_tolerance,
    GravityAtMost: _by_gravity(lambda gravity, one: gravity.at_most(one.gravity_at_most_sg)),
    AttenuationAtLeast: _by_gravity(lambda gravity, one: gravity.attenuated(one.attenuation_at_least_percent)),
    GravityStable: _by_gravity(lambda gravity, one: gravity.stable(one)),
    AtMoment: lambda one, view: calendar.in_zone(one.at, view.zone),
    NotBefore: lambda one, view: calendar.after(one.not_before, view.zone, view.run.began),
    Next: lambda one, view: _next(one, view, view.run.began),
    Word: lambda _one, view: view.run.word,
    Reached: lambda one, view: view.reached(one.reached.batch, one.reached.step),
}
