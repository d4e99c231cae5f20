"""Where a step's setpoint is at a moment, and how it moves."""

from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta

from schemas.control import Waypoint
from schemas.profiles import RampStep, Step
from services.scheduler.records import StepRun, target_c
from services.scheduler.triggers import ramp_begin, ramp_end

STEP_K = 0.02
"""A moving setpoint is told again each time it has moved so far."""
FORESIGHT = timedelta(days=4)
MOST_WAYPOINTS = 12


def setpoint_at(step: Step, run: StepRun, now: datetime) -> float:
    """degC; a held ramp stays where it was when it was held."""
    if not isinstance(step, RampStep):
        return target_c(step)
    moment = now if run.held_since is None else run.held_since
    end = ramp_end(step, run)
    length_s = step.seconds_from(run.from_c)
    if moment >= end or not length_s:
        return float(step.to_c)
    left = min(1.0, (end - moment).total_seconds() / length_s)
    return float(step.to_c + (run.from_c - step.to_c) * left)


def rate_at(step: Step, run: StepRun, now: datetime) -> float:
    """K/h; 0 while it holds, is held, or waits for its time."""
    if not isinstance(step, RampStep) or run.held_since is not None:
        return 0.0
    if not ramp_begin(step, run) <= now < ramp_end(step, run):
        return 0.0
    return float((step.to_c - run.from_c) / step.seconds_from(run.from_c) * 3600)


def next_move(step: Step, run: StepRun, now: datetime) -> datetime | None:
    """When the setpoint will have to be told again, were nothing else to happen; None for one that stays."""
    if not isinstance(step, RampStep) or run.held_since is not None or now >= ramp_end(step, run):
        return None
    begin = ramp_begin(step, run)
    if now < begin:
        return begin
    rate = abs(rate_at(step, run, now))
    stride_s = max(1.0, STEP_K / rate * 3600) if rate else 60.0
    return min(now + timedelta(seconds=stride_s), ramp_end(step, run))


def held_part(step: Step, run: StepRun, now: datetime) -> float:
    """Seconds by which a hold that ends now delays the step: waiting for a ramp's own time is no delay."""
    if run.held_since is None:
        return 0.0
    begin = ramp_begin(step, run) if isinstance(step, RampStep) else run.held_since
    return max(0.0, (now - max(run.held_since, begin)).total_seconds())


def waypoints(steps: Iterable[tuple[Step, StepRun]], now: datetime) -> tuple[Waypoint, ...]:
    """What is known to come, as straight lines between points; a jump is two points at one time."""
    found: list[Waypoint] = []
    for point in _corners(steps):
        if point.at <= now:
            continue
        if point.at > now + FORESIGHT or len(found) == MOST_WAYPOINTS:
            break
        found.append(point)
    return tuple(found)


def _corners(steps: Iterable[tuple[Step, StepRun]]) -> Iterator[Waypoint]:
    """Begin and arrival of every ramp, both sides of every jump."""
    for step, run in steps:
        if isinstance(step, RampStep):
            yield Waypoint(at=ramp_begin(step, run), temperature_c=run.from_c)
            yield Waypoint(at=ramp_end(step, run), temperature_c=step.to_c)
        elif run.from_c != target_c(step):
            yield Waypoint(at=run.began, temperature_c=run.from_c)
            yield Waypoint(at=run.began, temperature_c=target_c(step))
