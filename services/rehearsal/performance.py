"""One rehearsal under way: the stage, the plant on it, who listens, and the brewer who takes samples and answers."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from pydantic import BaseModel

from schemas.base import ServiceName
from schemas.batches import BatchPhase
from schemas.contract import topic_for
from schemas.ends import Word
from schemas.plant import Chamber, Measure, Plant, Probe
from schemas.profiles import Profile, never_ends
from schemas.requests import ConfirmStep, LogGravity, RequestBase
from services.rehearsal.answer import Point
from services.rehearsal.ensemble import on_stage
from services.rehearsal.listener import Listener
from services.rehearsal.plant_model import ModelFactory, Truthful, built
from services.rehearsal.player import Player, PlayerState
from services.rehearsal.situation import Situation
from services.runtime.service import Outgoing
from services.simulator.physics import Truth

BATCH = "rehearsed"
LOOK_EVERY = timedelta(minutes=10)
FINE = timedelta(seconds=10)
CONTACTS_EVERY_S = 600.0
SAMPLE_EVERY = timedelta(hours=12)
"""How often the rehearsed brewer takes a gravity sample where no instrument floats in the beer."""
ENDED = (BatchPhase.COMPLETE, BatchPhase.STOPPED, BatchPhase.ABORTED)
Kept = Mapping[ServiceName, BaseModel]


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked. Without a `model` the simulator plays the plant; `answers_after` is None for a brewer far away."""

    situation: Situation
    chamber: str
    profile: Profile | None = None
    original_gravity_sg: float | None = None
    begins: datetime | None = None
    longest: timedelta = timedelta(days=28)
    tick: timedelta = timedelta(seconds=10)
    model: ModelFactory | None = None
    until_settled: bool = False
    answers_after: timedelta | None = None

    @property
    def plant(self) -> Plant:
        """Where it plays."""
        return self.situation.plant

    @property
    def programmes(self) -> dict[str, Profile]:
        """All that will run, by batch."""
        own = {} if self.profile is None else {BATCH: self.profile}
        return {**self.situation.programmes, **own}


