"""Takes one batch as far as the time and its triggers allow. Pure: batch and time in, batch and decisions out."""

from datetime import UTC, datetime, timedelta

from schemas.batches import BatchPhase
from schemas.profiles import RampStep, Step
from services.scheduler.course import held_part, setpoint_at
from services.scheduler.crash import with_crash
from services.scheduler.plan import Outlook
from services.scheduler.records import BatchRecord, Decision, PastStep, StepRun, target_c
from services.scheduler.states import Event, phase_after
from services.scheduler.triggers import all_but_next, due, overdue
from services.scheduler.words import degrees, lasting, says_end_of

GRACE = timedelta(minutes=3)
"""A step that is noticed so much after its moment ends, and the next begins, at that moment.

Beyond it the next begins now and has its full length; it is called late when nobody was there at the moment, as in a
power cut, and not when the news that ended it came later than what it tells of.
"""
ALWAYS_AWAKE = datetime.min.replace(tzinfo=UTC)
Progress = tuple[BatchRecord, list[Decision]]


def advance(record: BatchRecord, outlook: Outlook, now: datetime) -> Progress:
    """Ends steps and begins the next, as far as they are due, in order."""
    decisions: list[Decision] = []
    while record.phase is BatchPhase.RUNNING:
        record = _with_ready(record, outlook, now)
        run = _running(record)
        step = record.profile.steps[run.index]
        moment = due(step, outlook.view(run))
        if moment is None or moment > now:
            break
        record, told = end_step(record, moment, now, f"because {says_end_of(step)}", outlook.awake_since)
        decisions += told
    return _mind_overdue(record, now, decisions)


def begin(record: BatchRecord, now: datetime, awake_since: datetime) -> Progress:
    """Starts the first step, on time or late."""
    moment, late_s = _on_time_or_late(record.begins, now, awake_since)
    first, asked_c = record.profile.steps[0], record.asked_c
    from_c = asked_c if asked_c is not None and isinstance(first, RampStep) else target_c(first)
    record = record.but(phase=phase_after(record.phase, Event.START), started=moment, asked_c=from_c)
    told = Decision("batch-started", f"{record.title} begins in {record.chamber}", moment, record.batch, record.chamber)
    record, begun = enter(record, 0, moment, late_s)
    return record, [told, begun]


def enter(record: BatchRecord, index: int, moment: datetime, late_s: float = 0.0) -> tuple[BatchRecord, Decision]:
    """Begins a step at a moment, from the temperature asked for last."""
    step = record.profile.steps[index]
    from_c = target_c(step) if record.asked_c is None else record.asked_c
    run = StepRun(index=index, began=moment, from_c=from_c, late=late_s > 0)
    said = f"'{step.name}' begins: {_does(step)}" + (f", {lasting(late_s)} late" if late_s else "")
    facts: dict[str, float | str | bool] = {"step": step.name, "index": float(index), "late_s": late_s}
    decision = Decision("step-begun", said, moment, record.batch, record.chamber, facts=facts)
    anew = {done: at for done, at in record.arrived.items() if done != index}
    return with_crash(record.but(run=run, why=said, arrived=anew)), decision


def end_step(
    record: BatchRecord, moment: datetime, now: datetime, why: str, awake_since: datetime = ALWAYS_AWAKE
) -> Progress:
    """Ends the running step, which was due at a moment, and begins the next or completes the batch."""
    run = _running(record)
    step = record.profile.steps[run.index]
    moment, late_s = _on_time_or_late(max(moment, run.began), now, awake_since)
    record = leave(record, moment)
    facts: dict[str, float | str | bool] = {"step": step.name, "index": float(run.index), "late_s": late_s}
    ended = Decision("step-ended", f"'{step.name}' ends {why}", moment, record.batch, record.chamber, facts=facts)
    if run.index + 1 < len(record.profile.steps):
        record, begun = enter(record, run.index + 1, moment, late_s)
        return record, [ended, begun]
    record, done = conclude(record, Event.DONE, "batch-completed", "the last step has ended", moment)
    return record, [ended, done]


