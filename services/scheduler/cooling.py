"""How fast a chamber cools its beer when it does what it can: guessed from the plant file, learnt from each crash.

The rate is a straight line in the beer's temperature, `at_8 + slope * (beer - 8)` in K/h: whether a room leaks in or a
bath draws less from colder beer, both make it fall as the beer does.
"""

from datetime import datetime, timedelta
from math import sqrt

from schemas.base import Celsius, Instant, Model
from schemas.plant import ChamberBase, Drive, Jacketed, Plant

BEER_WH_L_K = 4230.0 / 3600.0
"""By the litre: 4050 J/(kg K) and 1.045 kg/L."""
MIDDLE_C = 8.0
CABINET_SHARE, CABINET_W_K = 0.7, 1.6
"""Heat drawn from beer at 8 degC over the compressor's electrical power, and its change; common practice, no source."""
JACKET_W_K, BATH_C = 13.0, -9.0
"""Of a jacket on 50 L, and a bath that is crashing; common practice, no source."""
BATH_SHARE = 0.9
"""A bath's chiller draws so much of its electrical power out of beer in the long run; common practice, no source."""
USUAL_POWER_W = 90.0
SPREADS = (0.4, 0.6)
"""Of the first guesses, as shares of them."""
WINDOW = timedelta(minutes=40)
WARM_UP = timedelta(minutes=45)
"""A machine that has just been told to cool does not yet draw all it can."""
BEHIND_K = 0.4
"""Beer so far above its setpoint is cooled with all there is."""
MOVES_K_H, FAR_BEHIND_K = 0.15, 1.5
"""Behind a setpoint that moves faster than this, beer is cooled with all there is only when it is so far behind."""
NOISE_K_H = 0.12
ELSEWHERE = 0.06
"""What a straight line leaves out, as a share of the rate."""
FORGETS = 0.04
"""So much of the first guess's variance comes back with each crash: another room, another bath."""
SLOWEST_K_H = 0.02
"""Beer that falls no faster gets there some day, or never."""


class Cooling(Model):
    """What is believed of one chamber; variances of the rate at 8 degC, of the slope, and their covariance."""

    at_8: float
    slope: float
    var_at_8: float
    var_slope: float
    both: float = 0.0
    windows: int = 0

    def rate(self, beer_c: float, deviations: float = 0.0) -> float:
        """K/h at this temperature, so many standard deviations above what is likely."""
        from_middle = beer_c - MIDDLE_C
        variance = self.var_at_8 + 2.0 * from_middle * self.both + from_middle * from_middle * self.var_slope
        return self.at_8 + self.slope * from_middle + deviations * sqrt(max(0.0, variance))

    def seen(self, beer_c: float, rate: float) -> "Cooling":
        """The same after one window in which beer of this temperature on average fell at this rate."""
        x = beer_c - MIDDLE_C
        side_a, side_b = self.var_at_8 + x * self.both, self.both + x * self.var_slope
        total = side_a + x * side_b + NOISE_K_H**2 + (ELSEWHERE * rate) ** 2
        excess = (rate - self.rate(beer_c)) / total
        return Cooling(
            at_8=max(0.05, self.at_8 + side_a * excess),
            slope=max(0.0, self.slope + side_b * excess),
            var_at_8=self.var_at_8 - side_a * side_a / total,
            var_slope=self.var_slope - side_b * side_b / total,
            both=self.both - side_a * side_b / total,
            windows=self.windows + 1,
        )

    def forgetting(self, first: "Cooling") -> "Cooling":
        """A little less sure, before another crash."""
        return self.model_copy(
            update={
                "var_at_8": min(first.var_at_8, self.var_at_8 + FORGETS * first.var_at_8),
                "var_slope": min(first.var_slope, self.var_slope + FORGETS * first.var_slope),
            }
        )


class Window(Model):
    """A stretch of a crash that is being looked at."""

    since: Instant
    beer_c: Celsius
    wanted_c: Celsius


def first_guess(plant: Plant, chamber: ChamberBase) -> Cooling:
    """Before anything was seen."""
    capacity_wh_k = chamber.contents.volume_l * BEER_WH_L_K
    at_8_w, slope_w_k = _jacket(plant, chamber) if isinstance(chamber, Jacketed) else _cabinet(chamber)
    at_8, slope = at_8_w / capacity_wh_k, slope_w_k / capacity_wh_k
    return Cooling(at_8=at_8, slope=slope, var_at_8=(SPREADS[0] * at_8) ** 2, var_slope=(SPREADS[1] * slope) ** 2)


def look(
    known: Cooling, window: Window | None, began: datetime, beer_c: float, setpoint_c: float, at: datetime
) -> tuple[Cooling, Window | None]:
    """Takes one look at beer that is crashing; a window that is complete is learnt from, and another begins."""
    if at < began + WARM_UP or beer_c - setpoint_c < BEHIND_K:
        return known, None
    fresh = Window(since=at, beer_c=beer_c, wanted_c=setpoint_c)
    if window is None or at - window.since > 2 * WINDOW:
        return known, fresh
    if at - window.since < WINDOW:
        return known, window
    hours = (at - window.since) / timedelta(hours=1)
    rate, asked = (window.beer_c - beer_c) / hours, (window.wanted_c - setpoint_c) / hours
    middle_c = (window.beer_c + beer_c) / 2
    follows = asked > MOVES_K_H and beer_c - setpoint_c < FAR_BEHIND_K
    if follows and rate <= known.rate(middle_c):
        return known, fresh
    return known.seen(middle_c, rate), fresh


def _cabinet(chamber: ChamberBase) -> tuple[float, float]:
    return CABINET_SHARE * _compressors_w(chamber), CABINET_W_K


def _jacket(plant: Plant, chamber: Jacketed) -> tuple[float, float]:
    """As much as the jacket lets through, or as the bath's chiller can carry."""
    slope = JACKET_W_K * (chamber.contents.volume_l / 50.0) ** (2.0 / 3.0)
    bath = plant.chambers.get(chamber.cooled_by)
    most = BATH_SHARE * _compressors_w(bath) if bath is not None else USUAL_POWER_W
    through = slope * (MIDDLE_C - BATH_C)
    return (through, slope) if through <= most else (most, slope * most / through)


def _compressors_w(chamber: ChamberBase) -> float:
    found = [one.power_w for one in chamber.outputs.values() if one.drives is Drive.COMPRESSOR]
    return sum(one or USUAL_POWER_W for one in found) or USUAL_POWER_W
