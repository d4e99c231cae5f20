"""Changes of a programme that is under way."""

from datetime import datetime

from schemas.profiles import RampStep, problem_with
from services.scheduler.answers import Refusal
from services.scheduler.course import setpoint_at
from services.scheduler.records import BatchRecord, Decision, PendingEdit
from services.scheduler.states import FINAL


def edited(record: BatchRecord, edit: PendingEdit, now: datetime) -> BatchRecord:
    """The batch with its remaining steps replaced. Raises Refusal where a step is finished or the rest makes no sense.

    A running step that is replaced keeps its begin, so that time already spent counts; a ramp starts afresh.
    """
    if record.phase in FINAL:
        raise Refusal(f"{record.batch} is {record.phase}", "its steps can no longer be changed")
    running = 0 if record.run is None else record.run.index
    _refuse_misplaced(record, edit.first, running)
    steps = (*record.profile.steps[: edit.first], *edit.steps)
    problem, _, remedy = problem_with(steps).partition("; ")
    if problem:
        raise Refusal(problem, remedy)
    changed = record.but(profile=record.profile.model_copy(update={"steps": steps}))
    return changed if edit.first > running else _with_fresh_run(record, changed, now)


def told_of(record: BatchRecord, edit: PendingEdit, now: datetime) -> Decision:
    """The journal's line."""
    names = ", ".join(f"'{step.name}'" for step in edit.steps)
    why = f"from step {edit.first} on: {names}. {edit.why}"
    return Decision("steps-edited", why, now, record.batch, record.chamber)


def _refuse_misplaced(record: BatchRecord, first: int, running: int) -> None:
    if first < running:
        name = record.profile.steps[first].name
        raise Refusal(f"step '{name}' is finished", f"change step {running} or later ones, or go back first")
    if first > len(record.profile.steps):
        raise Refusal(f"{record.batch} has {len(record.profile.steps)} steps", "continue where they end")


def _with_fresh_run(record: BatchRecord, changed: BatchRecord, now: datetime) -> BatchRecord:
    if record.run is None or record.step is None:
        return changed
    changed = changed.but_run(floor=now, ready=None, overdue=False, word=None)
    if not isinstance(changed.step, RampStep):
        return changed
    held_since = None if record.run.held_since is None else now
    from_c = setpoint_at(record.step, record.run, now)
    return changed.but_run(began=now, from_c=from_c, held_s=0.0, held_since=held_since)
