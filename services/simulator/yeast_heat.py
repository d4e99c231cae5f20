"""The heat of fermentation: kinetics driven by what is left to ferment, with a rate that follows temperature."""

from math import exp

from services.simulator.models import BeerModel

HEAT_J_KG = 587_000.0
"""Per kg of real extract fermented; published values range from 586 to 652 kJ/kg."""
_REAL_SHARE = 0.8192
"""Real extract falls by this share of the apparent fall (Balling)."""


class Fermentation:
    """`fermented` runs from 0 to 1, logistic: dx/dt = k(T) (x + inoculum) (1 - x)."""

    __slots__ = ("fermented", "_rate_s", "_per_k", "_inoculum", "_total_j", "_model")

    def __init__(self, model: BeerModel, mass_kg: float) -> None:
        self._model = model
        self.fermented = model.fermented
        self._rate_s = model.rate_per_h / 3600.0
        self._per_k = model.rate_per_k
        self._inoculum = model.inoculum
        real_fall = model.original_extract_p / 100.0 * model.attenuation * _REAL_SHARE
        self._total_j = mass_kg * real_fall * HEAT_J_KG

    def step(self, beer_c: float, dt: float) -> float:
        """Advances by `dt` seconds; the heat set free, in W."""
        left = 1.0 - self.fermented
        if left < 1e-4 or self._total_j == 0.0:
            return 0.0
        rate = self._rate_s * exp(self._per_k * (beer_c - 18.0)) * (self.fermented + self._inoculum) * left
        self.fermented += rate * dt
        return rate * self._total_j

    def gravity(self) -> float:
        """Apparent specific gravity: sugar solution of the apparent extract, SG = 1 + P / (258.6 - 0.8796 P)."""
        model = self._model
        plato = model.original_extract_p * (1.0 - model.attenuation * self.fermented)
        return 1.0 + plato / (258.6 - 0.8796 * plato)

    def freezes_at_c(self) -> float:
        """-(0.42 A + 0.04 OE + 0.2) degC, A in % by weight (from memory: an estimate of the trade)."""
        model = self._model
        fall = model.original_extract_p * model.attenuation * self.fermented * _REAL_SHARE
        alcohol = fall / (2.0665 - 0.010665 * model.original_extract_p)
        return -(0.42 * alcohol + 0.04 * model.original_extract_p + 0.2)
