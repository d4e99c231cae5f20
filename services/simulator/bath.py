"""A reservoir: a bath of coolant with its own chiller, which several jackets may draw on."""

from collections.abc import Callable

from services.simulator.chamber import Chamber
from services.simulator.machines import Compressor
from services.simulator.models import LATENT_J_KG, ReservoirModel

_COOLANT_KG_L = 1.02


class Bath(Chamber):
    """Nodes: bath (with ice), evaporator, the cold air around (implicit). `level` 0..1 can be lowered from outside."""

    __slots__ = ("model", "compressor", "bath_c", "ice_j", "evaporator_c", "air_c", "level", "_bath_j_k")

    def __init__(self, model: ReservoirModel, room_c: float) -> None:
        super().__init__(model.outputs)
        self.model = model
        self.compressor = Compressor(model.compressor)
        self.bath_c = self.evaporator_c = self.air_c = model.start_c
        self.ice_j = 0.0
        self.level = 1.0
        self._bath_j_k = model.volume_l * _COOLANT_KG_L * model.coolant_j_kg_k

    def step(self, room_c: float, jackets_w: float, dt: float) -> None:
        """Advances by `dt` seconds (ten at most); `jackets_w` comes in from the vessels."""
        model, evaporator, bath = self.model, self.evaporator_c, self.bath_c
        drawn = self.compressor.step(self.compressor_level, self.air_c, evaporator, room_c, dt, self.charge)
        stored = model.air_j_k / dt
        self.air_c = air = (
            stored * self.air_c
            + model.evaporator_w_k * evaporator
            + model.air_w_k * bath
            + model.insulation_w_k * room_c
        ) / (stored + model.evaporator_w_k + model.air_w_k + model.insulation_w_k)
        coil = model.coil_w_k * (bath - evaporator)
        self.evaporator_c += (
            (coil + model.evaporator_w_k * (air - evaporator) - drawn) * dt / model.compressor.evaporator_j_k
        )
        self.bath_c += (jackets_w - coil + model.air_w_k * (air - bath)) * dt / self._bath_j_k
        if self.ice_j or self.bath_c < model.freezes_at_c:
            given = max(-self.ice_j, (model.freezes_at_c - self.bath_c) * self._bath_j_k)
            self.ice_j += given
            self.bath_c += given / self._bath_j_k
        self.power_w = self.compressor.power_w
        self.used_j += self.power_w * dt
        self.gained_j += (jackets_w + model.insulation_w_k * (room_c - air) - drawn) * dt
        self.elapsed_s += dt

    @property
    def frozen(self) -> float:
        """Share of the coolant that is ice."""
        return self.ice_j / (LATENT_J_KG * self.model.volume_l * _COOLANT_KG_L)

    def stored_j(self) -> float:
        """Heat held above 0 degC, in J."""
        model = self.model
        held = self._bath_j_k * self.bath_c - self.ice_j + model.air_j_k * self.air_c
        return held + model.compressor.evaporator_j_k * self.evaporator_c

    def seen(self, sees: str) -> Callable[["Bath", float], float]:
        """How to find, with the room\'s temperature, what a sensor in touch with `sees` would show."""
        return _SEEN[sees]


_SEEN: dict[str, Callable[[Bath, float], float]] = {
    "bath": lambda c, room: c.bath_c,
    "air": lambda c, room: c.air_c,
    "evaporator": lambda c, room: c.evaporator_c,
    "ambient": lambda c, room: room,
    "level": lambda c, room: c.level,
    "power": lambda c, room: c.power_w,
}
