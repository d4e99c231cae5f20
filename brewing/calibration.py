"""Correcting a probe against ice water, or two known points, and saying what uncertainty remains.

Ice point: crushed ice of clean water just covered with water, stirred, the probe deep inside: 0.00 degC within 0.05 K.
Uncertainties are standard ones (k = 1) combined in squares, as in JCGM 100:2008; double them for 95 %.
"""

import math
from typing import NamedTuple

from brewing.errors import OutOfRange, check
from brewing.water import vapour_pressure

ICE_C = 0.0
ICE_UNCERTAINTY_K = 0.03  # stirred ice bath at home: from memory
SLOPE_UNCERTAINTY = 0.002  # K per K for an uncorrected slope, 0.2 % of span: assumed, about a class B platinum element


class Point(NamedTuple):
    """One comparison: what the probe read, what was true, and the standard uncertainties of both in K."""

    read_c: float
    true_c: float
    read_uncertainty_k: float = 0.03
    true_uncertainty_k: float = ICE_UNCERTAINTY_K

    @property
    def uncertainty_k(self) -> float:
        """Of the difference between the two."""
        read = check("read_uncertainty_k", self.read_uncertainty_k, 0.0, 10.0, "K")
        return math.hypot(read, check("true_uncertainty_k", self.true_uncertainty_k, 0.0, 10.0, "K"))


class Calibration(NamedTuple):
    """true = offset_c + slope x read, with what is needed to say how sure that is."""

    offset_c: float
    slope: float
    points: tuple[Point, ...]

    def correct(self, read_c: float) -> float:
        """degC after correction of a reading between -60 and 150 degC."""
        return self.offset_c + self.slope * check("read_c", read_c, -60.0, 150.0, "degC")

    def uncertainty(self, read_c: float, repeatability_k: float = 0.03) -> float:
        """Standard uncertainty in K of a corrected reading; it grows away from the calibration points."""
        noise = check("repeatability_k", repeatability_k, 0.0, 10.0, "K")
        read_c = check("read_c", read_c, -60.0, 150.0, "degC")
        first, *rest = self.points
        if not rest:
            drift = SLOPE_UNCERTAINTY * (read_c - first.read_c)
            return math.hypot(first.uncertainty_k, drift, noise)
        share = (read_c - first.read_c) / (rest[0].read_c - first.read_c)
        return math.hypot((1.0 - share) * first.uncertainty_k, share * rest[0].uncertainty_k, noise)


def one_point(point: Point) -> Calibration:
    """Shift only, which is what an ice bath gives; OutOfRange when the probe is off by more than 5 K: replace it."""
    true = _true(point)
    off = check("read_c", point.read_c, true - 5.0, true + 5.0, "degC", "too far off: replace the probe")
    return Calibration(true - off, 1.0, (point,))


def ice_point(read_c: float, read_uncertainty_k: float = 0.03) -> Calibration:
    """`one_point` in stirred ice water."""
    return one_point(Point(read_c, ICE_C, read_uncertainty_k))


def two_point(cold: Point, warm: Point) -> Calibration:
    """Shift and slope; the points must lie at least 5 K apart and the slope within 10 % of 1 (OutOfRange otherwise)."""
    span = check("read_c", warm.read_c - cold.read_c, 5.0, 300.0, "K apart", "take points further apart")
    slope = (_true(warm) - _true(cold)) / span
    if not 0.9 <= slope <= 1.1:
        raise OutOfRange("slope", slope, 0.9, 1.1, "", "a probe that far off is broken or misread")
    return Calibration(cold.true_c - slope * cold.read_c, slope, (cold, warm))


def boiling_point(atmosphere_pa: float) -> float:
    """degC at which water boils under that pressure, 60 to 110 kPa, within 0.01 K: the other point made at home.

    Inverse of Wagner & Pruss 1993. At 100 m of altitude it is 0.34 K lower than at the sea.
    """
    wanted = check("atmosphere_pa", atmosphere_pa, 60_000.0, 110_000.0, "Pa")
    low, high = 80.0, 104.0
    for _ in range(50):
        middle = (low + high) / 2
        low, high = (middle, high) if vapour_pressure(middle) < wanted else (low, middle)
    return (low + high) / 2


def _true(point: Point) -> float:
    """The truth of a point whose uncertainties make sense as well."""
    check("uncertainty_k", point.uncertainty_k, 0.0, 15.0, "K")
    return check("true_c", point.true_c, -60.0, 150.0, "degC")
