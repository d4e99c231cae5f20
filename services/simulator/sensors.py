"""Sensors: first-order lag, offset, noise, and the steps of the device's number."""

from math import exp
from random import Random

from services.simulator.models import ProbeModel

POWER_ON_C = 85.0
"""What a one-wire thermometer says before its first conversion."""


class Sensor:
    """Follows what it touches; `read` gives the number that the device would send."""

    __slots__ = ("model", "value", "last", "_random", "_dt", "_share")

    def __init__(self, model: ProbeModel, random: Random) -> None:
        self.model = model
        self.value: float | None = None
        self.last = 0.0
        self._random = random
        self._dt = 0.0
        self._share = 1.0

    def follow(self, truth: float, dt: float) -> None:
        """Moves towards `truth` for `dt` seconds; at the first call it is there at once."""
        if self.value is None:
            self.value = truth
        if dt != self._dt:
            self._dt = dt
            self._share = 1.0 - exp(-dt / self.model.lag_s) if self.model.lag_s > 0.0 else 1.0
        self.value += (truth - self.value) * self._share

    def read(self) -> float:
        """The device's number now."""
        model = self.model
        value = (self.value or 0.0) + model.offset
        if model.noise:
            value += self._random.gauss(0.0, model.noise)
        self.last = round(value / model.resolution) * model.resolution
        return self.last
