"""Plausibility: whether a value can be what a working probe at that place measured.

Nothing is dropped here: each value gets a verdict, and what is not good says why. The defaults are common practice for
domestic machines, no source; a plant file overrides range and rate for a probe.
"""

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import NamedTuple

from schemas.plant import Measure, Point, Probe, point_of
from schemas.telemetry import Quality
from services.bridge.drivers.driver import Sample, Trouble
from services.bridge.stillness import Stillness

POWER_ON_C = 85.0
POWER_ON_RAW = (85.0, 185.0)
"""The same as devices send it, in degC or in degF (which a two-point calibration puts right)."""
POWER_ON_NEAR_K = 2.0
"""Only a probe that was this near to it before may really be there."""
CONFIRMING = 5
"""So many values in a row that agree with each other make a jump believed."""
FUTURE = timedelta(seconds=5)


class Verdict(NamedTuple):
    """How far a value is trusted. `trouble` is None when it is good."""

    quality: Quality
    trouble: Trouble | None = None
    reason: str = ""


GOOD = Verdict(Quality.GOOD)


@dataclass(frozen=True, slots=True)
class Rules:
    """What is plausible, in the probe's unit; None is no bound. `slack` is a change that is allowed at any pace."""

    lowest: float | None = None
    highest: float | None = None
    fastest_per_min: float | None = None
    slack: float = 0.0
    unit: str = ""


TEMPERATURES: dict[Point | None, Rules] = {
    Point.BEER: Rules(-10.0, 60.0, 3.0, 0.5, "degC"),
    Point.AIR: Rules(-40.0, 80.0, 20.0, 0.5, "degC"),
    Point.BATH: Rules(-40.0, 60.0, 5.0, 0.5, "degC"),
    Point.LINE: Rules(-40.0, 80.0, 60.0, 0.5, "degC"),
    Point.ROOM: Rules(-40.0, 60.0, 5.0, 0.5, "degC"),
    None: Rules(-40.0, 80.0, 20.0, 0.5, "degC"),
}
OTHERS: dict[Measure, Rules] = {
    Measure.CONTACT: Rules(0.0, 1.0),
    Measure.GRAVITY: Rules(0.98, 1.2, unit="SG"),
    Measure.PRESSURE: Rules(-1.0, 10.0, unit="bar"),
    Measure.MASS: Rules(-1.0, 1000.0, unit="kg"),
    Measure.FLOW: Rules(-1.0, 200.0, unit="L/min"),
    Measure.CO2: Rules(0.0, 200_000.0, unit="ppm"),
    Measure.HUMIDITY: Rules(0.0, 105.0, unit="%"),
    Measure.POWER: Rules(-50_000.0, 50_000.0, unit="W"),
}


def rules_for(name: str, probe: Probe) -> Rules:
    """The defaults of the probe's measure and point, with what the plant file says of this one."""
    measure = probe.measures
    default = TEMPERATURES[point_of(name, probe)] if measure is Measure.TEMPERATURE else OTHERS[measure]
    return replace(
        default,
        lowest=default.lowest if probe.lowest is None else probe.lowest,
        highest=default.highest if probe.highest is None else probe.highest,
        fastest_per_min=default.fastest_per_min if probe.fastest_per_min is None else probe.fastest_per_min,
    )


