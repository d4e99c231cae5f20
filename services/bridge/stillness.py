"""Stuck values: a thermometer that says exactly the same for longer than a live one would.

A quiet probe with coarse steps may rightly be constant for hours, so there are two kinds of evidence. While the
chamber's machine runs without a break, the place has to change: constant through a long run is damning. At rest only a
much longer constancy counts, and then as a doubt. Both waits grow with the probe's steps and with the longest
constancy it has shown before. The waits are estimates: a 20 L vessel and a 60 W heater change by 2 K/h.
"""

from dataclasses import dataclass

from schemas.plant import Point

HOUR_S = 3600.0
COARSEST_STEP = 0.5
"""Taken for a probe that has not moved yet: the coarsest setting of common sensors."""
FINE_STEP = 0.1
LONGER_THAN_EVER = 6
DRIVEN_WAIT_S: dict[Point | None, float] = {
    Point.AIR: 0.75 * HOUR_S,
    Point.BEER: 1.5 * HOUR_S,
    Point.BATH: 1.5 * HOUR_S,
}
"""Only these places are moved by the chamber's own machines."""
RESTING_WAIT_S = 24 * HOUR_S


@dataclass(frozen=True, slots=True)
class Constancy:
    """A value that did not change for too long; `driven` when the chamber's machine ran all the while."""

    driven: bool
    reason: str


class Stillness:
    """Watches one thermometer's raw value; times are seconds that really passed."""

    __slots__ = ("_driven_wait_s", "_value", "_since_s", "_step", "_longest_s", "_longest_driven_s")

    def __init__(self, point: Point | None) -> None:
        self._driven_wait_s = DRIVEN_WAIT_S.get(point)
        self._value: float | None = None
        self._since_s = 0.0
        self._step = COARSEST_STEP
        self._longest_s = 0.0
        self._longest_driven_s = 0.0

    def notice(self, value: float, elapsed_s: float, driven_since_s: float | None) -> Constancy | None:
        """Takes one value; answers when it has been the same for too long."""
        if value != self._value:
            self._learn(value, elapsed_s, driven_since_s)
            return None
        calm_s = elapsed_s - self._since_s
        if self._driven_wait_s is not None and driven_since_s is not None:
            driven_s = elapsed_s - max(self._since_s, driven_since_s)
            if driven_s > self._patience(self._driven_wait_s, self._longest_driven_s):
                return Constancy(True, f"exactly {value:g} through {_duration(driven_s)} of the machine running")
        if calm_s > self._patience(RESTING_WAIT_S, self._longest_s):
            return Constancy(False, f"exactly {value:g} for {_duration(calm_s)}")
        return None

    def _learn(self, value: float, elapsed_s: float, driven_since_s: float | None) -> None:
        if self._value is not None:
            self._step = min(self._step, abs(value - self._value))
            self._longest_s = max(self._longest_s, elapsed_s - self._since_s)
            if driven_since_s is not None:
                driven_s = elapsed_s - max(self._since_s, driven_since_s)
                self._longest_driven_s = max(self._longest_driven_s, driven_s)
        self._value, self._since_s = value, elapsed_s

    def _patience(self, wait_s: float, longest_s: float) -> float:
        return max(wait_s * max(1.0, self._step / FINE_STEP), LONGER_THAN_EVER * longest_s)


def _duration(seconds: float) -> str:
    return f"{seconds / HOUR_S:.1f} h" if seconds >= HOUR_S else f"{seconds / 60:.0f} min"
