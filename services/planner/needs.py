"""What a programme asks of a chamber: how long, how cold, and on which of its days it chills.

Steps that end by gravity are reckoned with what is usual, within the step's own `earliest` and `latest`.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import ceil
from typing import Any

from brewing.thermal import Mass, cooling_load
from schemas.ends import (
    AttenuationAtLeast,
    Elapsed,
    Ends,
    GravityAtMost,
    GravityStable,
    Next,
    NotBefore,
    Trigger,
    WithinTolerance,
    Word,
)
from schemas.profiles import FreeRiseStep, HoldStep, Profile, RampStep, Step, never_ends

DAY_S = 86400.0
LEAST_FALL_K = 5.0
BEER_KG_L = 1.045
USUAL_S: dict[type, Callable[[Any], float]] = {
    Elapsed: lambda one: one.elapsed_s,
    WithinTolerance: lambda one: one.within_tolerance_s,
    GravityAtMost: lambda one: 6 * DAY_S,
    AttenuationAtLeast: lambda one: 6 * DAY_S,
    GravityStable: lambda one: 3 * DAY_S + one.gravity_stable.over_s,
    Word: lambda one: DAY_S,
    NotBefore: lambda one: 7 * DAY_S,
    Next: lambda one: 7 * DAY_S,
}
"""Seconds until such a trigger holds; for gravity common practice, no source; a local time comes once a week."""
OTHERWISE_S = 3 * DAY_S
"""For dates and other batches, which the plan cannot know."""


@dataclass(frozen=True, slots=True)
class Crash:
    """Days after the begin on which it chills, and the mean W of heat that it takes out of the beer."""

    days: range
    load_w: float


@dataclass(frozen=True, slots=True)
class Need:
    """Whole days that a chamber is taken, the temperatures asked for, and when it chills."""

    days: int
    lowest_c: float
    highest_c: float
    crashes: tuple[Crash, ...] = ()


def need_of(profile: Profile, volume_l: float, takes_s: float | None = None) -> Need:
    """Of one programme; `takes_s` is what somebody knows better. A last step without an end (serving) is left out."""
    stretches = list(_stretches(profile))
    whole_s = stretches[-1][1] + stretches[-1][2] if stretches else DAY_S
    stretch = 1.0 if takes_s is None else takes_s / whole_s
    targets = [target_of(step) for step in profile.steps]
    return Need(
        days=max(1, ceil(whole_s * stretch / DAY_S - 1e-9)),
        lowest_c=min(targets),
        highest_c=max(targets),
        crashes=tuple(_crashes(stretches, volume_l, stretch)),
    )


def target_of(step: Step) -> float:
    """Where its setpoint ends up, degC."""
    if isinstance(step, HoldStep):
        return float(step.hold_c)
    return float(step.free_rise_c if isinstance(step, FreeRiseStep) else step.to_c)


def length_s(step: Step, from_c: float) -> float:
    """How long a step is reckoned to take."""
    own = step.seconds_from(from_c) if isinstance(step, RampStep) else _fixed_s(step)
    usual = max(own, usual_s(step.ends)) if step.ends is not None else own
    if step.latest_s is not None:
        usual = min(usual, max(own, step.latest_s)) if usual else step.latest_s
    return max(usual, step.earliest_s or 0.0)


def usual_s(ends: Ends) -> float:
    """When all of its triggers, and one of any, are reckoned to hold."""
    every = [_trigger_s(one) for one in ends.all_of]
    some = [_trigger_s(one) for one in ends.any_of]
    return max([*every, *([min(some)] if some else [])])


def _trigger_s(trigger: Trigger) -> float:
    usual = USUAL_S.get(type(trigger))
    return OTHERWISE_S if usual is None else float(usual(trigger))


def _fixed_s(step: Step) -> float:
    if isinstance(step, HoldStep) and step.until is not None:
        return OTHERWISE_S
    return float(step.for_s or 0.0) if isinstance(step, HoldStep) else 0.0


def _stretches(profile: Profile) -> Iterator[tuple[Step, float, float, float]]:
    """Each step that ends, with its begin, its length (s) and the temperature before it."""
    begins_s, before_c = 0.0, target_of(profile.steps[0])
    for step in profile.steps:
        if never_ends(step):
            return
        lasts_s = length_s(step, before_c)
        yield step, begins_s, lasts_s, before_c
        begins_s, before_c = begins_s + lasts_s, target_of(step)


def _crashes(stretches: list[tuple[Step, float, float, float]], volume_l: float, stretch: float) -> Iterator[Crash]:
    for step, begins_s, _, before_c in stretches:
        if before_c - target_of(step) < LEAST_FALL_K:
            continue
        chills_s = max(DAY_S, step.seconds_from(before_c)) if isinstance(step, RampStep) else DAY_S
        first = int(begins_s * stretch // DAY_S)
        last = int((begins_s * stretch + chills_s - 1.0) // DAY_S)
        load_w = cooling_load(Mass(volume_l * BEER_KG_L), before_c, target_of(step), chills_s)
        yield Crash(range(first, last + 1), load_w)
