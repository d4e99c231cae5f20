"""Drivers: one file for each way to reach devices, and the tables that say which model of address each one serves."""

from collections.abc import Callable
from typing import Any

from schemas.addresses import MqttOutput, MqttProbe, OneWireProbe, SimulatedOutput, SimulatedProbe
from schemas.base import Model
from schemas.plant import Output, Probe
from services.bridge.drivers import mqtt, onewire, simulated
from services.bridge.drivers.driver import OutputLine, Place, ProbeLine

PROBES: dict[type[Model], Callable[[Place, Probe, Any], ProbeLine]] = {
    MqttProbe: mqtt.probe,
    OneWireProbe: onewire.probe,
    SimulatedProbe: simulated.probe,
}
OUTPUTS: dict[type[Model], Callable[[Place, Output, Any], OutputLine]] = {
    MqttOutput: mqtt.output,
    SimulatedOutput: simulated.output,
}


def probe_line(place: Place, probe: Probe) -> ProbeLine:
    """The line of a probe, by the driver that its address belongs to."""
    return PROBES[type(probe.source)](place, probe, probe.source)


def output_line(place: Place, output: Output) -> OutputLine:
    """The line of an output, by the driver that its address belongs to."""
    return OUTPUTS[type(output.target)](place, output, output.target)
