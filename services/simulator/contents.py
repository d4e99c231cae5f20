"""Beer in a vessel: a core and an outer layer that freezes first."""

from services.simulator.models import BEER_CP, LATENT_J_KG, BeerModel
from services.simulator.yeast_heat import Fermentation

_FULL_RATE_PER_H = 0.015
"""A quarter of the usual specific rate: the share fermented per hour at which carbon dioxide stirs fully."""


class Contents:
    """Two stirred shares joined by convection. `ice_j` is the latent heat that the outer layer has given off as ice."""

    __slots__ = ("core_c", "outer_c", "ice_j", "heat_w", "fermentation", "core_j_k", "outer_j_k", "model", "mass_kg")

    def __init__(self, model: BeerModel) -> None:
        self.model = model
        self.mass_kg = model.volume_l * (1.0 + model.original_extract_p * 0.004)
        self.core_c = self.outer_c = model.start_c
        self.ice_j = 0.0
        self.heat_w = 0.0
        self.fermentation = Fermentation(model, self.mass_kg)
        whole = self.mass_kg * BEER_CP
        self.outer_j_k = whole * model.outer_share
        self.core_j_k = whole - self.outer_j_k

    def step(self, into_outer_w: float, dt: float) -> float:
        """Advances by `dt`; returns the heat of fermentation in W, which went into the core."""
        model = self.model
        before = self.fermentation.fermented
        self.heat_w = heat = self.fermentation.step(self.core_c, dt)
        activity = min(1.0, (self.fermentation.fermented - before) * 3600.0 / dt / _FULL_RATE_PER_H)
        across = model.mixing_w_k * (1.0 + model.stirring * activity) * (self.core_c - self.outer_c)
        self.core_c += (heat - across) * dt / self.core_j_k
        self.outer_c += (across + into_outer_w) * dt / self.outer_j_k
        if self.ice_j or self.outer_c < 0.0:
            self._freeze_or_melt()
        return heat

    def _freeze_or_melt(self) -> None:
        """Keeps the outer layer at its freezing point while there is ice, which falls as what is left gets stronger."""
        below = self.fermentation.freezes_at_c() / (1.0 - min(0.9, self.frozen)) - self.outer_c
        given = max(-self.ice_j, below * self.outer_j_k)
        self.ice_j += given
        self.outer_c += given / self.outer_j_k

    @property
    def mean_c(self) -> float:
        """The beer's temperature, both shares by mass."""
        return self.core_c + self.model.outer_share * (self.outer_c - self.core_c)

    @property
    def frozen(self) -> float:
        """Share of the beer's mass that is ice."""
        return self.ice_j / (LATENT_J_KG * self.mass_kg)

    def stored_j(self) -> float:
        """Heat above liquid beer at 0 degC, in J."""
        return self.core_j_k * self.core_c + self.outer_j_k * self.outer_c - self.ice_j