class Judge:
    """Judges one probe's values in their order.

    `elapsed_s` is seconds that have really passed since some moment, so that a clock that is set misleads nobody.
    """

    __slots__ = ("rules", "_every_min", "_too_old", "_warm", "_stillness", "_last", "_heard_s", "_rival", "_rivals",
                 "_newest")  # fmt: skip

    def __init__(self, name: str, probe: Probe) -> None:
        self.rules = rules_for(name, probe)
        self._every_min = probe.every_s / 60
        self._too_old = probe.stale_after
        self._warm = probe.measures is Measure.TEMPERATURE
        self._stillness = Stillness(point_of(name, probe)) if self._warm else None
        self._last: float | None = None
        self._heard_s = 0.0
        self._rival = 0.0
        self._rivals = 0
        self._newest: datetime | None = None

    def judge(
        self, value: float, sample: Sample, now: datetime, elapsed_s: float, driven_since_s: float | None
    ) -> Verdict:
        """`value` is calibrated, `sample` as the device sent it; `driven_since_s` is when the chamber's machines began
        the run they are now in, or None while all rest."""
        verdict = self._at_odds(value, sample, now)
        if verdict is not None:
            return verdict
        jump = self._jump(value, elapsed_s)
        self._heard_s = elapsed_s
        if jump is not None:
            return jump
        self._last, self._rivals = value, 0
        if sample.at is not None:
            self._newest = sample.at
        return self._still(sample.value, elapsed_s, driven_since_s)

    def _at_odds(self, value: float, sample: Sample, now: datetime) -> Verdict | None:
        """What is wrong with the value by itself."""
        if sample.at is not None:
            mistimed = self._mistimed(sample.at, now)
            if mistimed is not None:
                return mistimed
        rules = self.rules
        if self._warm and sample.value in POWER_ON_RAW and self._is_power_on(value, sample):
            return Verdict(Quality.BAD, Trouble.POWER_ON, "85.0 degC is the power-on value")
        if rules.lowest is not None and value < rules.lowest:
            return _out_of_range(f"{value:g} {rules.unit} is below {rules.lowest:g} {rules.unit}")
        if rules.highest is not None and value > rules.highest:
            return _out_of_range(f"{value:g} {rules.unit} is above {rules.highest:g} {rules.unit}")
        return None

    def _mistimed(self, at: datetime, now: datetime) -> Verdict | None:
        if at > now + FUTURE:
            ahead = (at - now).total_seconds()
            return Verdict(
                Quality.BAD, Trouble.FUTURE, f"the device's time is {ahead:.0f} s in the future; set its clock"
            )
        if now - at > self._too_old:
            age = (now - at).total_seconds()
            return Verdict(Quality.BAD, Trouble.OLD, f"measured {age:.0f} s ago by the device's time")
        if self._newest is not None and at < self._newest:
            return Verdict(Quality.UNCERTAIN, Trouble.OLD, "older than a value that came before it")
        return None

    def _is_power_on(self, value: float, sample: Sample) -> bool:
        was_near = self._last is not None and abs(self._last - POWER_ON_C) <= POWER_ON_NEAR_K
        return abs(value - POWER_ON_C) <= POWER_ON_NEAR_K and not sample.vouched and not was_near

    def _jump(self, value: float, elapsed_s: float) -> Verdict | None:
        """A change that is too quick, until enough values in a row agree on it."""
        fastest = self.rules.fastest_per_min
        if fastest is None or self._last is None:
            return None
        minutes = max(self._every_min, (elapsed_s - self._heard_s) / 60)
        if abs(value - self._last) <= fastest * minutes + self.rules.slack:
            return None
        agrees = self._rivals and abs(value - self._rival) <= fastest * self._every_min + self.rules.slack
        self._rival, self._rivals = value, self._rivals + 1 if agrees else 1
        if self._rivals >= CONFIRMING:
            return None
        unit = self.rules.unit
        reason = f"from {self._last:g} to {value:g} {unit} in {minutes:.1f} min; {fastest:g} {unit}/min is plausible"
        return Verdict(Quality.BAD, Trouble.RATE, reason)

    def _still(self, raw: float, elapsed_s: float, driven_since_s: float | None) -> Verdict:
        if self._stillness is None:
            return GOOD
        found = self._stillness.notice(raw, elapsed_s, driven_since_s)
        if found is None:
            return GOOD
        return Verdict(Quality.BAD if found.driven else Quality.UNCERTAIN, Trouble.STUCK, found.reason)


def _out_of_range(reason: str) -> Verdict:
    return Verdict(Quality.BAD, Trouble.RANGE, reason)
