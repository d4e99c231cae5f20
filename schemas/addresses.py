"""Where a probe's value comes from and where an output's level goes: one model a driver."""

from typing import Annotated, Any

from pydantic import AfterValidator, Discriminator, Field, StringConstraints, Tag

from schemas.base import Model, Name
from schemas.topics import ROOT, valid_topic


def _device_topic(written: str) -> str:
    if not valid_topic(written):
        raise ValueError(f"{written!r} is no MQTT topic; it must have no wildcard and be 1 to 65,535 bytes long")
    if written.startswith((f"{ROOT}/", "$")):
        raise ValueError(f"{written!r} is reserved; devices speak outside '{ROOT}/' and '$'")
    return written


DeviceTopic = Annotated[str, AfterValidator(_device_topic)]
Payload = Annotated[str, StringConstraints(min_length=1, max_length=1000)]


def _json_path(written: str) -> str:
    from jsonpath import JSONPathError, compile  # heavy, and only this field needs it

    try:
        compile(written, strict=True)
    except JSONPathError as error:
        raise ValueError(f"{written!r} is no RFC 9535 JSONPath: {error}; write it like '$.p[0]'") from error
    return written


class MqttProbe(Model):
    """A topic on which some device publishes; `value` is an RFC 9535 JSONPath, absent for a bare number or word."""

    mqtt: DeviceTopic
    value: Annotated[str, AfterValidator(_json_path)] | None = None
    open: Payload | int | bool | None = Field(default=None, description="What a contact says when it is open.")
    time: Annotated[str, AfterValidator(_json_path)] | None = Field(
        default=None, description="Where the device's own time stands: ISO 8601, or seconds or milliseconds since 1970."
    )
    device: Name | None = Field(default=None, description="Whose account speaks here; else from the topic's levels.")


class OneWireProbe(Model):
    """A sensor of the Linux kernel's w1 bus, by its id."""

    onewire: Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{2}-[0-9a-f]{12}$")]
    folder: str = Field(default="/sys/bus/w1/devices", description="Where the kernel shows its w1 devices.")


class SimulatedProbe(Model):
    """A probe that exists only in the simulator, on the topic that belongs to its chamber and name."""

    simulated: Annotated[bool, Field(description="Always true.")]


class MqttOutput(Model):
    """A topic that some device obeys. `state` is where it tells what it really does."""

    mqtt: DeviceTopic
    on: Payload = "1"
    off: Payload = "0"
    state: DeviceTopic | None = None
    state_value: Annotated[str, AfterValidator(_json_path)] | None = None
    lease: Annotated[bool, Field(description="The device itself drops to off when it hears nothing.")] = False
    retain: bool = False
    device: Name | None = Field(default=None, description="Whose account obeys it; else from the topic's levels.")


class SimulatedOutput(Model):
    """An output that exists only in the simulator."""

    simulated: Annotated[bool, Field(description="Always true.")]


PROBE_DRIVERS: dict[str, type[Model]] = {"mqtt": MqttProbe, "onewire": OneWireProbe, "simulated": SimulatedProbe}
OUTPUT_DRIVERS: dict[str, type[Model]] = {"mqtt": MqttOutput, "simulated": SimulatedOutput}


def _driver_of(value: Any) -> str | None:
    names = value if isinstance(value, dict) else getattr(type(value), "model_fields", {})
    return next((driver for driver in PROBE_DRIVERS if driver in names), None)


Source = Annotated[
    Annotated[MqttProbe, Tag("mqtt")]
    | Annotated[OneWireProbe, Tag("onewire")]
    | Annotated[SimulatedProbe, Tag("simulated")],
    Discriminator(
        _driver_of,
        custom_error_type="driver",
        custom_error_message="names no driver known here; write one of 'mqtt: TOPIC', 'onewire: ID', 'simulated: true'",
    ),
]
Target = Annotated[
    Annotated[MqttOutput, Tag("mqtt")] | Annotated[SimulatedOutput, Tag("simulated")],
    Discriminator(
        _driver_of,
        custom_error_type="driver",
        custom_error_message="names no driver known here; write one of 'mqtt: TOPIC', 'simulated: true'",
    ),
]
