"""Kegs and cylinders on scales: what is left of them, and whether it goes though nobody pours."""

from collections import deque
from collections.abc import Iterable
from datetime import datetime, timedelta
from statistics import median

from schemas.base import Message
from schemas.conditions import ConditionKind, condition_name
from schemas.people import Weighed
from schemas.plant import Measure, Plant
from schemas.telemetry import ContactReading, FlowReading, MassReading, Quality
from services.notifier.watchers.finding import Finding, Key, probes_that_measure, reading_topics

BUCKET = timedelta(minutes=2.5)
BUCKETS = 12
LEAST_FALL_KG = {"keg": 0.015, "cylinder": 0.004}
"""In every bucket of half an hour: beyond what a hobby scale wanders (common practice, no source)."""
MOST_UNEVEN = 3.0
"""A leak runs evenly; people pour in gulps."""
GAINED_KG = {"keg": 1.0, "cylinder": 0.3}
"""A full one was put there."""
FLOW_SEEN_L_MIN = 0.05
LOW = {"keg": ConditionKind.KEG_LOW, "cylinder": ConditionKind.CYLINDER_LOW}
BACK = 1.1


class Scale:
    """One scale: medians of a few minutes, and what follows from the last half hour of them."""

    def __init__(self, weighed: Weighed) -> None:
        self.weighed = weighed
        self.left_kg: float | None = None
        self.low = self.leaks = False
        self._bucket: list[float] = []
        self._since: datetime | None = None
        self._medians: deque[float] = deque(maxlen=BUCKETS + 1)

    def take(self, mass_kg: float, at: datetime, poured: bool) -> bool:
        """One reading; says whether a bucket is full. Pouring, or a new keg, begins the half hour anew."""
        if self._since is None or not timedelta(0) <= at - self._since < 2 * BUCKET:
            self._begin(at)
        if poured:
            self._medians.clear()
            self._begin(at)
        if self._since is not None and at - self._since >= BUCKET and self._bucket:
            self._close()
            self._begin(at)
            self._bucket.append(mass_kg)
            return True
        self._bucket.append(mass_kg)
        return False

    def _begin(self, at: datetime) -> None:
        self._since, self._bucket = at, []

    def _close(self) -> None:
        mass_kg, what = median(self._bucket), self.weighed.what
        if self._medians and mass_kg - self._medians[-1] > GAINED_KG[what]:
            self._medians.clear()
            self.leaks = False
        self._medians.append(mass_kg)
        self.left_kg = max(0.0, mass_kg - self.weighed.empty_kg)
        self.low = self.left_kg < self.weighed.low_at_kg * (BACK if self.low else 1.0)
        falls = [before - after for before, after in zip(self._medians, list(self._medians)[1:], strict=False)]
        if len(falls) == BUCKETS:
            steady = min(falls) >= LEAST_FALL_KG[what] and max(falls) <= MOST_UNEVEN * min(falls)
            self.leaks = steady or (self.leaks and falls[-1] >= LEAST_FALL_KG[what])

    @property
    def per_hour_kg(self) -> float:
        """How fast it goes, over the last half hour."""
        span_h = (len(self._medians) - 1) * BUCKET / timedelta(hours=1)
        return (self._medians[0] - self._medians[-1]) / span_h if span_h else 0.0


class ScaleWatch:
    """Scales of which the plant file says what they carry. Beer that flows, or an open door, is somebody pouring."""

    def __init__(self, plant: Plant) -> None:
        weighed = {
            key: plant.chambers[key[0]].probes[key[1]].weighs for key in probes_that_measure(plant, Measure.MASS)
        }
        self._scales: dict[Key, Scale] = {key: Scale(one) for key, one in weighed.items() if one is not None}
        chambers = {chamber for chamber, _ in self._scales}
        signs = [
            key
            for measure in (Measure.FLOW, Measure.CONTACT)
            for key in probes_that_measure(plant, measure)
            if key[0] in chambers
        ]
        self._pouring: dict[Key, bool] = dict.fromkeys(signs, False)
        self._news: list[Finding] = []
        self.listens = reading_topics(plant, [*self._scales, *self._pouring])

    def hear(self, message: Message, now: datetime) -> None:
        """A mass, a flow or a door."""
        if isinstance(message, MassReading):
            self._weigh(message)
        elif isinstance(message, FlowReading | ContactReading):
            key = (message.chamber, message.probe)
            if key in self._pouring and message.quality is Quality.GOOD:
                self._pouring[key] = (message.value or 0.0) > FLOW_SEEN_L_MIN

    def _weigh(self, message: MassReading) -> None:
        scale = self._scales.get((message.chamber, message.probe))
        if scale is None or message.quality is not Quality.GOOD or message.mass_kg is None:
            return
        poured = any(flows for key, flows in self._pouring.items() if key[0] == message.chamber)
        if scale.take(message.mass_kg, message.at, poured):
            self._news += [self._low(message, scale), self._leak(message, scale)]

    def _low(self, message: MassReading, scale: Scale) -> Finding:
        name = condition_name(LOW[scale.weighed.what], message.probe)
        left_kg, limit_kg = scale.left_kg or 0.0, scale.weighed.low_at_kg
        return Finding(message.chamber, name, scale.low, f"{left_kg:.1f} kg are left.", left_kg, limit_kg, "kg")

    def _leak(self, message: MassReading, scale: Scale) -> Finding:
        detail = f"The {scale.weighed.what} loses {scale.per_hour_kg:.2f} kg an hour, evenly, and nobody pours."
        name = condition_name(ConditionKind.LEAK, message.probe)
        return Finding(message.chamber, name, scale.leaks, detail, scale.per_hour_kg, 0.0, "kg/h")

    def judge(self, now: datetime) -> Iterable[Finding]:
        """What the last full buckets say."""
        news, self._news = self._news, []
        return news
