"""`What if`: one programme on one chamber, with the rest of the plant as its file says, played to its end."""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from schemas.alarms import Alarm, AlarmPhase
from schemas.batches import BatchPhase, BatchState
from schemas.contract import topic_for
from schemas.control import ChamberStatus
from schemas.plant import Measure, Plant
from schemas.profiles import Profile
from schemas.requests import LogGravity, Refused, StartBatch
from schemas.telemetry import Report
from services.rehearsal.ensemble import on_stage
from services.runtime.service import Outgoing
from services.simulator.physics import Truth
from services.supervisor import guards

BATCH = "rehearsed"
CURVE_EVERY = timedelta(minutes=10)
LONGEST = timedelta(days=56)
SAMPLE_EVERY = timedelta(hours=12)
"""How often the rehearsed brewer takes a gravity sample where no instrument floats in the beer."""
EVERYDAY = frozenset({*guards.ALL, "door-pause"})
"""Interlocks of ordinary days: rests, staggered starts, an opened door."""


class RehearsalRefused(ValueError):
    """The programme was refused before it began; the text says why and what would be right."""


@dataclass(frozen=True, slots=True)
class Point:
    """One point of the curve."""

    at: datetime
    beer_c: float
    wanted_c: float | None


@dataclass(frozen=True, slots=True)
class StepTime:
    """When a step was under way; `ended` is None for the one still running at the end."""

    name: str
    began: datetime
    ended: datetime | None


@dataclass(slots=True)
class Answer:
    """What would happen. `kwh` and `starts` are of the whole site; `fired` are interlocks of the chamber, by id."""

    curve: list[Point] = field(default_factory=list)
    steps: list[StepTime] = field(default_factory=list)
    fired: dict[str, str] = field(default_factory=dict)
    alarms: dict[str, str] = field(default_factory=dict)
    kwh: float = 0.0
    starts: int = 0
    frozen: float = 0.0
    finished: bool = False

    @property
    def verdict(self) -> str:
        """In plain words."""
        if self.frozen > 0:
            return "Do not: some of the beer would freeze."
        if self.fired:
            return f"Careful: {'; '.join(sorted(set(self.fired.values())))}"
        if self.alarms:
            return f"It would call you: {'; '.join(sorted(set(self.alarms.values())))}"
        return "It runs as written." if self.finished else "It runs as written as far as it was followed."


def rehearse(
    plant: Plant,
    profile: Profile,
    chamber: str,
    start: datetime,
    *,
    original_gravity_sg: float | None = None,
    longest: timedelta = LONGEST,
    tick: timedelta = timedelta(seconds=10),
    seed: int = 1,
    progress: Callable[[float], None] = lambda share: None,
) -> Answer:
    """Plays the programme to its end, or for `longest`. Raises RehearsalRefused where the scheduler would refuse it."""
    stage, ensemble = on_stage(plant, start, seed=seed, tick=tick)
    listener = _Listener(chamber, Answer())
    stage.witnesses.append(listener.hear)
    stage.ask(_start(plant, profile, chamber, start, original_gravity_sg))
    if listener.refused:
        raise RehearsalRefused(listener.refused)
    by_hand = all(probe.measures is not Measure.GRAVITY for probe in plant.chambers[chamber].probes.values())
    sampled = start
    while not listener.answer.finished and stage.now < start + longest:
        stage.run_until(stage.now + CURVE_EVERY)
        truth = ensemble.truth(chamber)
        if by_hand and stage.now - sampled >= SAMPLE_EVERY:
            sampled = stage.now
            stage.ask(_sample(plant, stage.now, truth))
        listener.answer.curve.append(Point(stage.now, truth.beer_c, listener.wanted_c))
        listener.answer.frozen = max(listener.answer.frozen, truth.frozen)
        progress((stage.now - start) / longest)
    truths = [ensemble.truth(name) for name in plant.chambers]
    listener.answer.kwh = sum(truth.kwh for truth in truths)
    listener.answer.starts = sum(truth.starts for truth in truths)
    return listener.answer


@dataclass(slots=True)
class _Listener:
    chamber: str
    answer: Answer
    refused: str = ""
    wanted_c: float | None = None

    def hear(self, outgoing: Outgoing, now: datetime) -> None:
        body = outgoing.body
        if isinstance(body, Report | bytes):
            return
        if isinstance(body, ChamberStatus) and body.chamber == self.chamber:
            self.wanted_c = body.setpoint_c
            self.answer.fired.update({one.id: one.reason for one in body.interlocks if one.id not in EVERYDAY})
        elif isinstance(body, BatchState) and body.batch == BATCH:
            self._follow(body, now)
        elif isinstance(body, Alarm) and body.phase is AlarmPhase.UNACKNOWLEDGED:
            self.answer.alarms[f"{body.chamber}/{body.name}"] = f"{body.chamber}: {body.detail}"
        elif isinstance(body, Refused):
            self.refused = f"{body.reason}; {body.remedy}" if body.remedy else body.reason

    def _follow(self, state: BatchState, now: datetime) -> None:
        self.answer.steps = [
            StepTime(step.name, step.begins, step.ends if step.done else None)
            for step in state.steps
            if step.begins is not None and step.begins <= now
        ]
        self.answer.finished = state.phase in (BatchPhase.COMPLETE, BatchPhase.STOPPED, BatchPhase.ABORTED)


def _sample(plant: Plant, now: datetime, truth: Truth) -> Outgoing:
    request = LogGravity(
        at=now,
        source="rehearsal",
        id=f"sample-{now:%Y%m%d%H%M}",
        client="rehearsal",
        who="rehearsal",
        why="a sample, twice a day",
        batch=BATCH,
        hydrometer_sg=round(truth.gravity, 3),
        sample_c=20.0,
    )
    return Outgoing(topic_for(plant.site.name, request), request)


def _start(plant: Plant, profile: Profile, chamber: str, now: datetime, original_gravity_sg: float | None) -> Outgoing:
    request = StartBatch(
        at=now,
        source="rehearsal",
        id="rehearsal",
        client="rehearsal",
        who="rehearsal",
        why="what if",
        batch=BATCH,
        title=profile.profile,
        chamber=chamber,
        profile=profile,
        original_gravity_sg=original_gravity_sg,
    )
    return Outgoing(topic_for(plant.site.name, request), request)
