"""What can go wrong with a plant, switched from outside."""

from dataclasses import dataclass
from enum import StrEnum


class FaultKind(StrEnum):
    """`target` is an output for the first five, a probe for those that begin with `probe`, and empty for the rest."""

    WELDED_ON = "welded_on"
    WELDED_OFF = "welded_off"
    HEATER_DEAD = "heater_dead"
    NO_COOLING = "no_cooling"
    NO_FLOW = "no_flow"
    PROBE_OUT = "probe_out"
    PROBE_DEAD = "probe_dead"
    PROBE_STUCK = "probe_stuck"
    PROBE_POWER_ON = "probe_power_on"
    DOOR_OPEN = "door_open"
    POWER_CUT = "power_cut"


OUTPUT_FAULTS = {
    FaultKind.WELDED_ON: 1.0,
    FaultKind.WELDED_OFF: 0.0,
}
"""What the output does instead of what it is told."""

DRIVE_FAULTS = {"heater": FaultKind.HEATER_DEAD, "compressor": FaultKind.NO_COOLING, "pump": FaultKind.NO_FLOW}
"""The fault by which each drive takes power and does nothing (a dead heater takes none)."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault of one chamber; with an empty `chamber`, `POWER_CUT` means the whole site."""

    kind: FaultKind
    chamber: str = ""
    target: str = ""
