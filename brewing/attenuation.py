"""The curve along which apparent extract falls, in closed form and from what yeast does."""

from bisect import bisect_right
from math import exp, pow

from brewing.errors import check

_STEP = 0.12
_DONE = 0.999995
_MOST_STEPS = 4000
_LONGEST_DAYS = 400.0
"""A curve of high order never quite arrives; nobody waits longer than this."""


def logistic_extract(original: float, final: float, rate_per_day: float, middle_day: float, day: float) -> float:
    """degP: AEf + (OE - AEf) / (1 + exp(k (t - tm))), the shape of MacIntosh & Speers and of ASBC Yeast-14."""
    start = check("original", original, 0.0, 35.0, "degP")
    end = check("final", final, -3.0, start, "degP", "it cannot lie above the original extract")
    steepness = check("rate_per_day", rate_per_day, 0.01, 50.0, "1/d") * (day - middle_day)
    return end + (start - end) / (1.0 + exp(min(700.0, steepness)))


def logistic_peak_rate(original: float, final: float, rate_per_day: float) -> float:
    """degP/d at the middle, where the logistic falls fastest: k (OE - AEf) / 4."""
    end = check("final", final, -3.0, original, "degP", "it cannot lie above the original extract")
    return check("rate_per_day", rate_per_day, 0.01, 50.0, "1/d") * (original - end) / 4.0


class FermentedShare:
    """The share of the fermentable extract that is gone after so many days at the strain's usual temperature.

    dx/dt = k (x + i (1 - exp(-t / lag)))(1 - x)^n: `fermentation`'s rate in the time that `kinetics.yeast_days` counts,
    in which temperature no longer appears.
    """

    __slots__ = ("_days", "_shares", "_slopes")

    def __init__(self, rate_per_day: float, lag_days: float, inoculum: float, order: float = 1.0) -> None:
        rate = check("rate_per_day", rate_per_day, 0.01, 50.0, "1/d")
        lag = check("lag_days", lag_days, 0.005, 30.0, "d")
        pitched = check("inoculum", inoculum, 1e-5, 10.0, "")
        power = check("order", order, 0.2, 4.0, "")

        def slope(day: float, gone: float) -> float:
            return rate * (gone + pitched * (1.0 - exp(-day / lag))) * pow(max(0.0, 1.0 - gone), power)

        day = gone = k1 = 0.0
        self._days, self._shares, self._slopes = [day], [gone], [k1]
        while gone < _DONE and day < _LONGEST_DAYS and len(self._days) < _MOST_STEPS:
            slowing = min(1.0, max(0.02, (1.0 - gone) ** (power - 1.0)))
            step = min(_STEP / rate / slowing, lag / 2.0 + day)
            k2 = slope(day + step / 2.0, gone + step / 2.0 * k1)
            k3 = slope(day + step / 2.0, gone + step / 2.0 * k2)
            k4 = slope(day + step, gone + step * k3)
            day, gone = day + step, min(1.0, gone + step / 6.0 * (k1 + 2.0 * (k2 + k3) + k4))
            k1 = slope(day, gone)
            self._days.append(day)
            self._shares.append(gone)
            self._slopes.append(k1)

    def at(self, yeast_days: float) -> float:
        """0 to 1, by cubics between the steps."""
        if yeast_days <= 0.0:
            return 0.0
        after = bisect_right(self._days, yeast_days)
        if after == len(self._days):
            return self._shares[-1]
        width = self._days[after] - self._days[after - 1]
        u = (yeast_days - self._days[after - 1]) / width
        low, high = self._shares[after - 1], self._shares[after]
        rise, run = width * self._slopes[after - 1], width * self._slopes[after]
        return low + u * (rise + u * (3.0 * (high - low) - 2.0 * rise - run + u * (rise + run - 2.0 * (high - low))))

    def when(self, share: float) -> float:
        """The yeast days until this share, 0 to 0.9999, is gone."""
        check("share", share, 0.0, 0.9999, "")
        low, high = 0.0, self._days[-1]
        for _ in range(50):
            middle = (low + high) / 2.0
            low, high = (middle, high) if self.at(middle) < share else (low, middle)
        return (low + high) / 2.0
