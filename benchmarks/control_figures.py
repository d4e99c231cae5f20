"""What a run is judged by. Everything is of the true mean beer, once a minute.

Hold windows: at 18 degC from hour 12 on; at 21 degC from six hours after the ramp on; the last 24 hours of the
crash's hold.
The crash has arrived when the beer is within 0.5 K of its target; undershoot is how far it ever goes below it.
Overshoot is how far it goes above the ramp, until six hours after the ramp's end.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from math import inf, sqrt

from benchmarks.control_plants import HOUR, Case, Programme
from benchmarks.control_runs import SAMPLE_S, Outcome, Trace

SEEDS = (1, 2, 3)
SETTLING_H = 12.0
AFTER_RAMP_H = 6.0
LAST_H = 24.0
ARRIVED_K = 0.5
_PER_H = HOUR / SAMPLE_S


@dataclass(frozen=True, slots=True)
class Judged:
    """One beer in one run."""

    hold_rms_k: float
    hold_max_k: float
    ramp_overshoot_k: float
    crash_undershoot_k: float
    crash_h: float
    frozen_minutes: float
    fights: int


@dataclass(frozen=True, slots=True)
class Verdict:
    """One run of one plant."""

    chambers: dict[str, Judged]
    starts_per_hour: float
    short_rests: int
    kwh: float


def judge(case: Case, outcome: Outcome) -> Verdict:
    """All figures of a run."""
    hours = case.hours
    return Verdict(
        {name: _judge(trace, case.programmes[name]) for name, trace in outcome.traces.items()},
        outcome.starts / outcome.compressors / hours,
        outcome.short_rests,
        outcome.kwh,
    )


def _judge(trace: Trace, programme: Programme) -> Judged:
    error = [beer - asked for beer, asked in zip(trace.beer_c, trace.setpoint_c, strict=True)]
    held = list(_held(error, programme))
    (ramp_h, _), (ramped_h, _), (crash_h, _), (_, target_c) = programme[1:5]
    crashing = trace.beer_c[_at(crash_h) : _at(programme[-1][0])]
    return Judged(
        sqrt(sum(e * e for e in held) / len(held)),
        max(map(abs, held)),
        max(0.0, *error[_at(ramp_h) : _at(ramped_h + AFTER_RAMP_H)]),
        max(0.0, target_c - min(crashing)),
        arrival_h(trace, programme),
        trace.frozen_minutes,
        trace.fights,
    )


def arrival_h(trace: Trace, programme: Programme) -> float:
    """Hours from the crash's beginning until the beer is there; infinite if it never is."""
    crashing = trace.beer_c[_at(programme[3][0]) :]
    target_c = programme[-1][1] + ARRIVED_K
    return next((k / _PER_H for k, beer in enumerate(crashing) if beer <= target_c), inf)


def _at(hour: float) -> int:
    return round(hour * _PER_H)


def _held(error: list[float], programme: Programme) -> Iterator[float]:
    end = programme[-1][0]
    windows = ((SETTLING_H, programme[1][0]), (programme[2][0] + AFTER_RAMP_H, programme[3][0]), (end - LAST_H, end))
    for begin, until in windows:
        yield from error[_at(begin) : _at(until)]
