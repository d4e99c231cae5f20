"""A jacketed vessel: beer, the coolant that stands or flows in its jacket, a heating strap."""

from collections.abc import Callable

from services.simulator.chamber import Chamber
from services.simulator.contents import Contents
from services.simulator.machines import Heater
from services.simulator.models import JacketedModel


class Vessel(Chamber):
    """Nodes: beer (two), jacket (implicit), heater element. `drawn_w` is the heat it gave to the reservoir's bath."""

    __slots__ = ("model", "beer", "heater", "jacket_c", "drawn_w")

    def __init__(self, model: JacketedModel, room_c: float) -> None:
        super().__init__(model.outputs)
        self.model = model
        self.beer = Contents(model.beer)
        self.heater = Heater(model.heater_w, model.heater_lag_s)
        self.jacket_c = model.beer.start_c
        self.drawn_w = 0.0

    def step(self, room_c: float, bath_c: float, dt: float) -> None:
        """Advances by `dt` seconds (ten at most), the bath being at `bath_c`."""
        model, beer, outer = self.model, self.beer, self.beer.outer_c
        flow_w_k = model.flow_w_k * self.pump_level * self.flows
        pump = model.pump_w * self.pump_level
        stored = model.jacket_j_k / dt
        self.jacket_c = jacket = (
            stored * self.jacket_c + flow_w_k * bath_c + model.jacket_w_k * outer + model.hose_w_k * room_c + pump
        ) / (stored + flow_w_k + model.jacket_w_k + model.hose_w_k)
        given = self.heater.step(self.heater_level * self.heats, dt)
        through = model.insulation_w_k * (room_c - outer)
        yeast = beer.step(model.jacket_w_k * (jacket - outer) + through + given, dt)
        self.drawn_w = flow_w_k * (jacket - bath_c)
        self.power_w = self.heater.power_w + pump
        self.used_j += self.power_w * dt
        self.gained_j += (yeast + through + model.hose_w_k * (room_c - jacket) + self.power_w - self.drawn_w) * dt
        self.elapsed_s += dt

    def stored_j(self) -> float:
        """Heat held above 0 degC, in J."""
        return self.model.jacket_j_k * self.jacket_c + self.heater.stored_j + self.beer.stored_j()

    def seen(self, sees: str) -> Callable[["Vessel", float], float]:
        """How to find, with the room's temperature, what a sensor that touches `sees` would show; `air` is the room."""
        return _SEEN[sees]


_SEEN: dict[str, Callable[[Vessel, float], float]] = {
    "beer": lambda c, room: c.beer.core_c,
    "outer": lambda c, room: c.beer.outer_c,
    "strapped": lambda c, room: 0.8 * c.beer.outer_c + 0.1 * c.jacket_c + 0.1 * room,
    "jacket": lambda c, room: c.jacket_c,
    "air": lambda c, room: room,
    "ambient": lambda c, room: room,
    "gravity": lambda c, room: c.beer.fermentation.gravity(),
    "power": lambda c, room: c.power_w,
}
