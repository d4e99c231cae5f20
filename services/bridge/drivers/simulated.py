"""Devices that exist only in the simulator: bare numbers on topics that belong to chamber and name."""

from schemas.addresses import SimulatedOutput, SimulatedProbe
from schemas.plant import Measure, Output, Probe
from schemas.topics import simulated_probe, simulated_relay
from services.bridge.drivers.driver import OutputLine, Payload, Place, ProbeLine, Sample, contact_in, number_in


def probe(place: Place, probe: Probe, source: SimulatedProbe) -> ProbeLine:
    """A line that reads a bare number; 1 is an open contact."""
    read = _contact if probe.measures is Measure.CONTACT else _number
    return ProbeLine(simulated_probe(place.site, place.chamber, place.name), read)


def output(place: Place, output: Output, target: SimulatedOutput) -> OutputLine:
    """A line that sends "1" or "0", or the level itself to a proportional output."""
    payload = _proportional if output.proportional else _switched
    return OutputLine(simulated_relay(place.site, place.chamber, place.name), payload)


def _number(payload: Payload) -> Sample:
    return Sample(number_in(payload.text()))


def _contact(payload: Payload) -> Sample:
    return Sample(contact_in(payload.text()))


def _switched(level: float) -> bytes:
    return b"1" if level >= 0.5 else b"0"


def _proportional(level: float) -> bytes:
    return f"{level:.6g}".encode()
