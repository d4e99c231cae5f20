"""One thing that goes wrong, staged: a small plant with its whole cast in virtual time, and when people are told of it.

Faults come in by the ways by which they come in life: the simulated plant, a device's own traffic, the bus, the disk, a
killed service, the clock, the plant file, a person's request. All of it is invented.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import partial
from random import Random
from typing import Any

from pydantic import BaseModel

from schemas.alarms import Alarm, AlarmPhase
from schemas.base import Message, ServiceName
from schemas.conditions import ConditionKind, kind_of
from schemas.contract import topic_for
from schemas.control import ChamberStatus
from schemas.journal import Health, Wellness
from schemas.plant_file import loads
from schemas.requests import RequestBase
from services.notifier.catalogue import Definitions, standard_catalogue
from services.notifier.core import Notifier, NotifierState
from services.notifier.watch import ESSENTIAL
from services.recorder.rows import Annotation, Sample
from services.recorder.store import StoreError
from services.rehearsal.ensemble import Ensemble, guard_words
from services.rehearsal.stage import Stage
from services.runtime.hooks import heed_plant, heed_step
from services.runtime.memory_bus import Mishaps
from services.runtime.service import Outgoing
from services.simulator.cabinet import Cabinet
from services.simulator.core import Simulator, SimulatorState
from services.simulator.faults import Fault, FaultKind
from services.simulator.weather import Weather, constant

START = datetime(2026, 5, 4, 6, tzinfo=UTC)
MINUTE, HOUR, DAY = timedelta(minutes=1), timedelta(hours=1), timedelta(days=1)
KEPT_EVERY = timedelta(seconds=30)
HEALTH_S = 10.0
ROOM = constant(18.0)
PLANT_LIVES_ON = ServiceName.SIMULATOR


@dataclass(slots=True)
class Disk:
    """A store that keeps nothing, and fails while it is told to."""

    failing: StoreError | None = None

    def write(self, samples: Sequence[Sample], annotations: Sequence[Annotation] = ()) -> None:
        """Raises what it is told to."""
        if self.failing is not None:
            raise self.failing


@dataclass(frozen=True, slots=True)
class Told:
    """A kind that an incident tells of. `onset` is when harm begins: a look at the truth, or (None) the fault itself.

    `onset_is` says the same in words.
    """

    kind: ConditionKind
    onset_is: str = "the fault"
    onset: "Callable[[Scene], bool] | None" = None


@dataclass(frozen=True, slots=True)
class Staged:
    """An incident: a plant, a room, what goes wrong after a quiet time, and what is told of it within `lasts`.

    `long`: it takes more than a moment to play.
    """

    what: str
    tells: tuple[Told, ...]
    goes_wrong: "Callable[[Scene], None]"
    plant: str
    lasts: timedelta
    quiet: timedelta = HOUR
    room: Weather = ROOM
    tick: timedelta = timedelta(seconds=10)
    set_up: "Callable[[Scene], None] | None" = None
    long: bool = False


@dataclass(frozen=True, slots=True)
class Detection:
    """How one kind was told: minutes from the fault and from harm's onset, and the share of the time to respond gone by
    then. Without `told`, nobody was."""

    kind: ConditionKind
    what: str
    onset_is: str
    told: bool
    early: bool
    from_fault_min: float
    from_onset_min: float
    share: float


@dataclass(slots=True)
class Scene:
    """What an incident's script may touch."""

    staged: Staged
    seed: int = 1
    disk: Disk = field(default_factory=Disk)
    gauges: dict[str, Callable[[float], float | None]] = field(default_factory=dict)
    heard: dict[str, bytes] = field(default_factory=dict)
    statuses: dict[str, ChamberStatus] = field(default_factory=dict)
    alarms: list[tuple[datetime, Alarm]] = field(default_factory=list)
    begun: datetime | None = None
    _onsets: dict[ConditionKind, datetime] = field(default_factory=dict)
    _later: list[tuple[datetime, Callable[[], None]]] = field(default_factory=list)
    _asked: int = 0
    ensemble: Ensemble = field(init=False)
    stage: Stage = field(init=False)

    def __post_init__(self) -> None:
        staged = self.staged
        plant = loads(staged.plant, "incident.yaml")
        ensemble = self.ensemble = Ensemble(plant, self.seed, staged.tick, self.disk)
        period_s = max(HEALTH_S, staged.tick.total_seconds())
        notifier = NotifierState

        def note(kept: BaseModel | None) -> Notifier:
            state = kept if isinstance(kept, notifier) else None
            return Notifier(plant, state, expected=ESSENTIAL, health_period_s=period_s)

        def play(kept: BaseModel | None) -> Simulator:
            state = kept if isinstance(kept, SimulatorState) else None
            made = ensemble.simulator = Simulator(plant, state, seed=self.seed, weather=lambda _: staged.room)
            return made

        factories = {**ensemble.factories(), ServiceName.NOTIFIER: note, ServiceName.SIMULATOR: play}
        words = {ServiceName.BRIDGE: guard_words(plant)}
        self.stage = Stage(plant.site.name, factories, START, tick=staged.tick, keep_every=KEPT_EVERY, last_words=words)
        self.stage.witnesses.append(self._witness)
        self.stage.on_tick.append(self._devices_speak)

    @property
    def elapsed_s(self) -> float:
        """Since the start."""
        return (self.stage.now - START).total_seconds()

    def truth_c(self, chamber: str) -> float:
        """What its beer, or bath, really is."""
        return self.ensemble.truth(chamber).beer_c

    def air_c(self, chamber: str) -> float:
        """What its air really is."""
        assert self.ensemble.simulator is not None
        found = self.ensemble.simulator.physics.chambers[chamber]
        return found.air_c if isinstance(found, Cabinet) else float("nan")

    def off_k(self, chamber: str) -> float:
        """How far the beer really is above what is asked for."""
        status = self.statuses.get(chamber)
        return 0.0 if status is None or status.setpoint_c is None else self.truth_c(chamber) - status.setpoint_c

    def breaks(self, kind: FaultKind, chamber: str, target: str = "") -> None:
        """A fault of the simulated plant, from now on."""
        assert self.ensemble.simulator is not None
        self.ensemble.simulator.inject(Fault(kind, chamber, target))

    def ask(self, kind: type[RequestBase], **fields: Any) -> None:
        """A person's request."""
        self._asked += 1
        said = {"at": self.stage.now, "source": "rehearsal", "id": f"asked-{self._asked}", "client": "rehearsal",
                "who": "a person", "why": "as rehearsed", **fields}  # fmt: skip
        request = kind.model_validate(said)
        self._publish(request)

    def kill(self, *names: ServiceName, for_: timedelta | None = None) -> None:
        """Services die, and with a time given are started again after it."""
        for name in names:
            self.stage.kill(name)
            if for_ is not None:
                self.later(for_, partial(self.stage.revive, name))

    def power_cut(self, for_: timedelta) -> None:
        """Every service is gone for so long; the plant lives on."""
        names = [name for name in self.stage.members if name is not PLANT_LIVES_ON]
        for name in names:
            member = self.stage.members[name]
            member.kept = member.core.snapshot()
        self.kill(*names, for_=for_)

    def cut_the_bus(self) -> None:
        """Nothing reaches anybody any more."""
        self.stage.bus.mishaps = Mishaps(Random(self.seed), drop=1.0)

    def set_clock(self, by: timedelta) -> None:
        """Everybody's clock is set; who minds is told, as their hosts would."""
        self.stage.step_clock(by)
        self.begun = self.stage.now
        self._everybody(lambda core: heed_step(core, by, self.stage.now))

    def plant_file(self, text: str) -> None:
        """The plant file is saved anew: taken up where it is valid, refused with its words where it is not."""
        try:
            seen: Any = loads(text, "incident.yaml")
        except ValueError as error:
            seen = str(error)
        self._everybody(lambda core: heed_plant(core, seen, self.stage.now))

    def later(self, delay: timedelta, act: Callable[[], None]) -> None:
        """Does something after a while."""
        self._later.append((self.stage.now + delay, act))

    def run(self) -> list[Detection]:
        """Plays it until all is told that should be, or its time is over."""
        staged, stage = self.staged, self.stage
        if staged.set_up is not None:
            staged.set_up(self)
        stage.run_until(START + staged.quiet)
        self.begun = stage.now
        staged.goes_wrong(self)
        self._look_for_onsets()
        while stage.now < self.begun + staged.lasts and not self._is_over():
            stage.now += stage.tick
            for moment, act in [one for one in self._later if one[0] <= stage.now]:
                self._later.remove((moment, act))
                act()
            stage.step()
            self._look_for_onsets()
        return [self._detection(told) for told in staged.tells]

    def _is_over(self) -> bool:
        """All is told; what has not done harm by then never did."""
        return all(self._first(one.kind) is not None for one in self.staged.tells)

    def _look_for_onsets(self) -> None:
        for one in self.staged.tells:
            if one.kind not in self._onsets and (one.onset is None or one.onset(self)):
                self._onsets[one.kind] = self.stage.now

    def _first(self, kind: ConditionKind) -> datetime | None:
        begun = self.begun or START
        return next((at for at, alarm in self.alarms if at >= begun and kind_of(alarm.name) is kind), None)

    def _detection(self, told: Told) -> Detection:
        first, begun = self._first(told.kind), self.begun or START
        onset = self._onsets.get(told.kind)
        if first is None:
            return Detection(told.kind, self.staged.what, told.onset_is, False, False, 0.0, 0.0, float("inf"))
        alarm = next(alarm for at, alarm in self.alarms if at == first and kind_of(alarm.name) is told.kind)
        rules = Definitions(self.ensemble.plant, standard_catalogue())
        late_s = 0.0 if onset is None else max(0.0, (first - onset).total_seconds())
        early = any(at < begun and kind_of(alarm.name) is told.kind for at, alarm in self.alarms)
        return Detection(
            told.kind, self.staged.what, told.onset_is, True, early,
            (first - begun).total_seconds() / 60, late_s / 60,
            late_s / rules(alarm.chamber, alarm.name).respond_within_s,
        )  # fmt: skip

    def _witness(self, outgoing: Outgoing, now: datetime) -> None:
        body = outgoing.body
        if isinstance(body, bytes):
            self.heard[outgoing.topic] = body
        elif isinstance(body, ChamberStatus):
            self.statuses[body.chamber] = body
        elif isinstance(body, Alarm) and body.phase is AlarmPhase.UNACKNOWLEDGED:
            self.alarms.append((now, body))

    def _devices_speak(self, now: datetime) -> None:
        """Gauges on the wall, and each host's health."""
        for topic, says in self.gauges.items():
            value = says(self.elapsed_s)
            if value is not None:
                self.stage.ask(Outgoing(topic, b"%.6g" % value))
        for name in self.stage.members:
            if self.stage.alive(name):
                self._publish(Health(at=now, source=name, service=name, state=Wellness.RUNNING))

    def _publish(self, message: Message) -> None:
        retain = isinstance(message, Health)
        self.stage.ask(Outgoing(topic_for(self.stage_site, message), message, retain=retain))

    @property
    def stage_site(self) -> str:
        """Its name."""
        return self.ensemble.plant.site.name

    def _everybody(self, heed: Callable[[Any], Any]) -> None:
        for member in self.stage.members.values():
            if member.session is not None:
                self.stage.ask(*heed(member.core))


def falling(from_: float, per_hour: float, since_s: float) -> Callable[[float], float]:
    """A gauge that goes down evenly from a moment on."""
    return lambda elapsed_s: from_ - per_hour * max(0.0, elapsed_s - since_s) / 3600.0
