"""Whether one cold bath carries several crashes at once.

An energy balance: crashes pour heat in, the chiller takes it out at constant power, the walls leak. Each crash is
spread evenly over its hours; a real one loads the bath more at its start, so leave some of the allowance unused.
"""

from itertools import pairwise
from typing import NamedTuple

from brewing.errors import check
from brewing.thermal import Mass, sensible_heat


class Reservoir(NamedTuple):
    """The bath: `lowest_c` is where its thermostat stops the chiller, `highest_c` the warmest that still cools the
    beer.
    """

    coolant: Mass
    lowest_c: float
    highest_c: float
    chiller_w: float
    leak_w: float = 0.0


class Crash(NamedTuple):
    """One vessel to take down, from `start_s` on and within `duration_s`."""

    beer: Mass
    from_c: float
    to_c: float
    start_s: float
    duration_s: float

    @property
    def load_w(self) -> float:
        """Mean W into the bath while it lasts."""
        return sensible_heat(self.beer, self.from_c, self.to_c) / self.duration_s

    @property
    def end_s(self) -> float:
        """When it is done."""
        return self.start_s + self.duration_s


class Verdict(NamedTuple):
    """`warmest_c` of the bath on the way, when that is, and J of cold missing at that moment (0 when all fits)."""

    fits: bool
    warmest_c: float
    warmest_at_s: float
    missing_j: float


def stored_cold(reservoir: Reservoir) -> float:
    """J that a fully cold bath takes up before it is too warm to cool."""
    _sane(reservoir)
    return reservoir.coolant.capacity * (reservoir.highest_c - reservoir.lowest_c)


def carries(reservoir: Reservoir, crashes: list[Crash], bath_c: float) -> Verdict:
    """Follow the bath from `bath_c` at time 0 until the last crash ends."""
    _sane(reservoir)
    capacity = reservoir.coolant.capacity
    warmest, warmest_at, bath = bath_c, 0.0, check("bath_c", bath_c, -60.0, 60.0, "degC")
    for begin, end in pairwise(_moments(crashes)):
        load = sum(crash.load_w for crash in crashes if crash.start_s <= begin < crash.end_s)
        drift = (load + reservoir.leak_w - reservoir.chiller_w) / capacity
        bath = max(bath + drift * (end - begin), min(bath, reservoir.lowest_c))
        if bath > warmest:
            warmest, warmest_at = bath, end
    missing = max(0.0, (warmest - reservoir.highest_c) * capacity)
    return Verdict(missing == 0.0, warmest, warmest_at, missing)


def chiller_for(reservoir: Reservoir, crashes: list[Crash], bath_c: float) -> float:
    """Smallest chiller power in W that carries those crashes, to 0.1 W; up to 100 kW (OutOfRange names
    `chiller_w`).
    """
    _sane(reservoir)
    most = reservoir._replace(chiller_w=1e5)
    check("chiller_w", 1e5 if carries(most, crashes, bath_c).fits else float("inf"), 0.0, 1e5, "W", "start colder")
    low, high = 0.0, 1e5
    while high - low > 0.1:
        middle = (low + high) / 2.0
        fits = carries(reservoir._replace(chiller_w=middle), crashes, bath_c).fits
        low, high = (low, middle) if fits else (middle, high)
    return high


def _moments(crashes: list[Crash]) -> list[float]:
    starts = [check("start_s", crash.start_s, 0.0, 1e8, "s") for crash in crashes]
    ends = [crash.start_s + check("duration_s", crash.duration_s, 60.0, 1e8, "s") for crash in crashes]
    return sorted({0.0, *starts, *ends})


def _sane(reservoir: Reservoir) -> None:
    lowest = check("lowest_c", reservoir.lowest_c, -60.0, 40.0, "degC")
    check("highest_c", reservoir.highest_c, lowest, 40.0, "degC", "it lies above the lowest")
    check("chiller_w", reservoir.chiller_w, 0.0, 1e6, "W")
    check("leak_w", reservoir.leak_w, 0.0, 1e6, "W")
