"""The plant: one site's circuits and chambers, as the plant file describes them.

A field that people write with a unit (`volume: 23 L`) is kept as a number in the unit that its Python name states.
"""

from datetime import timedelta
from enum import StrEnum
from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo

from pydantic import AfterValidator, Field, StringConstraints, model_validator

from schemas.addresses import SimulatedOutput, SimulatedProbe, Source, Target
from schemas.base import Model, Name, Text
from schemas.history import History
from schemas.people import AlarmChanges, NotifierRules, Person, Weighed
from schemas.quantities import Amperes, Bars, Degrees, Kelvins, Litres, Metres, Percent, Seconds, Volts, Watts


def _known_zone(written: str) -> str:
    try:
        ZoneInfo(written)
    except (KeyError, ValueError, OSError) as error:
        raise ValueError(f"{written!r} is no time zone; write it like 'Europe/Dublin'") from error
    return written


class Site(Model):
    """One place with one time zone."""

    name: Name
    timezone: Annotated[str, AfterValidator(_known_zone)] = "UTC"
    altitude_m: Metres = Field(default=0.0, alias="altitude")
    price_per_kwh: float | None = Field(default=None, ge=0, description="Of electricity, in your own currency.")


class Circuit(Model):
    """An electrical circuit with a current limit that outputs share."""

    voltage_v: Volts = Field(alias="voltage")
    limit_a: Amperes = Field(alias="limit", gt=0)


class Broker(Model):
    """The MQTT broker, when it is not the embedded one."""

    address: Annotated[str, StringConstraints(pattern=r"^mqtts?://[^/\s:]+(:\d{1,5})?$")]
    user: str | None = None
    password_file: str | None = None
    ca_file: str | None = None


class Measure(StrEnum):
    """What a probe measures."""

    TEMPERATURE = "temperature"
    CONTACT = "contact"
    GRAVITY = "gravity"
    PRESSURE = "pressure"
    MASS = "mass"
    FLOW = "flow"
    CO2 = "co2"
    HUMIDITY = "humidity"
    POWER = "power"


class Point(StrEnum):
    """Which point of a chamber a temperature probe is at."""

    BEER = "beer"
    AIR = "air"
    BATH = "bath"
    LINE = "line"
    ROOM = "room"


class Calibration(Model):
    """One or two points: what the probe reads against what is true, in the probe's own unit."""

    reads: Annotated[tuple[float, ...], Field(min_length=1, max_length=2)]
    true: Annotated[tuple[float, ...], Field(min_length=1, max_length=2)]

    @model_validator(mode="before")
    @classmethod
    def _take_true_as_a_word(cls, written: Any) -> Any:
        """As a key, YAML's `true` is a truth value."""
        if isinstance(written, dict) and True in written:
            return {"true" if key is True else key: value for key, value in written.items()}
        return written


class Probe(Model):
    """One measured point. A temperature probe named after a point (`beer`, `air`, ...) need not say `at`."""

    measures: Measure
    source: Source = Field(alias="from")
    at: Point | None = None
    every_s: Seconds = Field(default=10.0, alias="every", gt=0, le=3600)
    silent_after_s: Seconds | None = Field(default=None, alias="silent_after")
    calibration: Calibration | None = None
    lowest: float | None = Field(default=None, description="Below it a value is implausible, in the probe's own unit.")
    highest: float | None = Field(default=None, description="Above it a value is implausible.")
    fastest_per_min: float | None = Field(default=None, gt=0, description="A quicker change is implausible.")
    weighs: Weighed | None = Field(default=None, description="What stands on a scale.")

    @property
    def stale_after(self) -> timedelta:
        """How old a reading may be and still steer: six sampling intervals, at least 60 s, unless the file says."""
        return timedelta(seconds=self.silent_after_s if self.silent_after_s is not None else max(60, 6 * self.every_s))


class Drive(StrEnum):
    """What an output drives."""

    COMPRESSOR = "compressor"
    HEATER = "heater"
    PUMP = "pump"
    FAN = "fan"
    VALVE = "valve"


class Output(Model):
    """One actuator. `rest` and `run` are the least times a compressor stays off and on."""

    drives: Drive
    target: Target = Field(alias="to")
    power_w: Watts = Field(default=0.0, alias="power")
    inrush: Annotated[float, Field(ge=1, le=20, description="Starting current over running current.")] = 1.0
    circuit: Name | None = None
    rest_s: Seconds = Field(default=300.0, alias="rest", le=3600)
    run_s: Seconds = Field(default=180.0, alias="run", le=3600)
    starts_per_hour: Annotated[int, Field(ge=1, le=60, description="Most starts of a compressor within an hour.")] = 6
    proportional: bool = False
    watched_by: Literal["nothing", "device"] = Field(
        default="nothing", description="'device' when the relay itself switches off on silence or has a hardware timer."
    )


