"""What is said of batches and chambers: their state, their setpoints, their conditions."""

from collections.abc import Sequence
from datetime import datetime, timedelta

from schemas.base import Model, ServiceName
from schemas.batches import BatchPhase, BatchState
from schemas.conditions import ConditionKind
from schemas.control import Setpoint, Waypoint
from services.scheduler.book import word_asked
from services.scheduler.course import rate_at, setpoint_at, waypoints
from services.scheduler.plan import Expected, planned_steps
from services.scheduler.records import BatchRecord, ManualSetpoint
from services.scheduler.words import lasting

SOURCE = ServiceName.SCHEDULER.value
LATE_FOR = timedelta(days=1)
"""How long a late step is told of, unless it ends before."""


def batch_state(record: BatchRecord, expected: Sequence[Expected], now: datetime) -> BatchState:
    """The batch with its plan."""
    run = record.run
    return BatchState(
        at=now,
        source=SOURCE,
        batch=record.batch,
        title=record.title,
        chamber=record.chamber,
        profile=record.profile.profile,
        phase=record.phase,
        started=record.started,
        step=None if run is None else run.index,
        step_began=None if run is None else run.began,
        steps=planned_steps(record, list(expected)),
        original_gravity_sg=record.original_gravity_sg,
        awaits=_awaits(record),
        why=record.why,
    )


def programme_setpoint(record: BatchRecord, expected: Sequence[Expected], now: datetime) -> Setpoint | None:
    """What a batch's running step asks of its chamber; None when none runs."""
    step, run = record.step, record.run
    if step is None or run is None:
        return None
    return Setpoint(
        at=now,
        source=SOURCE,
        chamber=record.chamber,
        temperature_c=round(setpoint_at(step, run, now), 4),
        rate_k_per_h=round(rate_at(step, run, now), 6),
        tolerance_k=step.tolerance_k,
        ahead=waypoints([(one.step, one.run) for one in expected], now) if record.phase is BatchPhase.RUNNING else (),
        batch=record.batch,
        step=step.name,
        may_heat=step.does != "free-rise",
        alarm_above_c=step.alarm_above_c,
        alarm_below_c=step.alarm_below_c,
    )


def resting_setpoint(chamber: str, temperature_c: float, now: datetime) -> Setpoint:
    """What a chamber holds when no batch asks for anything."""
    return Setpoint(at=now, source=SOURCE, chamber=chamber, temperature_c=temperature_c)


def manual_setpoint(manual: ManualSetpoint, under: Setpoint | None, now: datetime) -> Setpoint:
    """A person's own, over what would be asked for; where it expires, the way back is told ahead."""
    back = () if under is None or manual.until is None else _way_back(manual, under)
    own = {
        "at": now,
        "temperature_c": manual.temperature_c,
        "rate_k_per_h": 0.0,
        "ahead": back,
        "expires": manual.until,
    }
    base = under or resting_setpoint(manual.chamber, manual.temperature_c, now)
    return base.model_copy(update={**own, "may_heat": True})


class Truth(Model):
    """A condition that holds of a chamber."""

    name: str
    detail: str


def truths(record: BatchRecord, now: datetime) -> list[Truth]:
    """What a person may need to know of a running batch's step."""
    step, run = record.step, record.run
    if step is None or run is None:
        return []
    found = []
    if run.overdue:
        detail = f"{record.title}: '{step.name}' was to last at most {lasting(step.latest_s or 0)}"
        found.append(Truth(name=ConditionKind.STEP_OVERDUE, detail=detail))
    if run.late and now < run.began + LATE_FOR:
        found.append(Truth(name=ConditionKind.STEP_LATE, detail=f"{record.title}: {record.why}"))
    return found


def truths_change_at(record: BatchRecord, now: datetime) -> datetime | None:
    """When time alone changes what is true."""
    if record.run is None or not record.run.late or now >= record.run.began + LATE_FOR:
        return None
    return record.run.began + LATE_FOR


def _awaits(record: BatchRecord) -> str:
    step = record.step
    if step is None:
        return ""
    return " ".join(part for part in (step.instruction, word_asked(record)) if part)


def _way_back(manual: ManualSetpoint, under: Setpoint) -> tuple[Waypoint, ...]:
    until = manual.until
    if until is None:
        return ()
    later = tuple(point for point in under.ahead if point.at > until)
    there = _on_the_way(under, until)
    jump = (Waypoint(at=until, temperature_c=manual.temperature_c), Waypoint(at=until, temperature_c=there))
    return (*jump, *later)


def _on_the_way(under: Setpoint, moment: datetime) -> float:
    """Where the programme's setpoint will be, between the two waypoints around a moment."""
    before = Waypoint(at=under.at, temperature_c=under.temperature_c)
    for point in under.ahead:
        if point.at > moment:
            share = (moment - before.at) / (point.at - before.at)
            return before.temperature_c + (point.temperature_c - before.temperature_c) * share
        before = point
    return before.temperature_c
