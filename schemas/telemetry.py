"""What the bridge says: readings of probes, and reports of what outputs really do."""

from enum import StrEnum
from typing import Annotated, Literal

from pydantic import Field, TypeAdapter

from schemas.base import Celsius, Finite, Instant, Level, Message, Name, NotNegative, Text


class Quality(StrEnum):
    """How far a reading can be trusted, as in OPC UA: only `good` may steer, and `bad` explains itself."""

    GOOD = "good"
    UNCERTAIN = "uncertain"
    BAD = "bad"


class ReadingBase(Message):
    """One probe's value at one time. The value is None when nothing could be made of what the device sent."""

    chamber: Name
    probe: Name
    quality: Quality
    reason: Text = Field(default="", description="Why the quality is not good.")

    @property
    def value(self) -> float | None:
        """The value as a plain number, in the unit that its field's name states; a contact counts 1 when open."""
        raw: float | bool | None = getattr(self, VALUE_FIELDS[self.measures])  # type: ignore[attr-defined]
        return None if raw is None else float(raw)


class TemperatureReading(ReadingBase):
    """A temperature probe."""

    measures: Literal["temperature"] = "temperature"
    temperature_c: Celsius | None


class ContactReading(ReadingBase):
    """A contact, such as a door switch."""

    measures: Literal["contact"] = "contact"
    is_open: bool | None


class GravityReading(ReadingBase):
    """A continuous gravity instrument, as specific gravity 20/20."""

    measures: Literal["gravity"] = "gravity"
    gravity_sg: Annotated[float, Field(ge=0.9, le=1.3)] | None


class PressureReading(ReadingBase):
    """A pressure, above the atmosphere's."""

    measures: Literal["pressure"] = "pressure"
    pressure_bar: Finite | None


class MassReading(ReadingBase):
    """A scale under a keg or cylinder."""

    measures: Literal["mass"] = "mass"
    mass_kg: Finite | None


class FlowReading(ReadingBase):
    """A flow of beer or coolant."""

    measures: Literal["flow"] = "flow"
    flow_l_per_min: Finite | None


class Co2Reading(ReadingBase):
    """Carbon dioxide in the room's air, by volume."""

    measures: Literal["co2"] = "co2"
    co2_ppm: NotNegative | None


class HumidityReading(ReadingBase):
    """Relative humidity."""

    measures: Literal["humidity"] = "humidity"
    humidity_percent: Annotated[float, Field(ge=0, le=110)] | None


class PowerReading(ReadingBase):
    """Electrical power drawn."""

    measures: Literal["power"] = "power"
    power_w: Finite | None


Reading = (
    TemperatureReading
    | ContactReading
    | GravityReading
    | PressureReading
    | MassReading
    | FlowReading
    | Co2Reading
    | HumidityReading
    | PowerReading
)
READING: TypeAdapter[Reading] = TypeAdapter(Annotated[Reading, Field(discriminator="measures")])

READING_MODELS: dict[str, type[Reading]] = {
    "temperature": TemperatureReading,
    "contact": ContactReading,
    "gravity": GravityReading,
    "pressure": PressureReading,
    "mass": MassReading,
    "flow": FlowReading,
    "co2": Co2Reading,
    "humidity": HumidityReading,
    "power": PowerReading,
}
VALUE_FIELDS: dict[str, str] = {
    "temperature": "temperature_c",
    "contact": "is_open",
    "gravity": "gravity_sg",
    "pressure": "pressure_bar",
    "mass": "mass_kg",
    "flow": "flow_l_per_min",
    "co2": "co2_ppm",
    "humidity": "humidity_percent",
    "power": "power_w",
}


class Basis(StrEnum):
    """How the bridge knows an output's level: told back by the device, only sent to it, or not known at all."""

    MEASURED = "measured"
    ECHOED = "echoed"
    UNKNOWN = "unknown"


class Report(Message):
    """What an output really does. `at` is when the bridge last knew; `since` is when the level last changed."""

    chamber: Name
    output: Name
    level: Level | None = Field(description="None when unknown, as after a restart.")
    basis: Basis
    since: Instant
    lease_ends: Instant | None = Field(default=None, description="When it drops to its safe level unless told again.")
    why: Text = ""
