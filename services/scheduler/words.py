"""Triggers, durations and temperatures in plain words, for plans, journals and refusals."""

from collections.abc import Callable
from typing import Any

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
from schemas.profiles import FreeRiseStep, HoldStep, RampStep, Step

_UNITS = ((86400, "d"), (3600, "h"), (60, "min"), (1, "s"))


def lasting(seconds: float) -> str:
    """`3 d 4 h`, `90 s`: at most two units, the smaller ones rounded away."""
    left = round(seconds)
    parts: list[str] = []
    for size, name in _UNITS:
        count, left = divmod(left, size)
        if count or parts:
            parts.append(f"{count} {name}" if count else "")
        if len(parts) == 2:
            break
    return " ".join(part for part in parts if part) or "0 s"


def degrees(celsius: float) -> str:
    """`18.5 degC`, to a hundredth at the most."""
    return f"{round(celsius, 2):g} degC"


def says(trigger: Trigger) -> str:
    """`3 d have passed`, `gravity is at most 1.012`."""
    return _WORDS[type(trigger)](trigger)


def says_ends(ends: Ends) -> str:
    """All triggers of a step in one phrase."""
    parts = [says(trigger) for trigger in ends.all_of]
    if ends.any_of:
        choice = " or ".join(says(trigger) for trigger in ends.any_of)
        parts.append(f"({choice})" if parts else choice)
    return " and ".join(parts)


def says_end_of(step: Step) -> str:
    """What ends a step, in words."""
    parts = [part for part in (_own_end(step), says_ends(step.ends) if step.ends else "") if part]
    if step.earliest_s:
        parts.append(f"not before {lasting(step.earliest_s)}")
    if step.latest_s:
        parts.append(f"{_LATE[step.when_late]} after {lasting(step.latest_s)}")
    return ", ".join(parts) or "somebody moves it on"


_LATE = {"wait": "overdue", "go-on": "at the latest", "hold-and-call": "held for a person"}


def _own_end(step: Step) -> str:
    if isinstance(step, HoldStep):
        if step.for_s is not None:
            return f"{lasting(step.for_s)} have passed"
        return f"it is {step.until:%d %b %H:%M} UTC" if step.until else ""
    if isinstance(step, FreeRiseStep):
        return ""
    return _ramp_end(step)


def _ramp_end(step: RampStep) -> str:
    return f"it is at {degrees(step.to_c)}"


_WORDS: dict[type, Callable[[Any], str]] = {
    Elapsed: lambda one: f"{lasting(one.elapsed_s)} have passed",
    WithinTolerance: lambda one: f"the beer was within tolerance for {lasting(one.within_tolerance_s)}",
    GravityAtMost: lambda one: f"gravity is at most {one.gravity_at_most_sg:.3f}",
    AttenuationAtLeast: lambda one: f"attenuation is at least {one.attenuation_at_least_percent:g} %",
    GravityStable: lambda one: (
        f"gravity changes less than {one.gravity_stable.within_sg:g} in {lasting(one.gravity_stable.over_s)}"
    ),
    AtMoment: lambda one: f"it is {one.at:%d %b %H:%M}{'' if one.at.tzinfo is None else ' ' + one.at.tzname()}",
    NotBefore: lambda one: f"it has been {one.not_before}",
    Next: lambda one: f"then it is {one.next}",
    Word: lambda one: f"somebody says: {one.word}",
    Reached: lambda one: f"batch {one.reached.batch} reaches '{one.reached.step}'",
}
