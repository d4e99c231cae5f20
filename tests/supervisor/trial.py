"""A simulated chamber under one controller, with the compressor's rest and run: what the control tests drive."""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

from services.simulator.models import FridgeModel
from services.simulator.physics import Plant, Truth
from services.simulator.weather import constant
from services.supervisor.control import Decision, Rules, Sight
from services.supervisor.decide import BeerController

START = datetime(2026, 4, 1, tzinfo=UTC)
RULES = Rules(
    "fridge", 20.0, has_heater=True, has_fan=True, has_air_probe=True, cooling_power_w=95.0, heater_power_w=60.0
)


@dataclass
class Trial:
    """Ten-second steps; `setpoint` gives degC by hour."""

    plant: Plant
    controller: BeerController = field(default_factory=lambda: BeerController(RULES))
    setpoint: Callable[[float], float] = lambda hour: 18.0
    elapsed_s: float = 0.0
    cool: bool = False
    heat: bool = False
    fan: float = 0.0
    switched_s: float = -1e9
    errors: list[float] = field(default_factory=list)
    decisions: list[Decision] = field(default_factory=list)

    def hours(self, hours: float) -> "Trial":
        """On for so long."""
        for _ in range(round(hours * 360)):
            self._tick()
        return self

    def _tick(self) -> None:
        reads = self.plant.read()
        asked = self.setpoint(self.elapsed_s / 3600.0)
        ready = 0.0 if self.cool else max(0.0, self.switched_s + 300.0 - self.elapsed_s)
        decision = self.controller.decide(
            Sight(
                START + timedelta(seconds=self.elapsed_s), asked, reads.get(("ale", "beer")), reads.get(("ale", "air")),
                cooling_on=self.cool, heating_on=self.heat, fan_on=self.fan > 0.0, ready_in_s=ready,
            )
        )  # fmt: skip
        wish = decision.cool > 0.5 or (self.cool and self.elapsed_s - self.switched_s < 180.0)
        if wish is not self.cool:
            self.cool, self.switched_s = wish, self.elapsed_s
        self.heat, self.fan = decision.heat > 0.5 and not wish, decision.fan
        self.decisions.append(decision)
        self.errors.append(self.plant.truth("ale").beer_c - asked)
        levels = {("ale", "cool"): float(self.cool), ("ale", "heat"): float(self.heat), ("ale", "fan"): self.fan}
        self.plant.advance(10.0, levels)
        self.elapsed_s += 10.0

    @property
    def truth(self) -> Truth:
        """Of the beer."""
        return self.plant.truth("ale")


def trial(model: FridgeModel, room_c: float, setpoint: Callable[[float], float] = lambda hour: 18.0) -> Trial:
    """A fridge in a constant room."""
    return Trial(Plant({"ale": model}, constant(room_c), seed=5), setpoint=setpoint)
