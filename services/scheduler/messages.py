"""What is said of batches and chambers: their state, their setpoints, their conditions."""

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta

from schemas.base import Model, ServiceName
from schemas.batches import BatchPhase, BatchState, PlannedStep
from schemas.conditions import ConditionKind, condition_name
from schemas.control import Setpoint, Waypoint
from schemas.ends import AttenuationAtLeast, GravityAtMost, GravityStable, Stability, Trigger
from services.scheduler.book import word_asked
from services.scheduler.chores import ChoreList
from services.scheduler.course import rate_at, setpoint_at, waypoints
from services.scheduler.crash import Expected
from services.scheduler.foresight import Scores
from services.scheduler.gravity_facts import GravityFacts
from services.scheduler.plan import Expected as Coming
from services.scheduler.plan import Outlook, Plan, planned_steps
from services.scheduler.records import BatchRecord, ManualSetpoint
from services.scheduler.triggers import all_but_next
from services.scheduler.words import lasting, says

SOURCE = ServiceName.SCHEDULER.value
TOLD_FOR = timedelta(days=1)
"""How long a step's instruction is told of, unless it ends before."""
LATE_FOR = timedelta(days=1)
"""How long a late step is told of, unless it ends before."""


def batch_state(record: BatchRecord, plan: Plan, facts: GravityFacts, scores: Scores, now: datetime) -> BatchState:
    """The batch with its plan."""
    run, strength = record.run, facts.strength
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
        steps=planned_steps(record, plan),
        original_gravity_sg=record.original_gravity_sg,
        gravity_sg=_rounded(facts.level_sg, 4),
        attenuation_percent=_rounded(facts.attenuation_percent, 1),
        alcohol_percent=None if strength is None else _rounded(max(0.0, strength.alcohol_by_volume), 2),
        forecasts_held=_rounded(scores.coverage, 3),
        forecast_width_h=_rounded(scores.mean_width_h, 1),
        awaits=_awaits(record),
        why=record.why,
    )


def with_arrivals(
    steps: tuple[PlannedStep, ...], expected: Mapping[int, Expected | None], arrived: Mapping[int, datetime]
) -> tuple[PlannedStep, ...]:
    """The steps with when their beer is, or will be, at their target."""
    told = list(steps)
    for index, one in expected.items():
        if one is not None:
            update = {"arrives": one.likely, "arrives_earliest": one.earliest, "arrives_latest": one.latest}
            told[index] = told[index].model_copy(update=update)
    for index, moment in arrived.items():
        if index < len(told):
            told[index] = told[index].model_copy(update={"arrives": moment})
    return tuple(told)


def programme_setpoint(
    record: BatchRecord, expected: Sequence[Coming], facts: GravityFacts, now: datetime
) -> Setpoint | None:
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
        freezes_at_c=facts.freezes_at_c,
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


def truths(record: BatchRecord, outlook: Outlook, now: datetime) -> list[Truth]:
    """What a person may need to know of a running batch's step."""
    return [found for look in _LOOKS if (found := look(record, outlook, now)) is not None]


def chore_truths(chores: ChoreList) -> list[Truth]:
    """Chores that were told and are not done."""
    return [
        Truth(
            name=condition_name(ConditionKind.CHORE_DUE, one.chore)[:40],
            detail=f"{one.title}. {one.instruction}".strip(),
        )
        for one in chores.chores.values()
        if one.open_since is not None
    ]


def truths_change_at(record: BatchRecord, outlook: Outlook, now: datetime) -> datetime | None:
    """When time alone changes what is true."""
    if record.run is None or record.started is None:
        return None
    moments = [record.started + timedelta(seconds=record.profile.begins_within_s)]
    moments.append(record.run.began + TOLD_FOR)
    moments.append(_all_but_a_word(record, outlook) or now)
    if record.run.late:
        moments.append(record.run.began + LATE_FOR)
    return min((moment for moment in moments if moment > now), default=None)


def _overdue(record: BatchRecord, _outlook: Outlook, _now: datetime) -> Truth | None:
    step, run = record.step, record.run
    if step is None or run is None or not run.overdue:
        return None
    detail = f"{record.title}: '{step.name}' was to last at most {lasting(step.latest_s or 0)}"
    return Truth(name=ConditionKind.STEP_OVERDUE, detail=detail)


def _late(record: BatchRecord, _outlook: Outlook, now: datetime) -> Truth | None:
    if record.run is None or not record.run.late or now >= record.run.began + LATE_FOR:
        return None
    return Truth(name=ConditionKind.STEP_LATE, detail=f"{record.title}: {record.why}")


def _hand(record: BatchRecord, outlook: Outlook, now: datetime) -> Truth | None:
    """An instruction is told for a day; a word is asked for when it is all that is missing."""
    step, run, asked = record.step, record.run, word_asked(record)
    if step is None or run is None or record.phase is not BatchPhase.RUNNING:
        return None
    ready = _all_but_a_word(record, outlook)
    missing = ready is not None and ready <= now
    parts = [step.instruction if now < run.began + TOLD_FOR else "", asked if missing else ""]
    detail = " ".join(part for part in parts if part)
    return Truth(name=ConditionKind.HAND_NEEDED, detail=f"{record.title}: {detail}") if detail else None


def _all_but_a_word(record: BatchRecord, outlook: Outlook) -> datetime | None:
    """When all would hold, were the word given that is asked for; None where none is asked, or more is unknown."""
    step, run = record.step, record.run
    if step is None or run is None or step.ends is None or not word_asked(record):
        return None
    return all_but_next(step.ends, outlook.view(run.model_copy(update={"word": run.began})))


def _stalled(record: BatchRecord, outlook: Outlook, _now: datetime) -> Truth | None:
    """Gravity is at rest, and the running step waits for one that is not reached."""
    ends, facts = None if record.step is None else record.step.ends, outlook.measured
    if record.step is None or ends is None or facts is None or not facts.begun():
        return None
    waits = [one for one in ends.triggers if not _gravity_is(one, facts)]
    if not waits or facts.at_rest(Stability()) is None:
        return None
    detail = (
        f"{record.title}: gravity rests at {facts.level_sg:.4f}, and '{record.step.name}' waits until {says(waits[0])}"
    )
    return Truth(name=ConditionKind.GRAVITY_STALLED, detail=detail)


def _gravity_is(trigger: Trigger, facts: GravityFacts) -> bool:
    if isinstance(trigger, GravityAtMost):
        return facts.at_most(trigger.gravity_at_most_sg) is not None
    if isinstance(trigger, AttenuationAtLeast):
        return facts.attenuated(trigger.attenuation_at_least_percent) is not None
    attenuation = facts.attenuation_percent
    if not isinstance(trigger, GravityStable) or attenuation is None:
        return True
    return bool(attenuation >= trigger.least_attenuation_percent)


def _not_begun(record: BatchRecord, outlook: Outlook, now: datetime) -> Truth | None:
    within_s, facts = record.profile.begins_within_s, outlook.measured
    if record.started is None or record.run is None or facts is None or facts.begun() is not False:
        return None
    elapsed, known = now - record.started, facts.points[-1].at - record.started
    if elapsed < timedelta(seconds=within_s) or known < timedelta(seconds=within_s / 2):
        return None
    detail = f"{record.title}: gravity is still {facts.level_sg:.4f}, {lasting(elapsed.total_seconds())} after pitching"
    return Truth(name=ConditionKind.NOT_BEGUN, detail=detail)


_LOOKS = (_overdue, _late, _hand, _stalled, _not_begun)


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(value, digits)


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
