"""Beer outside the temperatures that the running step allows, however near it is to the setpoint."""

from collections.abc import Iterable
from datetime import datetime

from schemas.base import Message
from schemas.conditions import ConditionKind, condition_name
from schemas.control import Setpoint
from schemas.plant import Plant, Point
from schemas.telemetry import Quality, TemperatureReading
from schemas.topics import TopicKind, topic
from services.notifier.watchers.finding import Finding, Key, reading_topics

BACK_K = 0.2
"""So far inside the band the beer is surely back."""
TOO_WARM = condition_name(ConditionKind.BEER_TOO_WARM, "step")
TOO_COLD = condition_name(ConditionKind.BEER_TOO_COLD, "step")


class BandWatch:
    """Steps that name a band. A step that names none ends what an earlier one had told."""

    def __init__(self, plant: Plant) -> None:
        probes = {name: one.probe_at(Point.BEER) for name, one in plant.chambers.items() if one.kind != "reservoir"}
        self._probes: set[Key] = {(name, probe) for name, probe in probes.items() if probe is not None}
        self._setpoints: dict[str, Setpoint] = {}
        self._told: dict[Key, bool] = {}
        self._news: list[Finding] = []
        site = plant.site.name
        self.listens = [
            *reading_topics(plant, self._probes),
            *(topic(site, TopicKind.SETPOINT, name) for name, _ in self._probes),
        ]

    def hear(self, message: Message, now: datetime) -> None:
        """A setpoint, or the beer's temperature."""
        if isinstance(message, Setpoint):
            self._setpoints[message.chamber] = message
        elif isinstance(message, TemperatureReading):
            good = message.quality is Quality.GOOD and (message.chamber, message.probe) in self._probes
            if good and message.temperature_c is not None:
                self._look(message.chamber, message.temperature_c)

    def _look(self, chamber: str, beer_c: float) -> None:
        setpoint = self._setpoints.get(chamber)
        if setpoint is None:
            return
        step = setpoint.step or "this step"
        above_c, below_c = setpoint.alarm_above_c, setpoint.alarm_below_c
        over_k = None if above_c is None else beer_c - above_c
        under_k = None if below_c is None else below_c - beer_c
        self._judge(chamber, TOO_WARM, over_k, f"'{step}' allows at most {above_c} degC.", beer_c, above_c)
        self._judge(chamber, TOO_COLD, under_k, f"'{step}' asks for at least {below_c} degC.", beer_c, below_c)

    def _judge(
        self, chamber: str, name: str, beyond_k: float | None, detail: str, beer_c: float, limit_c: float | None
    ) -> None:
        was = self._told.get((chamber, name), False)
        holds = beyond_k is not None and beyond_k > (-BACK_K if was else 0.0)
        if holds != self._told.get((chamber, name)):
            self._told[chamber, name] = holds
            self._news.append(Finding(chamber, name, holds, detail, beer_c, limit_c, "degC"))

    def judge(self, now: datetime) -> Iterable[Finding]:
        """What has changed."""
        news, self._news = self._news, []
        return news
