"""Compressor and heater: what they do to heat and what they take from the mains."""

from services.simulator.models import CompressorModel

_REFERENCE_C = -10.0
_ROOM_C = 25.0
_PER_EVAPORATOR_K = 0.03
_PER_ROOM_K = 0.01
_DIFFERENTIAL_K = 2.0
_SHORT_REST_S = 300.0


class Compressor:
    """`fill` is how far the refrigerant has been pulled down, 0..1. Counts starts and rests that were too short."""

    __slots__ = ("fill", "running", "rest_s", "starts", "short_rests", "cut_out", "power_w", "_model")

    def __init__(self, model: CompressorModel) -> None:
        self._model = model
        self.fill = 0.0
        self.running = False
        self.rest_s = 3600.0
        self.starts = self.short_rests = 0
        self.cut_out = False
        self.power_w = 0.0

    def step(self, level: float, air_c: float, evaporator_c: float, room_c: float, dt: float, charge: float) -> float:
        """Heat drawn from the evaporator in W; `charge` is the share of refrigerant left."""
        on = level > 0.5 and not self._stopped_by_itself(air_c)
        if on is not self.running:
            self._switch(on)
        if not on:
            self.rest_s += dt
            self.fill -= self.fill * min(1.0, dt / 60.0)
            self.power_w = 0.0
            return 0.0
        model = self._model
        self.fill += (1.0 - self.fill) * min(1.0, dt / model.pull_down_s)
        warmer = evaporator_c - _REFERENCE_C
        hotter = room_c - _ROOM_C
        self.power_w = model.power_w * (0.6 + 0.4 * charge) * (1.0 + 0.008 * hotter + 0.006 * warmer)
        capacity = (1.0 + _PER_EVAPORATOR_K * warmer) * (1.0 - _PER_ROOM_K * hotter)
        return model.cooling_w * capacity * self.fill * charge if capacity > 0.0 else 0.0

    def _stopped_by_itself(self, air_c: float) -> bool:
        coldest = self._model.own_coldest_c
        if coldest is None:
            return False
        self.cut_out = air_c < coldest or (self.cut_out and air_c < coldest + _DIFFERENTIAL_K)
        return self.cut_out

    def _switch(self, on: bool) -> None:
        self.running = on
        if on:
            self.starts += 1
            self.short_rests += self.rest_s < _SHORT_REST_S - 1e-6
        else:
            self.rest_s = 0.0


class Heater:
    """An element that stores heat: what it takes comes out with a first-order lag."""

    __slots__ = ("stored_j", "power_w", "_watts", "_lag_s")

    def __init__(self, watts: float, lag_s: float) -> None:
        self.stored_j = 0.0
        self.power_w = 0.0
        self._watts = watts
        self._lag_s = lag_s

    def step(self, level: float, dt: float) -> float:
        """Heat given off in W."""
        self.power_w = power = self._watts * level
        given = (self.stored_j + power * dt) / (self._lag_s + dt)
        self.stored_j += (power - given) * dt
        return given