class Performance:
    """Plays a question from a moment on; `kept` is what the cores knew then."""

    def __init__(self, question: Question, start: datetime, kept: Kept) -> None:
        self.question = question
        self.listener = Listener()
        self.curves: dict[str, list[Point]] = {}
        self.kwh_curves: dict[str, list[tuple[datetime, float]]] = {}
        self.frozen = 0.0
        self._player: Player | None = None
        self._sampled = start
        self._answered: set[tuple[str, int]] = set()
        self._by_hand = [name for name, one in question.plant.chambers.items() if not _has_gravity(one.probes.values())]
        self.stage, self._ensemble = on_stage(
            sampled(question.plant, question.tick),
            start,
            seed=question.situation.seed,
            tick=question.tick,
            kept=kept,
            devices=None if question.model is None else self._devices,
            absent=(ServiceName.RECORDER,),
        )
        self.stage.witnesses.append(self.listener.hear)
        self.listener.catch_up(outgoing.body for outgoing in self.stage.bus.retained.values())

    def _devices(self, kept: BaseModel | None) -> Player:
        question = self.question
        if isinstance(kept, PlayerState):
            model: Any = kept.model
        elif question.model is None:
            raise RuntimeError("there is no plant model to play")
        else:
            model = built(question.model, question.situation)
        restored = kept if isinstance(kept, PlayerState) else None
        self._player = Player(question.plant, model, restored)
        return self._player

    def ask(self, request: RequestBase) -> None:
        """As a person would."""
        self.stage.ask(Outgoing(topic_for(self.question.plant.site.name, request), request))

    def step(self) -> None:
        """Ten minutes pass."""
        self.stage.run_until(self.stage.now + LOOK_EVERY)
        now, used = self.stage.now, self.kwh_of
        for name, described in self.question.plant.chambers.items():
            beer_c = self.beer_c(name)
            if beer_c is not None:
                self.curves.setdefault(name, []).append(Point(now, beer_c, self.listener.wanted_c.get(name)))
            if described.kind == "reservoir":
                self.kwh_curves.setdefault(name, []).append((now, used[name]))
            else:
                truth = self.truth(name)
                self.frozen = max(self.frozen, 0.0 if truth is None else truth.frozen)
        self._take_samples()
        self._answer()

    def beer_c(self, chamber: str) -> float | None:
        """As it is, or as its probe says where the model tells nothing."""
        return self._player.beer_c(chamber) if self._player else self._ensemble.truth(chamber).beer_c

    def truth(self, chamber: str) -> Truth | None:
        """None where the model does not tell."""
        if self._player is None:
            return self._ensemble.truth(chamber)
        model = self._player.model
        return model.truth(chamber) if isinstance(model, Truthful) else None

    @property
    def kwh_of(self) -> Mapping[str, float]:
        """Used so far, by chamber."""
        if self._player is not None:
            return self._player.kwh
        return {name: self._ensemble.truth(name).kwh for name in self.question.plant.chambers}

    @property
    def starts(self) -> int:
        """Of all compressors."""
        if self._player is not None:
            return self._player.starts
        return sum(self._ensemble.truth(name).starts for name in self.question.plant.chambers)

    @property
    def settled(self) -> bool:
        """Whether every batch has ended, or runs its last step that nothing but a person ends."""
        states = self.listener.states.values()
        return all(one.phase in ENDED or self._serves(one.batch, one.step) for one in states)

    def snapshots(self) -> Kept:
        """To go on from this moment once more."""
        return self.stage.snapshots()

    def _serves(self, batch: str, step: int | None) -> bool:
        profile = self.question.programmes.get(batch)
        return profile is not None and step == len(profile.steps) - 1 and never_ends(profile.steps[-1])

    def _running(self) -> Iterator[tuple[str, str, int, datetime]]:
        """Batch, chamber, step and since when."""
        for one in self.listener.states.values():
            if one.phase is BatchPhase.RUNNING and one.step is not None and one.step_began is not None:
                yield one.batch, one.chamber, one.step, one.step_began

    def _take_samples(self) -> None:
        now = self.stage.now
        if now - self._sampled < SAMPLE_EVERY:
            return
        self._sampled = now
        for batch, chamber, _, _ in list(self._running()):
            truth = self.truth(chamber)
            if chamber in self._by_hand and truth is not None:
                self.ask(_request(LogGravity, now, batch, hydrometer_sg=round(truth.gravity, 3), sample_c=20.0))

    def _answer(self) -> None:
        after, now = self.question.answers_after, self.stage.now
        if after is None:
            return
        for batch, _, step, began in list(self._running()):
            profile = self.question.programmes.get(batch)
            asked = profile is not None and step < len(profile.steps) and word_of(profile, step)
            if asked and (batch, step) not in self._answered and now - began >= after:
                self._answered.add((batch, step))
                self.ask(_request(ConfirmStep, now, batch))


def sampled(plant: Plant, tick: timedelta) -> Plant:
    """Contacts look less often where time goes in coarse ticks: in a rehearsal nobody opens a door."""
    if tick <= FINE:
        return plant
    return plant.model_copy(update={"chambers": {name: _calmed(one) for name, one in plant.chambers.items()}})


def _calmed(chamber: Chamber) -> Chamber:
    slow = {
        name: probe.model_copy(update={"every_s": max(probe.every_s, CONTACTS_EVERY_S)})
        for name, probe in chamber.probes.items()
        if probe.measures is Measure.CONTACT
    }
    return chamber.model_copy(update={"probes": {**chamber.probes, **slow}})


def word_of(profile: Profile, step: int) -> str:
    """What a person is asked in a step; empty when nothing."""
    ends = profile.steps[step].ends
    return next((one.word for one in ends.triggers if isinstance(one, Word)), "") if ends else ""


def _request(kind: Callable[..., RequestBase], now: datetime, batch: str, **fields: object) -> RequestBase:
    name = f"{batch}-{now:%Y%m%d%H%M}"
    return kind(
        at=now,
        source="rehearsal",
        id=name,
        client="rehearsal",
        who="rehearsal",
        why="rehearsed",
        batch=batch,
        **fields,
    )


def _has_gravity(probes: Iterable[Probe]) -> bool:
    return any(probe.measures is Measure.GRAVITY for probe in probes)
