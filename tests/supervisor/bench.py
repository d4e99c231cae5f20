"""A bench for the supervisor: a simulated plant, relays that obey leases, and a clock in the test's hand."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from typing import Any

from schemas.alarms import Condition
from schemas.control import ChamberStatus, Command, Setpoint
from schemas.plant import Plant
from schemas.plant_file import loads
from schemas.requests import RequestBase
from schemas.telemetry import READING_MODELS, VALUE_FIELDS, Basis, Quality, ReadingBase, Report
from services.runtime.service import Incoming, Outgoing
from services.simulator.faults import Fault, FaultKind
from services.simulator.models import ChamberModel, FridgeModel, JacketedModel, KegeratorModel, ReservoirModel
from services.simulator.physics import Plant as SimulatedPlant
from services.simulator.weather import constant
from services.supervisor.core import Supervisor
from services.supervisor.deadband import Deadband
from services.supervisor.interlocks import INTERLOCKS, Row
from services.supervisor.memory import SupervisorState

START = datetime(2026, 3, 1, tzinfo=UTC)
TICK = timedelta(seconds=10)
REST_S = 300.0
Key = tuple[str, str]

_PROBE = "{measures: temperature, from: {simulated: true}}"
_DOOR = "{measures: contact, from: {simulated: true}}"
FRIDGE = f"""
    kind: fridge
    contents: {{volume: 20 L}}
    probes: {{beer: {_PROBE}, air: {_PROBE}, door: {_DOOR}}}
    outputs:
      cool: {{drives: compressor, to: {{simulated: true}}, power: 95 W, inrush: 4, circuit: ring}}
      heat: {{drives: heater, to: {{simulated: true}}, power: 60 W, circuit: ring}}
      fan: {{drives: fan, to: {{simulated: true}}, power: 3 W, circuit: ring}}
"""
KEGERATOR = f"""
    kind: kegerator
    probes: {{beer: {_PROBE}, air: {_PROBE}}}
    outputs:
      cool: {{drives: compressor, to: {{simulated: true}}, power: 95 W, inrush: 4, circuit: ring}}
      fan: {{drives: fan, to: {{simulated: true}}, power: 3 W}}
"""
BATH = f"""
    kind: reservoir
    contents: {{volume: 40 L, coolant: {{propylene_glycol: 30 %}}}}
    probes: {{bath: {_PROBE}}}
    outputs:
      chill: {{drives: compressor, to: {{simulated: true}}, power: 260 W, inrush: 4, circuit: ring}}
"""
CONICAL = f"""
    kind: jacketed
    cooled_by: bath
    contents: {{volume: 30 L}}
    probes: {{beer: {_PROBE}}}
    outputs:
      pump: {{drives: pump, to: {{simulated: true}}, power: 12 W, circuit: ring}}
      heat: {{drives: heater, to: {{simulated: true}}, power: 80 W, circuit: ring}}
"""
JACKETED: Mapping[str, ChamberModel] = {"bath": ReservoirModel(), "conical": JacketedModel(cooled_by="bath")}


@lru_cache(maxsize=64)
def plant_of(*, limit: str = "16 A", **chambers: str) -> Plant:
    """A plant on one circuit; each chamber's block as the file has it."""
    blocks = "".join(f"  {name}:{block}" for name, block in chambers.items())
    return loads(f"site: {{name: barn}}\ncircuits: {{ring: {{voltage: 230 V, limit: {limit}}}}}\nchambers:\n{blocks}")


def with_lines(block: str, *lines: str) -> str:
    """A chamber's block with more keys."""
    return block + "".join(f"    {line}\n" for line in lines)


def reading(chamber: str, probe: str, value: Any, at: datetime, measures: str = "temperature") -> ReadingBase:
    """A good reading; a value of None makes it bad."""
    model, quality = READING_MODELS[measures], Quality.BAD if value is None else Quality.GOOD
    fields = {VALUE_FIELDS[measures]: value}
    return model(at=at, source="bridge", chamber=chamber, probe=probe, quality=quality, **fields)


