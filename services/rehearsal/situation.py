"""A site at one moment, as its services tell of it: what a rehearsal goes on from."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from schemas.base import Message, ServiceName
from schemas.batches import BatchPhase, BatchState, PlannedStep
from schemas.control import Setpoint
from schemas.plant import Plant, Point
from schemas.profiles import Profile
from schemas.telemetry import Quality, ReadingBase
from services.runtime.state import Saved
from services.scheduler.core import SchedulerState
from services.scheduler.gravity_log import HAND_SD, GravityLog, GravityPoint
from services.scheduler.records import BatchRecord, ManualSetpoint, PastStep, StepRun
from services.supervisor.memory import ChamberKept, SupervisorState

S = TypeVar("S", bound=BaseModel)
UNDER_WAY = (BatchPhase.IDLE, BatchPhase.RUNNING, BatchPhase.HELD)


@dataclass(frozen=True, slots=True)
class Situation:
    """`said` is what the broker retains; `programmes` has the profile of each batch that is under way.

    `scheduler` and `supervisor` are what those services have on disk, where that can be read: then gravity logs, holds
    and what control has learnt of the chambers are known, too.
    """

    plant: Plant
    now: datetime
    said: tuple[Message, ...] = ()
    programmes: Mapping[str, Profile] = field(default_factory=dict)
    scheduler: SchedulerState | None = None
    supervisor: SupervisorState | None = None
    seed: int = 1

    @property
    def batches(self) -> tuple[BatchState, ...]:
        """Those under way whose programme and chamber are known."""
        found = (one for one in self.said if isinstance(one, BatchState) and one.phase in UNDER_WAY)
        return tuple(one for one in found if one.batch in self.programmes and one.chamber in self.plant.chambers)

    def reading(self, chamber: str, probe: str | None) -> float | None:
        """The last good value of a probe; None where there is none."""
        for one in self.said:
            if isinstance(one, ReadingBase) and (one.chamber, one.probe) == (chamber, probe):
                return one.value if one.quality is Quality.GOOD else None
        return None

    def reading_at(self, chamber: str, point: Point) -> float | None:
        """The last good temperature at a point of a chamber, degC."""
        return self.reading(chamber, self.plant.chambers[chamber].probe_at(point))

    @property
    def room_c(self) -> float | None:
        """The first room probe that says something, degC."""
        found = (self.reading_at(name, Point.ROOM) for name in self.plant.chambers)
        return next((one for one in found if one is not None), None)

    def learnt(self, chamber: str) -> dict[str, float]:
        """Natural logarithms of what the supervisor has learnt of a chamber, by parameter; empty for nothing."""
        kept = None if self.supervisor is None else self.supervisor.chambers.get(chamber)
        lesson: Mapping[str, Any] = {} if kept is None else kept.learnt.get("learnt", {})
        return {name: float(pair[0]) for name, pair in lesson.items()}

    def chiller(self, chamber: str) -> tuple[float, float] | None:
        """What a reservoir's chiller takes out of a bath at 5 degC (W), and its change (W/K); None where unknown."""
        kept = None if self.supervisor is None else self.supervisor.chambers.get(chamber)
        takes = [] if kept is None else kept.learnt.get("takes", [])
        return (float(takes[0]), float(takes[1])) if len(takes) >= 2 else None

    def scheduled(self) -> SchedulerState:
        """Where the scheduler stands: as it has it on disk, as far as that agrees with what was said."""
        records = tuple(self._record(one) for one in self.batches)
        if self.scheduler is not None:
            update = {"batches": records, "answers": (), "conditions": (), "chores": ()}
            return self.scheduler.model_copy(update=update)
        wanted = [one for one in self.said if isinstance(one, Setpoint) and one.chamber in self.plant.chambers]
        resting = {one.chamber: one.temperature_c for one in wanted if one.batch is None and one.expires is None}
        return SchedulerState(batches=records, resting=resting, manual=tuple(map(_manual, filter(_expires, wanted))))

    def supervised(self) -> SupervisorState | None:
        """What control has learnt, who is locked out, and what has latched."""
        if self.supervisor is None:
            return None
        kept = {name: _without_programme(one) for name, one in self.supervisor.chambers.items()}
        return SupervisorState(chambers={name: one for name, one in kept.items() if name in self.plant.chambers})

    def _record(self, state: BatchState) -> BatchRecord:
        known = () if self.scheduler is None else self.scheduler.batches
        exact = next((one for one in known if one.batch == state.batch), None)
        if exact is not None and exact.phase is state.phase and (exact.run and exact.run.index) == state.step:
            return exact
        return record_of(state, self.programmes[state.batch], self._asked_c(state.chamber))

    def _asked_c(self, chamber: str) -> float | None:
        found = (one for one in self.said if isinstance(one, Setpoint) and one.chamber == chamber)
        return next((one.temperature_c for one in found), None)


def record_of(state: BatchState, profile: Profile, asked_c: float | None) -> BatchRecord:
    """A batch as the scheduler would have it, from what it tells of it; of its gravity only the last is known."""
    steps = list(enumerate(state.steps))
    return BatchRecord(
        batch=state.batch,
        title=state.title,
        chamber=state.chamber,
        profile=profile,
        phase=state.phase,
        begins=state.started or state.steps[0].begins or state.at,
        started=state.started,
        original_gravity_sg=state.original_gravity_sg,
        run=_run(state),
        past=tuple(_past(index, step) for index, step in steps if step.done and step.begins and step.ends),
        gravity=_log(state),
        asked_c=asked_c,
        why=state.why,
    )


def kept_by(folder: Path, service: ServiceName, model: type[S]) -> S | None:
    """What a service has on disk in a state folder; None where that cannot be read."""
    try:
        saved = Saved.model_validate_json((folder / f"{service}.json").read_bytes())
        return model.model_validate(saved.snapshot)
    except (OSError, ValidationError):
        return None


def _run(state: BatchState) -> StepRun | None:
    if state.step is None or state.step_began is None:
        return None
    held_since = state.at if state.phase is BatchPhase.HELD else None
    from_c = state.steps[state.step].from_c
    return StepRun(index=state.step, began=state.step_began, from_c=from_c, held_since=held_since)


def _past(index: int, step: PlannedStep) -> PastStep:
    return PastStep(
        index=index,
        name=step.name,
        does=step.does,
        from_c=step.from_c,
        to_c=step.to_c,
        began=step.begins,
        ended=step.ends,
        late=step.late,
    )


def _log(state: BatchState) -> GravityLog:
    if state.gravity_sg is None:
        return GravityLog()
    return GravityLog(points=(GravityPoint(at=state.at, sg=state.gravity_sg, sd=HAND_SD, by="scheduler", hand=True),))


def _expires(setpoint: Setpoint) -> bool:
    return setpoint.expires is not None


def _manual(setpoint: Setpoint) -> ManualSetpoint:
    own, until = setpoint.temperature_c, setpoint.expires
    return ManualSetpoint(chamber=setpoint.chamber, temperature_c=own, until=until, who=setpoint.source)


def _without_programme(kept: ChamberKept) -> ChamberKept:
    """The setpoint comes from the scheduler; starts are of a past that the rehearsed machines do not have."""
    return kept.model_copy(update={"setpoint": None, "programmed": None, "starts": {}})
