"""How values become heights in a lane: plainly, or as the difference from what is wanted with its middle stretched."""

from collections.abc import Iterable
from dataclasses import dataclass
from math import ceil, floor, log10
from typing import Protocol

FINE_K = 1.0
"""Up to so far from wanted a difference is drawn to scale; beyond, ever more tightly."""
FINE_SHARE = 0.72
"""How much of a lane's height the finely drawn differences take."""
FARTHEST_K = 30.0
LEAST_SPAN = 4.0


class Scale(Protocol):
    """Heights grow downwards, as in SVG."""

    def y(self, value: float) -> float:
        """The height of a value, never outside the lane."""
        ...

    def marks(self) -> list[tuple[float, str]]:
        """Values worth a label, with the label."""
        ...


@dataclass(frozen=True, slots=True)
class Plain:
    """From `low` at the bottom to `high` at the top."""

    low: float
    high: float
    top: float
    bottom: float

    def y(self, value: float) -> float:
        """See `Scale`."""
        share = (value - self.low) / (self.high - self.low)
        return self.bottom - min(1.0, max(0.0, share)) * (self.bottom - self.top)

    def marks(self) -> list[tuple[float, str]]:
        """Round values, two at least."""
        found: list[float] = []
        rough = (self.high - self.low) / 3.2
        while len(found) < 2:
            step = _round_step(rough)
            indices = range(ceil(self.low / step - 1e-9), floor(self.high / step + 1e-9) + 1)
            found, rough = [index * step for index in indices], rough / 1.3
        digits = max(0, -floor(log10(step))) if step < 1 else 0
        return [(value, f"{value:.{digits}f}".replace("-", "\u2212")) for value in found]


@dataclass(frozen=True, slots=True)
class Difference:
    """Nought in the middle. Within FINE_K to scale, so that a tenth of a kelvin is seen; beyond by its logarithm.

    `per` is how many degrees of the visitor's a kelvin is.
    """

    top: float
    bottom: float
    per: float = 1.0

    def y(self, value: float) -> float:
        """See `Scale`; the value in kelvins."""
        half = (self.bottom - self.top) / 2
        size = min(abs(value), FARTHEST_K)
        if size <= FINE_K:
            share = size / FINE_K * FINE_SHARE
        else:
            share = FINE_SHARE + (1 - FINE_SHARE) * log10(size / FINE_K) / log10(FARTHEST_K / FINE_K)
        return self.top + half - (half * share if value >= 0 else -half * share)

    def marks(self) -> list[tuple[float, str]]:
        """Nought and the ends of what is drawn to scale."""
        return [(at, _signed(at * self.per)) for at in (FINE_K, 0.0, -FINE_K)]


def plain(values: Iterable[float], top: float, bottom: float, least_span: float = LEAST_SPAN) -> Plain:
    """Holds all values with some air; never so fine that noise looks like news."""
    known = list(values) or [0.0, 1.0]
    low, high = min(known), max(known)
    missing = max(0.0, least_span - (high - low)) / 2
    air = max(high - low, least_span) * 0.06
    return Plain(low - missing - air, high + missing + air, top, bottom)


def _round_step(rough: float) -> float:
    size = 10.0 ** floor(log10(rough))
    return float(next(factor * size for factor in (1, 2, 5, 10) if factor * size >= rough * 0.999))


def _signed(value: float) -> str:
    if not value:
        return "0"
    return f"{value:+.2g}".replace("-", "\u2212")