def leave(record: BatchRecord, moment: datetime) -> BatchRecord:
    """Writes the running step down as past."""
    run = _running(record)
    step = record.profile.steps[run.index]
    asked_c = setpoint_at(step, run, moment)
    past = PastStep(
        index=run.index, name=step.name, does=step.does, from_c=run.from_c, to_c=asked_c,
        began=run.began, ended=max(run.began, moment), late=run.late,
    )  # fmt: skip
    return record.but(past=(*record.past, past), asked_c=asked_c, run=None)


def conclude(
    record: BatchRecord, event: Event, told_as: str, why: str, moment: datetime
) -> tuple[BatchRecord, Decision]:
    """Brings a batch to a final state; raises NotAllowed where the state does not know the event."""
    phase = phase_after(record.phase, event)
    record = leave(record, moment) if record.run is not None else record
    record = record.but(phase=phase, ended=moment, edits=(), why=why)
    return record, Decision(told_as, why, moment, record.batch, record.chamber)


def hold(record: BatchRecord, now: datetime, why: str) -> tuple[BatchRecord, Decision]:
    """Stops the programme's clock. Raises NotAllowed."""
    record = record.but(phase=phase_after(record.phase, Event.HOLD), why=why).but_run(held_since=now)
    return record, Decision("batch-held", why, now, record.batch, record.chamber)


def resume(record: BatchRecord, now: datetime, why: str) -> tuple[BatchRecord, Decision]:
    """Lets it run again. Raises NotAllowed."""
    phase = phase_after(record.phase, Event.RESTART)
    run = _running(record)
    held_s = run.held_s + held_part(record.profile.steps[run.index], run, now)
    record = record.but(phase=phase, why=why).but_run(held_since=None, held_s=held_s, floor=now)
    return record, Decision("batch-resumed", why, now, record.batch, record.chamber)


def wakes_at(record: BatchRecord, outlook: Outlook) -> datetime | None:
    """When time alone will change something about a batch; None when only news can."""
    if record.phase is not BatchPhase.RUNNING or record.run is None:
        return None
    step, run = record.profile.steps[record.run.index], record.run
    moments = [due(step, outlook.view(run)), None if run.overdue else overdue(step, run)]
    return min((moment for moment in moments if moment is not None), default=None)


def _with_ready(record: BatchRecord, outlook: Outlook, now: datetime) -> BatchRecord:
    """Notes since when everything holds but the local time that is waited for after it."""
    run = _running(record)
    ends = record.profile.steps[run.index].ends
    if ends is None:
        return record
    moment = all_but_next(ends, outlook.view(run))
    ready = None if moment is None or moment > now else run.ready or moment
    return record if ready == run.ready else record.but_run(ready=ready)


def _mind_overdue(record: BatchRecord, now: datetime, decisions: list[Decision]) -> Progress:
    step, run = record.step, record.run
    if step is None or run is None or run.overdue or record.phase is not BatchPhase.RUNNING:
        return record, decisions
    moment = overdue(step, run)
    if moment is None or moment > now:
        return record, decisions
    why = f"'{step.name}' was to last at most {lasting(step.latest_s or 0)}"
    record = record.but_run(overdue=True)
    decisions = [
        *decisions,
        Decision("step-overdue", why, now, record.batch, record.chamber, facts={"step": step.name}),
    ]
    if step.when_late != "hold-and-call":
        return record, decisions
    record, held = hold(record, now, f"{why}; a person is called")
    return record, [*decisions, held]


def _on_time_or_late(moment: datetime, now: datetime, awake_since: datetime) -> tuple[datetime, float]:
    """From when on it counts, and by how many seconds it is late."""
    if now - moment <= GRACE:
        return moment, 0.0
    return now, (now - moment).total_seconds() if moment < awake_since else 0.0


def _does(step: Step) -> str:
    return _DOES[step.does].format(degrees(target_c(step)))


_DOES = {"hold": "hold {}", "ramp": "move to {}", "free-rise": "let it rise by itself to {} at most"}


def _running(record: BatchRecord) -> StepRun:
    if record.run is None:
        raise ValueError(f"batch '{record.batch}' has no running step")
    return record.run
