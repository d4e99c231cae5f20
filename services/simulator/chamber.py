"""What all simulated chambers share: the levels of their drives, faults in force, and the two ledgers."""

from collections.abc import Mapping

from services.simulator.faults import DRIVE_FAULTS, FaultKind

STATE = ("gained_j", "used_j", "elapsed_s")


class Chamber:
    """Levels 0..1 of each drive after faults; `gained_j` is the net heat that came in, `used_j` electricity."""

    __slots__ = ("compressor_level", "heater_level", "fan_level", "pump_level", "charge", "heats", "flows", "door_open",
                 "gained_j", "used_j", "elapsed_s", "power_w", "has_fan")  # fmt: skip

    def __init__(self, outputs: Mapping[str, str]) -> None:
        self.compressor_level = self.heater_level = self.fan_level = self.pump_level = 0.0
        self.charge = self.heats = self.flows = 1.0
        self.door_open = False
        self.gained_j = self.used_j = self.elapsed_s = self.power_w = 0.0
        self.has_fan = "fan" in outputs.values()

    def drive(self, drive: str, level: float) -> None:
        """Sets one drive: `compressor`, `heater`, `fan` or `pump`."""
        setattr(self, f"{drive}_level", level)

    def suffer(self, kinds: frozenset[FaultKind]) -> None:
        """The faults now in force that are of the chamber itself."""
        self.charge = 0.0 if DRIVE_FAULTS["compressor"] in kinds else 1.0
        self.heats = 0.0 if DRIVE_FAULTS["heater"] in kinds else 1.0
        self.flows = 0.0 if DRIVE_FAULTS["pump"] in kinds else 1.0
        self.door_open = FaultKind.DOOR_OPEN in kinds
