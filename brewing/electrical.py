"""The compressor as a load: how often a thermostat starts it and what a start draws.

Caution: mains and flammable refrigerant kill. Wiring belongs to licensed people and local codes; use a
residual-current device in wet places, relays rated for motor inrush, and no sparking contact inside a cabinet charged
with isobutane (R600a).
"""

from typing import NamedTuple

from brewing.errors import check

LEAST_REST_S = 300.0  # habit 3 to 10 min, so that pressures equalise; 2.5 min is the shortest seen in a manual
LEAST_RUN_S = 150.0  # habit 2 to 5 min
MOST_STARTS_PER_HOUR = 6.0  # field guides: 6 is normal, above 10 is short-cycling
SHORTEST_REST_SEEN_S = 150.0
INRUSH_MULTIPLE = 6.0  # habit 5 to 8 times the running current
DEADBAND_K = 1.0  # habit 0.5 to 2 K on air, 0.3 to 1 K on liquid
CONTINUOUS_SHARE = 0.8  # of a branch circuit's rating: NEC 210.20(A), from memory
ISOBUTANE_CHARGE_LIMIT_KG = 0.150  # household appliances: IEC/UL 60335-2-24
ISOBUTANE_LOWER_FLAMMABLE_PERCENT = 1.8  # printed 1.5 to 1.8, from memory
NEVER_TOGETHER = ("heater", "compressor")  # of one chamber: common practice, no source
RESIDUAL_CURRENT_TRIP_A = 0.005  # personnel protection, UL 943 class A, from memory; IEC 61008 uses 0.030


class Cycle(NamedTuple):
    """One round of an on/off thermostat."""

    on_s: float
    off_s: float

    @property
    def starts_per_hour(self) -> float:
        """How often the compressor starts."""
        return 3600.0 / (self.on_s + self.off_s)

    @property
    def duty(self) -> float:
        """Share of time on, 0 to 1."""
        return self.on_s / (self.on_s + self.off_s)


def cycle(heat_capacity_j_k: float, cooling_w: float, load_w: float, deadband_k: float) -> Cycle:
    """Run and rest times of a thermostat on a lumped mass without lag, which makes it the most starts that can be.

    on = C x deadband / (cooling - load), off = C x deadband / load. `load_w` must lie between 0 and `cooling_w`.
    """
    stored = check("heat_capacity_j_k", heat_capacity_j_k, 1.0, 1e9, "J/K") * check(
        "deadband_k", deadband_k, 0.01, 20.0, "K"
    )
    cooling = check("cooling_w", cooling_w, 1.0, 1e6, "W")
    edge = cooling * 1e-6
    load = check("load_w", load_w, edge, cooling - edge, "W", "at or above the cooling power it never stops")
    return Cycle(on_s=stored / (cooling - load), off_s=stored / load)


def worst_load(cooling_w: float) -> float:
    """The load in W at which starts are most frequent: half the cooling power."""
    return check("cooling_w", cooling_w, 1.0, 1e6, "W") / 2.0


def deadband_for(heat_capacity_j_k: float, cooling_w: float, starts_per_hour: float = MOST_STARTS_PER_HOUR) -> float:
    """K of deadband that keeps the starts within that number an hour at the worst load."""
    capacity = check("heat_capacity_j_k", heat_capacity_j_k, 1.0, 1e9, "J/K")
    cooling = check("cooling_w", cooling_w, 1.0, 1e6, "W")
    return 900.0 * cooling / (capacity * check("starts_per_hour", starts_per_hour, 0.1, 60.0, "1/h"))


def inrush_current(running_a: float, multiple: float = INRUSH_MULTIPLE) -> float:
    """A drawn for some tenths of a second at a start; the contact must carry it. Multiples of 5 to 8 are usual."""
    return check("running_a", running_a, 0.0, 100.0, "A") * check("multiple", multiple, 1.0, 15.0, "")


def continuous_limit(rating_a: float) -> float:
    """A that a branch circuit of that rating may carry for hours: 80 % (NEC 210.20(A), from memory; local codes
    rule).
    """
    return CONTINUOUS_SHARE * check("rating_a", rating_a, 1.0, 400.0, "A")
