"""The plain fallback: cool above a band, heat below it. It needs no model and cannot be wrong about one."""

from collections.abc import Mapping
from typing import Any

from services.supervisor.control import Decision, Estimate, Rules, Sight, Want

BEER_BAND_K = 0.3
AIR_BAND_K = 1.0
"""How far the temperature may go from the setpoint before an output starts; it stops at the setpoint."""
USEFULLY_COLDER_K = 2.0
"""A bath must be at least this much colder than the vessel for the pump to run."""
BATH_BELOW_BEER_K = 6.0
"""How much colder than the beer's setpoint a vessel wants its bath."""
ABOVE_COOLANT_ICE_K = 5.0
"""The evaporator is colder than the bath (3 to 8 K; common practice, no source)."""
HURT_PER_K = 0.25
PROBE_SD_K = 0.5


class Deadband:
    """One chamber's control by a band round the setpoint, on the beer, else on the air."""

    def __init__(self, rules: Rules) -> None:
        self._rules = rules

    def decide(self, sight: Sight) -> Decision:
        """The wish for now; with no temperature to go by, nothing is wished."""
        by_beer = sight.beer_c is not None
        held_c = sight.beer_c if by_beer else sight.air_c
        want = self._want(sight)
        if held_c is None:
            return Decision(0.0, 0.0, 0.0, 0.0, "No temperature to go by.", _estimate(sight), want)
        setpoint_c = self._aim(sight)
        off_k = held_c - setpoint_c
        band_k = BEER_BAND_K if by_beer else AIR_BAND_K
        cool = self._rules.has_cooling and off_k > (0.0 if sight.cooling_on else band_k)
        heat = sight.may_heat and self._rules.has_heater and off_k < (0.0 if sight.heating_on else -band_k)
        why = _sentence("beer" if by_beer else "air", held_c, setpoint_c, self._rules.kind)
        if cool and self._rules.kind == "jacketed" and not _usefully_cold(sight, held_c):
            cool, why = False, "The bath is not cold enough to help."
        demand = min(1.0, abs(off_k) * HURT_PER_K)
        return Decision(float(cool), float(heat), float(cool or heat), demand, why, _estimate(sight), want)

    def snapshot(self) -> Mapping[str, Any]:
        """Nothing is learnt."""
        return {}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Nothing was learnt."""

    def _aim(self, sight: Sight) -> float:
        """A bath goes as cold as its vessels want, within what its coolant bears."""
        if self._rules.kind != "reservoir" or not sight.wants:
            return sight.setpoint_c
        wanted_c = min(sight.setpoint_c, *(want.bath_c for want in sight.wants))
        return max(wanted_c, min(sight.setpoint_c, sight.freezes_at_c + ABOVE_COOLANT_ICE_K))

    def _want(self, sight: Sight) -> Want | None:
        if self._rules.kind != "jacketed":
            return None
        warm_k = sight.beer_c - sight.setpoint_c if sight.beer_c is not None else 0.0
        return Want(sight.setpoint_c - BATH_BELOW_BEER_K, sight.now, min(1.0, max(0.0, warm_k * HURT_PER_K)))


def _usefully_cold(sight: Sight, held_c: float) -> bool:
    return sight.bath_c is not None and sight.bath_c <= held_c - USEFULLY_COLDER_K


def _sentence(what: str, held_c: float, setpoint_c: float, kind: str) -> str:
    name = "bath" if kind == "reservoir" else what
    return f"The {name} is at {held_c:.1f} degC, {setpoint_c:.1f} degC is asked for."


def _estimate(sight: Sight) -> Estimate:
    return Estimate(sight.beer_c, PROBE_SD_K, None, 0.0, 0.0)