class Bench:
    """Moves time on by ticks; `relays` are what outputs really do, `history` every change of one of them.

    `changes` has the same in seconds that really passed. While `deaf`, commands are lost; while `mute`, reports are.
    """

    def __init__(
        self,
        plant: Plant,
        models: Mapping[str, ChamberModel] | None = None,
        *,
        room_c: float = 20.0,
        without: Sequence[str] = (),
        controllers: Any = Deadband,
        extra: Mapping[Key, tuple[str, Any]] | None = None,
    ) -> None:
        self.plant = plant
        self.table: tuple[Row, ...] = tuple(row for row in INTERLOCKS if row.id not in without)
        self.controllers = controllers
        self.now = START
        self.sim = SimulatedPlant(models or {"ale": FridgeModel()}, weather=constant(room_c), seed=1)
        self.extra = dict(extra or {})
        self.relays: dict[Key, float] = {}
        self.leases: dict[Key, datetime] = {}
        self.history: list[tuple[datetime, Key, float]] = []
        self.commands: list[Command] = []
        self.conditions: dict[tuple[str, str], Condition] = {}
        self.status: dict[str, ChamberStatus] = {}
        self.replies: list[Any] = []
        self.deaf = self.mute = False
        self.elapsed_s = 0.0
        self.changes: list[tuple[float, Key, float]] = []
        self.dropped_s: dict[Key, float] = {}
        self.silent: set[Key] = set()
        self.build(None)

    def build(self, restored: SupervisorState | None) -> None:
        """A new supervisor, as after a restart."""
        self.supervisor = Supervisor(self.plant, restored, table=self.table, controllers=self.controllers)
        self.take(self.supervisor.start(self.now))

    def ask(self, chamber: str, temperature_c: float, **fields: Any) -> None:
        """A setpoint from the scheduler."""
        fields = {"freezes_at_c": -2.2, **fields}
        self.send(Setpoint(at=self.now, source="scheduler", chamber=chamber, temperature_c=temperature_c, **fields))

    def send(self, body: Any) -> None:
        """Any message to the supervisor."""
        self.take(self.supervisor.receive(Incoming("", body), self.now))

    def request(self, kind: type[RequestBase], name: str = "r1", **fields: Any) -> Any:
        """A person's request; returns the answer."""
        self.send(kind(at=self.now, source="test", id=name, client="test", who="Ada", **fields))
        return self.replies[-1]

    def take(self, messages: Iterable[Outgoing]) -> None:
        """Does what the supervisor says, unless the bench is deaf."""
        for body in [message.body for message in messages]:
            if isinstance(body, Command):
                assert body.at == self.now, "a command is for now"
                self.commands.append(body)
                if not self.deaf:
                    self._obey(body)
            elif isinstance(body, Condition):
                self.conditions[body.chamber, body.name] = body
            elif isinstance(body, ChamberStatus):
                self.status[body.chamber] = body
            elif hasattr(body, "outcome"):
                self.replies.append(body)

    def _obey(self, command: Command) -> None:
        key = command.chamber, command.output
        resting = self.elapsed_s < self.dropped_s.get(key, -REST_S) + REST_S
        if command.level and not self.relays.get(key) and resting:
            return
        self.leases[key] = command.at + timedelta(seconds=command.lease_s)
        self._set(key, command.level)

    def _set(self, key: Key, level: float) -> None:
        if self.relays.get(key) == level:
            return
        if self.relays.get(key, 0.0) != level:
            self.history.append((self.now, key, level))
            self.changes.append((self.elapsed_s, key, level))
        self.relays[key] = level
        if not self.mute:
            self.send(self.report(key, level))

    def drop(self, key: Key) -> None:
        """What the bridge does at a lease's end; a compressor then rests, whatever is commanded."""
        self.dropped_s[key] = self.elapsed_s
        self._set(key, 0.0)

    def set_clock(self, by: timedelta, noticed: bool) -> None:
        """Sets the wall clock, whereupon the bridge ends every lease; the supervisor may be told."""
        self.now += by
        for key, level in list(self.relays.items()):
            if level:
                self.drop(key)
        if noticed:
            self.take(self.supervisor.clock_stepped(by, self.now))

    def report(self, key: Key, level: float | None, basis: Basis = Basis.ECHOED) -> Report:
        """What the bridge would say."""
        lease = self.leases.get(key) if level else None
        return Report(
            at=self.now,
            source="bridge",
            chamber=key[0],
            output=key[1],
            level=level,
            basis=basis,
            since=self.now,
            lease_ends=lease,
        )

    def run(self, **duration: float) -> "Bench":
        """Lets time pass, with the simulated plant."""
        for _ in range(round(timedelta(**duration) / TICK)):
            self.step(self.sim.advance(TICK.total_seconds(), self.relays))
        return self

    def step(self, values: Mapping[Key, float]) -> None:
        """One tick with these readings."""
        self.now += TICK
        self.elapsed_s += TICK.total_seconds()
        for key, ends in list(self.leases.items()):
            if self.now >= ends and self.relays.get(key):
                self.drop(key)
        for key, value in values.items():
            if key not in self.silent and key[1] != "level":
                contact = key[1] == "door"
                self.send(
                    reading(*key, bool(value) if contact else value, self.now, "contact" if contact else "temperature")
                )
        for key, (measures, value) in self.extra.items():
            self.send(reading(*key, value, self.now, measures))
        self.take(self.supervisor.tick(self.now))

    def hold(self, values: Mapping[Key, float], **duration: float) -> "Bench":
        """Lets time pass with these readings and no plant."""
        for _ in range(round(timedelta(**duration) / TICK)):
            self.step(values)
        return self

    def fault(self, kind: FaultKind, chamber: str = "ale", target: str = "") -> None:
        """Something breaks in the simulated plant."""
        self.sim.inject(Fault(kind, chamber, target))

    def level(self, output: str, chamber: str = "ale") -> float:
        """What an output does."""
        return self.relays.get((chamber, output), 0.0)

    def standing(self, chamber: str = "ale") -> set[str]:
        """Names of the conditions that are true."""
        return {name for (where, name), one in self.conditions.items() if where == chamber and one.active}

    def ids(self, chamber: str = "ale") -> set[str]:
        """Interlocks that the chamber's status shows."""
        return {one.id for one in self.status[chamber].interlocks}


def fridge(*lines: str, **options: Any) -> Bench:
    """A bench with one fridge called `ale`."""
    return Bench(plant_of(ale=with_lines(FRIDGE, *lines)), **options)


def jacketed(**options: Any) -> Bench:
    """A bench with `conical` on `bath`."""
    return Bench(plant_of(bath=BATH, conical=CONICAL), options.pop("models", JACKETED), **options)


def kegerator(*lines: str, **options: Any) -> Bench:
    """A bench with one kegerator called `kegs`."""
    return Bench(plant_of(kegs=with_lines(KEGERATOR, *lines)), {"kegs": KegeratorModel()}, **options)
