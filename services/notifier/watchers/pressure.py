"""Pressure over what the plant file allows."""

from collections.abc import Iterable
from datetime import datetime

from schemas.base import Message
from schemas.conditions import ConditionKind, condition_name
from schemas.plant import Measure, Plant
from schemas.telemetry import PressureReading, Quality
from services.notifier.watchers.finding import Finding, Key, probes_that_measure, reading_topics

BACK_BELOW = 0.95
"""Share of the limit below which it has surely gone down."""


class PressureWatch:
    """Judges each good reading once. Whatever this says, every vessel needs a relief valve of its own."""

    def __init__(self, plant: Plant) -> None:
        self._limits = {
            key: plant.chambers[key[0]].limits.pressure_highest_bar
            for key in probes_that_measure(plant, Measure.PRESSURE)
        }
        self._high: dict[Key, bool] = {}
        self._news: list[Finding] = []
        self.listens = reading_topics(plant, self._limits)

    def hear(self, message: Message, now: datetime) -> None:
        """A pressure."""
        if not isinstance(message, PressureReading) or message.quality is not Quality.GOOD:
            return
        key, bar = (message.chamber, message.probe), message.pressure_bar
        limit = self._limits.get(key)
        if limit is None or bar is None:
            return
        high = bar > limit or (self._high.get(key, False) and bar > BACK_BELOW * limit)
        if high != self._high.get(key):
            self._high[key] = high
            detail = f"{bar:.2f} bar at {message.probe}, at most {limit:g} bar is allowed."
            name = condition_name(ConditionKind.PRESSURE_HIGH, message.probe)
            self._news.append(Finding(message.chamber, name, high, detail, bar, limit, "bar"))

    def judge(self, now: datetime) -> Iterable[Finding]:
        """What has changed."""
        news, self._news = self._news, []
        return news
