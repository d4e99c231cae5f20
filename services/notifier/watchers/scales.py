"""Kegs and cylinders on scales: what is left of them, and whether it goes though nobody pours."""

from collections import deque
from collections.abc import Iterable
from datetime import datetime, timedelta
from statistics import median
from typing import NamedTuple

from schemas.base import Message
from schemas.conditions import ConditionKind, condition_name
from schemas.people import Weighed
from schemas.plant import Measure, Plant
from schemas.telemetry import ContactReading, FlowReading, MassReading, Quality
from services.notifier.watchers.finding import Finding, Key, probes_that_measure, reading_topics


class Pattern(NamedTuple):
    """What tells a leak from pouring: so many spans one after the other in each of which at least so much goes, and in
    none much more than in another. Leaks run evenly; people pour in gulps."""

    span: timedelta
    spans: int
    least_kg: float
    most_uneven: float


SLOW_LEAK = {
    "keg": Pattern(timedelta(minutes=2.5), 12, 0.015, 3.0),
    "cylinder": Pattern(timedelta(minutes=2.5), 12, 0.004, 3.0),
}
"""Beyond what a hobby scale wanders in half an hour (common practice, no source)."""
QUICK_LEAK = {
    "keg": Pattern(timedelta(minutes=1), 6, 0.05, 1.5),
    "cylinder": Pattern(timedelta(minutes=1), 3, 0.03, 1.5),
}
"""A line that has come off: beyond what anybody draws so evenly for so long (common practice, no source)."""
GAINED_KG = {"keg": 1.0, "cylinder": 0.3}
"""A full one was put there."""
FLOW_SEEN_L_MIN = 0.05
LOW = {"keg": ConditionKind.KEG_LOW, "cylinder": ConditionKind.CYLINDER_LOW}
BACK = 1.1


class Fall:
    """How a mass falls: medians of spans, as many as a pattern asks for."""

    def __init__(self, pattern: Pattern) -> None:
        self.pattern = pattern
        self.steady = False
        self._bucket: list[float] = []
        self._since: datetime | None = None
        self._medians: deque[float] = deque(maxlen=pattern.spans + 1)

    def take(self, mass_kg: float, at: datetime) -> float | None:
        """One reading; the median of a span that is full by it, else None."""
        span = self.pattern.span
        if self._since is None or not timedelta(0) <= at - self._since < 2 * span:
            self._begin(at)
        closed = self._close() if self._since is not None and at - self._since >= span and self._bucket else None
        if closed is not None:
            self._begin(at)
        self._bucket.append(mass_kg)
        return closed

    def forget(self, at: datetime | None = None) -> None:
        """What was seen so far says nothing of a leak."""
        self._medians.clear()
        if at is not None:
            self._begin(at)

    @property
    def per_hour_kg(self) -> float:
        """How fast it goes, over all spans seen."""
        if len(self._medians) < 2:
            return 0.0
        span_h = (len(self._medians) - 1) * self.pattern.span / timedelta(hours=1)
        return (self._medians[0] - self._medians[-1]) / span_h

    def _begin(self, at: datetime) -> None:
        self._since, self._bucket = at, []

    def _close(self) -> float:
        mass_kg, pattern = median(self._bucket), self.pattern
        self._medians.append(mass_kg)
        falls = [before - after for before, after in zip(self._medians, list(self._medians)[1:], strict=False)]
        if len(falls) == pattern.spans:
            even = min(falls) >= pattern.least_kg and max(falls) <= pattern.most_uneven * min(falls)
            self.steady = even or (self.steady and falls[-1] >= pattern.least_kg)
        return mass_kg


class Scale:
    """One scale: what is left on it, and whether it leaks, slowly or at once."""

    def __init__(self, weighed: Weighed) -> None:
        self.weighed = weighed
        self.left_kg: float | None = None
        self.low = False
        self._slow, self._quick = Fall(SLOW_LEAK[weighed.what]), Fall(QUICK_LEAK[weighed.what])
        self._last_kg: float | None = None

    @property
    def leaks(self) -> bool:
        """By either pattern."""
        return self._slow.steady or self._quick.steady

    @property
    def per_hour_kg(self) -> float:
        """How fast it goes, of late."""
        return (self._quick if self._quick.steady else self._slow).per_hour_kg

    def take(self, mass_kg: float, at: datetime, poured: bool) -> bool:
        """One reading; says whether there is news. Pouring, or a new keg, begins what is seen anew."""
        if poured:
            self._slow.forget(at)
            self._quick.forget(at)
        quick, slow = self._quick.take(mass_kg, at), self._slow.take(mass_kg, at)
        if slow is not None:
            self._weigh(slow)
        return quick is not None or slow is not None

    def _weigh(self, mass_kg: float) -> None:
        if self._last_kg is not None and mass_kg - self._last_kg > GAINED_KG[self.weighed.what]:
            for fall in (self._slow, self._quick):
                fall.forget()
                fall.steady = False
        self._last_kg = mass_kg
        self.left_kg = max(0.0, mass_kg - self.weighed.empty_kg)
        self.low = self.left_kg < self.weighed.low_at_kg * (BACK if self.low else 1.0)


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
            self._news.append(self._leak(message, scale))
            if scale.left_kg is not None:
                self._news.append(self._low(message, scale))

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
