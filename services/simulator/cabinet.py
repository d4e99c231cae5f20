"""A cabinet with a vessel in it: fridge and kegerator."""

from collections.abc import Callable
from math import sqrt

from services.simulator.chamber import Chamber
from services.simulator.contents import Contents
from services.simulator.machines import Compressor, Heater
from services.simulator.models import FridgeModel

_AIR_J_M3_K = 1230.0
_GRAVITY = 9.81
_FLOW_COEFFICIENT = 0.221
"""Gosney and Olama, as given in the ASHRAE handbook's chapter on refrigerated-facility loads."""
_LEAST_CHANGE_S = 10.0
"""An open door changes the cabinet's air at most once in this time."""


def door_w_k(model: FridgeModel, inside_c: float, room_c: float) -> float:
    """Conductance of the open door in W/K: dry air exchanged by density, at most a cabinet's volume in ten seconds."""
    warm, cold = max(inside_c, room_c) + 273.15, min(inside_c, room_c) + 273.15
    ratio = cold / warm
    shape: float = (2.0 / (1.0 + (1.0 / ratio) ** (1.0 / 3.0))) ** 1.5
    flow = _FLOW_COEFFICIENT * model.door_area_m2 * sqrt((1.0 - ratio) * _GRAVITY * model.door_height_m) * shape
    return _AIR_J_M3_K * min(flow, model.cabinet_l / 1000.0 / _LEAST_CHANGE_S)


class Cabinet(Chamber):
    """Nodes: beer (two), air, evaporator, inner wall, heater element; only the quick air is solved implicitly."""

    __slots__ = ("model", "beer", "compressor", "heater", "air_c", "evaporator_c", "wall_c")

    def __init__(self, model: FridgeModel, room_c: float) -> None:
        super().__init__(model.outputs)
        self.model = model
        self.beer = Contents(model.beer)
        self.compressor = Compressor(model.compressor)
        self.heater = Heater(model.heater_w, model.heater_lag_s)
        self.air_c = self.evaporator_c = model.beer.start_c
        self.wall_c = model.beer.start_c + 0.1 * (room_c - model.beer.start_c)

    def step(self, room_c: float, dt: float) -> None:
        """Advances by `dt` seconds (ten at most) in a room of `room_c`."""
        model, beer, evaporator, wall = self.model, self.beer, self.evaporator_c, self.wall_c
        moved = 1.0 + (model.fan_gain - 1.0) * (self.fan_level if self.has_fan else 1.0)
        vessel_w_k, coil_w_k = model.vessel_w_k * moved, model.evaporator_w_k * moved
        leak_w_k = model.leak_w_k + (door_w_k(model, self.air_c, room_c) if self.door_open else 0.0)
        drawn = self.compressor.step(self.compressor_level, self.air_c, evaporator, room_c, dt, self.charge)
        given = self.heater.step(self.heater_level * self.heats, dt)
        fan = model.fan_w * self.fan_level
        into_air = given * (1.0 - model.heater_to_vessel) + fan
        stored = model.air_j_k / dt
        air = (
            stored * self.air_c + vessel_w_k * beer.outer_c + coil_w_k * evaporator
            + model.wall_w_k * wall + leak_w_k * room_c + into_air
        ) / (stored + vessel_w_k + coil_w_k + model.wall_w_k + leak_w_k)  # fmt: skip
        through = model.insulation_w_k * (room_c - wall)
        yeast = beer.step(vessel_w_k * (air - beer.outer_c) + given * model.heater_to_vessel, dt)
        self.evaporator_c += (coil_w_k * (air - evaporator) - drawn) * dt / model.compressor.evaporator_j_k
        self.wall_c += (model.wall_w_k * (air - wall) + through) * dt / model.wall_j_k
        self.air_c = air
        self.power_w = self.compressor.power_w + self.heater.power_w + fan
        self.used_j += self.power_w * dt
        self.gained_j += (yeast + through + leak_w_k * (room_c - air) + self.heater.power_w + fan - drawn) * dt
        self.elapsed_s += dt

    def stored_j(self) -> float:
        """Heat held above 0 degC, in J."""
        model = self.model
        held = model.air_j_k * self.air_c + model.wall_j_k * self.wall_c + self.heater.stored_j
        return held + model.compressor.evaporator_j_k * self.evaporator_c + self.beer.stored_j()

    def seen(self, sees: str) -> Callable[["Cabinet", float], float]:
        """How to find, with the room\'s temperature, what a sensor in touch with `sees` would show."""
        return _SEEN[sees]


_SEEN: dict[str, Callable[[Cabinet, float], float]] = {
    "beer": lambda c, room: c.beer.core_c,
    "outer": lambda c, room: c.beer.outer_c,
    "strapped": lambda c, room: 0.85 * c.beer.outer_c + 0.15 * c.air_c,
    "air": lambda c, room: c.air_c,
    "evaporator": lambda c, room: c.evaporator_c,
    "ambient": lambda c, room: room,
    "door": lambda c, room: float(c.door_open),
    "gravity": lambda c, room: c.beer.fermentation.gravity(),
    "power": lambda c, room: c.power_w,
}
