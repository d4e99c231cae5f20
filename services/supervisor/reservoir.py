"""A bath: as warm as its vessels can do with, cold in time for a crash, never colder than its coolant allows."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from services.supervisor.control import Decision, Estimate, Rules, Sight
from services.supervisor.reach import Chiller

FROST_MARGIN_K = 2.0
_BAND_K = 1.5
_CRASH_BAND_K = 0.5
_CRASHING = 0.9
"""A want that hurts so much keeps the bath close to its coldest."""


class BathController:
    """Two-point about a target that follows the vessels' wants, with the coil's after-cooling learnt."""

    def __init__(self, rules: Rules) -> None:
        self.rules = rules
        self.floor_c = (rules.coolant_freezes_at_c if rules.coolant_freezes_at_c is not None else 0.0) + FROST_MARGIN_K
        self._chiller = Chiller(rules.volume_l, rules.cooling_power_w, self.floor_c)
        self._pull_k_s = 200.0 / (rules.volume_l * 3900.0)
        self._after_k = 0.3
        self._lowest: float | None = None
        self._stopped_c = 0.0
        self._was_on = False
        self._seen: tuple[datetime, float] | None = None

    def decide(self, sight: Sight) -> Decision:
        """See `control.Controller`."""
        bath = sight.beer_c
        if bath is None:
            return Decision(0.0, 0.0, 0.0, 0.0, "no bath reading to go by", Estimate(None, 99.0, None, 0.0, 0.0))
        self._learn(sight, bath)
        load_w = sum(want.load_w for want in sight.wants)
        self._chiller.see(sight.now, bath, sight.cooling_on, load_w)
        target, hurt = self._target(sight, bath), max((want.hurt for want in sight.wants), default=0.2)
        band_k = _BAND_K if hurt < _CRASHING else _CRASH_BAND_K
        low = max(self.floor_c, target - _BAND_K) + self._after_k
        on = bath > low if sight.cooling_on else bath > low + 2.0 * band_k and sight.ready_in_s <= 0.0
        why = f"bath wanted at {target:.1f} degC"
        return Decision(float(on), 0.0, 0.0, hurt, why, self._estimate(bath))

    def _estimate(self, bath: float) -> Estimate:
        reach = self._chiller.reach()
        coldest = max(self.floor_c, reach.rests_at(0.0))
        sure = reach.certainty
        return Estimate(bath, 0.05, None, 0.0, sure, coldest, reach.sd_k(0.0), sure, reach)

    def _target(self, sight: Sight, bath: float) -> float:
        """What was asked for, or the coldest want whose time has come, seen from how long it takes to get there."""
        target = sight.setpoint_c
        for want in sight.wants:
            cold = max(self.floor_c + _BAND_K, want.bath_c)
            takes_s = max(0.0, bath - cold) / self._pull_k_s * 1.5 + 900.0
            if (want.by - sight.now).total_seconds() <= takes_s:
                target = min(target, cold)
        return max(target, self.floor_c + _BAND_K)

    def _learn(self, sight: Sight, bath: float) -> None:
        """How fast the bath falls while chilling, and how far it still falls afterwards."""
        if self._seen and sight.cooling_on and self._was_on:
            seconds = (sight.now - self._seen[0]).total_seconds()
            if seconds >= 600.0:
                rate = (self._seen[1] - bath) / seconds
                if rate > 0.0:
                    self._pull_k_s += 0.2 * (rate - self._pull_k_s)
                self._seen = (sight.now, bath)
        else:
            self._seen = (sight.now, bath)
        if self._was_on and not sight.cooling_on:
            self._stopped_c, self._lowest = bath, bath
        if self._lowest is not None:
            self._lowest = min(self._lowest, bath)
            if bath > self._lowest + 0.2 or sight.cooling_on:
                self._after_k += 0.3 * (min(2.0, self._stopped_c - self._lowest) - self._after_k)
                self._lowest = None
        self._was_on = sight.cooling_on

    def snapshot(self) -> Mapping[str, Any]:
        """See `control.Controller`."""
        return {"pull_k_s": self._pull_k_s, "after_k": self._after_k, **self._chiller.kept()}

    def restore(self, state: Mapping[str, Any]) -> None:
        """See `control.Controller`."""
        self._pull_k_s, self._after_k = state["pull_k_s"], state["after_k"]
        self._chiller.recall(state)