class Coolant(Model):
    """What is in a reservoir, by mass fraction; neither means water."""

    propylene_glycol_percent: Percent = Field(default=0.0, alias="propylene_glycol", le=60)
    ethylene_glycol_percent: Percent = Field(default=0.0, alias="ethylene_glycol", le=60)


class Contents(Model):
    """What a chamber holds."""

    volume_l: Litres = Field(alias="volume")
    coolant: Coolant | None = None


class Limits(Model):
    """Temperatures that no setpoint and no control may pass."""

    lowest_c: Degrees = Field(default=-2.0, alias="lowest")
    highest_c: Degrees = Field(default=30.0, alias="highest")
    air_highest_c: Degrees = Field(default=45.0, alias="air_highest")
    freezing_margin_k: Kelvins = Field(default=0.5, alias="freezing_margin", ge=0)
    door_pause_s: Seconds = Field(default=900.0, alias="door_pause")
    pressure_highest_bar: Bars = Field(
        default=2.5, alias="pressure_highest", description="Over the atmosphere; above it people are told."
    )


class ChamberBase(Model):
    """What every chamber has."""

    title: Text = ""
    contents: Contents = Contents(volume_l=20.0)
    probes: dict[Name, Probe] = Field(min_length=1)
    outputs: dict[Name, Output] = {}
    limits: Limits = Limits()
    hold_c: Degrees | None = Field(default=None, alias="hold", description="Asked for when no batch asks for anything.")
    priority: Annotated[int, Field(ge=1, le=9, description="1 is served first when current is short.")] = 5
    steer_by_air: bool = Field(default=True, description="Without a beer probe to trust, hold the air instead.")
    in_use: bool = Field(default=True, description="False: nothing in it is worth an alarm that is not critical.")
    alarms: AlarmChanges = Field(default={}, description="What is otherwise than the catalogue says, by alarm.")

    def probe_at(self, point: Point) -> str | None:
        """The name of the temperature probe at a point, or None."""
        return next((name for name, probe in self.probes.items() if point_of(name, probe) == point), None)

    def output_that(self, drives: Drive) -> str | None:
        """The name of the first output that drives such a thing, or None."""
        return next((name for name, output in self.outputs.items() if output.drives == drives), None)


class Fridge(ChamberBase):
    """A vessel standing in cooled air."""

    kind: Literal["fridge"]


class Kegerator(ChamberBase):
    """A fridge for kegs that are being served."""

    kind: Literal["kegerator"]


class Jacketed(ChamberBase):
    """A vessel cooled through its jacket by a reservoir."""

    kind: Literal["jacketed"]
    cooled_by: Name


class Reservoir(ChamberBase):
    """A glycol or water bath with its own chiller; how cold it may be is its coolant's affair."""

    kind: Literal["reservoir"]
    limits: Limits = Limits(lowest_c=-25.0)


Chamber = Annotated[Fridge | Kegerator | Jacketed | Reservoir, Field(discriminator="kind")]


class Plant(Model):
    """One site."""

    site: Site
    broker: Broker | None = None
    history: History = History()
    circuits: dict[Name, Circuit] = {}
    chambers: dict[Name, Chamber] = Field(min_length=1)
    people: dict[Name, Person] = {}
    notifier: NotifierRules = NotifierRules()

    @property
    def zone(self) -> ZoneInfo:
        """The site's time zone."""
        return ZoneInfo(self.site.timezone)


def point_of(name: str, probe: Probe) -> Point | None:
    """The point a temperature probe is at: as the file says, else by its name; None for other measures."""
    if probe.measures is not Measure.TEMPERATURE:
        return None
    return probe.at or (Point(name) if name in tuple(Point) else None)


def as_simulated(plant: Plant) -> Plant:
    """The same plant with every probe and output in the simulator's hands, for rehearsals and demonstrations."""
    chambers = {name: _simulated_chamber(chamber) for name, chamber in plant.chambers.items()}
    return plant.model_copy(update={"chambers": chambers})


def _simulated_chamber(chamber: ChamberBase) -> ChamberBase:
    source, target = SimulatedProbe(simulated=True), SimulatedOutput(simulated=True)
    return chamber.model_copy(
        update={
            "probes": {name: probe.model_copy(update={"source": source}) for name, probe in chamber.probes.items()},
            "outputs": {name: output.model_copy(update={"target": target}) for name, output in chamber.outputs.items()},
        }
    )
