"""What deciding costs: the supervisor itself, with control, interlocks and guards, on a hundred simulated chambers.

Deciding is all that goes from what was sensed to what outputs shall do: facts, estimate, control, interlocks, guards
and sharing. The share of a core counts the messages, in and out, too.
"""

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from time import process_time
from typing import Any

from schemas.control import Command, Setpoint
from schemas.plant import Plant
from schemas.plant_file import loads
from schemas.telemetry import Basis, ContactReading, Quality, Report, TemperatureReading
from services.runtime.service import Incoming, Outgoing
from services.simulator.models import ChamberModel, FridgeModel, JacketedModel, ReservoirModel
from services.simulator.physics import Key
from services.simulator.physics import Plant as SimulatedPlant
from services.simulator.weather import constant
from services.supervisor.core import build

FRIDGES, BATHS, VESSELS_A_BATH = 60, 8, 4
CHAMBERS = FRIDGES + BATHS * (1 + VESSELS_A_BATH)
TICK_S = 10.0
WARM_UP_H, STRETCH_H, STRETCHES = 0.5, 0.75, 3
"""Models are made anew, as in life, within each stretch; the quickest counts, for others use the machine, too."""
_START = datetime(2026, 4, 1, tzinfo=UTC)
_HEAD = "site: {name: barn}\ncircuits: {}\nchambers:\n"
_PROBE = "{measures: temperature, from: {simulated: true}}"
_DOOR = "{measures: contact, from: {simulated: true}}"
_OUT = "to: {simulated: true}"
_FRIDGE = f"""    kind: fridge
    contents: {{volume: 20 L}}
    probes: {{beer: {_PROBE}, air: {_PROBE}, door: {_DOOR}}}
    outputs:
      cool: {{drives: compressor, {_OUT}, power: 95 W}}
      heat: {{drives: heater, {_OUT}, power: 60 W}}
      fan: {{drives: fan, {_OUT}, power: 3 W}}
"""
_BATH = f"""    kind: reservoir
    contents: {{volume: 60 L, coolant: {{propylene_glycol: 30 %}}}}
    probes: {{bath: {_PROBE}}}
    outputs: {{chill: {{drives: compressor, {_OUT}, power: 310 W}}}}
"""
_VESSEL = f"""    kind: jacketed
    contents: {{volume: 30 L}}
    probes: {{beer: {_PROBE}}}
    outputs:
      pump: {{drives: pump, {_OUT}, power: 12 W}}
      heat: {{drives: heater, {_OUT}, power: 80 W}}
"""


@dataclass(slots=True)
class Cost:
    """CPU seconds of deciding, and of messages; over so many seconds of all chambers."""

    deciding_s: float = 0.0
    talking_s: float = 0.0
    lasted_s: float = 0.0

    @property
    def decision_ms_per_chamber_minute(self) -> float:
        """Control and interlocks together."""
        return 1000.0 * self.deciding_s / CHAMBERS / (self.lasted_s / 60.0)

    @property
    def share_of_a_core(self) -> float:
        """All of it, of one core."""
        return (self.deciding_s + self.talking_s) / self.lasted_s


def described() -> tuple[Plant, dict[str, ChamberModel]]:
    """A plant of a hundred chambers, and their models."""
    blocks: dict[str, str] = {f"fridge-{k}": _FRIDGE for k in range(FRIDGES)}
    models: dict[str, ChamberModel] = {name: FridgeModel() for name in blocks}
    for bath in (f"bath-{k}" for k in range(BATHS)):
        blocks[bath], models[bath] = _BATH, ReservoirModel(volume_l=60.0)
        for vessel in (f"{bath}-vessel-{k}" for k in range(VESSELS_A_BATH)):
            blocks[vessel], models[vessel] = f"{_VESSEL}    cooled_by: {bath}\n", JacketedModel(bath)
    return loads(_HEAD + "".join(f"  {name}:\n{block}" for name, block in blocks.items())), models


@dataclass(slots=True)
class Hall:
    """The hundred chambers, and the supervisor over them."""

    cost: Cost = field(default_factory=Cost)
    now: datetime = _START
    levels: dict[Key, float] = field(default_factory=dict)
    _supervisor: Any = None
    _sim: Any = None

    def __post_init__(self) -> None:
        plant, models = described()
        self._sim = SimulatedPlant(models, constant(20.0), seed=1)
        self._supervisor = build(plant)
        list(self._supervisor.start(self.now))
        for name, chamber in plant.chambers.items():
            if chamber.kind != "reservoir":
                asked = Setpoint(at=self.now, source="scheduler", chamber=name, temperature_c=18.0)
                list(self._supervisor.receive(Incoming("", asked), self.now))

    def run(self, hours: float) -> Cost:
        """Lets so many hours pass, and says what they cost."""
        self.cost = Cost()
        for _ in range(round(hours * 3600.0 / TICK_S)):
            self._step()
        return self.cost

    def _step(self) -> None:
        values = self._sim.advance(TICK_S, self.levels)
        self.now += timedelta(seconds=TICK_S)
        heard = [Incoming("", one) for key, value in values.items() if (one := self._reading(key, value))]
        before = process_time()
        said = [one for incoming in heard for one in self._supervisor.receive(incoming, self.now)]
        received = process_time()
        saying = self._supervisor.tick(self.now)
        decided = process_time()
        said += list(saying)
        for report in self._obey(said):
            list(self._supervisor.receive(report, self.now))
        self.cost.talking_s += received - before + process_time() - decided
        self.cost.deciding_s += decided - received
        self.cost.lasted_s += TICK_S

    def _reading(self, key: Key, value: float) -> TemperatureReading | ContactReading | None:
        chamber, probe = key
        common: dict[str, Any] = {"at": self.now, "source": "bridge", "chamber": chamber, "probe": probe}
        if probe == "door":
            return ContactReading(**common, quality=Quality.GOOD, is_open=bool(value))
        return None if probe == "level" else TemperatureReading(**common, quality=Quality.GOOD, temperature_c=value)

    def _obey(self, said: list[Outgoing]) -> list[Incoming]:
        reports = []
        for body in (outgoing.body for outgoing in said):
            if isinstance(body, Command) and self.levels.get((body.chamber, body.output)) != body.level:
                self.levels[body.chamber, body.output] = body.level
                report = Report(
                    at=self.now, source="bridge", chamber=body.chamber, output=body.output, level=body.level,
                    basis=Basis.ECHOED, since=self.now, lease_ends=self.now + timedelta(seconds=body.lease_s),
                )  # fmt: skip
                reports.append(Incoming("", report))
        return reports


def measure() -> Cost:
    """The quickest stretch after a warm-up."""
    hall = Hall()
    hall.run(WARM_UP_H)
    return min((hall.run(STRETCH_H) for _ in range(STRETCHES)), key=lambda cost: cost.deciding_s)
